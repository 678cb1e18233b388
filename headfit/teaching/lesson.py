"""A lesson as it was written: steps with a caption, what is shown, and what may be dragged.

A *placeholder* is a number or name in braces in a text, ``{length midline}``; it is computed on
the head in use (`headfit.teaching.numbers`). A *figure* is a line of words that says what is drawn,
``tape midline``. A *drag* is the one thing of a step that may be moved. Nothing is computed here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from headfit.case.case import FreePlace
from headfit.nouns import Noun

Option = str | float | bool | tuple[str, ...] | tuple[float, ...]


@dataclass(frozen=True)
class View:
    """Where the camera stands.

    Attributes
    ----------
    words : str
        Directions from the head to the camera: "left", "front left above".
    look_at : str
        A landmark or site in the middle of the picture; empty for the whole head.
    closer : float
        How many times nearer than the whole head.
    """

    words: str
    look_at: str = ""
    closer: float = 1.0


@dataclass(frozen=True)
class Drag:
    """What may be dragged: a kind, and its options by name."""

    kind: str
    options: Mapping[str, Option] = field(default_factory=dict)


@dataclass(frozen=True)
class Question:
    """A question whose right answer is computed.

    Attributes
    ----------
    text, answer : str
        With placeholders.
    wrong : tuple of str
        Other answers, with placeholders.
    why : str
        Said after the answer.
    again : str
        Name of the step that shows it once more; empty for none.
    """

    text: str
    answer: str
    wrong: tuple[str, ...]
    why: str = ""
    again: str = ""


@dataclass(frozen=True)
class Step:
    """One step.

    Attributes
    ----------
    name, title : str
    caption : str
        One or two sentences, with placeholders.
    view : View
    show : tuple of str
        Figures.
    notes : str
        For whoever speaks, with placeholders.
    drag : Drag or None
    watch : tuple of str
        Sites whose way is told in numbers while something is dragged.
    beside : tuple of str
        Figures of a source, told beside the computed ones.
    cards : tuple of (str, str)
        Two sides of each card.
    question : Question or None
    """

    name: str
    title: str
    caption: str
    view: View
    show: tuple[str, ...] = ()
    notes: str = ""
    drag: Drag | None = None
    watch: tuple[str, ...] = ()
    beside: tuple[str, ...] = ()
    cards: tuple[tuple[str, str], ...] = ()
    question: Question | None = None


@dataclass(frozen=True)
class Lesson(Noun):
    """A lesson.

    Attributes
    ----------
    name, title : str
    about : str
        What the class takes home, one sentence.
    sources : tuple of str
        Where its rules and figures are from.
    steps : tuple of Step
    free : tuple of FreePlace
        Places that must stay free in this lesson, whatever the head.
    """

    name: str
    title: str
    about: str
    sources: tuple[str, ...]
    steps: tuple[Step, ...]
    free: tuple[FreePlace, ...] = ()

    def __repr__(self) -> str:
        return f"Lesson({self.name!r}, {self.title!r}, {len(self.steps)} steps)"
