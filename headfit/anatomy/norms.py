"""Published norms of head measurements, each with its name. Millimetres.

A norm is a mean and a standard deviation for a measurement, a sex and an age. Different references
differ by more than 1 cm at birth, so a percentile is never given without the name of its norm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

ANSUR = "ANSUR II 2012 (US Army personnel)"
NIOSH = "NIOSH head-and-face survey 2003 (US workers)"
WHO = "WHO child growth standards 2007"
WIDE = "a wide range from memory, no published norm"

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


# ANSUR II: 4082 men, 1986 women, from the public tables; NIOSH: 2542 men, 1452 women. Bitragion
# arcs run from above the tragus and only approximate the preauricular arc.
_ADULT: dict[str, dict[str, Norm]] = {
    "female": {
        "head_length": Norm(189.8, 7.45, ANSUR),
        "head_breadth": Norm(147.8, 5.19, ANSUR),
        "largest_circumference": Norm(561.1, 19.36, ANSUR),
        "preauricular_arc": Norm(341.1, 15.58, NIOSH, "bitragion coronal arc, close to this tape"),
    },
    "male": {
        "head_length": Norm(199.5, 7.02, ANSUR),
        "head_breadth": Norm(154.3, 5.53, ANSUR),
        "largest_circumference": Norm(574.4, 16.05, ANSUR),
        "preauricular_arc": Norm(350.7, 14.09, NIOSH, "bitragion coronal arc, close to this tape"),
    },
}
_ADULT_ANY = {"nasion_inion": Norm(360.0, 15.0, WIDE)}

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


def norm_of(name: str, months: float, sex: str | None, adult_months: float) -> Norm | None:
    """The norm for a measurement, or None when no published one is carried.

    Parameters
    ----------
    name : str
        A measurement of the sheet.
    months : float
        Age.
    sex : {"female", "male"} or None
        None takes the middle of both, with the wider of both spreads.
    adult_months : float
        From this age on adult norms hold.

    >>> norm_of("largest_circumference", 6.0, "male", 240.0).mean_mm
    433.393
    >>> norm_of("largest_circumference", 120.0, None, 240.0) is None
    True
    """
    if sex is None:
        both = [norm_of(name, months, each, adult_months) for each in SEXES]
        women, men = both
        if women is None or men is None:
            return None
        return Norm(
            (women.mean_mm + men.mean_mm) / 2,
            math.hypot(max(women.spread_mm, men.spread_mm), (women.mean_mm - men.mean_mm) / 2),
            women.source,
            women.note or ("women and men taken together" if women != men else ""),
        )
    if months >= adult_months:
        return _ADULT[sex].get(name) or _ADULT_ANY.get(name)
    if name == "largest_circumference" and months <= WHO_LAST_MONTH:
        table = np.array(_WHO[sex])
        mean = float(np.interp(months, table[:, 0], table[:, 1]))
        share = float(np.interp(months, table[:, 0], table[:, 2]))
        return Norm(mean, mean * share, WHO)
    return None
