"""How a tape is walked along an arc: from which mark, how far, and what is marked on the way. mm.

An arc that is free is walked from its start, one that is held in the middle from both ends to the
middle. Where a place must stay free the tape ends before it, and what lies behind is walked from
a mark on that side.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from headfit.anatomy.arc_tapes import ArcTape
from headfit.geometry.taperun import TapeRun
from headfit.planning.clear_tapes import Stretch, run_stretches
from headfit.planning.obstacles import Obstacle

Kind = Literal["cup", "construction", "meets"]

_NEAR_MM = 1e-6


@dataclass(frozen=True)
class PlannedMark:
    """One line to mark on an arc.

    Attributes
    ----------
    name : str
        The site, or what a construction mark is called.
    distance_mm : float
        Tape in hand from the start of the arc, or from the zero of the walk.
    step_mm : float
        Tape from the mark before it, or from the start.
    kind : {"cup", "construction", "meets"}
        A cup comes here; the line only serves other arcs; or the mark was made on another arc and
        the tape must pass over it at this distance.
    other : str
        The arc of the other stroke of the cross, or empty for a short stroke across the tape.
    share : float
        Of the reading by which the arc is divided, 0..1: of one half where the tape is held.
    stands_for : str
        The site that was moved here, if any.
    blocked : bool
        It lies in a place that must stay free: it is not marked.
    """

    name: str
    distance_mm: float
    step_mm: float
    kind: Kind
    other: str
    share: float = 0.0
    stands_for: str = ""
    blocked: bool = False


@dataclass(frozen=True)
class Walk:
    """A tape laid from a mark that exists.

    Attributes
    ----------
    zero, toward : str
        Where the zero of the tape lies, and the mark it is aimed at.
    length_mm : float
        What the shares of the marks are shares of: a whole arc, or a half.
    marks : tuple of PlannedMark
        In the order met.
    stop_mm : float or None
        Where the tape must end, before a place that must stay free; None where it runs through.
    """

    zero: str
    toward: str
    length_mm: float
    marks: tuple[PlannedMark, ...]
    stop_mm: float | None = None


@dataclass(frozen=True)
class ArcPlan:
    """What is to be marked on one arc, before it is told from where. `at` are fitted lengths."""

    run: TapeRun
    tape: ArcTape
    held: bool
    names: tuple[str, str, str]
    marks: tuple[PlannedMark, ...]
    at: tuple[float, ...]


def walks_of(
    plan: ArcPlan, obstacles: Sequence[Obstacle], made: Collection[str]
) -> tuple[tuple[Walk, ...], tuple[str, ...]]:
    """The walks that mark an arc, and the marks that no clear tape from a mark reaches.

    Parameters
    ----------
    plan : ArcPlan
    obstacles : sequence of Obstacle
    made : collection of str
        Marks that exist already, landmarks among them; a blocked one never does.
    """
    stretches = run_stretches(plan.run, obstacles)
    start, via, end = plan.names
    length = plan.run.length_mm
    if plan.held:
        parts = [((start, 0.0), (via, plan.run.via_mm)), ((end, length), (via, plan.run.via_mm))]
    else:
        parts = [((start, 0.0), (end, length))]
    walks: list[Walk] = []
    unreached: list[str] = []
    for first, last in parts:
        low, high = sorted((first[1], last[1]))
        inside = [
            (mark, at)
            for mark, at in zip(plan.marks, plan.at, strict=True)
            if low - _NEAR_MM <= at <= high + _NEAR_MM
            and not mark.blocked
            and not (plan.held and mark.name == via)
        ]
        part = _Part(plan, first, last, (via, plan.run.via_mm), inside, made)
        if any(a <= low + 1e-3 and b >= high - 1e-3 for a, b in stretches) and first[0] in made:
            walks.append(part.walked_through())
        else:
            found, missed = part.walked_up_to(stretches)
            walks += found
            unreached += missed
    return tuple(walk for walk in walks if walk.marks), tuple(unreached)


@dataclass(frozen=True)
class _Part:
    """A whole arc, or one half of a held one, from `first` to `last`: name and fitted length."""

    plan: ArcPlan
    first: tuple[str, float]
    last: tuple[str, float]
    via: tuple[str, float]
    inside: list[tuple[PlannedMark, float]]
    made: Collection[str]

    def _in_hand(self, name: str, at: float) -> float:
        return self.plan.tape.via_mm if name == self.via[0] else self.plan.tape.at(at)

    @property
    def _length_mm(self) -> float:
        tape = self.plan.tape
        return abs(tape.at(self.last[1]) - tape.at(self.first[1]))

    def _walk(
        self,
        zero: tuple[str, float],
        toward: str,
        marks: Sequence[tuple[PlannedMark, float]],
        stop_at: float | None,
    ) -> Walk:
        origin = self._in_hand(*zero)
        told, reached = [], 0.0
        for mark, at in sorted(marks, key=lambda item: abs(item[1] - zero[1])):
            distance = abs(self._in_hand(mark.name, at) - origin)
            share = distance / self._length_mm
            told.append(
                replace(mark, distance_mm=distance, step_mm=distance - reached, share=share)
            )
            reached = distance
        stop = None if stop_at is None else abs(self._in_hand("", stop_at) - origin)
        return Walk(zero[0], toward, self._length_mm, tuple(told), stop)

    def walked_through(self) -> Walk:
        """From the first end to the last, no place in between."""
        return self._walk(self.first, self.last[0], self.inside, None)

    def walked_up_to(self, stretches: Sequence[Stretch]) -> tuple[list[Walk], list[str]]:
        """Each side by itself, from a mark that exists in the same clear stretch."""
        points = (self.first, self.last) if self.plan.held else (self.first, self.last, self.via)
        anchors = [point for point in points if point[0] in self.made]
        by_walk: dict[tuple[tuple[str, float], bool], list[tuple[PlannedMark, float]]] = {}
        missed = []
        for mark, at in self.inside:
            stretch = next(((a, b) for a, b in stretches if a - 0.01 <= at <= b + 0.01), None)
            near = [
                anchor
                for anchor in anchors
                if stretch and stretch[0] - 0.01 <= anchor[1] <= stretch[1] + 0.01
            ]
            if mark.kind == "meets":
                continue
            if not near:
                missed.append(mark.name)
                continue
            # Where the tape can still be laid from its first end, all is told from there.
            zero = next((point for point in (self.first, self.last) if point in near), near[0])
            by_walk.setdefault((zero, at >= zero[1]), []).append((mark, at))
        walks = []
        for (zero, up), marks in by_walk.items():
            aim = max if up else min
            toward = aim((self.first, self.last), key=lambda point: point[1])
            limit = next((b if up else a) for a, b in stretches if a - 0.01 <= zero[1] <= b + 0.01)
            stop = limit if abs(limit - toward[1]) > 0.01 else None
            walks.append(self._walk(zero, toward[0], marks, stop))
        return walks, missed
