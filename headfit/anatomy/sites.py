"""Sites placed on a head, by the declared table of `site_table` and the rules. Millimetres."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from headfit.anatomy.arcs import ARCS, ArcTracer, Rules
from headfit.anatomy.head import HasHead, Head, head_of
from headfit.anatomy.site_table import (
    ALSO_CALLED,
    INNER_ROWS,
    LANDMARK_SITES,
    RENAMED,
    SCALP_SITES,
    SYSTEMS,
    TABLE,
    BesideEar,
    BeyondRow,
    OnArc,
    Place,
    both_names,
    canonical_name,
    is_beside_ear,
    nearest_known,
    place_of,
    settled,
)
from headfit.errors import unknown_name
from headfit.geometry.mesh import Floats
from headfit.geometry.sections import cross, cut
from headfit.geometry.surface import nearest, normals_at
from headfit.geometry.taperun import TapeRun, lay
from headfit.hooks import hook
from headfit.nouns import ByName

# What both constructions of row 9/10 differ by at F9 of the adult template; a test measures it.
F9_APART_MM = 8

# The table is told here too: who reads sites need not know in which file it lies.
__all__ = [
    "ALSO_CALLED",
    "LANDMARK_SITES",
    "RENAMED",
    "SCALP_SITES",
    "SYSTEMS",
    "TABLE",
    "ArcMark",
    "BesideEar",
    "BeyondRow",
    "OnArc",
    "Place",
    "Sites",
    "both_names",
    "canonical_name",
    "is_beside_ear",
    "nearest_known",
    "place_sites",
    "row_nine_words",
    "rule_displacements",
    "run_with_ends",
    "sites_on",
]


@dataclass(frozen=True)
class ArcMark:
    """One site on one arc: tape length from the start of the arc, and fraction of it."""

    site: str
    distance_mm: float
    fraction: float


@dataclass(frozen=True, eq=False)
class Sites(ByName[Floats]):
    """Sites placed on a head: a mapping from the name of each site to its place (3,) in mm.

    Attributes
    ----------
    names : tuple of str
    points_mm : (n, 3) float64
        In the frame of the head.
    system : str
    rules : Rules
        With row 9/10 settled.
    tracer : ArcTracer
        The arcs they were placed on.
    """

    names: tuple[str, ...]
    points_mm: Floats
    system: str
    rules: Rules
    tracer: ArcTracer = field(repr=False)

    def __repr__(self) -> str:
        return f"Sites({self.system!r}, {len(self)} sites)"

    def __len__(self) -> int:
        return len(self.names)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __getitem__(self, name: str) -> Floats:
        """(3,) one site in mm, by its name or its old name.

        Raises
        ------
        UnknownNameError
            Not a site of this set.
        """
        index = self._index.get(name)
        if index is None:
            index = self._index.get(canonical_name(name))
        if index is None:
            raise unknown_name(f"site of {self.system}", name, self.names)
        return np.asarray(self.points_mm[index])

    @cached_property
    def _index(self) -> dict[str, int]:
        return {name: i for i, name in enumerate(self.names)}

    @cached_property
    def normals(self) -> Floats:
        """(n, 3) outward unit normals of the scalp at the sites."""
        return normals_at(self.tracer.mesh, nearest(self.tracer.mesh, self.points_mm)[0])

    def moved_to(self, points_mm: Mapping[str, Floats]) -> Sites:
        """The same sites, those that are named standing elsewhere; their arcs stay.

        Parameters
        ----------
        points_mm : mapping of str to (3,) float64
            Names that are not in this set are passed over.
        """
        if not self._index.keys() & points_mm.keys():
            return self
        points = self.points_mm.copy()
        for name in self._index.keys() & points_mm.keys():
            points[self._index[name]] = points_mm[name]
        points.setflags(write=False)
        return replace(self, points_mm=points)

    def arc_of(self, name: str) -> tuple[str, float] | None:
        """The arc that marks a site, and its fraction; None beside the ear or below a row."""
        place = place_of(canonical_name(name), self.rules)
        if not isinstance(place, OnArc):
            return None
        if self.rules.inner == "crossing" and place.arc in INNER_ROWS:
            return place.arc, _crossing_fraction(self.tracer, place)
        return place.arc, place.fraction

    @cached_property
    def arc_marks(self) -> dict[str, tuple[ArcMark, ...]]:
        """For every arc that is used, its sites in the order met along the tape."""
        marks: dict[str, list[ArcMark]] = {}
        for name in self.names:
            found = self.arc_of(name)
            if found is not None:
                arc, fraction = found
                distance = self.tracer.run(arc).distance_mm(fraction)
                marks.setdefault(arc, []).append(ArcMark(name, distance, fraction))
        order = list(ARCS)
        return {
            arc: tuple(sorted(marks[arc], key=lambda mark: mark.distance_mm))
            for arc in sorted(marks, key=order.index)
        }

    def _repr_html_(self) -> str:
        """A small drawing, in a notebook."""
        return str(hook("small_drawing")(self))

    def to_frame(self) -> Any:
        """A `pandas.DataFrame` with a row a site: place in mm, arc, and where on its tape.

        Raises
        ------
        InputError
            The optional extra `pandas` is not installed.
        """
        return hook("sites_to_frame")(self)

    def to_mne(self) -> Any:
        """An `mne.channels.DigMontage` of these sites, in the head frame of mne.

        Raises
        ------
        InputError
            The optional extra `mne` is not installed.
        """
        return hook("sites_to_mne")(self)


def place_sites(
    head: Head | HasHead, system: str | Iterable[str] = "10-20", rules: Rules | None = None
) -> Sites:
    """The sites of a system, or a list of sites, on a head.

    Parameters
    ----------
    head : Head or FittedHead
    system : {"10-20", "10-10", "10-5", "ifcn-25"} or iterable of str
    rules : Rules, optional
        Default `Rules()`, by which row 9/10 stands as the system has it: F9 of 10-5 is another
        place than F9 of 10-10 (`row_nine_words`).

    Raises
    ------
    UnknownNameError
        No such system or site.
    ConvergenceError, MeshError
        The arcs cannot be traced on this surface.

    >>> from headfit import load_template
    >>> sites = place_sites(load_template(), "10-20")
    >>> len(sites), sites.tracer.length_mm("midline").__round__()
    (21, 349)
    """
    if isinstance(system, str):
        if system not in SYSTEMS:
            raise unknown_name("system", system, SYSTEMS)
        label, names = system, SYSTEMS[system]
    else:
        label, names = "own list", tuple(dict.fromkeys(canonical_name(name) for name in system))
    rules = settled(rules or Rules(), names)
    surface = head_of(head)
    tracer = ArcTracer(surface.scalp, surface.landmarks, rules, skin=surface.surface)
    return sites_on(tracer, names, label)


@dataclass(frozen=True)
class _Plan:
    """Rows of a list of sites by the way they are placed."""

    on_arcs: dict[str, tuple[list[int], list[float]]]
    crossing: list[tuple[int, OnArc]]
    beyond: dict[tuple[str, bool], tuple[list[int], list[float]]]
    beside: list[tuple[int, BesideEar]]


@lru_cache(maxsize=64)
def _plan(names: tuple[str, ...], rules: Rules) -> _Plan:
    plan = _Plan({}, [], {}, [])
    for i, name in enumerate(names):
        place = place_of(name, rules)
        if isinstance(place, OnArc) and rules.inner == "crossing" and place.arc in INNER_ROWS:
            plan.crossing.append((i, place))
        elif isinstance(place, OnArc):
            rows, fractions = plan.on_arcs.setdefault(place.arc, ([], []))
            rows.append(i)
            fractions.append(place.fraction)
        elif isinstance(place, BeyondRow):
            rows, shares = plan.beyond.setdefault((place.arc, place.at_end), ([], []))
            rows.append(i)
            shares.append(place.coronal_share)
        else:
            plan.beside.append((i, place))
    return plan


def sites_on(
    tracer: ArcTracer, names: tuple[str, ...], system: str, rules: Rules | None = None
) -> Sites:
    """The named sites on arcs that are traced already, by the rules of the tracer or others.

    Other rules must lay an arc as the tracer does: they may differ in which arc a site stands on.
    """
    rules = settled(rules or tracer.rules, names)
    plan = _plan(names, rules)
    points = np.empty((len(names), 3))
    tracer.trace([*plan.on_arcs, *(arc for arc, _ in plan.beyond)])
    for arc, (rows, fractions) in plan.on_arcs.items():
        points[rows] = tracer.run(arc).points_mm(fractions)
    for i, place in plan.crossing:
        points[i] = tracer.run(place.arc).point_mm(_crossing_fraction(tracer, place))
    for (arc, at_end), (rows, shares) in plan.beyond.items():
        points[rows] = _beyond(tracer, arc, shares, at_end=at_end)
    if plan.beside:
        points[[i for i, _ in plan.beside]] = _beside_ears(
            tracer, [place for _, place in plan.beside]
        )
    points.setflags(write=False)
    return Sites(names, points, system, rules, tracer)


def _beyond(tracer: ArcTracer, arc: str, coronal_shares: list[float], *, at_end: bool) -> Floats:
    """(k, 3) reached by going on along the skin from an end of a row, in its plane."""
    distances = np.array(coronal_shares) * tracer.length_mm("coronal")
    run = run_with_ends(tracer, arc)
    return run.after_end_mm(distances) if at_end else run.before_start_mm(distances)


def run_with_ends(tracer: ArcTracer, arc: str) -> TapeRun:
    """The tape on an arc that can be gone on with beyond its ends: in its plane."""
    if tracer.rules.curve == "shortest":
        return lay(cut(tracer.mesh, *(tracer.point(name) for name in ARCS[arc].marks)))
    return tracer.run(arc)


def _crossing_fraction(tracer: ArcTracer, place: OnArc) -> float:
    """Where on its row a site stands when the plane of the parasagittal arc divides the row.

    From the ring to the crossing and from there to the middle the sites are evenly spaced.
    """
    left = place.fraction < 0.5
    at = _crossing(tracer, place.arc, left=left)
    stops = [(0.0, 0.0), (0.25, at), (0.5, 0.5)] if left else [(0.5, 0.5), (0.75, at), (1.0, 1.0)]
    before, after = np.array(stops).T
    return float(np.interp(place.fraction, before, after))


def _crossing(tracer: ArcTracer, arc: str, *, left: bool) -> float:
    """The fraction of a row at which the plane of the parasagittal arc of a side crosses it."""
    row = tracer.run(arc)
    start, via, end = (
        tracer.point(mark) for mark in ARCS[f"{'left' if left else 'right'} parasagittal"].marks
    )
    at_middle = row.curve.via - row.curve.start
    half = slice(0, at_middle + 1) if left else slice(at_middle, None)
    height = (row.curve.path_mm[half] - start) @ np.cross(end - start, via - start)
    over = row.over_skin_mm[half]
    place = int(np.flatnonzero(np.sign(height[1:]) != np.sign(height[:-1]))[0])
    share = height[place] / (height[place] - height[place + 1])
    return row.fraction(float(over[place] + share * (over[place + 1] - over[place])))


def _beside_ears(tracer: ArcTracer, places: list[BesideEar]) -> Floats:
    left, right = (tracer.point(f"{side}_preauricular") for side in ("left", "right"))
    x = right - left
    width = float(np.linalg.norm(x))
    x = x / width
    y = tracer.point("nasion") - (left + right) / 2
    y = y - (y @ x) * x
    y = y / np.linalg.norm(y)
    axes = np.array([x, y, cross(x, y)])
    points = np.empty((len(places), 3))
    for row, place in enumerate(places):
        outward = np.array([-1.0 if place.left else 1.0, 1.0, 1.0])
        offset = width / 145.0 * (outward * place.offset_mm) @ axes
        # The ears were taken off the mesh on which tapes run.
        mesh = tracer.skin if place.on_ear else tracer.mesh
        near, _ = nearest(mesh, ((left if place.left else right) + offset)[None])
        points[row] = near.on(mesh.vertices_mm)[0]
    return points


def rule_displacements(
    head: Head, names: Iterable[str], rules: Rules, other: Rules
) -> dict[str, float]:
    """How far each site moves, in mm, when another set of rules is taken.

    >>> from headfit import load_template
    >>> moved = rule_displacements(
    ...     load_template(), ["F3", "Cz"], Rules(), Rules(inner="parasagittal")
    ... )
    >>> moved["F3"] > 5, moved["Cz"]
    (True, 0.0)
    """
    here, there = place_sites(head, names, rules), place_sites(head, names, other)
    gaps = np.linalg.norm(here.points_mm - there.points_mm, axis=1)
    return dict(zip(here.names, gaps.tolist(), strict=True))


def row_nine_words(sites: Sites, names: Iterable[str] | None = None) -> str:
    """How row 9/10 is placed where 10-5 and 10-10 differ; empty when no name is of that row.

    Parameters
    ----------
    sites : Sites
    names : iterable of str, optional
        Those of the sites that are spoken of; default all.

    >>> from headfit import load_template
    >>> row_nine_words(place_sites(load_template(), "ifcn-25"))
    'Row 9/10 continues each row below the ring, as 10-10 and IFCN have it. 10-5 has it on the \
contour nasion-preauricular point-inion: on the adult template F9 lies 8 mm from there.'
    """
    if not any(isinstance(TABLE[name], BeyondRow) for name in names or sites.names):
        return ""
    continued = "each row below the ring"
    contour = "on the contour nasion-preauricular point-inion"
    if sites.rules.inferior == "contour":
        said = f"lies {contour}, as 10-5 has it. 10-10 and IFCN continue {continued}"
    else:
        said = f"continues {continued}, as 10-10 and IFCN have it. 10-5 has it {contour}"
    return f"Row 9/10 {said}: on the adult template F9 lies {F9_APART_MM} mm from there."
