"""Every measurement of the sheet taken on a head by computer, with its exact derivative.

The definitions stand here once: `measure_head` takes them on any head, the fit takes them on the
template as it deforms. Millimetres. Skull points follow anthropometry: glabella lies on the brow in
the midline, opisthocranion is the farthest point of the occiput from it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from headfit.anatomy.arcs import ArcTracer, Rules
from headfit.anatomy.head import Head
from headfit.errors import MeshError, sentence
from headfit.fitting.measurements import MEASUREMENTS, measurement
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats, Integers
from headfit.geometry.rates import row_rates, skew
from headfit.geometry.sections import Curve, cross, cut
from headfit.geometry.taperun import hull_rows

# Glabella, the brow, stands 5 % of the midline above the nasion: 17 mm on an adult; three open
# heads have it 16 to 18 mm above. A steep forehead has no one place that is the most prominent.
_GLABELLA = "NFpz"
# Opisthocranion is looked for here. The occiput is so round that no caliper finds its farthest
# point: all places as far within about half a millimetre are averaged, so that the place does not
# jump when the shape changes a little.
_BEHIND = np.linspace(0.5, 1.0, 61)
_AS_FAR_MM = 0.5
_STEP = 1e-6  # of a fraction, for the direction of the midline
# Breadth is taken above the attachment of the ears (ANSUR II 2012), this high over the plane of
# nasion and preauricular points for a preauricular width of 145 mm. Lower, the patch under the ears
# of a template is wider than its vault, and the widest place would be found there.
_BREADTH_FROM_MM, _PREAURICULAR_MM = 40.0, 145.0
_DIAGONAL_RAD = np.radians(30.0)
_DIAGONAL_SIDES = {"left_diagonal": -1.0, "right_diagonal": 1.0}  # of the front end, along +x

_QUARTERS = {
    "left_ring_front": ("left ring", True),
    "left_ring_back": ("left ring", False),
    "right_ring_front": ("right ring", True),
    "right_ring_back": ("right ring", False),
}
_CHORDS = {
    "preauricular_width": ("left_preauricular", "right_preauricular"),
    "nasion_inion_chord": ("nasion", "inion"),
    "left_preauricular_nasion_chord": ("left_preauricular", "nasion"),
    "right_preauricular_nasion_chord": ("right_preauricular", "nasion"),
    "left_preauricular_inion_chord": ("left_preauricular", "inion"),
    "right_preauricular_inion_chord": ("right_preauricular", "inion"),
}


@dataclass(frozen=True, eq=False)
class HeadMeasures:
    """Measurements on the arcs of one head.

    Attributes
    ----------
    tracer : ArcTracer
        With a motion when rates are asked for.
    """

    tracer: ArcTracer

    def value_mm(self, name: str) -> float:
        """One measurement of `MEASUREMENTS`, mm.

        Raises
        ------
        UnknownNameError
            No such measurement.
        """
        kind, run = measurement(name), self.tracer.run
        name = kind.name
        if kind.arcs:
            return sum(run(arc).length_mm for arc in kind.arcs)
        if name in _QUARTERS:
            arc, front = _QUARTERS[name]
            return run(arc).via_mm if front else run(arc).length_mm - run(arc).via_mm
        if name in ("nasion_cz", "cz_inion"):  # Cz bisects the midline by definition
            return run("midline").length_mm / 2
        if name in _CHORDS:
            first, second = (self.tracer.point(mark) for mark in _CHORDS[name])
            return float(np.linalg.norm(second - first))
        if name == "cz_height":
            axes, middle = self._frame
            return float(axes[2] @ (self.tracer.point("Cz") - middle))
        if name == "head_breadth":
            return float(self._frame[0][0] @ np.subtract(*self._widest_mm))
        if name == "head_length":
            return float(np.linalg.norm(np.subtract(*self._skull.points_mm)))
        if name == "largest_circumference":
            corners = self._round[0].points_mm[self._round[2]]
            steps = np.roll(corners, -1, axis=0) - corners
            return float(np.linalg.norm(steps, axis=1).sum())
        return float(np.linalg.norm(np.subtract(*(end.point for end in self._diagonal(name)))))

    def values_mm(self, names: Sequence[str]) -> Floats:
        """(m,) some measurements, mm; their arcs are traced together."""
        self.tracer.trace(arc for name in names for arc in measurement(name).arcs)
        return np.array([self.value_mm(name) for name in names])

    def path_mm(self, name: str) -> Floats:
        """(n, 3) where a measurement touches the skin: the way of the tape, or the caliper ends.

        Raises
        ------
        UnknownNameError
            No such measurement.
        """
        kind, run = measurement(name), self.tracer.run
        name = kind.name
        if kind.arcs:
            return np.concatenate([run(arc).curve.path_mm for arc in kind.arcs])
        if name in _QUARTERS or name in ("nasion_cz", "cz_inion"):
            arc, front = _QUARTERS.get(name, ("midline", name == "nasion_cz"))
            curve = run(arc).curve
            at = curve.via - curve.start
            return curve.path_mm[: at + 1] if front else curve.path_mm[at:]
        if name in _CHORDS:
            return np.array([self.tracer.point(mark) for mark in _CHORDS[name]])
        if name == "cz_height":
            return self.tracer.point("Cz")[None]
        if name == "head_breadth":
            return self._widest_mm
        if name == "head_length":
            return self._skull.points_mm
        if name == "largest_circumference":
            curve, rows, _ = self._round
            return curve.points_mm[[*rows, rows[0]]]
        return np.array([end.point for end in self._diagonal(name)])

    def rate(self, name: str) -> Floats:
        """(K,) derivative of one measurement in the parameters of the tracer's motion.

        Raises
        ------
        UnknownNameError
            No such measurement.
        """
        kind, tracer = measurement(name), self.tracer
        name = kind.name
        if kind.arcs:
            lengths = [tracer.run_rates(arc).length for arc in kind.arcs]
            return np.asarray(np.sum(lengths, axis=0))
        if name in _QUARTERS:
            arc, front = _QUARTERS[name]
            rates = tracer.run_rates(arc)
            return rates.via if front else rates.length - rates.via
        if name in ("nasion_cz", "cz_inion"):
            return tracer.run_rates("midline").length / 2
        if name in _CHORDS:
            first, second = _CHORDS[name]
            return _stretch(
                tracer.point(second) - tracer.point(first),
                tracer.point_rate(second) - tracer.point_rate(first),
            )
        if name == "cz_height":
            axes, middle = self._frame
            axis_rates, middle_rate = self._frame_rates
            gap = tracer.point("Cz") - middle
            return np.asarray(
                axes[2] @ (tracer.point_rate("Cz") - middle_rate) + gap @ axis_rates[2]
            )
        if name == "head_breadth":
            return self._breadth_rate
        if name == "head_length":
            return _stretch(np.subtract(*self._skull.points_mm), np.subtract(*self._skull_rates))
        if name == "largest_circumference":
            return self._round_rate
        one, other = self._diagonal(name)
        return _stretch(one.point - other.point, self._end_rate(one) - self._end_rate(other))

    def rates(self, names: Sequence[str]) -> Floats:
        """(m, K) derivatives of some measurements; their arcs are traced together."""
        self.tracer.trace(arc for name in names for arc in measurement(name).arcs)
        return np.array([self.rate(name) for name in names])

    # ---- the frame of the landmarks

    @property
    def _motion(self):  # type: ignore[no-untyped-def]
        assert self.tracer.motion is not None
        return self.tracer.motion

    @cached_property
    def _frame(self) -> tuple[Floats, Floats]:
        """Axes (3, 3) right, front, up, and the middle between the preauricular points."""
        left, right, nasion = (
            self.tracer.point(n) for n in ("left_preauricular", "right_preauricular", "nasion")
        )
        middle = (left + right) / 2
        up = cross(right - left, nasion - middle)
        x, z = _unit(right - left), _unit(up)
        return np.array([x, cross(z, x), z]), middle

    @cached_property
    def _frame_rates(self) -> tuple[Floats, Floats]:
        """Rates (3, 3, K) of the axes and (3, K) of the middle."""
        left, right, nasion = ("left_preauricular", "right_preauricular", "nasion")
        point, rate = self.tracer.point, self.tracer.point_rate
        axes, middle = self._frame
        middle_rate = (rate(left) + rate(right)) / 2
        across, across_rate = point(right) - point(left), rate(right) - rate(left)
        ahead, ahead_rate = point(nasion) - middle, rate(nasion) - middle_rate
        up = cross(across, ahead)
        up_rate = _cross_rate(across, across_rate, ahead, ahead_rate)
        x_rate, z_rate = _unit_rate(across, across_rate), _unit_rate(up, up_rate)
        y_rate = _cross_rate(axes[2], z_rate, axes[0], x_rate)
        return np.array([x_rate, y_rate, z_rate]), middle_rate

    @cached_property
    def _scale(self) -> float:
        return self.value_mm("preauricular_width") / _PREAURICULAR_MM

    # ---- calipers

    @cached_property
    def _widest(self) -> tuple[Integers, Integers, Floats]:
        """The places farthest right and left above the ears: two vertices and the weight between.

        Weight 0 is a vertex; others lie on an edge, at the height from which breadth is taken.
        """
        (axes, middle), mesh = self._frame, self.tracer.mesh
        across, up = axes[[0, 2]] @ (mesh.vertices_mm - middle).T
        up -= _BREADTH_FROM_MM * self._scale
        first, second, _ = mesh.half_edges
        crossing = np.flatnonzero((up[first] > 0) & (up[second] <= 0))
        high = mesh.used_vertices[up[mesh.used_vertices] > 0]
        one = np.concatenate([high, first[crossing]])
        other = np.concatenate([high, second[crossing]])
        weight = np.zeros(len(one))
        weight[len(high) :] = up[first[crossing]] / (up[first[crossing]] - up[second[crossing]])
        reach = (1 - weight) * across[one] + weight * across[other]
        if not len(reach):  # no head, but a search for one may try it
            raise MeshError(sentence("a head", "rise above its ears", "none"), code="mesh-flat")
        places = [reach.argmax(), reach.argmin()]
        return one[places], other[places], weight[places]

    @property
    def _widest_mm(self) -> Floats:
        """(2, 3) the places farthest right and left above the ears."""
        one, other, weight = self._widest
        vertices = self.tracer.mesh.vertices_mm
        return np.asarray(vertices[one] + weight[:, None] * (vertices[other] - vertices[one]))

    @cached_property
    def _breadth_rate(self) -> Floats:
        """(K,) rate of the head breadth."""
        (axes, middle), (axis_rates, middle_rate) = self._frame, self._frame_rates
        (one, other, weight), points = self._widest, self._widest_mm
        moves = self._motion.material(one, other, weight)
        level_rate = _BREADTH_FROM_MM * self.rate("preauricular_width") / _PREAURICULAR_MM
        for k in np.flatnonzero(weight):  # it stays at the height
            edge = np.subtract(*self.tracer.mesh.vertices_mm[[other[k], one[k]]])
            climb = axes[2] @ (moves[k] - middle_rate) + (points[k] - middle) @ axis_rates[2]
            moves[k] += edge[:, None] * ((level_rate - climb) / (axes[2] @ edge))
        return np.asarray(axes[0] @ np.subtract(*moves) + np.subtract(*points) @ axis_rates[0])

    @cached_property
    def _skull(self) -> _Skull:
        run, glabella = self.tracer.run("midline"), self.tracer.point(_GLABELLA)
        gaps = run.points_mm(_BEHIND) - glabella
        gaps_mm = np.linalg.norm(gaps, axis=1)
        shares = np.exp((gaps_mm - gaps_mm.max()) / _AS_FAR_MM)
        shares /= shares.sum()
        fraction = float(shares @ _BEHIND)
        points = np.array([run.point_mm(fraction), glabella])
        return _Skull(points, fraction, shares, gaps / gaps_mm[:, None])

    @cached_property
    def _skull_rates(self) -> Floats:
        """(2, 3, K) rates of opisthocranion and glabella."""
        tracer, skull = self.tracer, self._skull
        run, rates = tracer.run("midline"), tracer.run_rates("midline")
        front = tracer.point_rate(_GLABELLA)
        stretch = np.einsum("ij,ijk->ik", skull.directions, rates.points(_BEHIND) - front)
        # A place that moves farther away gains weight.
        shift = (skull.shares * (_BEHIND - skull.fraction) / _AS_FAR_MM) @ stretch
        after, before = (run.point_mm(skull.fraction + step) for step in (_STEP, -_STEP))
        back = rates.point(skull.fraction) + ((after - before) / (2 * _STEP))[:, None] * shift
        return np.array([back, front])

    # ---- the circumference over glabella and occiput

    @cached_property
    def _round(self) -> tuple[Curve, Integers, Integers]:
        """The closed section over glabella and occiput, its rows in order, those a tape touches."""
        back, front = self._skull.points_mm
        aside = (back + front) / 2 - 100.0 * self._frame[0][0]
        curve = cut(self.tracer.mesh, front, aside, back, via_is_hint=True)
        # The place of the hint lies amid a straight piece: without it nothing changes.
        rows = np.delete(np.arange(len(curve.points_mm)), curve.via)
        u = _unit(front - back)
        plane = np.column_stack([u, cross(curve.normal, u)])
        return curve, rows, rows[hull_rows((curve.points_mm[rows] - back) @ plane)]

    @cached_property
    def _round_named_rates(self) -> tuple[Floats, Floats, Floats]:
        """Rates of glabella, of a place beside the head in the plane, and of opisthocranion."""
        back, front = self._skull_rates
        curve = self._round[0]
        aside = curve.points_mm[curve.via] - curve.points_mm[curve.start]
        along = curve.points_mm[curve.end] - curve.points_mm[curve.start]
        x = self._frame[0][0]
        share, out = np.linalg.lstsq(np.column_stack([along, x]), aside, rcond=None)[0]
        beside = front + share * (back - front) + out * self._frame_rates[0][0]
        return front, beside, back

    @cached_property
    def _round_rate(self) -> Floats:
        curve, _, corner_rows = self._round
        rates = row_rates(
            curve, corner_rows, self.tracer.mesh, self._motion.material, self._round_named_rates
        )
        corners = curve.points_mm[corner_rows]
        steps = np.roll(corners, -1, axis=0) - corners
        steps = steps / np.linalg.norm(steps, axis=1, keepdims=True)
        return np.asarray(np.einsum("ij,ijk->k", steps, np.roll(rates, -1, axis=0) - rates))

    def _diagonal(self, name: str) -> tuple[_End, _End]:
        """Both ends of a diagonal through the middle of the circumference."""
        curve, rows, _ = self._round
        back, front = self._skull.points_mm
        ahead, x = _unit(front - back), self._frame[0][0]
        side = _DIAGONAL_SIDES[name]
        direction = np.cos(_DIAGONAL_RAD) * ahead + np.sin(_DIAGONAL_RAD) * side * x
        direction = _unit(direction)
        middle = (back + front) / 2
        offset = curve.points_mm[rows] - middle
        aside = offset @ cross(curve.normal, direction)
        crossing = np.flatnonzero(np.sign(aside) != np.sign(np.roll(aside, -1)))
        following = np.roll(rows, -1)[crossing]
        share = aside[crossing] / (aside[crossing] - np.roll(aside, -1)[crossing])
        here = curve.points_mm[rows[crossing]]
        span = curve.points_mm[following] - here
        points = here + share[:, None] * span
        reach = (points - middle) @ direction
        ends = []
        for k in (int(reach.argmax()), int(reach.argmin())):
            pair = np.array([rows[crossing[k]], following[k]])
            ends.append(_End(points[k], pair, float(share[k]), direction, side, span[k]))
        return ends[0], ends[1]

    def _end_rate(self, end: _End) -> Floats:
        """(3, K) rate of the end of a diagonal: on its line and on the skin."""
        curve = self._round[0]
        back, front = self._skull_rates
        points = self._skull.points_mm
        middle, middle_rate = points.mean(axis=0), (back + front) / 2
        ahead_rate = _unit_rate(points[1] - points[0], front - back)
        raw_rate = (
            np.cos(_DIAGONAL_RAD) * ahead_rate
            + np.sin(_DIAGONAL_RAD) * end.side * self._frame_rates[0][0]
        )
        turn = raw_rate - end.direction[:, None] * (end.direction @ raw_rate)
        skin = row_rates(
            curve, end.rows, self.tracer.mesh, self._motion.material, self._round_named_rates
        )
        skin_rate = (1 - end.share) * skin[0] + end.share * skin[1]
        outward = cross(curve.normal, end.span)
        reach = float((end.point - middle) @ end.direction)
        swing = middle_rate + reach * turn
        slide = outward @ (skin_rate - swing) / (outward @ end.direction)
        return np.asarray(swing + end.direction[:, None] * slide)


@dataclass(frozen=True, eq=False)
class _Skull:
    """Opisthocranion and glabella, and what had a say in where the first is.

    Attributes
    ----------
    points_mm : (2, 3) float64
    fraction : float
        Of opisthocranion on the midline.
    shares : (n,) float64
        The say of each place behind; they add up to 1.
    directions : (n, 3) float64
        Unit vectors from glabella to these places.
    """

    points_mm: Floats
    fraction: float
    shares: Floats
    directions: Floats


@dataclass(frozen=True, eq=False)
class _End:
    """One end of a diagonal: the place, the rows around it, and the line it lies on."""

    point: Floats
    rows: Integers
    share: float
    direction: Floats
    side: float
    span: Floats


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.sqrt(vector @ vector))


def _unit_rate(vector: Floats, rate: Floats) -> Floats:
    """(3, K) rate of the direction of a vector (3,) of rate (3, K)."""
    size = np.sqrt(vector @ vector)
    unit = vector / size
    return np.asarray((rate - unit[:, None] * (unit @ rate)) / size)


def _stretch(vector: Floats, rate: Floats) -> Floats:
    """(K,) rate of the length of a vector (3,) of rate (3, K)."""
    return np.asarray(_unit(vector) @ rate)


def _cross_rate(a: Floats, a_rate: Floats, b: Floats, b_rate: Floats) -> Floats:
    """(3, K) rate of a x b."""
    return np.asarray(skew(a) @ b_rate - skew(b) @ a_rate)


def measures_of(head: Head, rules: Rules | None = None) -> HeadMeasures:
    """The measurements of a head, each taken when asked for."""
    return HeadMeasures(ArcTracer(head.scalp, head.landmarks, rules or Rules()))


def measure_head(head: Head) -> Tape:
    """Everything on the sheet, taken on a head by computer.

    Parameters
    ----------
    head : Head
        Any head; the definitions are those of the fit.

    Raises
    ------
    ConvergenceError, MeshError
        The arcs cannot be traced on this surface.

    >>> from headfit import load_template
    >>> round(measure_head(load_template()).nasion_inion_mm, 1)
    348.5
    """
    measures = measures_of(head)
    return Tape(**{f"{name}_mm": measures.value_mm(name) for name in MEASUREMENTS})  # type: ignore[arg-type]
