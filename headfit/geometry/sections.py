"""Plane sections of a mesh as ordered curves. Millimetres, any frame.

A section runs from a start point through a via point to an end point in the plane of the three.
The three points lie on the surface; they are points of the curve themselves and never snapped to
a vertex.

The walk goes from triangle to triangle across shared edges. A mesh wound outwards makes every
crossed triangle have one edge that leaves the upper side and one that returns to it, so the order
of the curve is read off the neighbours: there is nothing to sort and no tolerance.
"""

from __future__ import annotations

from collections.abc import Sequence
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

# A point given as lying on the surface may miss the curve by this much: rounding of files.
_ON_CURVE_MM = 1e-2
# Rows of a curve nearer to each other than this are one point.
_SAME_POINT_MM = 1e-9
# A vertex keeps a bit for each: more bits than these make the arrays larger than the cache.
_PLANES_AT_ONCE = 16


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
    half_edges : (n,) int64
        The half edge of the mesh on which each row lies; -1 at the named points.
    weights : (n,) float64
        Where between them, 0 at the first.
    normal : (3,) float64
        Unit normal of the plane; normal x (direction of travel) points out of the head.
    """

    points_mm: Floats
    start: int
    via: int
    end: int
    half_edges: Integers
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
    """The section of `mesh` from `start` through `via` to `end`, each (3,) in mm.

    As `cut_all`, for one plane.
    """
    return cut_all(mesh, [(start, via, end)], via_is_hint=via_is_hint)[0]


def cut_all(
    mesh: TriangleMesh,
    triples: Sequence[tuple[Floats, Floats, Floats]],
    *,
    via_is_hint: bool = False,
    titles: Sequence[str] = (),
) -> list[Curve]:
    """Sections of `mesh`, each from a start through a via to an end point.

    The planes go through the vectorised part together: on a template head the cost of a call is
    mostly per call, not per plane.

    Parameters
    ----------
    mesh : TriangleMesh
        Closed, or open away from the curves.
    triples : sequence of (start, via, end)
        Each (3,) in mm on the surface; the three not in line.
    via_is_hint : bool
        `via` need not lie on the surface: the nearest place of the section stands for it.
    titles : sequence of str
        What each curve is called when it cannot be cut; "an arc" where not given.

    Returns
    -------
    list of Curve
        Of several loops in a plane, the one on which `via` lies.

    Raises
    ------
    MeshError
        The points are in line, are not on one curve, or a border of the mesh interrupts it.
    """
    if len(triples) > _PLANES_AT_ONCE:
        parts = slice(_PLANES_AT_ONCE), slice(_PLANES_AT_ONCE, None)
        one, other = (
            cut_all(mesh, triples[part], via_is_hint=via_is_hint, titles=titles[part])
            for part in parts
        )
        return one + other
    titles = titles or ["an arc"] * len(triples)
    named = np.array(triples)
    normals = np.array([_plane_normal(*triple) for triple in triples])
    height = normals @ mesh.vertices_mm.T
    height -= np.einsum("ij,ij->i", normals, named[:, 0])[:, None]
    n_planes, n_vertices = height.shape
    # A vertex has one bit for each plane above which it lies, so that triangles look their corners
    # up once for all planes; most triangles are crossed by none.
    bit = np.arange(n_planes, dtype=np.min_scalar_type((1 << n_planes) - 1))[:, None]
    above = np.bitwise_or.reduce((height > 0) << bit)
    corners = [above.take(corner) for corner in mesh.corner_columns]
    a, b, c = corners
    near = ((a | b | c) ^ (a & b & c)).nonzero()[0]
    a, b, c = (corner[near] >> bit & 1 for corner in corners)
    pattern = a | b << 1 | c << 2
    plane, place = ((pattern != 0) & (pattern != 7)).nonzero()
    face, pattern = near[place], pattern[plane, place]
    n_rows = len(face)
    first, second, across = mesh.half_edges
    exits, entrances = 3 * face + _LEAVES[pattern], 3 * face + _ENTERS[pattern]

    def meet(half_edge: Integers, plane: Integers) -> tuple[Floats, Floats]:
        """Weights and points where the planes meet half edges."""
        one, other = first[half_edge], second[half_edge]
        heights, offset = height.ravel(), plane * n_vertices
        upper = heights[one + offset]
        weight = upper / (upper - heights[other + offset])
        begin = mesh.vertices_mm[one]
        return weight, begin + weight[:, None] * (mesh.vertices_mm[other] - begin)

    weights, points = meet(exits, plane)
    row_of = np.full((n_planes, len(mesh.faces) + 1), -1)  # the last one serves "no triangle"
    row_of[plane, face] = np.arange(n_rows)
    before, following = row_of[plane, across[entrances]], row_of[plane, across[exits]]
    # Each crossed triangle carries the piece of curve from its entry to its exit.
    entries = points[before]
    borders = np.flatnonzero(before < 0)
    if len(borders):
        entries[borders] = meet(entrances[borders], plane[borders])[1]
    bounds = plane.searchsorted(np.arange(n_planes + 1)).tolist()
    along, distance2 = _along_pieces(named[plane], entries, points)
    next_rows, rows_before = following.tolist(), before.tolist()
    order: list[int] = []
    ends = []
    for k in range(n_planes):
        here = slice(bounds[k], bounds[k + 1])
        if here.start == here.stop:
            raise MeshError(
                sentence(f"plane of {titles[k]}", "cut the surface", _places(*named[k])),
                code="arc-misses",
            )
        pieces = (distance2[here].argmin(axis=0) + here.start).tolist()
        shares = [float(along[piece, i]) for i, piece in enumerate(pieces)]
        distances2 = [float(distance2[piece, i]) for i, piece in enumerate(pieces)]
        if via_is_hint:
            piece, share = pieces[1], shares[1]
            named[k, 1] = entries[piece] + share * (points[piece] - entries[piece])
            distances2[1] = 0.0
        order += _order(titles[k], named[k], pieces, shares, distances2, next_rows, rows_before)
        ends.append(len(order))
    rows = np.array(order)
    places = (rows < 0).nonzero()[0]
    path, half_edges, path_weights = points[rows], exits[rows], weights[rows]
    path[places] = named.reshape(-1, 3)
    half_edges[places], path_weights[places] = -1, 0.0
    # Rows in one place become one; a named point stands for its place.
    steps = path[1:] - path[:-1]
    apart = np.ones(len(rows), bool)
    np.greater_equal(np.einsum("ij,ij->i", steps, steps), _SAME_POINT_MM**2, out=apart[1:])
    apart[ends[:-1]] = True
    kept, place_of = apart.nonzero()[0], apart.cumsum() - 1
    at = place_of[places]
    kept[at] = places
    path, half_edges, path_weights = path[kept], half_edges[kept], path_weights[kept]
    curves = []
    begin = 0
    for k, stop in enumerate((place_of[np.array(ends) - 1] + 1).tolist()):
        start, via, end = (at[3 * k : 3 * k + 3] - begin).tolist()
        if not start < via < end:
            raise MeshError(
                sentence(f"three points of {titles[k]}", "be apart", _places(*named[k])),
                code="arc-in-line",
            )
        here = slice(begin, stop)
        curves.append(
            Curve(path[here], start, via, end, half_edges[here], path_weights[here], normals[k])
        )
        begin = stop
    return curves


def _plane_normal(start: Floats, via: Floats, end: Floats) -> Floats:
    normal = cross(end - start, via - start)
    size = float(np.sqrt(normal @ normal))
    if size < 1e-9:
        raise MeshError(
            sentence("three points of an arc", "not lie in line", _places(start, via, end)),
            code="arc-in-line",
        )
    return np.asarray(normal / size)


def _order(
    title: str,
    named: Floats,
    pieces: list[int],
    shares: list[float],
    distances2: list[float],
    following: list[int],
    before: list[int],
) -> list[int]:
    """The rows of one plane in order, -1 at each of its named points (3, 3)."""
    order, closed = _walk(following, pieces[1])
    if closed:
        lists = _turn_closed(order, pieces, shares)
    else:
        backward, _ = _walk(before, pieces[1])
        lists = _turn_open(backward[:0:-1], order, pieces, shares)
    worst = max(distances2) ** 0.5
    if lists is None or worst > _ON_CURVE_MM:
        fault = (
            f"the farthest {worst:.1f} mm off the section"
            if worst > _ON_CURVE_MM
            else "which lie on different curves of the section, or a border parts them"
        )
        raise MeshError(
            sentence(
                title,
                "run over unbroken surface through its three points",
                f"{_places(*named)}, {fault}",
                "close the holes of the mesh, or check the landmarks",
            ),
            code="arc-interrupted",
            distance_mm=worst,
        )
    leading, one, two, trailing = lists
    return [*leading, -1, *one, -1, *two, -1, *trailing]


def _along_pieces(named: Floats, begin: Floats, end: Floats) -> tuple[Floats, Floats]:
    """How far (0..1) along piece i its three points named[i] lie, and their squared distance.

    named : (k, 3, 3); begin, end : (k, 3); both results (k, 3).
    """
    span = end - begin
    gap = named - begin[:, None]
    length2 = np.maximum(np.einsum("ij,ij->i", span, span), 1e-300)
    along = np.einsum("ipj,ij->ip", gap, span)
    along /= length2[:, None]
    along = np.minimum(np.maximum(along, 0.0), 1.0)  # np.clip takes its time over small arrays
    gap -= along[:, :, None] * span[:, None]
    return along, np.asarray(np.einsum("ipj,ipj->ip", gap, gap))


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
    at_start, at_end = (n_rows if at[k] == 0 and shares[k] < shares[1] else at[k] for k in (0, 2))
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


def _places(*points: Floats) -> str:
    return ", ".join("(" + ", ".join(f"{c:.1f}" for c in point) + ")" for point in points)
