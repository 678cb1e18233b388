"""The unit that coordinates are really in, found by the size of a head. Millimetres per unit.

Twice the median distance of the marks from their middle lies between 60 mm (a few marks on a
newborn) and 230 mm (a cap with tall electrodes on a large adult) [derived: template heads]. Metres,
centimetres and millimetres are a factor of ten apart or more, so the decade of 40 to 400 mm tells
them apart for certain.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from headfit.geometry.mesh import Floats
from headfit.marks.remarks import Remark, correction, doubt
from headfit.units import MM_PER_UNIT

_LEAST_MM, _MOST_MM = 40.0, 400.0
_USUAL_MM = (60.0, 230.0)
# Largest distance between nasion and preauricular points: 80 mm on the newborn template, 144 mm on
# the adult one.
_USUAL_LANDMARKS_MM = (70.0, 200.0)
# Fewer marks than this say nothing about the size of a head ...
FEWEST = 4
# ... and fewer than this may sit in one region: four occipital sites of a newborn span 29 mm.
MANY = 9
_LEAST_OF_FEW_MM = 20.0

_PLAIN = {1.0: "mm", 10.0: "cm", 1000.0: "m", 25.4: "inch", 0.001: "micrometres"}
_SPELLINGS = {
    **MM_PER_UNIT,
    "millimeter": 1.0,
    "millimeters": 1.0,
    "millimetre": 1.0,
    "millimetres": 1.0,
    "centimeter": 10.0,
    "centimeters": 10.0,
    "centimetre": 10.0,
    "centimetres": 10.0,
    "meter": 1000.0,
    "meters": 1000.0,
    "metre": 1000.0,
    "metres": 1000.0,
}


@dataclass(frozen=True)
class UnitFinding:
    """The unit in which coordinates are taken.

    Attributes
    ----------
    mm_per_unit : float
    remarks : tuple of Remark
        Empty when the declared unit fits.
    """

    mm_per_unit: float
    remarks: tuple[Remark, ...] = ()


def declared_mm(unit: str | None) -> float | None:
    """Millimetres of a declared unit; None when nothing usable is declared.

    >>> declared_mm("cm"), declared_mm("Metres"), declared_mm("n/a"), declared_mm(None)
    (10.0, 1000.0, None, None)
    """
    return None if unit is None else _SPELLINGS.get(str(unit).strip().casefold())


def unit_name(mm_per_unit: float) -> str:
    """Plain name of a unit.

    >>> unit_name(10.0), unit_name(1e-05)
    ('cm', 'units of 1e-05 mm')
    """
    return _PLAIN.get(mm_per_unit, f"units of {mm_per_unit:g} mm")


def spread_of(places: Floats) -> float:
    """Twice the median distance from the middle of the places (n, 3), in their own unit.

    Medians, so that a few wild rows do not matter.
    """
    gap = places - np.median(places, axis=0)
    return 2.0 * float(np.median(np.sqrt(np.einsum("ij,ij->i", gap, gap))))


def span_of(places: Floats) -> float:
    """Largest distance between two of a few places (n, 3), in their own unit."""
    gap = places[:, None] - places[None]
    return float(np.sqrt(np.einsum("ijk,ijk->ij", gap, gap).max()))


def is_head(size_mm: float) -> bool:
    """Whether something of this size can be a head at all."""
    return _LEAST_MM <= size_mm < _MOST_MM


def find_unit(size: float, unit: str | None, what: str, n: int = MANY) -> UnitFinding:
    """The unit in which a head of `size` (in file units) is a head.

    Parameters
    ----------
    size : float
        `spread_of` marks or `span_of` landmarks; positive.
    unit : str or None
        Declared.
    what : str
        "marks" or "landmarks", for the sentence.
    n : int
        How many they are; few marks may sit in one region of the head.

    >>> find_unit(17.1, "cm", "marks").remarks
    ()
    >>> print(find_unit(17.1, "mm", "marks").remarks[0].sentence)
    marks are declared in mm but are taken as cm: 17.1 mm is no head, 171 mm is
    >>> find_unit(6.3, "inch", "marks").mm_per_unit
    25.4
    """
    code = "unit" if what == "marks" else "landmark-unit"
    declared = declared_mm(unit)
    least_mm = _LEAST_MM if n >= MANY else _LEAST_OF_FEW_MM
    if declared is not None and least_mm <= size * declared < _MOST_MM:
        return UnitFinding(declared, _doubts(size * declared, what, n))
    # 10.0**k is exact for the usual units, a quotient is not.
    decades = math.floor(math.log10(_MOST_MM / size))
    factor = 10.0**decades
    if not _LEAST_MM <= size * factor < _MOST_MM:
        factor = 10.0 ** (decades - 1 if size * factor >= _MOST_MM else decades + 1)
    taken, size_mm = unit_name(factor), size * factor
    evidence: dict[str, object] = {
        "declared": unit,
        "taken": taken,
        "mm_per_unit": factor,
        "size_as_declared_mm": None if declared is None else round(size * declared, 3),
        "size_as_taken_mm": round(size_mm, 1),
    }
    if declared is None:
        said = "have no unit" if unit is None else f"have the unit {unit!r}, which says nothing,"
        remark = correction(
            f"{code}-deduced",
            f"{what} {said} and are taken as {taken}: that makes them {size_mm:.0f} mm across",
            **evidence,
        )
    else:
        remark = correction(
            f"{code}-wrong",
            f"{what} are declared in {unit} but are taken as {taken}: "
            f"{float(f'{size * declared:.3g}'):.9g} mm is no head, {size_mm:.0f} mm is",
            **evidence,
        )
    return UnitFinding(factor, (remark, *_doubts(size_mm, what, n)))


def _doubts(size_mm: float, what: str, n: int) -> tuple[Remark, ...]:
    least, most = _USUAL_MM if what == "marks" else _USUAL_LANDMARKS_MM
    if n < MANY or least <= size_mm <= most:
        return ()
    kind = "small" if size_mm < least else "large"
    measure = (
        "twice their median distance from their middle"
        if what == "marks"
        else "their largest distance"
    )
    return (
        doubt(
            "size-unusual",
            f"{what} are unusually {kind} for a head: {size_mm:.0f} mm, {measure}, should be "
            f"{least:.0f} to {most:.0f} mm (are these inches, or marks of one region only?)",
            size_mm=round(size_mm, 1),
        ),
    )
