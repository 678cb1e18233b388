"""A tape laid along a curve: its length, and the place at a fraction of it. Millimetres.

Two ways to lay it: taut, bridging hollows as a tape pulled tight does, and along the skin. In a
plane the taut tape is the convex path over the outside of the curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

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
    pinned : bool
        The tape is held at the via point, which stands at fraction 0.5; each side is divided for
        itself.
    """

    curve: Curve
    rows: Integers
    pinned: bool = False

    @cached_property
    def touched_mm(self) -> Floats:
        """(k, 3) the touched points."""
        return self.curve.points_mm[self.rows]

    @cached_property
    def reached_mm(self) -> Floats:
        """(k,) tape length from the start to each touched point."""
        steps = self.touched_mm[1:] - self.touched_mm[:-1]
        reached = np.zeros(len(self.rows))
        np.cumsum(np.sqrt(np.einsum("ij,ij->i", steps, steps)), out=reached[1:])
        return reached

    @property
    def length_mm(self) -> float:
        """Tape length from start to end."""
        return float(self.reached_mm[-1])

    @cached_property
    def via_mm(self) -> float:
        """Tape length from the start to the via point, or to where the tape passes over it."""
        place = int(np.searchsorted(self.rows, self.curve.via))
        if self.rows[place] == self.curve.via:
            return float(self.reached_mm[place])
        before, after = self.touched_mm[place - 1], self.touched_mm[place]
        gap = self.curve.points_mm[self.curve.via] - before
        step = self.reached_mm[place] - self.reached_mm[place - 1]
        return float(self.reached_mm[place - 1] + gap @ (after - before) / step)

    def distance_mm(self, fraction: float) -> float:
        """Tape length from the start to `fraction` (0..1) of the arc."""
        if not self.pinned:
            return fraction * self.length_mm
        if fraction <= 0.5:
            return 2 * fraction * self.via_mm
        return self.via_mm + (2 * fraction - 1) * (self.length_mm - self.via_mm)

    def fraction(self, distance_mm: float) -> float:
        """Fraction (0..1) of the arc at a tape length from the start; inverse of `distance_mm`."""
        if not self.pinned:
            return distance_mm / self.length_mm
        if distance_mm <= self.via_mm:
            return 0.5 * distance_mm / self.via_mm
        return 0.5 + 0.5 * (distance_mm - self.via_mm) / (self.length_mm - self.via_mm)

    def piece(self, distance_mm: float) -> tuple[int, float]:
        """Index into `rows` of the piece at a tape length, and how far along it (0..1)."""
        reached = self.reached_mm
        index = int(reached.searchsorted(distance_mm, side="right")) - 1
        index = min(max(index, 0), len(reached) - 2)
        step = reached[index + 1] - reached[index]
        return index, float((distance_mm - reached[index]) / step)

    @cached_property
    def over_skin_mm(self) -> Floats:
        """(n,) tape length at which the tape passes over each row from start to end."""
        curve = self.curve
        if len(self.rows) == curve.end + 1 - curve.start:
            return self.reached_mm
        path = curve.path_mm
        piece = np.searchsorted(self.rows, np.arange(curve.start, curve.end + 1), side="right") - 1
        piece = np.minimum(piece, len(self.rows) - 2)
        steps = self.touched_mm[1:] - self.touched_mm[:-1]
        lengths = self.reached_mm[1:] - self.reached_mm[:-1]
        gap = path - self.touched_mm[piece]
        along = np.einsum("ij,ij->i", gap, steps[piece]) / lengths[piece]
        return np.asarray(np.maximum.accumulate(self.reached_mm[piece] + along))

    def points_mm(self, fractions: ArrayLike) -> Floats:
        """(k, 3) the places on the skin at fractions (k,) of the arc, 0..1.

        Where the tape bridges a hollow the mark is made under the tape, on the skin.
        """
        wanted = np.array([self.distance_mm(f) for f in np.atleast_1d(np.asarray(fractions))])
        over, path = self.over_skin_mm, self.curve.path_mm
        return np.column_stack([np.interp(wanted, over, path[:, axis]) for axis in range(3)])

    def point_mm(self, fraction: float) -> Floats:
        """(3,) the place on the skin at one fraction."""
        return np.asarray(self.points_mm([fraction])[0])

    def before_start_mm(self, distance_mm: float) -> Floats:
        """(3,) the place reached on the skin by going on from the start, away from the end.

        Raises
        ------
        MeshError
            The surface ends before.
        """
        return _along(self.curve.points_mm[self.curve.start :: -1], distance_mm)

    def after_end_mm(self, distance_mm: float) -> Floats:
        """(3,) the place reached on the skin by going on beyond the end.

        Raises
        ------
        MeshError
            The surface ends before.
        """
        return _along(self.curve.points_mm[self.curve.end :], distance_mm)


def _along(points: Floats, distance_mm: float) -> Floats:
    """(3,) the point at a length along a polyline (k, 3)."""
    steps = points[1:] - points[:-1]
    reached = np.zeros(len(points))
    np.cumsum(np.sqrt(np.einsum("ij,ij->i", steps, steps)), out=reached[1:])
    if distance_mm > reached[-1]:
        raise MeshError(
            sentence("surface beyond the end of an arc", f"reach on for {distance_mm:.1f} mm",
                     f"{reached[-1]:.1f} mm",
                     "it is cut off too near: scan more of it, or leave out the places beyond"),
            code="arc-beyond", wanted_mm=distance_mm, reached_mm=float(reached[-1]),
        )  # fmt: skip
    return np.array([np.interp(distance_mm, reached, points[:, axis]) for axis in range(3)])


def lay(curve: Curve, length: Length = "taut", *, pinned: bool = False) -> TapeRun:
    """The tape along `curve`: pulled tight over hollows, or following the skin.

    Parameters
    ----------
    curve : Curve
    length : {"taut", "skin"}
    pinned : bool
        Hold the tape at the via point.
    """
    if length == "skin":
        rows = np.arange(curve.start, curve.end + 1)
    elif pinned:
        first = _tight_rows(curve, curve.start, curve.via)
        rows = np.concatenate([first, _tight_rows(curve, curve.via, curve.end)[1:]])
    else:
        rows = _tight_rows(curve, curve.start, curve.end)
    return TapeRun(curve, rows, pinned)


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


def _tight_rows(curve: Curve, first: int, last: int) -> Integers:
    """Rows first..last that a taut tape touches.

    A point where the curve bends inwards is no corner of the convex path, so all such points are
    let go at once until none is left; two or three rounds do on a head.
    """
    path = curve.points_mm[first : last + 1]
    chord = path[-1] - path[0]
    plane = path @ np.column_stack([chord, cross(curve.normal, chord)])
    rows = np.arange(first, last + 1)
    while len(rows) > 2:
        steps = plane[1:] - plane[:-1]
        bends = steps[:-1, 0] * steps[1:, 1] - steps[:-1, 1] * steps[1:, 0]
        kept = np.ones(len(rows), bool)
        np.less_equal(bends, 0.0, out=kept[1:-1])  # turning right: outwards
        if kept.all():
            break
        rows, plane = rows[kept], plane[kept]
    return rows
