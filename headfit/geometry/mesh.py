"""A triangle mesh that can be cut: vertices in millimetres, triangles wound outwards.

Edge k of a triangle runs from its corner k to its corner (k + 1) % 3. Any frame.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from headfit.errors import MeshError, sentence
from headfit.nouns import Noun

if TYPE_CHECKING:
    from scipy.spatial import cKDTree

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


def frozen(array: ArrayLike) -> Floats:
    """A read-only float64 copy, so that stored arrays cannot change under a result."""
    copy = np.array(array, dtype=np.float64, order="C")
    copy.setflags(write=False)
    return copy


@dataclass(frozen=True, eq=False)
class TriangleMesh(Noun):
    """Vertices and triangles, checked once.

    Parameters
    ----------
    vertices_mm : (n, 3) array_like of float
    faces : (m, 3) array_like of int
        Corners of each triangle, counter-clockwise seen from outside.

    Raises
    ------
    MeshError
        Wrong shape, nothing in it, a coordinate that is not finite, a corner out of range.

    >>> TriangleMesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 3]])
    Traceback (most recent call last):
        ...
    headfit.errors.MeshError: corner numbers of triangles must lie in 0 to 2, got 3 in triangle 0
    """

    vertices_mm: Floats
    faces: Integers

    def __post_init__(self) -> None:
        vertices = np.asarray(self.vertices_mm)
        faces = np.asarray(self.faces)
        for name, array in (("vertices", vertices), ("triangles", faces)):
            if array.ndim != 2 or array.shape[1:] != (3,) or not len(array):
                raise MeshError(
                    sentence(
                        name, "be a table of three columns, not empty", f"shape {array.shape}"
                    ),
                    code="mesh-shape",
                )
        vertices = frozen(vertices)
        bad = np.flatnonzero(~np.isfinite(vertices).all(axis=1))
        if len(bad):
            raise MeshError(
                sentence(
                    "vertex coordinates",
                    "be finite",
                    f"{len(bad)} that are not",
                    f"first at vertex {bad[0]}",
                ),
                code="mesh-not-finite",
                vertex=int(bad[0]),
            )
        if faces.dtype.kind not in "iu":
            broken = np.flatnonzero((faces % 1 != 0).any(axis=1))
            if len(broken):
                raise MeshError(
                    sentence(
                        "corner numbers of triangles",
                        "be whole numbers",
                        f"{faces[broken[0]].tolist()} in triangle {broken[0]}",
                    ),
                    code="mesh-corner-range",
                    face=int(broken[0]),
                )
        faces = np.array(faces, dtype=np.int64, order="C")
        out = np.flatnonzero(((faces < 0) | (faces >= len(vertices))).any(axis=1))
        if len(out):
            corner = next(int(c) for c in faces[out[0]] if not 0 <= c < len(vertices))
            raise MeshError(
                sentence(
                    "corner numbers of triangles",
                    f"lie in 0 to {len(vertices) - 1}",
                    f"{corner} in triangle {out[0]}",
                ),
                code="mesh-corner-range",
                face=int(out[0]),
            )
        faces.setflags(write=False)
        object.__setattr__(self, "vertices_mm", vertices)
        object.__setattr__(self, "faces", faces)

    def __repr__(self) -> str:
        return f"TriangleMesh({len(self.vertices_mm)} vertices, {len(self.faces)} triangles)"

    def moved(self, vertices_mm: Floats) -> TriangleMesh:
        """The same triangles on other vertices (n, 3), finite, mm.

        Nothing is checked again, and what depends on the triangles alone is computed only once:
        the fit moves a mesh many times.
        """
        of_triangles = ("faces", "neighbours", "corner_columns", "half_edges", "used_vertices")
        copy = object.__new__(TriangleMesh)
        copy.__dict__.update({name: getattr(self, name) for name in of_triangles})
        copy.__dict__["vertices_mm"] = vertices_mm
        return copy

    def part(self, kept: NDArray[np.bool_]) -> TriangleMesh:
        """Some of the triangles (m,), on the same vertices; who is whose neighbour stays known."""
        faces = self.faces[kept]
        number = np.where(kept, np.cumsum(kept) - 1, -1)
        across = np.append(number, -1)[self.neighbours[kept]]  # -1 looks up the last one
        faces.setflags(write=False)
        across.setflags(write=False)
        copy = object.__new__(TriangleMesh)
        copy.__dict__.update(vertices_mm=self.vertices_mm, faces=faces, neighbours=across)
        return copy

    @cached_property
    def neighbours(self) -> Integers:
        """(m, 3) triangle across each edge, -1 at a border.

        Raises
        ------
        MeshError
            Two triangles run along one edge the same way: their winding disagrees.
        """
        start = self.faces.ravel()
        end = np.roll(self.faces, -1, axis=1).ravel()
        # The half edges of an edge get neighbouring numbers: one sort brings them together.
        key = np.minimum(start, end) * len(self.vertices_mm) + np.maximum(start, end)
        key = 2 * key + (start > end)
        order = np.argsort(key, kind="stable")
        ordered = key[order]
        twice = np.flatnonzero(ordered[1:] == ordered[:-1])
        if len(twice):
            first, second = order[twice[0]] // 3, order[twice[0] + 1] // 3
            raise MeshError(
                sentence(
                    "triangles that share an edge",
                    "run along it in opposite directions",
                    f"{len(twice)} edges run along twice the same way",
                    f"first between triangles {first} and {second}; repair the winding",
                ),
                code="mesh-winding",
            )
        pair = np.flatnonzero(ordered[1:] // 2 == ordered[:-1] // 2)
        one, other = order[pair], order[pair + 1]
        across = np.full(self.faces.shape, -1)
        across.flat[one], across.flat[other] = other // 3, one // 3
        across.setflags(write=False)
        return across

    @cached_property
    def corner_columns(self) -> tuple[Integers, Integers, Integers]:
        """The three columns of `faces`, each contiguous: gathers along them are hot."""
        a, b, c = (np.ascontiguousarray(self.faces[:, k]) for k in range(3))
        return a, b, c

    @cached_property
    def half_edges(self) -> tuple[Integers, Integers, Integers]:
        """First vertex, second vertex and triangle across (3 m,) of every half edge.

        Half edge 3 f + k is edge k of triangle f.
        """
        second = np.roll(self.faces, -1, axis=1).ravel()
        return self.faces.ravel(), second, self.neighbours.ravel()

    @cached_property
    def used_vertices(self) -> Integers:
        """Vertices that a triangle stands on, in ascending order."""
        return np.flatnonzero(np.bincount(self.faces.ravel()))

    @cached_property
    def triangles_mm(self) -> Floats:
        """(m, 3, 3) corner coordinates of every triangle."""
        return self.vertices_mm[self.faces]

    @cached_property
    def centres(self) -> tuple[Floats, Floats]:
        """Centres (m, 3) of the triangles, and how far (m,) each reaches from its centre."""
        corners = [self.vertices_mm.take(corner, axis=0) for corner in self.corner_columns]
        middle = (corners[0] + corners[1] + corners[2]) / 3
        reach2 = np.zeros(len(middle))
        for corner in corners:
            gap = corner - middle
            np.maximum(reach2, np.einsum("ij,ij->i", gap, gap), out=reach2)
        return middle, np.sqrt(reach2)

    @cached_property
    def centre_tree(self) -> cKDTree:
        """Tree of the triangle centres."""
        from scipy.spatial import cKDTree  # a sheet or a fit never asks, and starts sooner

        return cKDTree(self.centres[0])

    @cached_property
    def reach_of_most(self) -> tuple[float, Integers]:
        """How far all but a few long triangles reach from their centres, and those few (k,)."""
        reach = self.centres[1]
        far = reach > 1.5 * float(np.quantile(reach, 0.99))
        return float(reach[~far].max()), np.flatnonzero(far)

    @cached_property
    def double_areas(self) -> Floats:
        """(m, 3) outward normals of the triangles, each as long as twice its area."""
        corners = self.triangles_mm
        return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])

    @cached_property
    def vertex_normals(self) -> Floats:
        """(n, 3) outward unit normals, area-weighted; zero where no triangle meets a vertex."""
        normals = self.double_areas
        total = np.zeros_like(self.vertices_mm)
        for k in range(3):
            for axis in range(3):
                total[:, axis] += np.bincount(
                    self.faces[:, k], normals[:, axis], len(self.vertices_mm)
                )
        length = np.linalg.norm(total, axis=1, keepdims=True)
        return np.asarray(np.divide(total, length, out=np.zeros_like(total), where=length > 0))

    @cached_property
    def volume_mm3(self) -> float:
        """Signed volume; negative when the triangles are wound inwards.

        >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
        >>> inwards = [[0, 1, 2], [0, 3, 1], [0, 2, 3], [1, 3, 2]]
        >>> round(TriangleMesh(corners, inwards).volume_mm3, 6)
        -0.166667
        """
        corners = self.triangles_mm - self.vertices_mm.mean(axis=0)
        return float(
            np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) / 6
        )

    @cached_property
    def n_pieces(self) -> int:
        """Number of pieces connected by edges."""
        face, edge = np.nonzero(self.neighbours > np.arange(len(self.faces))[:, None])
        other = self.neighbours[face, edge]
        # Every triangle points to one of its piece with a lower number, in the end to the lowest:
        # the pointers of neighbours are joined and shortened in turn (Shiloach & Vishkin 1982).
        lower = np.arange(len(self.faces))
        while (lower[face] != lower[other]).any():
            for one, two in ((face, other), (other, face)):
                np.minimum.at(lower, lower[one], lower[two])
            while (lower[lower] != lower).any():
                lower = lower[lower]
        return int((lower == np.arange(len(lower))).sum())
