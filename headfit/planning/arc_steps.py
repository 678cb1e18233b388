"""The arcs that some sites need, in the order they are measured, and what is marked on each. mm."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from headfit.anatomy.arc_tapes import ArcTape, TapeOn
from headfit.anatomy.arcs import ARCS, MARKS, PARASAGITTAL_MARKS, Rules, side_of
from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import TABLE, BeyondRow, Sites
from headfit.geometry.mesh import Floats
from headfit.geometry.taperun import TapeRun
from headfit.planning.walks import ArcPlan, Kind, PlannedMark, Walk, walks_of

# The other stroke of a mark through which no second arc runs.
ACROSS = "across"


@dataclass(frozen=True)
class BeyondMark:
    """A site below the end of a row: the tape goes on in its line, away from the other end."""

    name: str
    beyond: str
    distance_mm: float
    kind: Kind
    stands_for: str = ""
    own: bool = False  # the coronal arc, of which it is a share, was read


@dataclass(frozen=True)
class ArcStep:
    """One arc to be taped.

    Attributes
    ----------
    arc, start, via, end : str
        As they are called on the head.
    tape : ArcTape
        As it was read, or as it is predicted.
    held : bool
        The tape is held at the middle mark; each side is divided for itself.
    marks : tuple of PlannedMark
        All of them, in the order met from the start, blocked ones too.
    walks : tuple of Walk
        How they are marked, over clear scalp only.
    beyond : tuple of BeyondMark
    """

    arc: str
    start: str
    via: str
    end: str
    tape: ArcTape
    held: bool
    marks: tuple[PlannedMark, ...]
    walks: tuple[Walk, ...] = ()
    beyond: tuple[BeyondMark, ...] = ()

    @property
    def length_mm(self) -> float:
        """The whole length in hand."""
        return self.tape.length_mm

    @property
    def stops(self) -> tuple[tuple[str, str, float], ...]:
        """Where a tape must end before a place: zero, aim and length of such walks."""
        return tuple((w.zero, w.toward, w.stop_mm) for w in self.walks if w.stop_mm is not None)


def tape_distance_mm(run: TapeRun, point: Floats) -> float:
    """Tape length from the start of an arc to where it passes over a point (3,) of its curve."""
    path, over = run.curve.path_mm, run.over_skin_mm
    span = path[1:] - path[:-1]
    along = np.einsum("ij,ij->i", point - path[:-1], span) / np.einsum("ij,ij->i", span, span)
    along = np.clip(along, 0.0, 1.0)
    gap = np.linalg.norm(path[:-1] + along[:, None] * span - point, axis=1)
    piece = int(gap.argmin())
    return float(over[piece] + along[piece] * (over[piece + 1] - over[piece]))


def _title(name: str, rules: Rules) -> str:
    """What the start, middle or end of an arc is called on the head."""
    if rules.temporal == "ring" and name in ("T7", "T8"):
        # The site stands in the middle of the half ring then; this is the mark the ring runs over.
        return "10 % left" if name == "T7" else "10 % right"
    return PARASAGITTAL_MARKS.get(name) or TITLES.get(name, name)


@dataclass(frozen=True)
class Found:
    """Where a site is marked: so far from a zero, on the tape of an arc."""

    arc: str
    zero: str
    distance_mm: float
    share: float
    tape: ArcTape


def found_on(steps: Iterable[ArcStep]) -> dict[str, Found]:
    """Where each mark of some steps is made, by what it is called."""
    found = {}
    for step in steps:
        for walk in step.walks:
            for mark in walk.marks:
                if mark.kind != "meets":
                    place = Found(step.arc, walk.zero, mark.distance_mm, mark.share, step.tape)
                    found[mark.name] = place
    return found


def places_on_tape(sites: Sites, tape_on: TapeOn) -> dict[str, Found]:
    """Where each site on an arc is marked while no place must stay free."""
    every = dict.fromkeys(TITLES.values())
    steps = []
    for step, plan in Arcs(sites, tape_on).steps():
        walks, _ = walks_of(plan, (), every)
        every |= dict.fromkeys(mark.name for mark in step.marks)
        steps.append(replace(step, walks=walks))
    return found_on(steps)


class Arcs:
    """The arcs that some sites need, and what is marked on each."""

    def __init__(self, sites: Sites, tape_on: TapeOn) -> None:
        self.sites = sites
        self.tape_on = tape_on
        self.rules = sites.rules
        self.crossings = {
            name: "left parasagittal" if side_of(name) < 0 else "right parasagittal"
            for name in ("F3", "F4", "P3", "P4")
            if self.rules.inner == "crossing" and name in sites.names
        }
        self.own_arc: dict[str, tuple[str, float]] = {
            name: found for name in sites.names if (found := sites.arc_of(name)) is not None
        }
        self.beyond = {
            name: place
            for name in sites.names
            if name not in self.own_arc and isinstance(place := TABLE[name], BeyondRow)
        }
        self.arcs = self._needed()

    def _needed(self) -> tuple[str, ...]:
        """In the order they are measured, with those on which others hang."""
        waiting = [arc for arc, _ in self.own_arc.values()]
        waiting += [place.arc for place in self.beyond.values()]
        waiting += list(self.crossings.values())
        needed: set[str] = set()
        while waiting:
            arc = waiting.pop()
            if arc in needed:
                continue
            needed.add(arc)
            for mark in ARCS[arc].marks:
                waiting += ["midline", "coronal"] if mark == "Cz" else []
                waiting += [MARKS[mark][0]] if mark in MARKS else []
        return tuple(arc for arc in ARCS if arc in needed)

    def steps(self) -> tuple[tuple[ArcStep, ArcPlan], ...]:
        """Every arc with its marks, by the tape in hand and on the head itself."""
        self.sites.tracer.trace(self.arcs)
        marks = {arc: self._marks(arc) for arc in self.arcs}
        passes = {
            arc: {_title(name, self.rules) for name in ARCS[arc].marks} | set(marks[arc])
            for arc in self.arcs
        }
        return tuple(self._step(arc, marks[arc], passes) for arc in self.arcs)

    def _marks(self, arc: str) -> dict[str, tuple[float, Kind]]:
        """Distance and kind of every mark of an arc, by what it is called."""
        run = self.sites.tracer.run(arc)
        marks: dict[str, tuple[float, Kind]] = {}
        for needing in self.arcs:
            for name in ARCS[needing].marks:
                if name in MARKS and MARKS[name][0] == arc:
                    distance = run.distance_mm(MARKS[name][1])
                    marks[_title(name, self.rules)] = distance, "construction"
        if arc == "midline":
            marks["Cz"] = run.via_mm, "construction"
        elif ARCS[arc].via not in TITLES:
            marks[_title(ARCS[arc].via, self.rules)] = run.via_mm, "meets"
        for name, (own, fraction) in self.own_arc.items():
            if own == arc:
                marks[name] = run.distance_mm(fraction), "cup"
        for name, other in self.crossings.items():
            if other == arc:
                marks[name] = tape_distance_mm(run, self.sites[name]), "meets"
        return marks

    def _step(
        self, arc: str, marks: Mapping[str, tuple[float, Kind]], passes: Mapping[str, set[str]]
    ) -> tuple[ArcStep, ArcPlan]:
        run = self.sites.tracer.run(arc)
        tape = self.tape_on(arc)
        ordered = sorted(marks.items(), key=lambda item: item[1][0])
        start, via, end = (_title(name, self.rules) for name in ARCS[arc].marks)
        reached = 0.0
        planned = []
        for name, (at, kind) in ordered:
            others = [other for other in self.arcs if other != arc and name in passes[other]]
            distance = tape.via_mm if name == via else tape.at(at)
            share = distance / tape.length_mm
            other = others[0] if others else ACROSS
            planned.append(PlannedMark(name, distance, distance - reached, kind, other, share))
            reached = distance
        whole = self.tape_on("coronal")
        beyond = tuple(
            BeyondMark(
                name,
                end if place.at_end else start,
                place.coronal_share * whole.length_mm,
                "cup",
                own=whole.own,
            )
            for name, place in self.beyond.items()
            if place.arc == arc
        )
        places = tuple(at for _, (at, _) in ordered)
        held = ARCS[arc].pinned
        step = ArcStep(arc, start, via, end, tape, held, tuple(planned), (), beyond)
        return step, ArcPlan(run, tape, held, (start, via, end), tuple(planned), places)
