"""Where a site goes when its own place must stay free, and its homologue with it.

The least distance that clears the place; the true 10-10 or 10-5 name of the new place where one
lies near enough, otherwise so many millimetres toward a neighbour. Homologues move by the same
fractions of the same arcs. Common practice; local policy decides. Millimetres along the tape.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from headfit.anatomy.arcs import mirrored
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import SYSTEMS, TABLE, Sites, sites_on
from headfit.errors import InputError, sentence
from headfit.geometry.mesh import Floats, frozen
from headfit.geometry.taperun import TapeRun
from headfit.planning.choosing import LEFT_OUT, Choice, Options, choose
from headfit.planning.obstacles import Obstacle
from headfit.planning.scalp_paths import scalp_paths

# A named place is taken when a nameless one would save less than this.
NAME_WORTH_MM = 5.0
# Cups nearer than this are bridged by paste: design choice, no source. Where the sites themselves
# stand closer (dense arrays, small heads), half of their least distance.
APART_MM = 15.0
# Farther than a whole 10-20 step the site would be another one.
FARTHEST_OF_MIDLINE = 0.2
# A site toward which a cup is moved is a neighbour: a 10-20 step away, or across a square of them.
GUIDE_OF_MIDLINE = 0.27
STEP_MM = 1.0

# Places that are no scalp, or are landmarks.
_NO_TARGET = frozenset({"Nz", "Iz", "A1", "A2"})
_SCALP = tuple(name for name in SYSTEMS["10-20"] if name not in _NO_TARGET)


@dataclass(frozen=True, eq=False)
class Move:
    """One site that stands somewhere else.

    Attributes
    ----------
    site : str
    toward : str
        The declared site it stands on, or toward which it moved.
    moved_mm : float
        Tape length from its own place.
    toward_mm : float
        Tape length from its own place to `toward`.
    point_mm : (3,) float64
        Where it stands now, on the scalp.
    path_mm : (k, 3) float64
        The curve over the skin from its own place to `toward`.
    as_homologue : bool
        It moves only because its homologue does.
    """

    site: str
    toward: str
    moved_mm: float
    toward_mm: float
    point_mm: Floats
    path_mm: Floats
    as_homologue: bool

    @property
    def named(self) -> bool:
        """Whether the new place is a declared site."""
        return self.moved_mm == self.toward_mm

    @property
    def fraction(self) -> float:
        """How far along the tape from its own place to `toward` it stands, 0..1."""
        return self.moved_mm / self.toward_mm

    @property
    def words(self) -> str:
        """What to do and to chart, one sentence."""
        why = f", as {mirrored(self.site)} does" if self.as_homologue else ""
        if self.named:
            return f"{self.site} goes to {self.toward}, {self.moved_mm:.0f} mm away{why}."
        rest = self.toward_mm - self.moved_mm
        return (
            f"{self.site} is moved {self.moved_mm:.0f} mm toward {self.toward} "
            f"({rest:.0f} mm short of it){why}."
        )


@dataclass(frozen=True, eq=False)
class Displacement:
    """What becomes of the sites when places must stay free.

    Attributes
    ----------
    obstacles : tuple of Obstacle
    moves : tuple of Move
    left_out : dict of str to str
        Sites for which no place was found, and a sentence why.
    notes : tuple of str
        Landmarks and arcs that meet a place, one sentence each.
    """

    obstacles: tuple[Obstacle, ...]
    moves: tuple[Move, ...]
    left_out: dict[str, str]
    notes: tuple[str, ...]

    @property
    def points_mm(self) -> dict[str, Floats | None]:
        """Where each moved site stands now, None for one that is left out."""
        places: dict[str, Floats | None] = {move.site: move.point_mm for move in self.moves}
        return {**places, **dict.fromkeys(self.left_out)}

    @property
    def sentences(self) -> tuple[str, ...]:
        """Moves, what cannot be solved, and notes."""
        return (*(move.words for move in self.moves), *self.left_out.values(), *self.notes)


def displace(
    sites: Sites,
    obstacles: Sequence[Obstacle],
    *,
    homologues: bool = True,
    apart_mm: float | None = None,
    farthest_mm: float | None = None,
) -> Displacement:
    """The moves that keep the places free, with the least sum.

    Parameters
    ----------
    sites : Sites
    obstacles : sequence of Obstacle
    homologues : bool
        A homologous site moves equally; a midline site stays on the midline.
    apart_mm : float, optional
        No cup is set nearer than this to another one; by default 15, or half of the least distance
        between two of the sites.
    farthest_mm : float, optional
        Longest move; by default a fifth of the midline arc.

    Raises
    ------
    InputError
        The places cover the whole scalp.

    >>> from headfit import load_template, place_sites
    >>> from headfit.planning.obstacles import disc
    >>> sites = place_sites(load_template())
    >>> for line in displace(sites, [disc(sites, "F3", 10.0, "wound")]).sentences:
    ...     print(line)
    F3 goes to AFF3, 16 mm away.
    F4 goes to AFF4, 16 mm away, as F3 does.
    Lay no tape on the place that must stay free (wound, 10 mm around F3): row F would cross it.
    """
    obstacles = tuple(obstacles)
    inside = _covered(obstacles, sites.points_mm)
    blocked = [name for name, hit in zip(sites.names, inside, strict=True) if hit]
    if not blocked:
        return Displacement(obstacles, (), {}, _notes(sites, obstacles))
    _refuse_whole_head(sites, obstacles)
    groups = _groups(blocked, sites.names, homologues)
    search = Search(
        sites, obstacles, groups, homologues,
        _usual_gap_mm(sites) if apart_mm is None else apart_mm,
        FARTHEST_OF_MIDLINE * sites.tracer.length_mm("midline")
        if farthest_mm is None else farthest_mm,
    )  # fmt: skip
    options = [search.options(group, blocked) for group in groups]
    choice = choose(options, search.apart_mm)
    moves: list[Move] = []
    left_out: dict[str, str] = {}
    for group, found, row in zip(groups, options, choice.rows, strict=True):
        if found.rows[row] == LEFT_OUT:
            left_out |= search.left_out(group, blocked, any_place=found.n_places > 0)
        else:
            moves += search.moves(group, found, row, blocked)
    notes = (*_crowded(choice, len(groups)), *_notes(sites, obstacles))
    return Displacement(obstacles, tuple(moves), left_out, notes)


def _usual_gap_mm(sites: Sites) -> float:
    if len(sites) < 2:
        return APART_MM
    first, second = np.triu_indices(len(sites), 1)
    apart = np.linalg.norm(sites.points_mm[first] - sites.points_mm[second], axis=1)
    return min(APART_MM, float(apart.min()) / 2)


def _refuse_whole_head(sites: Sites, obstacles: Sequence[Obstacle]) -> None:
    scalp = sites_on(sites.tracer, _SCALP, "10-20")
    if _covered(obstacles, scalp.points_mm).all():
        raise InputError(
            sentence("places that must stay free", "leave some of the scalp free",
                     f"{'; '.join(o.title for o in obstacles)}, which covers every site of 10-20",
                     "is the radius in millimetres?"),
            code="free-covers-head",
        )  # fmt: skip


def _crowded(choice: Choice, n_groups: int) -> tuple[str, ...]:
    if choice.least:
        return ()
    return (
        (
            f"{n_groups} sites or pairs had to move and crowd each other: these moves are "
            "possible, but there may be shorter ones."
        ),
    )


def _covered(obstacles: Sequence[Obstacle], points: Floats) -> NDArray[np.bool_]:
    covered = np.zeros(len(points), bool)
    for obstacle in obstacles:
        covered |= obstacle.covers(points)
    return covered


def _groups(blocked: list[str], names: tuple[str, ...], homologues: bool) -> list[tuple[str, ...]]:
    """Sites that move together, each as (site,) or (site, homologue); the first is blocked."""
    groups: list[tuple[str, ...]] = []
    seen: set[str] = set()
    for name in blocked:
        other = mirrored(name)
        if name in seen:
            continue
        group = (name, other) if homologues and other != name and other in names else (name,)
        groups.append(group)
        seen.update(group)
    return groups


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
        covered = _covered(self.obstacles, placed.points_mm)
        return {
            name: point
            for name, point, hit in zip(names, placed.points_mm, covered, strict=True)
            if not hit or name in self.sites.names or name in _SCALP
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
        names = dict.fromkeys((*self.sites.names, *_SCALP))
        return tuple(name for name in names if name in self.target)

    def options(self, group: tuple[str, ...], blocked: Sequence[str]) -> Options:
        """Clear places of a group, cheapest first; then leaving it out."""
        own = [self.sites[name] for name in group]
        named = self._toward(group, own, self.target, self.farthest_mm)
        guided = self._toward(
            group, own, self.guides,
            GUIDE_OF_MIDLINE * self.sites.tracer.length_mm("midline"),
        )  # fmt: skip
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
            np.concatenate(points), np.concatenate(moved), np.concatenate(costs),
            np.concatenate(rows), tuple(toward), tuple(runs),
        )  # fmt: skip
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
        clear = ~_covered(self.obstacles, flat)
        for other in self.staying:
            clear &= np.linalg.norm(flat - other, axis=1) >= self.apart_mm
        clear &= found.moved_mm.ravel() <= self.farthest_mm
        both = clear.reshape(n, n_cups).all(axis=1)
        if n_cups == 2:
            gap = np.linalg.norm(found.points_mm[:, 0] - found.points_mm[:, 1], axis=1)
            both &= gap >= self.apart_mm
        return np.asarray(both)

    def left_out(
        self, group: tuple[str, ...], blocked: list[str], *, any_place: bool
    ) -> dict[str, str]:
        """Why no place was found; an unblocked homologue keeps its own place."""
        why = (
            "the places that would do are taken by other moved sites"
            if any_place
            else f"no place within {self.farthest_mm:.0f} mm clears what must stay free"
        )
        together = len(group) > 1 or (self.homologues and mirrored(group[0]) == group[0])
        hint = " equally on both sides (it may move alone)" if together else ""
        return {name: f"{name} is left out: {why}{hint}." for name in group if name in blocked}

    def moves(
        self, group: tuple[str, ...], found: Options, row: int, blocked: list[str]
    ) -> list[Move]:
        """The moves of a chosen option."""
        names = found.toward[found.rows[row]]
        first = found.rows[row] * len(group)
        tapes = found.runs[first : first + len(group)]
        return [
            Move(
                site, name, float(found.moved_mm[row, k]), tape.length_mm,
                frozen(found.points_mm[row, k]), frozen(tape.curve.path_mm), site not in blocked,
            )
            for k, (site, name, tape) in enumerate(zip(group, names, tapes, strict=True))
        ]  # fmt: skip


def _stations(tape: TapeRun, farthest_mm: float) -> Floats:
    """(k,) fractions of a tape, one for each millimetre before its end and within the farthest."""
    last = min(tape.length_mm - STEP_MM / 2, farthest_mm)
    return np.arange(STEP_MM, last, STEP_MM) / tape.length_mm


def _notes(sites: Sites, obstacles: Sequence[Obstacle]) -> tuple[str, ...]:
    """Landmarks that lie inside a place, and arcs that run over one."""
    notes = []
    landmarks = np.array([sites.tracer.point(name) for name in LANDMARK_NAMES])
    for obstacle in obstacles:
        hit = obstacle.covers(landmarks, 0.0)
        notes += [
            f"The {TITLES[name]} lies inside a place that must stay free ({obstacle.title}): do "
            "not press a tape on it; arcs that start there are estimates."
            for name, inside in zip(LANDMARK_NAMES, hit, strict=True)
            if inside
        ]
        crossing = [
            arc
            for arc in sites.arc_marks
            if obstacle.covers(sites.tracer.run(arc).curve.path_mm, 0.0).any()
        ]
        if crossing:
            notes.append(
                f"Lay no tape on the place that must stay free ({obstacle.title}): "
                f"{', '.join(crossing)} would cross it."
            )
    return tuple(notes)
