"""Plane sections of a mesh as ordered curves. Millimetres, any frame.

A section runs from a start point through a via point to an end point in the plane of the three.
The three points lie on the surface; they are points of the curve themselves and never snapped to
a vertex.

The walk goes from triangle to triangle across shared edges. A mesh wound outwards makes every
crossed triangle have one edge that leaves the upper side and one that returns to it, so the order
of the curve is read off the neighbours: there is nothing to sort and no tolerance.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headfit.errors import MeshError, sentence
from headfit.geometry.mesh import Floats, Integers, TriangleMesh

# For the 8 patterns of "corner k lies above": the edge on which a triangle wound outwards is left
# (upper to lower) and entered (lower to upper). Patterns 0 and 7 are not crossed.
_ABOVE = [[bool(code >> k & 1) for k in range(3)] for code in range(8)]
_LEAVES = np.array(
    [next((k for k in range(3) if up[k] and not up[(k + 1) % 3]), 0) for up in _ABOVE]
)
_ENTERS = np.array(
    [next((k for k in range(3) if not up[k] and up[(k + 1) % 3]), 0) for up in _ABOVE]
)
_NEXT_CORNER = np.array([1, 2, 0])

# A point given as lying on the surface may miss the curve by this much: rounding of files.
_ON_CURVE_MM = 1e-2
# Rows of a curve nearer to each other than this are one point.
_SAME_POINT_MM = 1e-9


@dataclass(frozen=True, eq=False)
class Curve:
    """An ordered curve on a surface with three named points on it.

    Attributes
    ----------
    points_mm : (n, 3) float64
        The curve. Where the surface goes on, it begins before the start point and ends after the
        end point.
    start, via, end : int
        Row of each named point, start < via < end.
    edges : (n, 2) int64
        The two vertices between which each row lies; -1 at the named points.
    weights : (n,) float64
        Where between them, 0 at the first.
    normal : (3,) float64
        Unit normal of the plane; normal x (direction of travel) points out of the head.
    """

    points_mm: Floats
    start: int
    via: int
    end: int
    edges: Integers
    weights: Floats
    normal: Floats

    @property
    def path_mm(self) -> Floats:
        """(k, 3) from the start point to the end point."""
        return self.points_mm[self.start : self.end + 1]


def cross(a: Floats, b: Floats) -> Floats:
    """(3,) cross product; np.cross spends twenty times as long on checking shapes."""
    (a0, a1, a2), (b0, b1, b2) = a.tolist(), b.tolist()
    return np.array([a1 * b2 - a2 * b1, a2 * b0 - a0 * b2, a0 * b1 - a1 * b0])


def cut(
    mesh: TriangleMesh, start: Floats, via: Floats, end: Floats, *, via_is_hint: bool = False
) -> Curve:
    """The section of `mesh` from `start` through `via` to `end`.

    Parameters
    ----------
    mesh : TriangleMesh
        Closed, or open away from the curve.
    start, via, end : (3,) float64
        Points on the surface, mm, not in line.
    via_is_hint : bool
        `via` need not lie on the surface: the nearest place of the section stands for it.

    Returns
    -------
    Curve
        Of several loops that lie in the plane, the one on which `via` lies.

    Raises
    ------
    MeshError
        The points are in line, are not on one curve, or a border of the mesh interrupts it.
    """
    normal = cross(end - start, via - start)
    size = float(np.sqrt(normal @ normal))
    if size < 1e-9:
        raise MeshError(
            sentence("three points of an arc", "not lie in line", _places(start, via, end)),
            code="arc-in-line",
        )
    normal = normal / size
    height = mesh.vertices_mm @ normal
    height -= start @ normal
    above = (height > 0).view(np.uint8)
    a, b, c = mesh.corner_columns
    code = above[c]
    code <<= 1
    code |= above[b]
    code <<= 1
    code |= above[a]
    crossed = np.flatnonzero((code - np.uint8(1)) < 6)  # 0 wraps round to 255
    if not len(crossed):
        raise MeshError(
            sentence("plane of an arc", "cut the surface", _places(start, via, end)),
            code="arc-misses",
        )
    code = code[crossed]
    leaves, enters = _LEAVES[code], _ENTERS[code]
    edges, weights, points = _edge_points(mesh, height, crossed, leaves)
    row = mesh.face_rows
    row[crossed] = np.arange(len(crossed))
    before = row[mesh.neighbours[crossed, enters]]
    following = row[mesh.neighbours[crossed, leaves]].tolist()
    row[crossed] = -1
    # Each crossed triangle carries the piece of curve from its entry to its exit.
    entries = points[before]
    borders = np.flatnonzero(before < 0)
    if len(borders):
        entries[borders] = _edge_points(mesh, height, crossed[borders], enters[borders])[2]
    named = np.array([start, via, end])
    pieces, shares, distances = _nearest_pieces(named, entries, points)
    if via_is_hint:
        distances[1] = 0.0
        named[1] = entries[pieces[1]] + shares[1] * (points[pieces[1]] - entries[pieces[1]])

    order, closed = _walk(following, pieces[1])
    if closed:
        lists = _turn_closed(order, pieces, shares)
    else:
        backward, _ = _walk(before.tolist(), pieces[1])
        lists = _turn_open(backward[:0:-1], order, pieces, shares)
    if lists is None or distances.max() > _ON_CURVE_MM:
        worst = int(distances.argmax())
        raise MeshError(
            sentence("an arc", "run over unbroken surface through its three points",
                     f"{_places(*named)}, the farthest {distances[worst]:.1f} mm off the section",
                     "close the holes of the mesh, or check the landmarks"),
            code="arc-interrupted", distance_mm=float(distances[worst]),
        )  # fmt: skip
    leading, first, second, trailing = lists
    at_start = len(leading)
    at_via = at_start + 1 + len(first)
    at_end = at_via + 1 + len(second)
    rows = np.array([*leading, 0, *first, 0, *second, 0, *trailing])
    places = [at_start, at_via, at_end]
    path, path_edges, path_weights = points[rows], edges[rows], weights[rows]
    path[places], path_edges[places], path_weights[places] = named, -1, 0.0
    curve = Curve(path, at_start, at_via, at_end, path_edges, path_weights, normal)
    steps = path[1:] - path[:-1]
    if np.einsum("ij,ij->i", steps, steps).min() < _SAME_POINT_MM**2:
        return _without_repeats(curve)
    return curve


def _edge_points(
    mesh: TriangleMesh, height: Floats, faces: Integers, edge: Integers
) -> tuple[Integers, Floats, Floats]:
    """Vertex pairs (k, 2), weights (k,) and points (k, 3) where the plane meets an edge."""
    corners = mesh.faces[faces]
    here = np.arange(len(faces))
    first, second = corners[here, edge], corners[here, _NEXT_CORNER[edge]]
    upper = height[first]
    weight = upper / (upper - height[second])
    begin = mesh.vertices_mm[first]
    point = begin + weight[:, None] * (mesh.vertices_mm[second] - begin)
    return np.column_stack([first, second]), weight, point


def _nearest_pieces(
    named: Floats, begin: Floats, end: Floats
) -> tuple[list[int], list[float], Floats]:
    """For each named point the nearest piece, how far along it (0..1), and the distance in mm."""
    span = end - begin
    gap = named[:, None] - begin
    length2 = np.maximum(np.einsum("ij,ij->i", span, span), 1e-300)
    along = np.einsum("pij,ij->pi", gap, span)
    along /= length2
    np.clip(along, 0.0, 1.0, out=along)
    gap -= along[:, :, None] * span
    distance2 = np.einsum("pij,pij->pi", gap, gap)
    pieces = distance2.argmin(axis=1)
    points = np.arange(3)
    return pieces.tolist(), along[points, pieces].tolist(), np.sqrt(distance2[points, pieces])


def _walk(following: list[int], begin: int) -> tuple[list[int], bool]:
    """Rows met from `begin` on, and whether the walk came back to it."""
    order = [begin]
    met = order.append
    row = following[begin]
    while row != begin:
        if row < 0:
            return order, False
        met(row)
        row = following[row]
    return order, True


_Lists = tuple[list[int], list[int], list[int], list[int]]


def _turn_closed(order: list[int], pieces: list[int], shares: list[float]) -> _Lists | None:
    """Rows before start, start..via, via..end and after end, of a loop walked from via on.

    A named point on piece order[j] comes after row order[j - 1] and before row order[j].
    """
    n_rows = len(order)
    try:
        at = [order.index(piece) for piece in pieces]
    except ValueError:
        return None
    # On the piece of via itself a point behind it is met last, not first.
    at_start, at_end = (
        n_rows if at[k] == 0 and shares[k] < shares[1] else at[k] for k in (0, 2)
    )
    forward = (at_end, shares[2]) < (at_start, shares[0])
    if forward:
        first, second, rest = order[at_start:], order[:at_end], order[at_end:at_start]
    else:
        first, second = order[:at_start][::-1], order[at_end:][::-1]
        rest = order[at_start:at_end][::-1]
    half = len(rest) // 2
    return rest[half:], first, second, rest[:half]


def _turn_open(
    behind: list[int], ahead: list[int], pieces: list[int], shares: list[float]
) -> _Lists | None:
    """As `_turn_closed`, of a curve that begins and ends at borders."""
    order = behind + ahead
    try:
        at = [(order.index(piece), share) for piece, share in zip(pieces, shares, strict=True)]
    except ValueError:
        return None
    i, j, k = (place for place, _ in at)
    if at[0] < at[1] < at[2]:
        return order[:i], order[i:j], order[j:k], order[k:]
    if at[2] < at[1] < at[0]:
        return order[i:][::-1], order[j:i][::-1], order[k:j][::-1], order[:k][::-1]
    return None


def _without_repeats(curve: Curve) -> Curve:
    """The curve with one row for each place; a named point stands for its place."""
    points = curve.points_mm
    named = [curve.start, curve.via, curve.end]
    new_place = np.abs(points[1:] - points[:-1]).max(axis=1) >= _SAME_POINT_MM
    place = np.concatenate([[0], np.cumsum(new_place)])
    rows = np.concatenate([[0], np.flatnonzero(new_place) + 1])
    start, via, end = (int(place[row]) for row in named)
    if not start < via < end:
        raise MeshError(
            sentence("three points of an arc", "be apart", _places(*points[named])),
            code="arc-in-line",
        )
    rows[[start, via, end]] = named
    return Curve(points[rows], start, via, end, curve.edges[rows], curve.weights[rows],
                 curve.normal)  # fmt: skip


def _places(*points: Floats) -> str:
    return ", ".join("(" + ", ".join(f"{c:.1f}" for c in point) + ")" for point in points)
