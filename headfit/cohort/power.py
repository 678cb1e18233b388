"""How many people a study must hold to see a difference, by Student's t. Millimetres."""

from __future__ import annotations

import numpy as np
from scipy import stats

from headfit.errors import InputError, sentence

_MOST_PEOPLE = 10_000_000
SIGNIFICANCE, POWER = 0.05, 0.8


def power_of(n_people: int, difference_mm: float, sd_mm: float, *, paired: bool = False) -> float:
    """The chance that a two-sided t test sees a true difference.

    Parameters
    ----------
    n_people : int
        In each of two groups; with `paired`, people measured in both conditions.
    difference_mm : float
    sd_mm : float
        Between people of one group; with `paired`, of the differences.
    paired : bool
    """
    groups = 1 if paired else 2
    freedom = groups * (n_people - 1)
    shift = difference_mm / sd_mm * np.sqrt(n_people / groups)
    edge = stats.t.ppf(1 - SIGNIFICANCE / 2, freedom)
    return float(stats.nct.sf(edge, freedom, shift) + stats.nct.cdf(-edge, freedom, shift))


def people_needed(difference_mm: float, sd_mm: float, *, paired: bool = False) -> int:
    """The least number of people, in each group or in all when `paired`, for a power of 0.8.

    Raises
    ------
    InputError
        A difference or spread that is no positive length.

    >>> people_needed(2.0, 4.0), people_needed(2.0, 4.0, paired=True)
    (64, 34)
    """
    if not (difference_mm > 0 and sd_mm > 0 and np.isfinite(sd_mm)):
        raise InputError(
            sentence(
                "difference and spread",
                "be lengths above 0 mm",
                f"{difference_mm:g} and {sd_mm:g} mm",
            ),
            code="power-lengths",
        )
    low, high = 1, 2
    while high < _MOST_PEOPLE and power_of(high, difference_mm, sd_mm, paired=paired) < POWER:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        enough = power_of(middle, difference_mm, sd_mm, paired=paired) >= POWER
        low, high = (low, middle) if enough else (middle, high)
    return high
