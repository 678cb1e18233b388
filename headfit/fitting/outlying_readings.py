"""Each reading of a sheet against what the others predict (leave one out). Millimetres.

A slip is a reading off by about a centimetre, as when a tape is read at the wrong mark.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headfit.fitting.leftover import leftover_effects, reading_noise
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.model_measures import at_prior_mean
from headfit.fitting.shape import ShapeModel
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats
from headfit.units import tape_length

SLIP_MM = 10.0  # the size of a slip: a tape read off by a centimetre; common practice, no source


@dataclass(frozen=True)
class Disagreement:
    """One reading against what the others predict."""

    name: str
    measured_mm: float
    predicted_mm: float
    spread_mm: float
    n_others: int

    @property
    def gap_mm(self) -> float:
        """Reading less prediction."""
        return self.measured_mm - self.predicted_mm

    @property
    def sds(self) -> float:
        """Standard deviations between reading and prediction."""
        return self.gap_mm / self.spread_mm

    @property
    def slip_odds(self) -> float:
        """Log odds that the reading slipped by about a centimetre, against that it did not.

        The larger, the likelier it is the one to take again. Standard deviations alone would blame
        the readings that the others know well: a gap of 4 mm there is rarer, but no such slip.
        """
        kept2 = self.spread_mm**2 / (self.spread_mm**2 + SLIP_MM**2)
        return 0.5 * float(self.sds**2 * (1.0 - kept2) + np.log(kept2))

    @property
    def finding(self) -> str:
        """The numbers, as the end of a sentence."""
        gap = self.gap_mm
        if self.n_others == 1:
            others = "the other value predicts"
        else:
            others = f"the other {self.n_others} values predict"
        return (
            f"{tape_length(self.measured_mm)} is {tape_length(abs(gap))} "
            f"{'more' if gap > 0 else 'less'} than {others} ({tape_length(self.predicted_mm)}, "
            f"95 % within {tape_length(1.96 * self.spread_mm)})."
        )

    @property
    def sentence(self) -> str:
        """What to do, with the numbers."""
        return f"Take the {MEASUREMENTS[self.name].title} again: {self.finding}"


def _log_prediction(model: ShapeModel, names: tuple[str, ...]) -> tuple[Floats, Floats]:
    """Logarithms (m,) of the measurements at the prior mean, and their slopes (m, K).

    In the logarithm a change of scale is exactly linear, so that one linearisation serves heads of
    any size and sheets with a gross error.
    """
    values, slopes = at_prior_mean(model).at(names)
    return np.log(values), slopes / values[:, None]


def disagreements(model: ShapeModel, tape: Tape) -> list[Disagreement]:
    """Each reading against the prediction of all others, by the prior alone (leave one out)."""
    names = tuple(tape.values_mm)
    if len(names) < 2:
        return []
    readings = np.array(list(tape.values_mm.values()))
    gap, precision = standing(model, tape, names, readings)
    off = precision @ gap / np.diag(precision)
    spread = 1.0 / np.sqrt(np.diag(precision))
    found = []
    for i, name in enumerate(names):
        predicted = readings[i] * np.exp(-off[i])
        scale = float(np.sqrt(predicted * readings[i]))  # a log step as a length, half way
        found.append(
            Disagreement(
                name, float(readings[i]), float(predicted), float(spread[i]) * scale, len(names) - 1
            )
        )
    return found


def likeliest_slips(model: ShapeModel, tape: Tape) -> tuple[Disagreement, ...]:
    """The reading that is likeliest to be wrong, and the next when it is at least half as likely.

    Empty when there is nothing to hold a reading against.
    """
    found = sorted(disagreements(model, tape), key=lambda d: -d.slip_odds)[:2]
    return tuple(d for d in found if d.slip_odds > found[0].slip_odds - np.log(2.0))


def standing(
    model: ShapeModel, tape: Tape, names: tuple[str, ...], readings: Floats
) -> tuple[Floats, Floats]:
    """Log gap (m,) of the readings from the prior mean, and its inverse covariance (m, m)."""
    expected, slopes = _log_prediction(model, names)
    noise = reading_noise(np.array([tape.spread_mm(n) for n in names]), names) / readings
    leftover = leftover_effects(model).on_measurements(names) / readings[:, None]
    covariance = slopes @ model.prior.covariance @ slopes.T + leftover @ leftover.T
    covariance += np.diag(noise**2)
    return np.log(readings) - expected, np.asarray(np.linalg.inv(covariance), np.float64)
