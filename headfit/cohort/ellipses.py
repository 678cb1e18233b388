"""Where the marks of a site lie over the scalp, person by person: middle, spread, ellipse. mm.

Two coordinates: along the arc of the site, away from its start, and across it, to the left seen
from outside. One point a person; people are a sample of all people.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import stats

from headfit.cohort.agreement import LEVEL, UNKNOWN, Estimate, mean_with_interval


@dataclass(frozen=True)
class SiteSpread:
    """The marks of one site over people.

    Attributes
    ----------
    n_people : int
    along_mm, across_mm : Estimate
        Mean signed deviation.
    along_sd_mm, across_sd_mm : float
        SD between people.
    size_mm : Estimate
        Mean distance from the site over the scalp.
    median_mm : float
        Median of that distance.
    major_mm, minor_mm : float
        Half axes of the ellipse that holds the next person's mark with 95 % probability.
    angle_degrees : float
        From along towards across to the longer axis, -90 to 90.
    """

    n_people: int
    along_mm: Estimate
    across_mm: Estimate
    along_sd_mm: float
    across_sd_mm: float
    size_mm: Estimate
    median_mm: float
    major_mm: float
    minor_mm: float
    angle_degrees: float


def spread_of_site(along_mm: ArrayLike, across_mm: ArrayLike) -> SiteSpread:
    """The figures of one site.

    The ellipse is the prediction region of a two-dimensional normal sample (Chew 1966, Journal of
    the American Statistical Association 61:605): squared half axes are the eigenvalues of the
    covariance times 2 (n + 1) (n - 1) / (n (n - 2)) F(0.95; 2, n - 2). NaN for fewer than 3 people.

    Parameters
    ----------
    along_mm, across_mm : (n,) array_like
        One a person.
    """
    points = np.column_stack([np.asarray(along_mm, float), np.asarray(across_mm, float)])
    n = len(points)
    size = np.hypot(points[:, 0], points[:, 1])
    along_sd, across_sd = points.std(axis=0, ddof=1).tolist() if n > 1 else (np.nan, np.nan)
    major = minor = angle = np.nan
    if n > 2:
        factor = 2 * (n + 1) * (n - 1) / (n * (n - 2)) * stats.f.ppf(LEVEL, 2, n - 2)
        values, axes = np.linalg.eigh(np.cov(points.T))
        minor, major = np.sqrt(np.maximum(values, 0.0) * factor).tolist()
        angle = float(np.degrees(np.arctan2(axes[1, 1], axes[0, 1])))
        angle = (angle + 90.0) % 180.0 - 90.0
    along, across, sizes = (
        mean_with_interval(column) if n else UNKNOWN for column in (*points.T, size)
    )
    median = float(np.median(size)) if n else np.nan
    return SiteSpread(n, along, across, along_sd, across_sd, sizes, median, major, minor, angle)
