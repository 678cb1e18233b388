"""What a value that cannot be was meant to be: the slip of hand that fits the other readings best.

Slips: digits exchanged or doubled, a point in the wrong place, another unit. Millimetres.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from headfit.fitting.model_measures import at_prior_mean, unmodelled_mm
from headfit.fitting.outlying_readings import standing
from headfit.fitting.shape import ShapeModel
from headfit.fitting.tape import MEASUREMENTS, Tape

# Farther from the prediction than this a slip explains nothing: a design choice.
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
    kind = MEASUREMENTS[name]
    log_mean, log_sd = _expected(model, tape, name)
    for slips in (_other_scale, _other_digits):  # a point or a unit goes wrong more often
        best, nearest = math.nan, _MOST_SDS
        for value in slips(wrong_mm):
            if kind.lowest_mm <= value <= kind.highest_mm:
                sds = abs(math.log(value) - log_mean) / log_sd
                if sds < nearest:
                    best, nearest = value, sds
        if not math.isnan(best):
            return best
    return math.nan


def _expected(model: ShapeModel, tape: Tape | None, name: str) -> tuple[float, float]:
    """Logarithm of a measurement as the other readings predict it, and its standard deviation."""
    others = () if tape is None else tuple(n for n in tape.values_mm if n != name)
    values, slopes = at_prior_mean(model).at((name, *others))
    slopes = slopes / values[:, None]
    covariance = slopes @ model.prior.covariance @ slopes.T
    noise = math.hypot(MEASUREMENTS[name].spread_mm, unmodelled_mm(name)) / values[0]
    mean, variance = math.log(values[0]), float(covariance[0, 0]) + noise**2
    if others:
        assert tape is not None
        readings = np.array([tape.values_mm[n] for n in others])
        gap, precision = standing(model, tape, others, readings)
        mean += float(covariance[0, 1:] @ precision @ gap)
        variance -= float(covariance[0, 1:] @ precision @ covariance[1:, 0])
    return mean, math.sqrt(variance)


def _other_scale(wrong_mm: float) -> Iterator[float]:
    """The value with its point elsewhere or in another unit."""
    for factor in (10.0, 0.1, 25.4, 2.54, 1 / 2.54, 1 / 25.4):
        yield wrong_mm * factor


def _other_digits(wrong_mm: float) -> Iterator[float]:
    """The value with two digits exchanged back, or a doubled digit taken out."""
    digits = f"{abs(wrong_mm):.0f}"
    for i in range(len(digits) - 1):
        yield float(digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :])
        if digits[i] == digits[i + 1]:
            yield float(digits[:i] + digits[i + 1 :])
