"""The places where displaced cups could stand: named sites, and millimetres toward a neighbour.

A cup is the electrode at a site; a place is clear when the cup touches no place that must stay free
and comes too near to no other cup. Homologues, such as F3 and F4, move by the same fractions of the
same arcs. Millimetres along the tape.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from headfit.anatomy.arcs import mirrored
from headfit.anatomy.sites import LANDMARK_SITES, SCALP_SITES, TABLE, BesideEar, Sites, sites_on
from headfit.geometry.mesh import Floats
from headfit.geometry.taperun import TapeRun
from headfit.planning.choosing import Options
from headfit.planning.obstacles import Obstacle
from headfit.planning.scalp_paths import scalp_paths

# A named place is taken when a nameless one would save less than this.
NAME_WORTH_MM = 5.0
# A cup moves toward a neighbour: a site one 10-20 step away, or one step along each arc (diagonal).
GUIDE_OF_MIDLINE = 0.27
STEP_MM = 1.0

# Places that are no scalp, or are landmarks.
_NO_TARGET = frozenset({*LANDMARK_SITES, "A1", "A2"})


def covered(obstacles: Sequence[Obstacle], points: Floats) -> NDArray[np.bool_]:
    """(n,) whether a cup at each of the points (n, 3) would touch one of the places."""
    inside = np.zeros(len(points), bool)
    for obstacle in obstacles:
        inside |= obstacle.covers(points)
    return inside


@dataclass(frozen=True, eq=False)
class Search:
    """The clear places of every group."""

    sites: Sites
    obstacles: tuple[Obstacle, ...]
    groups: list[tuple[str, ...]]
    homologues: bool
    apart_mm: float
    farthest_mm: float

    @cached_property
    def target(self) -> dict[str, Floats]:
        """Every declared site on which a cup may stand or toward which it may go: place (3,)."""
        names = tuple(name for name in TABLE if name not in _NO_TARGET)
        placed = sites_on(self.sites.tracer, names, "10-5")
        hits = covered(self.obstacles, placed.points_mm)
        return {
            name: point
            for name, point, hit in zip(names, placed.points_mm, hits, strict=True)
            if not hit or name in self.sites.names or name in SCALP_SITES
        }

    @cached_property
    def staying(self) -> Floats:
        """(n, 3) the cups that do not move."""
        moving = {name for group in self.groups for name in group}
        return self.sites.points_mm[
            [i for i, name in enumerate(self.sites.names) if name not in moving]
        ]

    @cached_property
    def guides(self) -> tuple[str, ...]:
        """Sites toward which a cup may be moved: those of the sheet and of 10-20."""
        names = dict.fromkeys((*self.sites.names, *SCALP_SITES))
        return tuple(name for name in names if name in self.target)

    def options(self, group: tuple[str, ...], blocked: Sequence[str]) -> Options:
        """Clear places of a group, cheapest first; then leaving it out."""
        own = [self.sites[name] for name in group]
        named = self._toward(group, own, self.target, self.farthest_mm)
        # An ear lobe is no place between two sites: its cup goes to a named one, or nowhere.
        beside_ear = any(isinstance(TABLE[name], BesideEar) for name in group)
        guided = self._toward(
            group,
            own,
            () if beside_ear else self.guides,
            GUIDE_OF_MIDLINE * self.sites.tracer.length_mm("midline"),
        )
        toward = [*named, *guided]
        ends = [[self.target[name] for name in names] for names in toward]
        pairs = [pair for places in ends for pair in zip(own, places, strict=True)]
        runs = scalp_paths(self.sites.tracer, pairs)
        n_cups = len(group)
        points: list[Floats] = [np.empty((0, n_cups, 3))]
        moved: list[Floats] = [np.empty((0, n_cups))]
        costs, rows = [np.empty(0)], [np.empty(0, int)]
        for row, places in enumerate(ends):
            tapes = runs[n_cups * row : n_cups * (row + 1)]
            if row < len(named):
                along, worth = np.ones(1), 0.0
                points.append(np.array([places]))
            else:
                along, worth = _stations(tapes[0], self.farthest_mm), NAME_WORTH_MM * n_cups
                points.append(np.stack([tape.points_mm(along) for tape in tapes], axis=1))
            moved.append(np.outer(along, [tape.length_mm for tape in tapes]))
            costs.append(moved[-1].sum(axis=1) + worth)
            rows.append(np.full(len(along), row))
        found = Options(
            np.concatenate(points),
            np.concatenate(moved),
            np.concatenate(costs),
            np.concatenate(rows),
            tuple(toward),
            tuple(runs),
        )
        staying = np.array(
            [np.full(3, np.inf) if name in blocked else self.sites[name] for name in group]
        )
        return found.kept(self._clear(found)).cheapest_first().or_left_out(staying)

    def _toward(
        self, group: tuple[str, ...], own: list[Floats], names: Iterable[str], farthest_mm: float
    ) -> list[tuple[str, ...]]:
        """For every name the sites toward which the cups go, all of them near enough."""
        partners = (self._partners(group, name) for name in names)
        return [
            ends
            for ends in partners
            if ends
            and all(
                end in self.target and 0.0 < np.linalg.norm(self.target[end] - place) <= farthest_mm
                for end, place in zip(ends, own, strict=True)
            )
        ]

    def _partners(self, group: tuple[str, ...], name: str) -> tuple[str, ...]:
        """The sites toward which the sites of a group go when the first goes toward `name`."""
        if len(group) == 2:
            return name, mirrored(name)
        stays_on_midline = self.homologues and mirrored(group[0]) == group[0]
        return () if stays_on_midline and mirrored(name) != name else (name,)

    def _clear(self, found: Options) -> NDArray[np.bool_]:
        """(n,) whether both places clear all obstacles and all other cups, and each other."""
        n, n_cups, _ = found.points_mm.shape
        flat = found.points_mm.reshape(-1, 3)
        clear = ~covered(self.obstacles, flat)
        for other in self.staying:
            clear &= np.linalg.norm(flat - other, axis=1) >= self.apart_mm
        clear &= found.moved_mm.ravel() <= self.farthest_mm
        both = clear.reshape(n, n_cups).all(axis=1)
        if n_cups == 2:
            gap = np.linalg.norm(found.points_mm[:, 0] - found.points_mm[:, 1], axis=1)
            both &= gap >= self.apart_mm
        return np.asarray(both)


def _stations(tape: TapeRun, farthest_mm: float) -> Floats:
    """(k,) fractions of a tape, one for each millimetre before its end and within the farthest."""
    last = min(tape.length_mm - STEP_MM / 2, farthest_mm)
    return np.arange(STEP_MM, last, STEP_MM) / tape.length_mm
