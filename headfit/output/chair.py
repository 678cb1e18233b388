"""The steps at the chair, one thing to do at a time, in the order of the work. Plain data, mm.

A *step* is the smallest thing that is done and ticked: a landmark found, a tape read, a cross made,
a distance checked, a cup put on. Its number is a tape length, or words where there is none. Steps
of one *title* belong together and share a drawing. A length that hangs on an arc is told as a share
of that arc too, so that a page can tell it anew when the arc is read. Numbers come from the marking
plan and from nowhere else.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from headfit.case.solved import SolvedCase
from headfit.files.case_file import plan_checksum
from headfit.output.chair_drawings import ChairDrawing

PARTS = ("landmarks", "measure", "mark", "prepare", "apply", "check")
Part = Literal["landmarks", "measure", "mark", "prepare", "apply", "check"]
Kind = Literal[
    "landmark",
    "reading",
    "mark",
    "pass",
    "bearing",
    "eye",
    "check",
    "look",
    "electrode",
    "lead",
    "impedances",
    "changes",
    "finish",
]


@dataclass(frozen=True)
class ChairStep:
    """One thing to do.

    Attributes
    ----------
    key : str
        Its name among all steps of the case, by which it is ticked.
    part, kind : str
        One of `PARTS` and of `Kind`; a step of kind "pass" is not done, the tape only runs over it.
    title : str
        What steps that belong together are called.
    name : str
        What is marked, read or applied here.
    done : str
        What is true after it, as the button says.
    line : str
        What to do, in one line.
    number_mm : float or None
    words : str
        In place of a number.
    tolerance_mm : float or None
        Of a distance to be checked.
    own : bool
        The number is a share of an own reading.
    source : str
        What the number is: "own reading", "half of your 56.0", "predicted ± 0.4".
    detail : str
        Share of the arc, the second stroke, what is to be known beside.
    warnings : tuple of str
        What must not be done here.
    arc : str
        The arc of which the number is a share, or the measurement that is read.
    share : float
        Of the whole length of that arc in hand.
    drawing : str
        Key of its drawing.
    spots : tuple of str
        The marks of the drawing that it is about.
    doubt : str
        What is at stake when a landmark was hard to find, or what else to feel for.
    """

    key: str
    part: Part
    kind: Kind
    title: str
    name: str
    done: str
    line: str
    number_mm: float | None = None
    words: str = ""
    tolerance_mm: float | None = None
    own: bool = False
    source: str = ""
    detail: str = ""
    warnings: tuple[str, ...] = ()
    arc: str = ""
    share: float = 0.0
    drawing: str = ""
    spots: tuple[str, ...] = ()
    doubt: str = ""


@dataclass(frozen=True)
class ChairArc:
    """An arc that marks are shares of, as long as it is in hand.

    `reading` is the measurement that is its whole length, empty where there is none; `ring_share`
    what of the whole ring it is, 0 for other arcs.
    """

    name: str
    title: str
    length_mm: float
    own: bool
    source: str
    reading: str = ""
    ring_share: float = 0.0


@dataclass(frozen=True, eq=False)
class Chair:
    """All steps of one case.

    Attributes
    ----------
    solved : SolvedCase
    steps : tuple of ChairStep
        In the order of the work.
    arcs : tuple of ChairArc
    drawings : dict of str to ChairDrawing
    """

    solved: SolvedCase
    steps: tuple[ChairStep, ...]
    arcs: tuple[ChairArc, ...]
    drawings: dict[str, ChairDrawing]

    def __repr__(self) -> str:
        return f"<Chair {self.solved.case.label!r}: {len(self.steps)} steps>"

    @cached_property
    def checksum(self) -> str:
        """Of all that the steps follow from: the case without its record."""
        return plan_checksum(self.solved.case)

    @property
    def warnings(self) -> tuple[str, ...]:
        """What must be looked at before anything is marked."""
        return self.solved.urgent_sentences

    def of_part(self, part: str) -> tuple[ChairStep, ...]:
        """Its steps, in their order."""
        return tuple(step for step in self.steps if step.part == part)
