"""Where each site of a system stands: the declared table, and the sites placed on a head.

Every site is an arc and a fraction of it, or a step beyond the end of a row, or a spot beside an
ear. Odd numbers left, even numbers right, z on the midline. Published counts of 10-10 and 10-5
differ; `SYSTEMS` is the list that is implemented here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any

import numpy as np

from headfit.anatomy.arcs import ARCS, MARKS, ArcTracer, Rules, mirrored
from headfit.anatomy.head import HasHead, Head, head_of
from headfit.errors import unknown_name
from headfit.geometry.mesh import Floats
from headfit.geometry.sections import cross, cut
from headfit.geometry.surface import nearest, normals_at
from headfit.geometry.taperun import lay
from headfit.hooks import hook
from headfit.nouns import ByName


@dataclass(frozen=True)
class OnArc:
    """At a fraction (0..1) of an arc."""

    arc: str
    fraction: float
    source: str


@dataclass(frozen=True)
class BeyondRow:
    """Below the end of a row: the row arc goes on by a share of the coronal arc."""

    arc: str
    at_end: bool
    coronal_share: float
    contour: float
    source: str


@dataclass(frozen=True)
class BesideEar:
    """The nearest skin to a place given from a preauricular point in the head frame.

    Lengths are for a preauricular width of 145 mm and scale with it.
    """

    left: bool
    offset_mm: tuple[float, float, float]
    source: str


Place = OnArc | BeyondRow | BesideEar

_KLEM = "Klem et al. 1999"
_ACNS = "ACNS Guideline 2, 2016"
_FIVE = "Oostenveld & Praamstra 2001"

# Row -> stem of its inner sites, stem of its outer ones, fraction of the half ring.
_ROW_STEMS = {
    "AFp": ("AFp", "AFp", 0.15),
    "AF": ("AF", "AF", 0.20),
    "AFF": ("AFF", "AFF", 0.25),
    "F": ("F", "F", 0.30),
    "FFC": ("FFC", "FFT", 0.35),
    "FC": ("FC", "FT", 0.40),
    "FCC": ("FCC", "FTT", 0.45),
    "CCP": ("CCP", "TTP", 0.55),
    "CP": ("CP", "TP", 0.60),
    "CPP": ("CPP", "TPP", 0.65),
    "P": ("P", "P", 0.70),
    "PPO": ("PPO", "PPO", 0.75),
    "PO": ("PO", "PO", 0.80),
    "POO": ("POO", "POO", 0.85),
}
_COLUMNS = ("7", "7h", "5", "5h", "3", "3h", "1", "1h")


def _table() -> dict[str, Place]:
    table: dict[str, Place] = {
        "Nz": OnArc("midline", 0.0, _KLEM),
        "Iz": OnArc("midline", 1.0, _KLEM),
        "Cz": OnArc("midline", 0.5, _KLEM),
    }
    for name, (arc, fraction) in MARKS.items():
        table[name] = OnArc(arc, fraction, _ACNS if "h" not in name else _FIVE)
    for row, (inner, outer, ring) in _ROW_STEMS.items():
        for step, column in enumerate(_COLUMNS):
            name = (outer if column[0] == "7" else inner) + column
            table.setdefault(name, OnArc(f"row {row}", step / 16, _ACNS))
            table.setdefault(mirrored(name), OnArc(f"row {row}", 1 - step / 16, _ACNS))
        for column, share in (("9", 0.10), ("9h", 0.05)):
            for name in (outer + column, mirrored(outer + column)):
                at_end = name != outer + column
                table[name] = BeyondRow(f"row {row}", at_end, share, ring, "Seeck et al. 2017")
    for step, name in enumerate(("T9", "T9h", "T7", "T7h", "C5", "C5h", "C3", "C3h", "C1", "C1h")):
        table.setdefault(name, OnArc("coronal", step / 20, _KLEM))
        table.setdefault(mirrored(name), OnArc("coronal", 1 - step / 20, _KLEM))
    table |= _beside_nasion_and_inion()
    # Ear lobe and mastoid: common practice, no source; the offsets are from memory.
    for name, left, offset in (
        ("A1", True, (0.0, -9.0, -28.0)),
        ("A2", False, (0.0, -9.0, -28.0)),
        ("M1", True, (0.0, -32.0, -16.0)),
        ("M2", False, (0.0, -32.0, -16.0)),
    ):
        table[name] = BesideEar(left, offset, "common practice, no source; offset from memory")
    return table


def _beside_nasion_and_inion() -> dict[str, Place]:
    table: dict[str, Place] = {}
    for stem, low, half, whole in (("N", "NFp", 0.05, 0.1), ("I", "OI", 0.95, 0.9)):
        for column, fraction in (("1h", half), ("1", whole)):
            for name, arc in ((stem + column, "contour"), (low + column, "lower ring")):
                table[name] = OnArc(f"left {arc}", fraction, _FIVE)
                table[mirrored(name)] = OnArc(f"right {arc}", fraction, _FIVE)
    return table


TABLE: dict[str, Place] = _table()

RENAMED = {"T3": "T7", "T4": "T8", "T5": "P7", "T6": "P8"}

_SCALP_19 = tuple("Fp1 Fp2 F7 F3 Fz F4 F8 T7 C3 Cz C4 T8 P7 P3 Pz P4 P8 O1 O2".split())
_TEN_TEN = (
    *"Fp1 Fpz Fp2 AF7 AF3 AFz AF4 AF8".split(),
    *(
        stem + column
        for inner, outer in (("F", "F"), ("FC", "FT"), ("C", "T"), ("CP", "TP"), ("P", "P"))
        for stem, columns in ((outer, "9 7"), (inner, "5 3 1 z 2 4 6"), (outer, "8 10"))
        for column in columns.split()
    ),
    *"PO7 PO3 POz PO4 PO8 O1 Oz O2 Nz Iz A1 A2 M1 M2".split(),
)

SYSTEMS: dict[str, tuple[str, ...]] = {
    "10-20": (*_SCALP_19, "A1", "A2"),
    "ifcn-25": (*_SCALP_19, "F9", "F10", "T9", "T10", "P9", "P10"),
    "10-10": _TEN_TEN,
    "10-5": (*_TEN_TEN, *(name for name in TABLE if name not in _TEN_TEN)),
}


def canonical_name(name: str) -> str:
    """The declared spelling of a site, old names translated.

    Raises
    ------
    UnknownNameError
        With the nearest declared spelling.

    >>> canonical_name("T3"), canonical_name("FP1")
    ('T7', 'Fp1')
    """
    if name in TABLE:
        return name
    folded = _FOLDED.get(str(name).strip().casefold())
    if folded is None:
        raise unknown_name("site", name, TABLE)
    return folded


_FOLDED = {name.casefold(): name for name in TABLE}
_FOLDED |= {old.casefold(): name for old, name in RENAMED.items()}

# Sites that stand on landmarks, and the 19 of 10-20 that stand on the scalp.
LANDMARK_SITES = ("Nz", "Iz")
SCALP_SITES = _SCALP_19


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

    def arc_of(self, name: str) -> tuple[str, float] | None:
        """The arc that marks a site, and its fraction; None beside the ear or below a row."""
        name = canonical_name(name)
        if self.rules.inner == "crossing" and name in _INNER_FOUR:
            return f"row {_INNER_FOUR[name][0]}", _crossing_fraction(self.tracer, name)
        place = _place(name, self.rules)
        return (place.arc, place.fraction) if isinstance(place, OnArc) else None

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


_INNER_FOUR = {"F3": ("F", 0.25), "F4": ("F", 0.25), "P3": ("P", 0.75), "P4": ("P", 0.75)}


def _place(name: str, rules: Rules) -> Place:
    """The table entry of a site under the rules."""
    place = TABLE[name]
    if rules.temporal == "ring" and name in ("T7", "T8"):
        return OnArc("left ring" if name == "T7" else "right ring", 0.5, "Jurcak et al. 2007")
    if rules.inner == "parasagittal" and name in _INNER_FOUR:
        side = "left" if name.endswith("3") else "right"
        return OnArc(f"{side} parasagittal", _INNER_FOUR[name][1], _KLEM)
    if rules.inferior == "contour" and isinstance(place, BeyondRow):
        side = "right" if place.at_end else "left"
        arc = "lower ring" if place.coronal_share == 0.05 else "contour"
        return OnArc(f"{side} {arc}", place.contour, _FIVE)
    if rules.inferior == "contour" and name in ("T9", "T10"):
        return OnArc("left contour" if name == "T9" else "right contour", 0.5, _FIVE)
    return place


def place_sites(
    head: Head | HasHead, system: str | Iterable[str] = "10-20", rules: Rules | None = None
) -> Sites:
    """The sites of a system, or a list of sites, on a head.

    Parameters
    ----------
    head : Head or FittedHead
    system : {"10-20", "10-10", "10-5", "ifcn-25"} or iterable of str
    rules : Rules, optional
        Default `Rules()`.

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
    rules = rules or Rules()
    if isinstance(system, str):
        if system not in SYSTEMS:
            raise unknown_name("system", system, SYSTEMS)
        label, names = system, SYSTEMS[system]
    else:
        label, names = "own list", tuple(dict.fromkeys(canonical_name(name) for name in system))
    surface = head_of(head)
    return sites_on(ArcTracer(surface.scalp, surface.landmarks, rules), names, label)


@dataclass(frozen=True)
class _Plan:
    """Rows of a list of sites by the way they are placed."""

    on_arcs: dict[str, tuple[list[int], list[float]]]
    crossing: list[tuple[int, str]]
    beyond: dict[tuple[str, bool], tuple[list[int], list[float]]]
    beside: list[tuple[int, BesideEar]]


@lru_cache(maxsize=64)
def _plan(names: tuple[str, ...], rules: Rules) -> _Plan:
    plan = _Plan({}, [], {}, [])
    for i, name in enumerate(names):
        place = _place(name, rules)
        if rules.inner == "crossing" and name in _INNER_FOUR:
            plan.crossing.append((i, name))
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


def sites_on(tracer: ArcTracer, names: tuple[str, ...], system: str) -> Sites:
    """The named sites on arcs that are traced already."""
    plan = _plan(names, tracer.rules)
    points = np.empty((len(names), 3))
    tracer.trace([*plan.on_arcs, *(arc for arc, _ in plan.beyond)])
    for arc, (rows, fractions) in plan.on_arcs.items():
        points[rows] = tracer.run(arc).points_mm(fractions)
    for i, name in plan.crossing:
        row = tracer.run(f"row {_INNER_FOUR[name][0]}")
        points[i] = row.point_mm(_crossing_fraction(tracer, name))
    for (arc, at_end), (rows, shares) in plan.beyond.items():
        points[rows] = _beyond(tracer, arc, shares, at_end=at_end)
    if plan.beside:
        points[[i for i, _ in plan.beside]] = _beside_ears(
            tracer, [place for _, place in plan.beside]
        )
    points.setflags(write=False)
    return Sites(names, points, system, tracer.rules, tracer)


def _beyond(tracer: ArcTracer, arc: str, coronal_shares: list[float], *, at_end: bool) -> Floats:
    """(k, 3) reached by going on along the skin from an end of a row, in its plane."""
    distances = np.array(coronal_shares) * tracer.length_mm("coronal")
    run = tracer.run(arc)
    if tracer.rules.curve == "shortest":
        run = lay(cut(tracer.mesh, *(tracer.point(name) for name in ARCS[arc].marks)))
    return run.after_end_mm(distances) if at_end else run.before_start_mm(distances)


def _crossing_fraction(tracer: ArcTracer, name: str) -> float:
    """Where along its row a site is crossed by the plane of the parasagittal arc of its side."""
    row = tracer.run(f"row {_INNER_FOUR[name][0]}")
    side = "left" if name.endswith("3") else "right"
    arc = ARCS[f"{side} parasagittal"]
    start, via, end = (tracer.point(n) for n in (arc.start, arc.via, arc.end))
    at_middle = row.curve.via - row.curve.start
    half = slice(0, at_middle + 1) if side == "left" else slice(at_middle, None)
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
    wanted = [
        (left if place.left else right) + width / 145.0 * (np.array(place.offset_mm) @ axes)
        for place in places
    ]
    return nearest(tracer.mesh, np.array(wanted))[0].on(tracer.mesh.vertices_mm)


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
