"""What a value that cannot be was meant to be: the slip of hand that fits the other readings best.

A point in the wrong place or another unit first, then the slips of single keys. Millimetres.
"""

from __future__ import annotations

import math

from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.shape import ShapeModel
from headfit.fitting.slips import expected, proposals
from headfit.fitting.tape import Tape

_FACTORS = (10.0, 0.1, 25.4, 2.54, 1 / 2.54, 1 / 25.4)
# Farther from the prediction than this a factor explains nothing: a design choice.
_MOST_SDS = 3.0


def likely_value_mm(model: ShapeModel, tape: Tape | None, name: str, wrong_mm: float) -> float:
    """The value that was likely meant, in mm; NaN where no slip leads to one.

    Parameters
    ----------
    model : ShapeModel
    tape : Tape or None
        The readings in use; one of `name` itself does not count.
    name : str
        Of the measurement.
    wrong_mm : float
        The value that is not used.

    >>> from headfit.fitting.shape import shape_model
    >>> likely_value_mm(shape_model("adult"), None, "head_breadth", 125.0)
    152.0
    """
    if not 0.0 < wrong_mm < 1e5:
        return math.nan
    kind = MEASUREMENTS[name]
    # A sheet must hold something; a reading of the same name counts for nothing.
    sheet = tape or Tape(**{f"{name}_mm": (kind.lowest_mm + kind.highest_mm) / 2})  # type: ignore[arg-type]
    predicted, spread = expected(model, sheet, name)
    scaled = [wrong_mm * factor for factor in _FACTORS]
    near = [
        value
        for value in scaled
        if kind.lowest_mm <= value <= kind.highest_mm
        and abs(value - predicted) <= _MOST_SDS * spread
    ]
    if near:  # a point or a unit goes wrong more often than a key
        return min(near, key=lambda value: abs(value - predicted))
    found = proposals(name, wrong_mm, predicted, spread)
    return found[0].value_mm if found else math.nan
