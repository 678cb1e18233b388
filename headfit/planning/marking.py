"""What to mark on a head, in the order it is measured: arc by arc, with both strokes of each cross.

A site is marked as a cross: one stroke along the tape, one across it where another arc passes.

First the midline and the coronal arc, whose halves fix Cz, then the ring through their 10 % marks,
then the rows and what else the rules ask for (Klem et al. 1999). Tape lengths in millimetres.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from headfit.anatomy.arcs import (
    ARCS,
    MARKS,
    PARASAGITTAL_MARKS,
    ArcTracer,
    Rules,
    mirrored,
    on_left,
    side_of,
)
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import TABLE, BesideEar, BeyondRow, Sites, sites_on
from headfit.geometry.mesh import Floats
from headfit.geometry.taperun import TapeRun
from headfit.planning.displacement import Displacement, Move
from headfit.planning.obstacles import Obstacle
from headfit.planning.scalp_paths import scalp_paths

SQUARE = "square to it"

Kind = Literal["cup", "construction", "meets"]


@dataclass(frozen=True)
class PlannedMark:
    """One line to mark on an arc.

    Attributes
    ----------
    name : str
        The site, or what a construction mark is called.
    distance_mm : float
        Tape from the start of the arc.
    step_mm : float
        Tape from the mark before it on this arc, or from the start.
    kind : {"cup", "construction", "meets"}
        A cup comes here; the line only serves other arcs; or the mark was made on another arc and
        the tape must pass over it at this distance.
    other : str
        The arc of the other stroke of the cross, or `SQUARE`.
    stands_for : str
        The site that was moved here, if any.
    blocked : bool
        It lies in a place that must stay free.
    """

    name: str
    distance_mm: float
    step_mm: float
    kind: Kind
    other: str
    stands_for: str = ""
    blocked: bool = False


@dataclass(frozen=True)
class BeyondMark:
    """A site below the end of a row: the tape goes on in its line, away from the other end."""

    name: str
    beyond: str
    distance_mm: float
    kind: Kind
    stands_for: str = ""


@dataclass(frozen=True)
class ArcStep:
    """One arc to be taped.

    Attributes
    ----------
    arc, start, via, end : str
        As they are called on the head.
    length_mm : float
    held : bool
        The tape is held at the middle mark; each side is divided for itself.
    marks : tuple of PlannedMark
        In the order met from the start.
    beyond : tuple of BeyondMark
    """

    arc: str
    start: str
    via: str
    end: str
    length_mm: float
    held: bool
    marks: tuple[PlannedMark, ...]
    beyond: tuple[BeyondMark, ...] = ()


@dataclass(frozen=True)
class Check:
    """The tape between two neighbouring sites, which no arc measured."""

    first: str
    second: str
    length_mm: float


@dataclass(frozen=True, eq=False)
class MarkingPlan:
    """All that is marked.

    Attributes
    ----------
    steps : tuple of ArcStep
    beside_ears : tuple of str
        Sites on ear lobes and mastoids, which no arc marks.
    moved : tuple of Move
        Sites that stand between declared ones now; named moves are on the arcs.
    cups_mm : dict of str to (3,)
        Where every cup comes, by the name of the place, a nameless one by the site that moved.
    checks : tuple of (Check, Check or None)
        Left and right, or one across the midline.
    """

    steps: tuple[ArcStep, ...]
    beside_ears: tuple[str, ...]
    moved: tuple[Move, ...]
    cups_mm: dict[str, Floats]
    checks: tuple[tuple[Check, Check | None], ...]

    def __repr__(self) -> str:
        return f"MarkingPlan({len(self.steps)} arcs, {len(self.cups_mm)} cups)"


def plan_marking(sites: Sites, displacement: Displacement | None = None) -> MarkingPlan:
    """What to mark for these sites, with moved sites where they stand now.

    Raises
    ------
    MeshError
        The surface is broken between two neighbouring sites.

    >>> from headfit import load_template, place_sites
    >>> plan = plan_marking(place_sites(load_template()))
    >>> [step.arc for step in plan.steps]
    ['midline', 'coronal', 'left ring', 'right ring', 'row F', 'row P']
    >>> [(mark.name, mark.kind) for mark in plan.steps[2].marks]
    [('Fp1', 'cup'), ('F7', 'cup'), ('T7', 'meets'), ('P7', 'cup'), ('O1', 'cup')]
    """
    moves = displacement.moves if displacement else ()
    left_out = displacement.left_out if displacement else {}
    place_of = {move.site: move.toward for move in moves if move.named}
    nameless = tuple(move for move in moves if not move.named)
    skipped = {*left_out, *(move.site for move in nameless)}
    names = tuple(place_of.get(name, name) for name in sites.names if name not in skipped)
    # A cup that goes so far toward a site is found from its own place and that site.
    lines = {name for move in nameless for name in (move.site, move.toward)} - set(names)
    placed = sites_on(sites.tracer, (*names, *sorted(lines)), sites.system)
    stands_for = {place: site for site, place in place_of.items()}

    obstacles = displacement.obstacles if displacement else ()
    steps = tuple(
        replace(
            step,
            marks=tuple(
                replace(
                    mark,
                    stands_for=stands_for.get(mark.name, ""),
                    blocked=_blocked(obstacles, sites.tracer.run(step.arc), mark.distance_mm),
                )
                for mark in step.marks
            ),
            beyond=tuple(
                replace(mark, stands_for=stands_for.get(mark.name, "")) for mark in step.beyond
            ),
        )
        for step in _Arcs(placed, lines).steps()
    )
    cups = {name: placed[name] for name in names}
    cups |= {move.site: move.point_mm for move in nameless}
    beside_ears = tuple(name for name in names if isinstance(TABLE[name], BesideEar))
    scalp = {name: point for name, point in cups.items() if name not in beside_ears}
    checks = _checks(sites.tracer, scalp, _measured_pairs(steps))
    return MarkingPlan(steps, beside_ears, nameless, cups, checks)


def _blocked(obstacles: Iterable[Obstacle], run: TapeRun, distance_mm: float) -> bool:
    """Whether a mark at a tape length from the start lies in a place that must stay free."""
    point = run.points_mm([run.fraction(distance_mm)])
    return any(bool(obstacle.covers(point)[0]) for obstacle in obstacles)


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


class _Arcs:
    """The arcs that some sites need, and what is marked on each; `lines` take no cup."""

    def __init__(self, sites: Sites, lines: Collection[str]) -> None:
        self.sites = sites
        self.lines = lines
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

    def steps(self) -> tuple[ArcStep, ...]:
        """Every arc with its marks."""
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
                kind: Kind = "construction" if name in self.lines else "cup"
                marks[name] = run.distance_mm(fraction), kind
        for name, other in self.crossings.items():
            if other == arc:
                marks[name] = tape_distance_mm(run, self.sites[name]), "meets"
        return marks

    def _step(
        self, arc: str, marks: Mapping[str, tuple[float, Kind]], passes: Mapping[str, set[str]]
    ) -> ArcStep:
        run = self.sites.tracer.run(arc)
        ordered = sorted(marks.items(), key=lambda item: item[1][0])
        reached = 0.0
        planned = []
        for name, (distance, kind) in ordered:
            others = [other for other in self.arcs if other != arc and name in passes[other]]
            other = others[0] if others else SQUARE
            planned.append(PlannedMark(name, distance, distance - reached, kind, other))
            reached = distance
        start, via, end = (_title(name, self.rules) for name in ARCS[arc].marks)
        coronal = self.sites.tracer.length_mm("coronal")
        beyond = tuple(
            BeyondMark(
                name,
                end if place.at_end else start,
                place.coronal_share * coronal,
                "construction" if name in self.lines else "cup",
            )
            for name, place in self.beyond.items()
            if place.arc == arc
        )
        return ArcStep(
            arc, start, via, end, run.length_mm, ARCS[arc].pinned, tuple(planned), beyond
        )


def _measured_pairs(steps: Iterable[ArcStep]) -> set[frozenset[str]]:
    """Neighbours on an arc, whose distance is on the sheet already."""
    pairs: set[frozenset[str]] = set()
    for step in steps:
        along = [step.start, *(mark.name for mark in step.marks), step.end]
        pairs |= {frozenset(pair) for pair in pairwise(along)}
        pairs |= {frozenset((mark.name, mark.beyond)) for mark in step.beyond}
    return pairs


def _checks(
    tracer: ArcTracer, cups: Mapping[str, Floats], measured: set[frozenset[str]]
) -> tuple[tuple[Check, Check | None], ...]:
    """Tapes between neighbours that no arc measured, from front to back, left beside right."""
    names = list(cups)
    if len(names) < 2:
        return ()
    points = np.array([cups[name] for name in names])
    pairs = [(names[i], names[j]) for i, j in _neighbours(tracer, points)]
    once: dict[frozenset[str], tuple[str, str]] = {}
    for a, b in pairs:
        for pair in ((a, b), (mirrored(a), mirrored(b))):
            if cups.keys() >= set(pair):
                once.setdefault(frozenset(pair), pair)
    wanted = [pair for key, pair in once.items() if key not in measured]
    runs = scalp_paths(tracer, [(cups[a], cups[b]) for a, b in wanted])
    found = {
        frozenset(pair): Check(*pair, run.length_mm) for pair, run in zip(wanted, runs, strict=True)
    }
    forward = tracer.point("nasion") - tracer.point("inion")
    rows: list[tuple[Check, Check | None]] = []
    for pair in sorted(wanted, key=lambda p: -float((cups[p[0]] + cups[p[1]]) @ forward)):
        check = found.pop(frozenset(pair), None)
        if check is None:
            continue
        across = [mirrored(name) for name in pair]
        other = found.pop(frozenset(across), None)
        rows.append((other, check) if other is not None and on_left(across) else (check, other))
    return tuple(rows)


def _neighbours(tracer: ArcTracer, points: Floats) -> list[tuple[int, int]]:
    """Pairs of points (n, 3) with no third one in the ball between them, on one side of the head.

    The graph of Gabriel & Sokal 1969, Systematic Zoology 18.
    """
    square = ((points[:, None] - points) ** 2).sum(axis=2)
    # A third point lies in the ball when it sees the two at an obtuse angle (Pythagoras).
    clear = np.array([(row + square).min(axis=1) >= row - 1e-3 for row in square])
    # The middle of the landmarks is near enough to the middle of the head to tell its sides apart.
    outward = points - np.mean([tracer.point(name) for name in LANDMARK_NAMES], axis=0)
    first, second = np.nonzero(np.triu(clear & (outward @ outward.T > 0), 1))
    return list(zip(first.tolist(), second.tolist(), strict=True))
