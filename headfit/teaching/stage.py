"""A step as it is shown on one head: plain data, computed beforehand for every stop of a drag.

A *state* is one stop of the drag (or one pair of stops, the second counting faster); a step with
nothing to drag has one. What does not change keeps one state. Between stops whoever shows it goes
straight: stops lie so near that this is within half a millimetre. Head frame, millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headfit.anatomy.head import Head
from headfit.anatomy.site_table import both_names
from headfit.geometry.mesh import Floats
from headfit.hooks import hook
from headfit.nouns import Noun
from headfit.teaching.lesson import Lesson, Step
from headfit.teaching.numbers import Piece, in_one


@dataclass(frozen=True, eq=False)
class DrawnTape:
    """A tape over the skin.

    Attributes
    ----------
    name : str
    look : {"tape", "other", "thin", "plane"}
    points_mm, normals : (S, k, 3) float64
        Of each state, evenly along the tape.
    length_mm : (S,) float64
        In hand: the reading where there is one.
    grows : bool
        Drawn as far as it was pulled.
    """

    name: str
    look: str
    points_mm: Floats
    normals: Floats
    length_mm: Floats
    grows: bool = False


@dataclass(frozen=True, eq=False)
class Dots:
    """Named places on the skin.

    Attributes
    ----------
    look : {"site", "stroke", "landmark", "guess"}
    names : tuple of str
    points_mm, normals : (S, n, 3) float64
    shown : (S, n) bool
    told : tuple of str
        Said under a name, such as where on the tape it is; empty for nothing.
    own_mm : (n, 3) float64 or None
        Where they should be: a ring is drawn there, and an arrow to where they are.
    named : bool
        Names are written beside them.
    """

    look: str
    names: tuple[str, ...]
    points_mm: Floats
    normals: Floats
    shown: NDArray[np.bool_]
    told: tuple[str, ...] = ()
    own_mm: Floats | None = None
    named: bool = True


@dataclass(frozen=True, eq=False)
class Outlines:
    """Closed outlines on the skin, (S, n, k, 3).

    "ring" tells how sure a site is, "place" what must stay free.
    """

    look: str
    names: tuple[str, ...]
    points_mm: Floats
    normals: Floats


@dataclass(frozen=True)
class Axis:
    """What one handle or range input sets.

    Attributes
    ----------
    title, unit : str
    stops : tuple of float
        Rising.
    start : float
    words : tuple of str
        Of each stop, where one chooses among them; empty where one slides.
    """

    title: str
    unit: str
    stops: tuple[float, ...]
    start: float
    words: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Dial:
    """The one thing of a step that may be dragged.

    Attributes
    ----------
    kind : str
    axes : tuple of one or two Axis
    handle_mm, handle_normals : (S, 3) float64 or None
        Where a pointer takes hold on the head.
    handle_title : str
    """

    kind: str
    axes: tuple[Axis, ...]
    handle_mm: Floats | None = None
    handle_normals: Floats | None = None
    handle_title: str = ""


@dataclass(frozen=True, eq=False)
class Reading:
    """A number that follows the drag: (S,) values, as a large number or as a bar.

    What is in "cm" is a length on a tape and told in the unit of the case.
    """

    label: str
    unit: str
    values: Floats
    look: str = "bar"
    n_digits: int = 1


@dataclass(frozen=True, eq=False)
class Balance:
    """Two halves of a tape, (S,) each, cm, that are to be level within a tenth."""

    labels: tuple[str, str]
    longer: tuple[str, str]
    first_cm: Floats
    second_cm: Floats


@dataclass(frozen=True)
class Asked:
    """A question as it is put on this head: options, and which one is right."""

    text: tuple[Piece, ...]
    options: tuple[str, ...]
    right: int
    why: str
    again: str


@dataclass(frozen=True, eq=False)
class Exchange:
    """Distances between all sites, for the lesson in which two marks are exchanged.

    Attributes
    ----------
    names : tuple of str
    points_mm : (n, 3) float64
    apart_cm : (n, n) float64
        Over the scalp.
    neighbours : tuple of (int, int)
        Pairs whose distances are told.
    exchanged : tuple of (int, int)
        Two marks a try.
    """

    names: tuple[str, ...]
    points_mm: Floats
    apart_cm: Floats
    neighbours: tuple[tuple[int, int], ...]
    exchanged: tuple[tuple[int, int], ...]

    def taped(self, turn: int, most: int = 10) -> tuple[tuple[str, str, float, float], ...]:
        """Of a try the neighbours that are farthest off: both names, cm as taped, cm as due."""
        a, b = self.exchanged[turn]
        who = {a: b, b: a}
        rows = [
            (i, j, self.apart_cm[who.get(i, i), who.get(j, j)], self.apart_cm[i, j])
            for i, j in self.neighbours
        ]
        worst = sorted(rows, key=lambda row: -abs(row[2] - row[3]))[:most]
        return tuple(
            (self.names[i], self.names[j], float(taped), float(due))
            for i, j, taped, due in sorted(worst)
        )


@dataclass(frozen=True, eq=False)
class Profile:
    """A schematic profile, no person's: (k, 2) right and down, and what a finger feels at (k,)."""

    points: Floats
    feels: tuple[str, ...]
    knob: bool


@dataclass(frozen=True, eq=False, repr=False)
class StagedStep(Noun):
    """A step on one head.

    Attributes
    ----------
    step : Step
        As it was written.
    head : Head
    caption : tuple of (str, bool)
        Pieces; True for what was computed.
    notes : str
    toward, focus_mm : (3,) float64
        From the focus to the camera; in the middle of the picture.
    height_mm : float
        Of the picture, at the focus.
    tapes, dots, outlines, readings, balances : tuple
    said : tuple of str
        One sentence a state, or none.
    dial : Dial or None
    vertices_mm : (S, n, 3) float64 or None
        Of the head in each state, where it changes.
    asked : Asked or None
    exchange : Exchange or None
    profile : Profile or None
    unit : str
        In which lengths on a tape are told: that of the case.
    old_names : bool
        T3 is told beside T7, and so on: as the case has it, and never where just that is asked.
    cautions : tuple of str
        What this head asks for at the sites of this step.
    """

    step: Step
    head: Head
    caption: tuple[Piece, ...]
    notes: str
    toward: Floats
    focus_mm: Floats
    height_mm: float
    tapes: tuple[DrawnTape, ...] = ()
    dots: tuple[Dots, ...] = ()
    outlines: tuple[Outlines, ...] = ()
    readings: tuple[Reading, ...] = ()
    balances: tuple[Balance, ...] = ()
    said: tuple[str, ...] = ()
    dial: Dial | None = None
    vertices_mm: Floats | None = None
    asked: Asked | None = None
    exchange: Exchange | None = None
    profile: Profile | None = None
    unit: str = "cm"
    old_names: bool = False
    cautions: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return f"StagedStep({self.step.name!r}, {in_one(self.caption)!r})"

    @property
    def start(self) -> int:
        """The state in which the step begins."""
        if self.dial is None:
            return 0
        at = 0
        for axis in self.dial.axes:
            at = at * len(axis.stops) + axis.stops.index(axis.start)
        return at

    def begun(self, states: NDArray[Any]) -> Any:
        """Of something with its states (S, ...) that in which the step begins."""
        return states[min(self.start, len(states) - 1)]

    def called(self, name: str) -> str:
        """A site as it is written in this step; whatever else has a name keeps it."""
        return both_names(name) if self.old_names else name

    def _repr_html_(self) -> str:
        """A drawing of the step, in a notebook."""
        return str(hook("step_drawing")(self))

    def scene(self) -> Any:
        """The step as it begins, as a `headfit.output.scene.Scene`."""
        return hook("step_scene")(self)

    def to_pyvista(self) -> Any:
        """A `pyvista.Plotter` of the step as it begins; needs the extra `pyvista`."""
        return hook("step_to_pyvista")(self)


@dataclass(frozen=True, eq=False, repr=False)
class StagedLesson(Noun):
    """A lesson on one head.

    Attributes
    ----------
    lesson : Lesson
    head_label : str
        Whose head it is: the label of the case.
    steps : tuple of StagedStep
    cautions : tuple of str
        What this head asks for whatever the lesson shows.
    """

    lesson: Lesson
    head_label: str
    steps: tuple[StagedStep, ...]
    cautions: tuple[str, ...] = ()

    def __repr__(self) -> str:
        return (
            f"StagedLesson({self.lesson.name!r}, on {self.head_label!r}, {len(self.steps)} steps)"
        )

    def __getitem__(self, name: str) -> StagedStep:
        """A step by its name.

        Raises
        ------
        UnknownNameError
            No such step.
        """
        from headfit.errors import unknown_name

        for staged in self.steps:
            if staged.step.name == name:
                return staged
        raise unknown_name("step", name, [staged.step.name for staged in self.steps])
