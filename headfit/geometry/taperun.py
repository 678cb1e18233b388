"""A tape laid along a curve: its length, and the place at a fraction of it. Millimetres.

Two ways to lay it: taut, bridging hollows as a tape pulled tight does, and along the skin. In a
plane the taut tape is the convex path over the outside of the curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from headfit.errors import MeshError, sentence
from headfit.geometry.mesh import Floats, Integers
from headfit.geometry.sections import Curve, cross

Length = Literal["taut", "skin"]


@dataclass(frozen=True, eq=False)
class TapeRun:
    """A tape laid along a curve from its start to its end.

    Attributes
    ----------
    curve : Curve
    rows : (k,) int64
        Rows of `curve.points_mm` that the tape touches, first the start, last the end.
    reached_mm : (k,) float64
        Tape length from the start to each touched row.
    over_skin_mm : (n,) float64
        Tape length at which the tape passes over each row from start to end.
    pinned : bool
        The tape is held at the via point, which stands at fraction 0.5; each side is divided for
        itself.
    """

    curve: Curve
    rows: Integers
    reached_mm: Floats
    over_skin_mm: Floats
    pinned: bool = False

    @cached_property
    def touched_mm(self) -> Floats:
        """(k, 3) the touched points."""
        return self.curve.points_mm[self.rows]

    @property
    def length_mm(self) -> float:
        """Tape length from start to end."""
        return float(self.reached_mm[-1])

    @property
    def via_mm(self) -> float:
        """Tape length from the start to the via point, or to where the tape passes over it."""
        return float(self.over_skin_mm[self.curve.via - self.curve.start])

    @property
    def _divided_mm(self) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Fractions and the tape lengths at which they stand; straight between them."""
        if self.pinned:
            return (0.0, 0.5, 1.0), (0.0, self.via_mm, self.length_mm)
        return (0.0, 1.0), (0.0, self.length_mm)

    def distances_mm(self, fractions: ArrayLike) -> Floats:
        """(k,) tape lengths from the start to fractions (k,) of the arc, 0..1."""
        return np.asarray(np.interp(np.asarray(fractions), *self._divided_mm))

    def distance_mm(self, fraction: float) -> float:
        """Tape length from the start to `fraction` (0..1) of the arc."""
        return float(self.distances_mm(fraction))

    def fraction(self, distance_mm: float) -> float:
        """Fraction (0..1) of the arc at a tape length from the start; inverse of `distance_mm`."""
        return float(np.interp(distance_mm, *self._divided_mm[::-1]))

    def points_mm(self, fractions: ArrayLike) -> Floats:
        """(k, 3) the places on the skin at fractions (k,) of the arc, 0..1.

        Where the tape bridges a hollow the mark is made under the tape, on the skin.
        """
        return _at(self.distances_mm(fractions), self.over_skin_mm, self.curve.path_mm)

    def point_mm(self, fraction: float) -> Floats:
        """(3,) the place on the skin at one fraction."""
        return np.asarray(self.points_mm([fraction])[0])

    def before_start_mm(self, distance_mm: ArrayLike) -> Floats:
        """(..., 3) the places reached on the skin by going on from the start, away from the end.

        Raises
        ------
        MeshError
            The surface ends before.
        """
        return _along(self.curve.points_mm[self.curve.start :: -1], distance_mm)

    def after_end_mm(self, distance_mm: ArrayLike) -> Floats:
        """(..., 3) the places reached on the skin by going on beyond the end.

        Raises
        ------
        MeshError
            The surface ends before.
        """
        return _along(self.curve.points_mm[self.curve.end :], distance_mm)


def _along(points: Floats, distance_mm: ArrayLike) -> Floats:
    """(..., 3) the points at some lengths along a polyline (k, 3)."""
    wanted = np.asarray(distance_mm, dtype=np.float64)
    steps = points[1:] - points[:-1]
    reached = np.zeros(len(points))
    np.cumsum(np.sqrt(np.einsum("ij,ij->i", steps, steps)), out=reached[1:])
    if (farthest := float(wanted.max())) > reached[-1]:
        raise MeshError(
            sentence(
                "surface beyond the end of an arc",
                f"reach on for {farthest:.1f} mm",
                f"{reached[-1]:.1f} mm",
                "it is cut off too near: scan more of it, or leave out the places beyond",
            ),
            code="arc-beyond",
            wanted_mm=farthest,
            reached_mm=float(reached[-1]),
        )
    return _at(wanted, reached, points)


def _at(wanted: Floats, reached: Floats, points: Floats) -> Floats:
    """(..., 3) the places on a polyline (n, 3) at some lengths; (n,) is reached at its rows."""
    row = reached[1:-1].searchsorted(wanted, side="right")
    step = reached[row + 1] - reached[row]
    rest = ((reached[row + 1] - wanted) / np.maximum(step, 1e-300))[..., None]
    return np.asarray(rest * points[row] + (1 - rest) * points[row + 1])


def lay(curve: Curve, length: Length = "taut", *, pinned: bool = False) -> TapeRun:
    """The tape along `curve`; as `lay_all`, for one."""
    return lay_all([curve], length, [pinned])[0]


def lay_all(curves: Sequence[Curve], length: Length, pinned: Sequence[bool]) -> list[TapeRun]:
    """The tapes along some curves: pulled tight over hollows, or following the skin.

    All go through the vectorised part as one row of paths, end to end.

    Parameters
    ----------
    curves : sequence of Curve
    length : {"taut", "skin"}
    pinned : sequence of bool
        Hold the tape at the via point.
    """
    paths = [curve.path_mm for curve in curves]
    path = np.concatenate(paths)
    ends = np.cumsum([len(one) for one in paths])
    begins = ends - [len(one) for one in paths]
    rows = np.arange(len(path))
    if length == "taut":
        held = np.zeros(len(path), bool)
        held[begins] = held[ends - 1] = True
        for curve, begin, hold in zip(curves, begins.tolist(), pinned, strict=True):
            held[begin + curve.via - curve.start] |= hold
        rows = _tight_rows(np.concatenate([_in_plane(curve) for curve in curves]), held)
    last = rows.searchsorted(ends) - 1
    # The step from one tape to the next falls out with the origin of the next.
    steps = np.zeros((len(rows), 3))
    np.subtract(path[rows[1:]], path[rows[:-1]], out=steps[:-1])
    steps_mm = np.sqrt(np.einsum("ij,ij->i", steps, steps))
    reached = np.cumsum(steps_mm) - steps_mm
    over = reached
    if len(rows) < len(path):
        piece = rows.searchsorted(np.arange(len(path)), side="right") - 1
        gap = path - path[rows[piece]]
        along = np.einsum("ij,ij->i", gap, steps[piece]) / np.maximum(steps_mm[piece], 1e-300)
        over = reached[piece] + along
    runs = []
    first = 0
    for curve, begin, end, until, hold in zip(
        curves, begins.tolist(), ends.tolist(), (last + 1).tolist(), pinned, strict=True
    ):
        here = slice(first, until)
        origin = reached[first]
        runs.append(
            TapeRun(
                curve,
                rows[here] + (curve.start - begin),
                reached[here] - origin,
                np.maximum.accumulate(over[begin:end] - origin),
                hold,
            )
        )
        first = until
    return runs


def hull_rows(points: Floats) -> Integers:
    """Rows of points (n, 2) that a tape pulled tight round all of them touches, in order.

    The monotone chain of Andrew 1979, Information Processing Letters 9.

    >>> hull_rows(np.array([[0.0, 0], [2, 0], [1, 0.5], [2, 2], [0, 2]])).tolist()
    [0, 1, 3, 4]
    """
    places = points.tolist()

    def one_side(rows: list[int]) -> list[int]:
        kept: list[int] = []
        for row in rows:
            x, y = places[row]
            while len(kept) > 1:
                (x0, y0), (x1, y1) = places[kept[-2]], places[kept[-1]]
                if (x1 - x0) * (y - y0) > (y1 - y0) * (x - x0):
                    break
                kept.pop()
            kept.append(row)
        return kept[:-1]

    order = np.lexsort((points[:, 1], points[:, 0])).tolist()
    return np.array(one_side(order) + one_side(order[::-1]))


def _in_plane(curve: Curve) -> Floats:
    """(n, 2) the path in the plane of the curve, along the chord and outwards from it."""
    path = curve.path_mm
    chord = path[-1] - path[0]
    return np.asarray(path @ np.array([chord, cross(curve.normal, chord)]).T)


def _tight_rows(plane: Floats, held: NDArray[np.bool_]) -> Integers:
    """Rows of paths (n, 2) that taut tapes touch, when they are held at some rows.

    A point where the curve bends inwards is no corner of the convex path, so all such points are
    let go at once until none is left; two or three rounds do on a head.
    """
    rows = np.arange(len(plane))
    while True:
        steps = plane[1:] - plane[:-1]
        bends = steps[:-1, 0] * steps[1:, 1] - steps[:-1, 1] * steps[1:, 0]
        kept = held[rows]
        kept[1:-1] |= bends <= 0.0  # turning right: outwards
        if kept.all():
            return rows
        rows, plane = rows[kept], plane[kept]
