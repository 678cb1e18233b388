"""The arcs of the 10-20 system and its refinements, from four landmarks, by declared rules.

An arc is a curve over the scalp from a start through a middle point to an end, with a tape on it.
Arcs depend on each other: the ring needs the 10 % marks of the midline and the coronal arc, a row
needs the ring. `ArcTracer` traces what is asked for, each arc once, and carries exact derivatives
along when the surface moves. Millimetres; fractions 0..1.

Sources: Klem et al. 1999 (10-20), Chatrian et al. 1985 and ACNS Guideline 2, 2016 (10-10),
Oostenveld & Praamstra 2001 (10-5), Jurcak, Tsuzuki & Dan 2007 (plane sections, half rings, rows),
Seeck et al. 2017 (inferior chain).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache
from typing import Literal, get_args, get_type_hints

import numpy as np

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import Landmarks
from headfit.errors import ConvergenceError, unknown_name
from headfit.geometry.mesh import Floats, TriangleMesh
from headfit.geometry.rates import MaterialRates, RunRates, rate_beyond, run_rates
from headfit.geometry.sections import cut, cut_all
from headfit.geometry.shortest import shortest_curve
from headfit.geometry.taperun import Length, TapeRun, lay, lay_all

CZ_SETTLED_MM = 1e-3
CZ_ROUNDS = 50
# On a symmetric head two paths, one on each side of the midline, are equally short, and chance
# decides which is found. A saving too small to read off a tape is no reason to leave the plane.
MIDLINE_SAVES_MM = 0.5


@dataclass(frozen=True)
class Rules:
    """The choices on which published definitions differ; the defaults are headfit's own.

    Parameters
    ----------
    curve : {"plane", "shortest"}
        An arc is the plane section through its three points, or the shortest path over the skin
        forced through them; the midline stays in its plane when the path saves less than 0.5 mm.
    inner : {"row", "parasagittal", "crossing"}
        F3, F4, P3, P4: a quarter of the frontal and parietal row; a quarter of the parasagittal
        arc Fp1-C3-O1; or where the two planes cross. By the last two the other sites of rows F and
        P come along, so that a row stays evenly spaced: F5 half way from F7 to F3, F1 half way from
        F3 to Fz, on an arc over the three. What stands below the ring, F9 and P9, stays; so do the
        rows between, which no publication ties to F3.
    temporal : {"coronal", "ring"}
        T7, T8: 10 % of the coronal arc, or the middle of the half ring.
    inferior : {"system", "row", "contour"}
        Row 9/10: the row arc continued down by 10 % of the coronal arc, as 10-10 and IFCN have it,
        or tenths of the 0 % contour nasion-preauricular point-inion, as Oostenveld & Praamstra
        2001 have it in 10-5. Half way, 9h/10h: by 5 %, or tenths of the ring through the 5 % marks.
        Left to the system each has its own, and `Sites.rules` tells which; a list of sites follows
        10-5 as soon as it has a name of 10-5 alone.
    length : {"taut", "skin"}
        A tape pulled tight bridges hollows; or it follows the skin.

    >>> Rules(inner="parasaggital")
    Traceback (most recent call last):
        ...
    headfit.errors.UnknownNameError: unknown rule for inner 'parasaggital': did you mean \
'parasagittal'?
    """

    curve: Literal["plane", "shortest"] = "plane"
    inner: Literal["row", "parasagittal", "crossing"] = "row"
    temporal: Literal["coronal", "ring"] = "coronal"
    inferior: Literal["system", "row", "contour"] = "system"
    length: Length = "taut"

    def __post_init__(self) -> None:
        for name, choices in _rule_choices().items():
            value = getattr(self, name)
            if value not in choices:
                raise unknown_name(f"rule for {name}", value, choices)


@cache
def _rule_choices() -> dict[str, tuple[str, ...]]:
    hints = get_type_hints(Rules)
    return {field.name: get_args(hints[field.name]) for field in fields(Rules)}


@dataclass(frozen=True)
class Arc:
    """One arc: the sites it joins, and whether the tape is held at the middle one."""

    name: str
    start: str
    via: str
    end: str
    pinned: bool = False

    @property
    def marks(self) -> tuple[str, str, str]:
        """Start, middle and end."""
        return self.start, self.via, self.end


# F3, F4, P3 and P4 of the parasagittal arcs, where half rows run over them: the mark and its site.
PARASAGITTAL_MARKS = {f"parasagittal {site}": site for site in ("F3", "F4", "P3", "P4")}


def _half_rows() -> dict[str, Arc]:
    """Halves of the rows F and P over a parasagittal F3, F4, P3 or P4, from the ring to the middle.

    Used by the parasagittal rule alone.
    """
    return {
        f"{side} half row {row}": Arc(
            f"{side} half row {row}",
            f"{row}{outer}",
            f"parasagittal {row}{inner}",
            f"{row}z",
            pinned=True,
        )
        for row in ("F", "P")
        for side, outer, inner in (("left", 7, 3), ("right", 8, 4))
    }


def _rows() -> dict[str, Arc]:
    """Rows run from the left ring site over the midline site to the right one."""
    ends = {
        "AFp": ("AFp7", "AFpz", "AFp8"),
        "AF": ("AF7", "AFz", "AF8"),
        "AFF": ("AFF7", "AFFz", "AFF8"),
        "F": ("F7", "Fz", "F8"),
        "FFC": ("FFT7", "FFCz", "FFT8"),
        "FC": ("FT7", "FCz", "FT8"),
        "FCC": ("FTT7", "FCCz", "FTT8"),
        "CCP": ("TTP7", "CCPz", "TTP8"),
        "CP": ("TP7", "CPz", "TP8"),
        "CPP": ("TPP7", "CPPz", "TPP8"),
        "P": ("P7", "Pz", "P8"),
        "PPO": ("PPO7", "PPOz", "PPO8"),
        "PO": ("PO7", "POz", "PO8"),
        "POO": ("POO7", "POOz", "POO8"),
    }
    return {f"row {row}": Arc(f"row {row}", *names, pinned=True) for row, names in ends.items()}


ARCS: dict[str, Arc] = {
    "midline": Arc("midline", "nasion", "Cz", "inion"),
    "coronal": Arc("coronal", "left_preauricular", "Cz", "right_preauricular"),
    "left ring": Arc("left ring", "Fpz", "T7", "Oz"),
    "right ring": Arc("right ring", "Fpz", "T8", "Oz"),
    **_rows(),
    "left parasagittal": Arc("left parasagittal", "Fp1", "C3", "O1", pinned=True),
    "right parasagittal": Arc("right parasagittal", "Fp2", "C4", "O2", pinned=True),
    **_half_rows(),
    "left contour": Arc("left contour", "nasion", "left_preauricular", "inion"),
    "right contour": Arc("right contour", "nasion", "right_preauricular", "inion"),
    "left lower ring": Arc("left lower ring", "NFpz", "T9h", "OIz"),
    "right lower ring": Arc("right lower ring", "NFpz", "T10h", "OIz"),
    **{
        f"ear to ear over {site}": Arc(
            f"ear to ear over {site}", "left_preauricular", site, "right_preauricular"
        )
        for site in ("Fpz", "Fz", "Pz", "Oz")
    },
}

# Marks that other arcs run through: arc and fraction. The sites are in anatomy/site_table.py.
_MIDLINE = (
    "NFpz Fpz AFpz AFz AFFz Fz FFCz FCz FCCz Cz CCPz CPz CPPz Pz PPOz POz POOz Oz OIz".split()
)
_LEFT_RING = (
    "Fp1h Fp1 AFp7 AF7 AFF7 F7 FFT7 FT7 FTT7 T7 TTP7 TP7 TPP7 P7 PPO7 PO7 POO7 O1 O1h".split()
)


def mirrored(name: str) -> str:
    """The homologous name: odd numbers become even ones and the reverse; z stays.

    >>> [mirrored(name) for name in ("F3", "Fp1h", "TP10", "Cz", "M1")]
    ['F4', 'Fp2h', 'TP9', 'Cz', 'M2']
    """
    stem = name.rstrip("0123456789h")
    number = name[len(stem) :].rstrip("h")
    if not number:
        return name
    step = 1 if int(number) % 2 else -1
    return f"{stem}{int(number) + step}{name[len(stem) + len(number) :]}"


@cache
def side_of(name: str) -> int:
    """-1 for a site of the left, 1 for one of the right, 0 on the midline: odd, even, none.

    >>> [side_of(name) for name in ("F3", "TP10h", "Cz", "M1")]
    [-1, 1, 0, -1]
    """
    number = "".join(filter(str.isdigit, name))
    return 0 if not number else -1 if int(number) % 2 else 1


def on_left(names: Iterable[str]) -> bool:
    """Whether sites lie on the left: at least one does, and the others on the midline.

    >>> on_left(["Fz", "F3"]), on_left(["F3", "F4"]), on_left(["Fz", "Cz"])
    (True, False, False)
    """
    return {side_of(name) for name in names} - {0} == {-1}


MARKS: dict[str, tuple[str, float]] = {
    **{name: ("midline", (k + 1) / 20) for k, name in enumerate(_MIDLINE)},
    **{name: ("left ring", (k + 1) / 20) for k, name in enumerate(_LEFT_RING) if name != "T7"},
    **{
        mirrored(name): ("right ring", (k + 1) / 20)
        for k, name in enumerate(_LEFT_RING)
        if name != "T7"
    },
    "T9h": ("coronal", 0.05),
    "T7": ("coronal", 0.1),
    "C3": ("coronal", 0.3),
    "C4": ("coronal", 0.7),
    "T8": ("coronal", 0.9),
    "T10h": ("coronal", 0.95),
    "parasagittal F3": ("left parasagittal", 0.25),
    "parasagittal F4": ("right parasagittal", 0.25),
    "parasagittal P3": ("left parasagittal", 0.75),
    "parasagittal P4": ("right parasagittal", 0.75),
}
_MARKS_ON: dict[str, dict[str, float]] = {}
for _mark, (_arc, _fraction) in MARKS.items():
    _MARKS_ON.setdefault(_arc, {})[_mark] = _fraction


@dataclass(frozen=True, eq=False)
class SurfaceMotion:
    """How the surface and its landmarks move with K parameters."""

    material: MaterialRates
    landmarks: dict[str, Floats]
    n_parameters: int


class ArcTracer:
    """Arcs and marks of one head, each traced when first asked for.

    Parameters
    ----------
    mesh : TriangleMesh
        The bare scalp.
    landmarks : Landmarks
        On the surface of `mesh`.
    rules : Rules
    motion : SurfaceMotion, optional
        Needed for the `..._rate` methods only.
    skin : TriangleMesh, optional
        With the ears, for what stands on them; by default `mesh`.

    Raises
    ------
    ConvergenceError
        Cz does not settle.
    MeshError
        An arc leaves the surface.
    """

    def __init__(
        self,
        mesh: TriangleMesh,
        landmarks: Landmarks,
        rules: Rules,
        motion: SurfaceMotion | None = None,
        *,
        skin: TriangleMesh | None = None,
    ) -> None:
        self.mesh = mesh
        self.skin = mesh if skin is None else skin
        self.rules = rules
        self.motion = motion
        self._points: dict[str, Floats] = dict(zip(LANDMARK_NAMES, landmarks, strict=True))
        self._made_elsewhere: frozenset[str] = frozenset()
        self._runs: dict[str, TapeRun] = {}
        self._rates: dict[str, Floats] = dict(motion.landmarks) if motion else {}
        self._run_rates: dict[str, RunRates] = {}
        self._settle_vertex(landmarks)

    def _settle_vertex(self, landmarks: Landmarks) -> None:
        """Find Cz, the point that bisects the midline and the coronal arc both.

        Each round lays both arcs over the last guess; the middle that is farther off is the next.
        """
        nasion, inion, left, right = landmarks
        # A guess far above the vertex fixes the plane; the section itself gives the place.
        above = landmarks.points_mm.mean(axis=0) + 1.5 * np.linalg.norm(right - left) * landmarks.up
        first = cut_all(self.mesh, [(nasion, above, inion)], via_is_hint=True, titles=["midline"])
        vertex = lay(first[0], self.rules.length).point_mm(0.5)
        gaps: list[float] = []
        for _ in range(CZ_ROUNDS):
            triples = [(nasion, vertex, inion), (left, vertex, right)]
            curves = cut_all(self.mesh, triples, titles=("midline", "coronal arc"))
            runs = lay_all(curves, self.rules.length, [False, False])
            middles = [run.point_mm(0.5) for run in runs]
            off = [float(np.linalg.norm(middle - vertex)) for middle in middles]
            gaps.append(max(off))
            if gaps[-1] < CZ_SETTLED_MM:
                self._points["Cz"] = vertex
                if self.rules.curve == "plane":
                    self._keep("midline", runs[0])
                    self._keep("coronal", runs[1])
                return
            vertex = middles[off.index(gaps[-1])]
        raise ConvergenceError(
            f"Cz must bisect the midline and the coronal arc within {CZ_SETTLED_MM} mm, "
            f"got {gaps[-1]:.3g} mm after {CZ_ROUNDS} rounds, {gaps[0]:.3g} mm after the first "
            "(are the landmarks right, and is the vertex of the head unbroken?)",
            code="cz-not-settled",
            gaps_mm=gaps,
        )

    def trace(self, arc_names: Iterable[str]) -> None:
        """Trace arcs and all they depend on, as many as possible in one batch.

        Raises
        ------
        UnknownNameError
            No such arc.
        """
        wanted: dict[str, Arc] = {}
        waiting = [name for name in arc_names if name not in self._runs]
        while waiting:
            name = waiting.pop()
            if name in wanted or name in self._runs:
                continue
            if name not in ARCS:
                raise unknown_name("arc", name, ARCS)
            wanted[name] = arc = ARCS[name]
            waiting += [MARKS[mark][0] for mark in arc.marks if mark not in self._points]
        while wanted:
            ready = [
                arc for arc in wanted.values() if all(mark in self._points for mark in arc.marks)
            ]
            triples = [
                (self.point(arc.start), self.point(arc.via), self.point(arc.end)) for arc in ready
            ]
            for arc, run in zip(ready, self._laid(ready, triples), strict=True):
                self._keep(arc.name, run)
                del wanted[arc.name]

    def _laid(
        self, arcs: Sequence[Arc], triples: Sequence[tuple[Floats, Floats, Floats]]
    ) -> list[TapeRun]:
        """The tapes on some arcs through their three points, by the rules."""
        pinned = [arc.pinned for arc in arcs]
        if self.rules.curve == "plane":
            curves = cut_all(self.mesh, triples, titles=[f"arc {arc.name!r}" for arc in arcs])
            return lay_all(curves, self.rules.length, pinned)
        runs = lay_all([shortest_curve(self.mesh, *t) for t in triples], "skin", pinned)
        for k, arc in enumerate(arcs):
            if arc.name == "midline":
                straight = lay(cut(self.mesh, *triples[k]), "skin")
                if straight.length_mm - runs[k].length_mm < MIDLINE_SAVES_MM:
                    runs[k] = straight
        return runs

    def _keep(self, arc_name: str, run: TapeRun) -> None:
        """Remember an arc and the marks on it."""
        self._runs[arc_name] = run
        marks = _MARKS_ON.get(arc_name)
        if marks:
            found = zip(marks, run.points_mm(list(marks.values())), strict=True)
            self._points.update((m, at) for m, at in found if m not in self._made_elsewhere)

    def with_marks(self, points_mm: Mapping[str, Floats]) -> ArcTracer:
        """The arcs as they are taped when some marks were made elsewhere: what a slip does.

        Parameters
        ----------
        points_mm : mapping of str to (3,) float64
            Where landmarks or marks of `MARKS` were made, on the surface. Cz stays as it was found
            unless it is among them.
        """
        other = ArcTracer.__new__(ArcTracer)
        vars(other).update(vars(self))
        kept = (*LANDMARK_NAMES, "Cz")
        other._points = {name: self.point(name) for name in kept} | dict(points_mm)
        other._made_elsewhere = frozenset(points_mm)
        other._runs, other._rates, other._run_rates, other.motion = {}, {}, {}, None
        return other

    def run(self, arc_name: str) -> TapeRun:
        """The tape on a named arc.

        Raises
        ------
        UnknownNameError
            No such arc.
        """
        if arc_name not in self._runs:
            self.trace([arc_name])
        return self._runs[arc_name]

    def point(self, name: str) -> Floats:
        """(3,) a landmark or a mark that arcs start from."""
        if name not in self._points:
            self.trace([MARKS[name][0]])
        return self._points[name]

    def length_mm(self, arc_name: str) -> float:
        """Tape length of a named arc."""
        return self.run(arc_name).length_mm

    def run_rates(self, arc_name: str) -> RunRates:
        """How the tape on a named arc moves."""
        if arc_name not in self._run_rates:
            arc = ARCS[arc_name]
            start, via, end = (self.point_rate(mark) for mark in arc.marks)
            assert self.motion is not None
            self._run_rates[arc_name] = run_rates(
                self.run(arc_name), self.mesh, self.motion.material, (start, via, end)
            )
        return self._run_rates[arc_name]

    def point_rate(self, name: str) -> Floats:
        """(3, K) rate of a landmark or mark."""
        if name not in self._rates:
            if name == "Cz":
                self._rates[name] = self._vertex_rate()
            else:
                self._rates[name] = self.rate_on(*MARKS[name])
        return self._rates[name]

    def rate_on(self, arc_name: str, fraction: float) -> Floats:
        """(3, K) rate of the place at a fraction of an arc."""
        return self.run_rates(arc_name).point(fraction)

    def rate_beyond(self, arc_name: str, coronal_share: float, *, at_end: bool) -> Floats:
        """(3, K) rate of the place a share of the coronal arc beyond an end of an arc."""
        assert self.motion is not None
        start, via, end = (self.point_rate(mark) for mark in ARCS[arc_name].marks)
        return rate_beyond(
            self.run(arc_name),
            self.mesh,
            self.motion.material,
            (start, via, end),
            coronal_share * self.length_mm("coronal"),
            coronal_share * self.run_rates("coronal").length,
            at_end=at_end,
        )

    def _vertex_rate(self) -> Floats:
        """(3, K) rate of Cz.

        Cz is the fixed point of "middle of the coronal arc through the middle of the midline
        through Cz", so (I - A) rate = B with A the slope in Cz and B in the parameters.
        """
        motion = self.motion
        assert motion is not None
        k = motion.n_parameters
        wide = SurfaceMotion(
            lambda *edge_points: _widened(motion.material(*edge_points)),
            {name: _widened(rate) for name, rate in motion.landmarks.items()},
            k + 3,
        )
        via = np.zeros((3, k + 3))
        via[:, k:] = np.eye(3)
        for arc_name in ("midline", "coronal"):
            arc = ARCS[arc_name]
            named = (wide.landmarks[arc.start], via, wide.landmarks[arc.end])
            run = self.run(arc_name)
            via = run_rates(run, self.mesh, wide.material, named, via_turns_only=True).point(0.5)
        return np.asarray(np.linalg.solve(np.eye(3) - via[:, k:], via[:, :k]), dtype=np.float64)


def _widened(rates: Floats) -> Floats:
    """Rates with three more parameters that do not move this point."""
    return np.concatenate([rates, np.zeros((*rates.shape[:-1], 3))], axis=-1)
