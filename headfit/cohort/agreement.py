"""Agreement of repeats: within-person SD, intraclass correlation, limits of agreement.

A table (n, k) holds n people (rows) measured k times (columns: sessions, raters or devices). Every
figure comes with its 95 % interval; what too few people cannot tell is NaN. In the unit of the
values.

Sources: Shrout & Fleiss 1979, Psychological Bulletin 86:420 (the forms of the intraclass
correlation); McGraw & Wong 1996, Psychological Methods 1:30 (their intervals); Bland & Altman 1986,
Lancet 327:307 (limits of agreement); Bland & Altman 1996, BMJ 313:744 (within-person SD).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

LEVEL = 0.95
TAIL = (1 + LEVEL) / 2
# A mean square below this share of the squared values is rounding, not measurement.
_DUST = 1e-24


class Estimate(NamedTuple):
    """A figure with the ends of its 95 % interval; NaN where it cannot be told."""

    value: float
    low: float
    high: float


UNKNOWN = Estimate(np.nan, np.nan, np.nan)


@dataclass(frozen=True)
class LimitsOfAgreement:
    """Of the differences between two measurements of the same people.

    Attributes
    ----------
    n_people : int
    bias, lower, upper : Estimate
        Mean of second less first, and the limits that hold 95 % of the differences.
    """

    n_people: int
    bias: Estimate
    lower: Estimate
    upper: Estimate


def mean_with_interval(values: ArrayLike) -> Estimate:
    """The mean and its interval by Student's t; no interval for fewer than two values.

    >>> mean_with_interval([1.0, 2.0, 3.0]).value
    2.0
    """
    given = np.asarray(values, float)
    if not len(given):
        return UNKNOWN
    middle = float(given.mean())
    if len(given) < 2:
        return Estimate(middle, np.nan, np.nan)
    half = float(stats.t.ppf(TAIL, len(given) - 1) * given.std(ddof=1) / np.sqrt(len(given)))
    return Estimate(middle, middle - half, middle + half)


def within_person_sd(repeats: Sequence[ArrayLike]) -> Estimate:
    """The SD of one measurement of one person, from people measured twice or more.

    The root of the mean within-person variance, weighted by degrees of freedom; the interval is
    that of a chi-square variable.

    Parameters
    ----------
    repeats : sequence of array_like
        The values of each person; those with a single one tell nothing and are passed over.

    >>> round(within_person_sd([[1.0, 3.0], [5.0, 5.0]]).value, 6)
    1.0
    """
    people = [np.asarray(values, float) for values in repeats]
    people = [values for values in people if len(values) > 1]
    freedom = sum(len(values) - 1 for values in people)
    if not freedom:
        return UNKNOWN
    squares = sum(float(((values - values.mean()) ** 2).sum()) for values in people)
    low, high = (squares / stats.chi2.ppf(p, freedom) for p in (TAIL, 1 - TAIL))
    return Estimate(*np.sqrt([squares / freedom, low, high]).tolist())


def _mean_squares(table: ArrayLike) -> tuple[int, int, float, float, float] | None:
    """People n, columns k, and mean squares of people, columns and error; None for too few."""
    values = np.asarray(table, float)
    n, k = values.shape
    if n < 2 or k < 2 or not np.isfinite(values).all():
        return None
    middle = values.mean()
    people = k * ((values.mean(axis=1) - middle) ** 2).sum() / (n - 1)
    columns = n * ((values.mean(axis=0) - middle) ** 2).sum() / (k - 1)
    left = values - values.mean(axis=1)[:, None] - values.mean(axis=0)[None] + middle
    error = (left**2).sum() / ((n - 1) * (k - 1))
    if error <= _DUST * float((values**2).mean()):  # identical columns: copies, no measurement
        return None
    return n, k, float(people), float(columns), float(error)


def icc_agreement(table: ArrayLike) -> Estimate:
    """ICC(2,1): absolute agreement of single measurements, columns a random sample.

    Parameters
    ----------
    table : (n, k) array_like
        Without gaps; n and k at least 2.
    """
    found = _mean_squares(table)
    if found is None:
        return UNKNOWN
    n, k, people, columns, error = found
    icc = (people - error) / (people + (k - 1) * error + k * (columns - error) / n)
    ratio, spread = columns / error, n * (1 + (k - 1) * icc) - k * icc
    freedom = (
        (k - 1)
        * (n - 1)
        * (k * icc * ratio + spread) ** 2
        / ((n - 1) * k**2 * icc**2 * ratio**2 + spread**2)
    )
    below = stats.f.ppf(TAIL, n - 1, freedom)
    above = stats.f.ppf(TAIL, freedom, n - 1)
    rest = k * columns + (k * n - k - n) * error
    low = n * (people - below * error) / (below * rest + n * people)
    high = n * (above * people - error) / (rest + n * above * people)
    return Estimate(float(icc), float(low), float(high))


def icc_consistency(table: ArrayLike) -> Estimate:
    """ICC(3,1): consistency of single measurements, the columns being the only ones of interest.

    Parameters
    ----------
    table : (n, k) array_like
        Without gaps; n and k at least 2.
    """
    found = _mean_squares(table)
    if found is None:
        return UNKNOWN
    n, k, people, _, error = found
    ratio, rest = people / error, (n - 1) * (k - 1)
    low = ratio / stats.f.ppf(TAIL, n - 1, rest)
    high = ratio * stats.f.ppf(TAIL, rest, n - 1)
    return Estimate(*(float((f - 1) / (f + k - 1)) for f in (ratio, low, high)))


def limits_of_agreement(first: ArrayLike, second: ArrayLike) -> LimitsOfAgreement:
    """Bland and Altman's limits for second less first, the limits with their own intervals.

    The standard error of a limit is sqrt(3 s^2 / n), as in the paper.

    Parameters
    ----------
    first, second : (n,) array_like
        Two measurements of the same people.
    """
    gap = np.asarray(second, float) - np.asarray(first, float)
    n = len(gap)
    bias = mean_with_interval(gap)
    if n < 2:
        return LimitsOfAgreement(n, bias, UNKNOWN, UNKNOWN)
    spread = float(gap.std(ddof=1))
    half = float(stats.t.ppf(TAIL, n - 1)) * np.sqrt(3 / n) * spread
    lower, upper = (
        Estimate(middle, middle - half, middle + half)
        for middle in (bias.value + side * stats.norm.ppf(TAIL) * spread for side in (-1, 1))
    )
    return LimitsOfAgreement(n, bias, lower, upper)
