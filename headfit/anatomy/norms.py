"""Published norms of head measurements, each with its name. Millimetres.

A norm is a mean and a standard deviation for a measurement, a sex and an age. Different references
differ by more than 1 cm at birth, so a percentile is never given without the name of its norm.

Only a tape that was measured in the survey as it is measured here has a norm. The preauricular arc
has none: surveys have the bitragion coronal arc, which ends at the notch above the tragus and is
some 6 % shorter (.609 of the circumference in the NIOSH survey of 2003, .648 on ten real heads).
Nasion-inion and the 10 % ring have none either, and no child between 5 and 18 years has one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

ANSUR = "ANSUR II 2012 (US Army personnel)"
WHO = "WHO child growth standards 2007"
# Soldiers are grown men and women: the survey says nothing of children.
ADULT_FROM_MONTHS = 18 * 12.0

# Those for which norms are published; a case that names none takes the middle of both.
SEXES = ("female", "male")


@dataclass(frozen=True)
class Norm:
    """Mean and standard deviation of one measurement, mm."""

    mean_mm: float
    spread_mm: float
    source: str
    note: str = ""

    def percentile(self, value_mm: float) -> float:
        """Percent (0..100) of the reference below a value, by a normal distribution.

        >>> round(Norm(574.4, 16.05, ANSUR).percentile(574.4 + 1.645 * 16.05))
        95
        """
        return 50.0 * math.erfc(-(value_mm - self.mean_mm) / self.spread_mm / math.sqrt(2.0))


# ANSUR II: 4082 men, 1986 women, from the public tables.
_ADULT: dict[str, dict[str, Norm]] = {
    "female": {
        "head_length": Norm(189.8, 7.45, ANSUR),
        "head_breadth": Norm(147.8, 5.19, ANSUR),
        "largest_circumference": Norm(561.1, 19.36, ANSUR),
        "tragion_height": Norm(126.5, 6.55, ANSUR),  # of the vertex over the tragion
    },
    "male": {
        "head_length": Norm(199.5, 7.02, ANSUR),
        "head_breadth": Norm(154.3, 5.53, ANSUR),
        "largest_circumference": Norm(574.4, 16.05, ANSUR),
        "tragion_height": Norm(131.1, 6.16, ANSUR),
    },
}

# WHO head circumference for age: (months, median in mm, coefficient of variation); L is 1 for all.
_WHO: dict[str, tuple[tuple[float, float, float], ...]] = {
    "female": (
        (0, 338.787, 0.03496),
        (1, 365.163, 0.03211),
        (2, 382.58, 0.03168),
        (3, 395.21, 0.0314),
        (4, 405.895, 0.03119),
        (6, 422.079, 0.03087),
        (9, 438.309, 0.03053),
        (12, 448.94, 0.03027),
        (18, 462.431, 0.02987),
        (24, 471.799, 0.02958),
        (36, 485.106, 0.02912),
        (48, 493.321, 0.02878),
        (60, 499.225, 0.0285),
    ),
    "male": (
        (0, 344.618, 0.03686),
        (1, 372.435, 0.03135),
        (2, 391.349, 0.02997),
        (3, 405.008, 0.02918),
        (4, 416.401, 0.02868),
        (6, 433.393, 0.02817),
        (9, 450.007, 0.02792),
        (12, 460.637, 0.02789),
        (18, 473.718, 0.028),
        (24, 482.494, 0.02821),
        (36, 494.619, 0.02871),
        (48, 502.115, 0.02912),
        (60, 507.372, 0.02945),
    ),
}
WHO_LAST_MONTH = 60.0


def adult_norms(name: str) -> tuple[Norm, Norm]:
    """The norms of women and of men for what was surveyed: a measurement, or tragion height.

    >>> [norm.mean_mm for norm in adult_norms("tragion_height")]
    [126.5, 131.1]
    """
    return _ADULT["female"][name], _ADULT["male"][name]


def norm_of(name: str, months: float, sex: str | None) -> Norm | None:
    """The norm for a measurement, or None when there is no published one of this tape and age.

    Parameters
    ----------
    name : str
        A measurement of the sheet.
    months : float
        Age.
    sex : {"female", "male"} or None
        None takes the middle of both, with the wider of both spreads.

    >>> norm_of("largest_circumference", 6.0, "male").mean_mm
    433.393
    >>> norm_of("largest_circumference", 120.0, None) is None
    True
    """
    if sex is None:
        both = [norm_of(name, months, each) for each in SEXES]
        women, men = both
        if women is None or men is None:
            return None
        return Norm(
            (women.mean_mm + men.mean_mm) / 2,
            math.hypot(max(women.spread_mm, men.spread_mm), (women.mean_mm - men.mean_mm) / 2),
            women.source,
            "both sexes taken together",
        )
    if months >= ADULT_FROM_MONTHS:
        return _ADULT[sex].get(name)
    if name == "largest_circumference" and months <= WHO_LAST_MONTH:
        table = np.array(_WHO[sex])
        mean = float(np.interp(months, table[:, 0], table[:, 1]))
        share = float(np.interp(months, table[:, 0], table[:, 2]))
        return Norm(mean, mean * share, WHO)
    return None
