"""The tape on an arc as the person at the chair has it: an own reading, or a prediction. mm.

A mark stands at a fraction of its arc. With a reading in hand the fraction is taken of that reading
and not of the fitted head, which meets several readings only within their spreads.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from headfit.geometry.taperun import TapeRun
from headfit.units import tape_length, tape_number

# A fit that differs from the reading by more is told beside it; less cannot be read off a tape.
TOLD_FROM_MM = 2.0
PREDICTED_SD = 2.0  # what is told as ± of a prediction


@dataclass(frozen=True)
class ArcTape:
    """One arc: tape lengths on the fitted head, and the same on the tape in hand.

    Attributes
    ----------
    fitted_mm, in_hand_mm : tuple of float
        Tape lengths from the start, both beginning with 0 and ending with the whole length;
        straight between them.
    own : bool
        It was taped; otherwise nobody did, and `in_hand_mm` is what the fit predicts.
    words : str
        What it is: "own reading", "half of your 56.0", "predicted".
    via_mm : float
        Where the tape in hand passes over the middle point of the arc.
    spread_mm : float or None
        Standard deviation of a predicted length, of one half where the tape is held in the middle.

    >>> tape = ArcTape((0.0, 350.0), (0.0, 360.0), True, "own reading", 180.0)
    >>> tape.length_mm, tape.at(35.0), tape.off_mm
    (360.0, 36.0, -10.0)
    """

    fitted_mm: tuple[float, ...]
    in_hand_mm: tuple[float, ...]
    own: bool
    words: str
    via_mm: float
    spread_mm: float | None = None

    def at(self, fitted_mm: float) -> float:
        """Tape length in hand where the fitted arc has `fitted_mm`."""
        return float(np.interp(fitted_mm, self.fitted_mm, self.in_hand_mm))

    @property
    def length_mm(self) -> float:
        """The whole length in hand."""
        return self.in_hand_mm[-1]

    @property
    def off_mm(self) -> float:
        """Fitted length less that in hand."""
        return self.fitted_mm[-1] - self.in_hand_mm[-1]

    @property
    def told(self) -> str:
        """The length, with twice its spread where nobody taped it, and the fit beside it."""
        if self.own:
            fit = f", fitted {tape_length(self.fitted_mm[-1])}" if self.fit_differs else ""
            return f"{self.words}{fit}"
        spread = self.spread_mm
        if spread is None:
            return self.words
        each = " each side" if len(self.fitted_mm) > 2 else ""  # held in the middle
        return f"{self.words} ± {tape_number(PREDICTED_SD * spread)}{each}"

    @property
    def fit_differs(self) -> bool:
        """Whether the fit is to be told beside the reading."""
        return self.own and abs(self.off_mm) > TOLD_FROM_MM


TapeOn = Callable[[str], ArcTape]


def as_computed(run: TapeRun) -> ArcTape:
    """The tape of an arc on a head that nobody taped: a scan, or a template."""
    marks = (0.0, run.length_mm)
    return ArcTape(marks, marks, False, "computed", run.via_mm)
