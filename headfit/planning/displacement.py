"""Where a site goes when its own place must stay free, and its homologue with it.

The least distance that clears the place; the true 10-10 or 10-5 name of the new place where one
lies near enough, otherwise so many millimetres toward a neighbour. Homologues move by the same
fractions of the same arcs. Common practice; local policy decides. Millimetres along the tape.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headfit.anatomy.arcs import mirrored
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import SCALP_SITES, Sites, sites_on
from headfit.errors import InputError, sentence
from headfit.geometry.mesh import Floats, frozen
from headfit.planning.choosing import LEFT_OUT, Choice, Options, choose
from headfit.planning.clear_places import Search, covered
from headfit.planning.clear_tapes import run_stretches
from headfit.planning.obstacles import Obstacle
from headfit.units import tape_length

# Cups nearer than this are bridged by paste: design choice, no source. Where the sites themselves
# stand closer (dense arrays, small heads), half of their least distance.
APART_MM = 15.0
# Farther than a whole 10-20 step the site would be another one.
FARTHEST_OF_MIDLINE = 0.2

# The arc that ends in a landmark, and where else it can be begun.
_ARC_OF = dict(zip(LANDMARK_NAMES, ("midline", "midline", "coronal", "coronal"), strict=True))
_OTHER_END = {
    "nasion": "inion",
    "inion": "nasion",
    "left_preauricular": "right_preauricular",
    "right_preauricular": "left_preauricular",
}


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
            return f"{self.site} goes to {self.toward}, {tape_length(self.moved_mm)} away{why}."
        rest = self.toward_mm - self.moved_mm
        return (
            f"{self.site} is moved {tape_length(self.moved_mm)} toward {self.toward} "
            f"({tape_length(rest)} short of it){why}."
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

    def __repr__(self) -> str:
        return (
            f"Displacement({len(self.obstacles)} places kept free, {len(self.moves)} sites moved, "
            f"{len(self.left_out)} left out)"
        )

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
    F3 goes to AFF3, 1.6 cm away.
    F4 goes to AFF4, 1.6 cm away, as F3 does.
    Lay no tape on the place that must stay free (wound, 10 mm around F3) or within 5 mm of it: \
row F ends before it.
    """
    obstacles = tuple(obstacles)
    inside = covered(obstacles, sites.points_mm)
    blocked = [name for name, hit in zip(sites.names, inside, strict=True) if hit]
    if not blocked:
        return Displacement(obstacles, (), {}, _notes(sites, obstacles))
    _refuse_whole_head(sites, obstacles)
    groups = _groups(blocked, sites.names, homologues)
    search = Search(
        sites,
        obstacles,
        groups,
        homologues,
        _usual_gap_mm(sites) if apart_mm is None else apart_mm,
        FARTHEST_OF_MIDLINE * sites.tracer.length_mm("midline")
        if farthest_mm is None
        else farthest_mm,
    )
    options = [search.options(group, blocked) for group in groups]
    choice = choose(options, search.apart_mm)
    moves: list[Move] = []
    left_out: dict[str, str] = {}
    for group, found, row in zip(groups, options, choice.rows, strict=True):
        if found.rows[row] == LEFT_OUT:
            left_out |= _left_out(search, group, blocked, any_place=found.n_places > 0)
        else:
            moves += _moves(group, found, row, blocked)
    notes = (*_crowded(choice, len(groups)), *_notes(sites, obstacles))
    return Displacement(obstacles, tuple(moves), left_out, notes)


def _usual_gap_mm(sites: Sites) -> float:
    if len(sites) < 2:
        return APART_MM
    first, second = np.triu_indices(len(sites), 1)
    apart = np.linalg.norm(sites.points_mm[first] - sites.points_mm[second], axis=1)
    return min(APART_MM, float(apart.min()) / 2)


def _refuse_whole_head(sites: Sites, obstacles: Sequence[Obstacle]) -> None:
    scalp = sites_on(sites.tracer, SCALP_SITES, "10-20")
    if covered(obstacles, scalp.points_mm).all():
        raise InputError(
            sentence(
                "places that must stay free",
                "leave some of the scalp free",
                f"{'; '.join(o.title for o in obstacles)}, which covers every site of 10-20",
                "is the radius in millimetres?",
            ),
            code="free-covers-head",
        )


def _crowded(choice: Choice, n_groups: int) -> tuple[str, ...]:
    if choice.least:
        return ()
    return (
        (
            f"{n_groups} sites or pairs had to move and crowd each other: these moves are "
            "possible, but there may be shorter ones."
        ),
    )


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


def _left_out(
    search: Search, group: tuple[str, ...], blocked: list[str], *, any_place: bool
) -> dict[str, str]:
    """Why no place was found; an unblocked homologue keeps its own place."""
    why = (
        "the places that would do are taken by other moved sites"
        if any_place
        else f"no place within {search.farthest_mm:.0f} mm clears what must stay free"
    )
    together = len(group) > 1 or (search.homologues and mirrored(group[0]) == group[0])
    hint = " equally on both sides (it may move alone)" if together else ""
    return {name: f"{name} is left out: {why}{hint}." for name in group if name in blocked}


def _moves(group: tuple[str, ...], found: Options, row: int, blocked: list[str]) -> list[Move]:
    """The moves of a chosen option."""
    names = found.toward[found.rows[row]]
    first = found.rows[row] * len(group)
    tapes = found.runs[first : first + len(group)]
    return [
        Move(
            site,
            name,
            float(found.moved_mm[row, k]),
            tape.length_mm,
            frozen(found.points_mm[row, k]),
            frozen(tape.curve.path_mm),
            site not in blocked,
        )
        for k, (site, name, tape) in enumerate(zip(group, names, tapes, strict=True))
    ]


def _notes(sites: Sites, obstacles: Sequence[Obstacle]) -> tuple[str, ...]:
    """Landmarks that lie inside a place, and arcs that run over one."""
    notes = []
    landmarks = np.array([sites.tracer.point(name) for name in LANDMARK_NAMES])
    for obstacle in obstacles:
        hit = obstacle.covers(landmarks, 0.0)
        notes += [
            _landmark_note(name, obstacle)
            for name, inside in zip(LANDMARK_NAMES, hit, strict=True)
            if inside
        ]
        crossing = [
            arc
            for arc in sites.arc_marks
            if len(found := run_stretches(run := sites.tracer.run(arc), (obstacle,))) != 1
            or found[0] != (0.0, run.length_mm)
        ]
        if crossing:
            end = "ends" if len(crossing) == 1 else "end"
            notes.append(
                f"Lay no tape on the place that must stay free ({obstacle.title}) or within "
                f"{obstacle.clearance_mm:g} mm of it: {', '.join(crossing)} {end} before it."
            )
    return tuple(notes)


def _landmark_note(name: str, obstacle: Obstacle) -> str:
    """What a landmark that must not be touched means for the tape."""
    title = TITLES[name]
    return (
        f"The {title} lies inside a place that must stay free ({obstacle.title}): do not touch it "
        "or lay a tape to it; leave out what is measured from it, name it under doubtful, and "
        f"mark the {_ARC_OF[name]} arc from the {TITLES[_OTHER_END[name]]}."
    )
