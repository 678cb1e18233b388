"""Nearest points of a surface, points that ride on it, and a membrane over a hole. Millimetres.

A point that rides on a surface is a triangle and a weight for each of its corners: it moves when
they do. A membrane is a smooth patch that joins its rim without a crease.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import chain

import numpy as np
from numpy.typing import NDArray

from headfit.geometry.mesh import Floats, Integers, TriangleMesh

_MANY = 4_000_000  # pairs of a point and a triangle for which a tree is built
_FEW_LOOSE = 1000  # vertices of a patch that are solved as one full matrix


@dataclass(frozen=True, eq=False)
class SurfacePoints:
    """Points on triangles, kept by their weights so that they ride on a mesh that deforms.

    Attributes
    ----------
    corners : (n, 3) int64
        Vertices of the triangle under each point.
    weights : (n, 3) float64
        Barycentric weights, not negative, each row adding up to 1.
    """

    corners: Integers
    weights: Floats

    def on(self, vertices_mm: Floats) -> Floats:
        """(n, 3) the points on these vertices, mm."""
        return np.asarray(np.einsum("ij,ijk->ik", self.weights, vertices_mm[self.corners]))


def nearest_on_triangles(points: Floats, triangles: Floats) -> tuple[Integers, Floats, Floats]:
    """The nearest place on a few triangles for each point.

    Parameters
    ----------
    points : (n, 3) float64
    triangles : (m, 3, 3) or (n, m, 3, 3) float64
        The same for every point, or each point its own.

    Returns
    -------
    triangle : (n,) int64
    weights : (n, 3) float64
        Barycentric weights of the nearest place.
    distance : (n,) float64

    >>> corner = np.array([[[0.0, 0, 0], [1, 0, 0], [0, 1, 0]]])
    >>> nearest_on_triangles(np.array([[0.25, 0.25, 2.0]]), corner)[1:]
    (array([[0.5 , 0.25, 0.25]]), array([2.]))
    """
    n, m = len(points), triangles.shape[-3]
    own = np.broadcast_to(triangles, (n, m, 3, 3)).reshape(-1, 3, 3)
    weights, distance = _nearest_of_pairs(np.repeat(points, m, axis=0), own)
    chosen = distance.reshape(n, m).argmin(axis=1)
    rows = np.arange(n) * m + chosen
    return chosen, weights[rows], distance[rows]


def _nearest_of_pairs(points: Floats, triangles: Floats) -> tuple[Floats, Floats]:
    """Weights (k, 3) and distance (k,) of the place on triangle i nearest to point i."""
    weights = _closest_weights(points, triangles[:, 0], triangles[:, 1], triangles[:, 2])
    gap = np.einsum("ij,ijk->ik", weights, triangles) - points
    return weights, np.sqrt(np.einsum("ij,ij->i", gap, gap))


def _closest_weights(point: Floats, a: Floats, b: Floats, c: Floats) -> Floats:
    """Barycentric weights (..., 3) of the place on triangle a, b, c nearest to `point`.

    The seven regions of Ericson, Real-Time Collision Detection (2005), section 5.1.5.
    """
    ab, ac, ap = b - a, c - a, point - a
    d1, d2 = _dot(ab, ap), _dot(ac, ap)
    bp = point - b
    d3, d4 = _dot(ab, bp), _dot(ac, bp)
    cp = point - c
    d5, d6 = _dot(ab, cp), _dot(ac, cp)
    va, vb, vc = d3 * d6 - d5 * d4, d5 * d2 - d1 * d6, d1 * d4 - d3 * d2
    # Each divisor is a squared length; a triangle without area must give a number all the same.
    v, w = _share(vb, va + vb + vc), _share(vc, va + vb + vc)
    on_ab, on_ac = _share(d1, d1 - d3), _share(d2, d2 - d6)
    on_bc = _share(d4 - d3, (d4 - d3) + (d5 - d6))
    zero, one = np.zeros_like(d1), np.ones_like(d1)
    regions = [
        ((d1 <= 0) & (d2 <= 0), (zero, zero)),
        ((d3 >= 0) & (d4 <= d3), (one, zero)),
        ((d6 >= 0) & (d5 <= d6), (zero, one)),
        ((vc <= 0) & (d1 >= 0) & (d3 <= 0) & (d1 > d3), (on_ab, zero)),
        ((vb <= 0) & (d2 >= 0) & (d6 <= 0), (zero, on_ac)),
        ((va <= 0) & (d4 >= d3) & (d5 >= d6), (1 - on_bc, on_bc)),
    ]
    for test, (on_v, on_w) in reversed(regions):  # the first that holds has the last word
        v, w = np.where(test, on_v, v), np.where(test, on_w, w)
    return np.stack([np.maximum(1 - v - w, 0.0), v, w], axis=-1)  # not minus a rounding error


def _share(part: Floats, whole: Floats) -> Floats:
    """`part` / `whole`, 0 where `whole` vanishes."""
    return np.asarray(part / np.where(whole > 0, whole, np.inf))


def _dot(a: Floats, b: Floats) -> Floats:
    """(...,) dot products along the last axis."""
    return np.asarray(np.einsum("...j,...j->...", a, b))


def _candidates_among_all(mesh: TriangleMesh, points: Floats) -> tuple[Integers, Integers]:
    """As `_candidates_by_tree`, by the distances of all centres: exact, without a tree."""
    centres, reach = mesh.centres
    middle = points.mean(axis=0)
    points, centres = points - middle, centres - middle
    # |p - c|^2 as one product of matrices. What that rounds away only keeps a candidate more.
    sizes = [np.einsum("ij,ij->i", each, each) for each in (points, centres)]
    square = points @ (-2 * centres.T)
    square += sizes[0][:, None]
    square += sizes[1]
    centre_mm = np.sqrt(np.maximum(square, 0.0, out=square), out=square)
    slack = 1e-7 * float(np.sqrt(max(size.max(initial=0.0) for size in sizes)))
    kept = centre_mm - reach <= centre_mm.min(axis=1, keepdims=True) + slack
    rows, faces = np.nonzero(kept)
    return faces, rows


def _candidates_by_tree(mesh: TriangleMesh, points: Floats) -> tuple[Integers, Integers]:
    """Triangles (k,) that may hold the nearest place, and the row (k,) of the point of each.

    A triangle whose centre is farther off than the nearest centre by more than its own reach cannot
    hold the nearest place. The few triangles that reach much farther than the others are held
    against every point instead of widening the search for all.
    """
    tree, reach = mesh.centre_tree, mesh.centres[1]
    centre_mm = np.asarray(tree.query(points)[0])
    most_reach, long_faces = mesh.reach_of_most
    found = tree.query_ball_point(points, centre_mm + most_reach + 1e-9)
    counts = np.array([len(faces) for faces in found], dtype=np.int64)
    near = np.fromiter(chain.from_iterable(found), np.int64, int(counts.sum()))
    faces = np.concatenate([near, np.tile(long_faces, len(points))])
    every = np.arange(len(points))
    rows = np.concatenate([np.repeat(every, counts), np.repeat(every, len(long_faces))])
    gap = np.asarray(tree.data)[faces] - points[rows]
    closest_mm = np.sqrt(np.einsum("ij,ij->i", gap, gap)) - reach[faces]
    kept = closest_mm <= centre_mm[rows] + 1e-9
    return faces[kept], rows[kept]


def nearest(
    mesh: TriangleMesh, points_mm: Floats, *, again: bool = False
) -> tuple[SurfacePoints, Floats]:
    """The nearest place of the surface for each point, and how far off it is.

    Parameters
    ----------
    mesh : TriangleMesh
    points_mm : (n, 3) float64
    again : bool
        The same mesh will be asked many times: a search tree is built for it.

    Returns
    -------
    SurfacePoints
    distance_mm : (n,) float64
        Not signed.
    """
    points = np.atleast_2d(np.asarray(points_mm, dtype=np.float64))
    # A fit asks a fresh mesh for a handful: building a tree, and importing it, would take longer.
    few = len(points) * len(mesh.faces) < _MANY and not again
    if few and "centre_tree" not in mesh.__dict__:
        faces, rows = _candidates_among_all(mesh, points)
    else:
        faces, rows = _candidates_by_tree(mesh, points)
    every = np.arange(len(points))
    all_weights, all_distances = _nearest_of_pairs(points[rows], mesh.triangles_mm[faces])
    order = np.lexsort((all_distances, rows))
    best = order[np.searchsorted(rows[order], every)]
    faces, weights, distance = faces[best], all_weights[best], all_distances[best]
    return SurfacePoints(mesh.faces[faces], weights), distance


def normals_at(mesh: TriangleMesh, places: SurfacePoints) -> Floats:
    """(n, 3) outward unit normals at points of the surface, blended from the vertices."""
    normal = places.on(mesh.vertex_normals)
    return np.asarray(normal / np.linalg.norm(normal, axis=1, keepdims=True))


def membrane(mesh: TriangleMesh, loose: NDArray[np.bool_]) -> Floats:
    """(n, 3) vertices with the loose ones laid as a smooth patch over their rim.

    The bilaplacian of the patch vanishes, so that it joins the rim without a crease. Serves to
    take the ears off a head: arcs run over the skin beneath.

    Parameters
    ----------
    mesh : TriangleMesh
    loose : (n,) bool
        Vertices to be moved.
    """
    vertices = np.array(mesh.vertices_mm)
    inside = np.flatnonzero(loose)
    if not len(inside):
        return vertices
    n = len(vertices)
    one, other, across = mesh.half_edges
    border = across < 0  # an edge inside the surface is there both ways already
    first = np.concatenate([one, other[border]])
    second = np.concatenate([other, one[border]])
    degree = np.bincount(first, minlength=n).astype(np.float64)
    rim = np.where(loose[:, None], 0.0, vertices)
    around = [np.bincount(first, rim[second, axis], n) for axis in range(3)]
    uneven = degree[:, None] * rim - np.column_stack(around)
    # The rows of the Laplacian that belong to the patch; times itself it is the bilaplacian there.
    touched = loose[first]
    rows = np.concatenate([first[touched], inside])
    columns = np.concatenate([second[touched], inside])
    values = np.concatenate([np.full(int(touched.sum()), -1.0), degree[inside]])
    reached = loose.copy()
    reached[columns] = True
    near = np.flatnonzero(reached)
    entries = values, (np.searchsorted(inside, rows), np.searchsorted(near, columns))
    shape = len(inside), len(near)
    if len(inside) <= _FEW_LOOSE:
        laplacian = np.zeros(shape)
        laplacian[entries[1]] = values
        vertices[inside] = np.linalg.solve(laplacian @ laplacian.T, -laplacian @ uneven[near])
        return vertices
    import scipy.sparse.linalg  # a tenth of a second, which the ears of a template do not need

    sparse = scipy.sparse.csr_array(entries, shape=shape)
    factor = scipy.sparse.linalg.splu((sparse @ sparse.T).tocsc())
    vertices[inside] = factor.solve(-(sparse @ uneven[near]))
    return vertices
