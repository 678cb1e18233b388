"""What to mark on a head, in the order it is measured: arc by arc, with both strokes of each cross.

A site is marked as a cross: one stroke along the tape, one across it where another arc passes.

First the midline and the coronal arc, whose halves fix Cz, then the ring through their 10 % marks,
then the rows and what else the rules ask for (Klem et al. 1999). No tape is laid over a place that
must stay free (`planning.walks`, `planning.checks`). Tape lengths in millimetres: those of the tape
in hand where an arc was read (`anatomy.arc_tapes`).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np

from headfit.anatomy.arc_tapes import ArcTape, TapeOn, as_computed
from headfit.anatomy.arcs import mirrored
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import TABLE, BesideEar, Sites, run_with_ends, sites_on
from headfit.geometry.mesh import Floats
from headfit.geometry.taperun import TapeRun
from headfit.planning.arc_steps import Arcs, ArcStep, BeyondMark, Found, found_on
from headfit.planning.checks import Bearing, Check, PairSpreads, bearing, check_list
from headfit.planning.clear_tapes import is_clear
from headfit.planning.displacement import Displacement
from headfit.planning.obstacles import Obstacle
from headfit.planning.walks import PlannedMark, walks_of
from headfit.units import tape_length


@dataclass(frozen=True, eq=False)
class MarkingPlan:
    """All that is marked.

    Attributes
    ----------
    steps : tuple of ArcStep
    beside_ears : tuple of str
        Sites on ear lobes and mastoids, which no arc marks.
    bearings : tuple of Bearing
        Sites that are found by two short tapes from other marks.
    by_eye : tuple of str
        Sites that no clear tape reaches.
    cups_mm : dict of str to (3,)
        Where every cup comes, by the name of the place, a nameless one by the site that moved.
    checks : tuple of (Check, Check or None)
        Left and right, or one across the midline.
    forbidden_checks : tuple of str
        Neighbours between which no tape may be laid.
    obstacles : tuple of Obstacle
    """

    steps: tuple[ArcStep, ...]
    beside_ears: tuple[str, ...]
    bearings: tuple[Bearing, ...]
    by_eye: tuple[str, ...]
    cups_mm: dict[str, Floats]
    checks: tuple[tuple[Check, Check | None], ...]
    forbidden_checks: tuple[str, ...] = ()
    obstacles: tuple[Obstacle, ...] = ()

    def __repr__(self) -> str:
        return f"MarkingPlan({len(self.steps)} arcs, {len(self.cups_mm)} cups)"

    @cached_property
    def found(self) -> dict[str, Found]:
        """Where on a tape each mark is made, those that a tape marks."""
        return found_on(self.steps)

    @cached_property
    def sentences(self) -> tuple[str, ...]:
        """Where a tape must end, and how sites are found that no arc marks."""
        said = [
            f"{step.arc[0].upper()}{step.arc[1:]}: from {zero} toward {toward} the tape ends at "
            f"{tape_length(floor_mm(stop))}."
            for step in self.steps
            for zero, toward, stop in step.stops
        ]
        said += [f"{found.title} is found {found.words}." for found in self.bearings]
        said += [f"{site} is set by eye: no clear tape reaches its place." for site in self.by_eye]
        return tuple(said)


def floor_mm(length_mm: float) -> float:
    """Down to the millimetre: what is rounded up would lie on a place that must stay free."""
    return float(np.floor(length_mm + 1e-6))


def plan_marking(
    sites: Sites,
    displacement: Displacement | None = None,
    tape_on: TapeOn | None = None,
    pair_spreads: PairSpreads | None = None,
) -> MarkingPlan:
    """What to mark for these sites, with moved sites where they stand now.

    Parameters
    ----------
    sites : Sites
    displacement : Displacement, optional
    tape_on : callable, optional
        The tape on an arc, as it was read or is predicted; by default that of the head itself.
    pair_spreads : callable, optional
        How sure a distance between two declared sites is, mm.

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

    def computed(arc: str) -> ArcTape:
        return as_computed(sites.tracer.run(arc))

    return _Planning(sites, displacement, tape_on or computed, pair_spreads).plan()


class _Planning:
    """One plan in the making."""

    def __init__(
        self,
        sites: Sites,
        displacement: Displacement | None,
        tape_on: TapeOn,
        pair_spreads: PairSpreads | None,
    ) -> None:
        self.sites, self.tape_on, self.pair_spreads = sites, tape_on, pair_spreads
        self.moves = displacement.moves if displacement else ()
        self.obstacles = displacement.obstacles if displacement else ()
        left_out = displacement.left_out if displacement else {}
        self.place_of = {move.site: move.toward for move in self.moves if move.named}
        self.stands_for = {place: site for site, place in self.place_of.items()}
        self.missed: set[str] = set()  # what no arc reaches
        self.nameless = {move.site: move for move in self.moves if not move.named}
        self.names = tuple(
            self.place_of.get(name, name)
            for name in sites.names
            if name not in left_out and name not in self.nameless
        )

    def plan(self) -> MarkingPlan:
        """Arcs as far as clear tapes reach, then what is found from their marks."""
        tracer = self.sites.tracer
        placed = sites_on(tracer, self.names, self.sites.system, self.sites.rules)
        # An arc of its own for a moved site would need marks that nothing else needs.
        by_tapes = {
            place for place in self.place_of.values() if place in self._off_the_arcs(placed)
        }
        while True:
            steps, marks, missed = self._walked(by_tapes)
            if missed:
                by_tapes |= set(missed)
                continue
            wanted = [
                (self.stands_for.get(n, n), n, placed[n]) for n in self.names if n in by_tapes
            ]
            wanted += [(move.site, "", move.point_mm) for move in self.nameless.values()]
            found, by_eye = self._bearings(wanted, marks)
            on_an_arc = {self.place_of.get(site, "") for site in by_eye} & by_tapes - self.missed
            if not on_an_arc:
                break
            by_tapes -= on_an_arc
        cups = {name: placed[name] for name in self.names}
        cups |= {move.site: move.point_mm for move in self.nameless.values()}
        beside_ears = tuple(name for name in self.names if isinstance(TABLE[name], BesideEar))
        scalp = {name: point for name, point in cups.items() if name not in beside_ears}
        measured = _measured_pairs(steps, found)
        listed = check_list(tracer, scalp, measured, self.obstacles, self.pair_spreads)
        return MarkingPlan(
            steps, beside_ears, found, by_eye, cups, listed.rows, listed.forbidden, self.obstacles
        )

    def _off_the_arcs(self, placed: Sites) -> set[str]:
        """Places of moved sites on arcs that no other site of the sheet needs."""
        places = set(self.place_of.values())
        others = tuple(name for name in self.names if name not in places)
        needed = Arcs(
            sites_on(placed.tracer, others, placed.system, placed.rules), self.tape_on
        ).arcs
        arc_of = {name: placed.arc_of(name) for name in places}
        return {name for name, found in arc_of.items() if found and found[0] not in needed}

    def _covered(self, point: Floats) -> bool:
        return any(bool(obstacle.covers(point[None])[0]) for obstacle in self.obstacles)

    def _bearings(
        self, wanted: Iterable[tuple[str, str, Floats]], marks: Mapping[str, Floats]
    ) -> tuple[tuple[Bearing, ...], tuple[str, ...]]:
        found: dict[str, Bearing] = {}
        by_eye = []
        for site, place, point in wanted:
            other = found.get(mirrored(site))
            wish = None
            if other is not None:
                wish = mirrored(other.first.first), mirrored(other.second.first)
            at = "" if place == site else place
            way = bearing(self.sites.tracer, site, at, point, marks, self.obstacles, wish)
            if way is None:
                by_eye.append(site)
            else:
                found[site] = way
        return tuple(found.values()), tuple(by_eye)

    def _walked(
        self, without: Collection[str]
    ) -> tuple[tuple[ArcStep, ...], dict[str, Floats], list[str]]:
        """Steps with their walks, the marks that are made, and the cups that are not reached."""
        tracer = self.sites.tracer
        reached = tuple(name for name in self.names if name not in without)
        sites = sites_on(tracer, reached, self.sites.system, self.sites.rules)
        made = {
            TITLES[name]: tracer.point(name)
            for name in LANDMARK_NAMES
            if not self._covered(tracer.point(name))
        }
        done: list[ArcStep] = []
        missed: list[str] = []
        for step, plan in Arcs(sites, self.tape_on).steps():
            points = plan.run.points_mm([plan.run.fraction(at) for at in plan.at])
            marks: tuple[PlannedMark, ...] = tuple(
                replace(
                    mark,
                    stands_for=self.stands_for.get(mark.name, ""),
                    blocked=self._covered(point),
                )
                for mark, point in zip(plan.marks, points, strict=True)
            )
            walks, unreached = walks_of(replace(plan, marks=marks), self.obstacles, made)
            known = dict(zip((mark.name for mark in marks), points, strict=True))
            made |= {
                mark.name: known[mark.name]
                for walk in walks
                for mark in walk.marks
                if mark.kind != "meets" and not self._covered(known[mark.name])
            }
            beyond_run = run_with_ends(tracer, step.arc) if step.beyond else plan.run
            beyond = tuple(
                replace(mark, stands_for=self.stands_for.get(mark.name, "")) for mark in step.beyond
            )
            clear = tuple(
                mark
                for mark in beyond
                if mark.beyond in made
                and is_clear(_way_beyond(beyond_run, mark, step.end), self.obstacles)
            )
            kinds = {m.name: m.kind for m in marks} | {m.name: m.kind for m in beyond}
            lost = [*unreached, *(mark.name for mark in beyond if mark not in clear)]
            missed += [name for name in lost if kinds[name] == "cup"]
            self.missed |= set(missed)
            for mark in clear:
                made[mark.name] = _way_beyond(beyond_run, mark, step.end)[-1]
            if walks or clear:
                done.append(replace(step, marks=marks, walks=walks, beyond=clear))
        return tuple(done), made, missed


def _way_beyond(run: TapeRun, mark: BeyondMark, end: str) -> Floats:
    """(k, 3) the tape from the end of a row to a site below it."""
    stations = np.linspace(0.0, mark.distance_mm, max(int(mark.distance_mm), 2))
    return run.after_end_mm(stations) if mark.beyond == end else run.before_start_mm(stations)


def _measured_pairs(steps: Iterable[ArcStep], bearings: Iterable[Bearing]) -> set[frozenset[str]]:
    """Neighbours on an arc, whose distance is on the sheet already."""
    pairs: set[frozenset[str]] = set()
    for step in steps:
        along = [step.start, *(mark.name for mark in step.marks), step.end]
        pairs |= {frozenset(pair) for pair in pairwise(along)}
        pairs |= {frozenset((mark.name, mark.beyond)) for mark in step.beyond}
    for found in bearings:
        pairs |= {frozenset((c.first, c.second)) for c in (found.first, found.second)}
    return pairs
