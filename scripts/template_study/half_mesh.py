"""The left half (x <= 0) of a head: slits zipped, neck cut and capped, mirrored to a whole.

A mesh is a pair: vertices (n, 3) in mm, study frame, and faces (m, 3), seen from outside in
counterclockwise order. The open edge on x = 0 is where the mirror image is joined.
"""

from __future__ import annotations

from dataclasses import dataclass

import networkx as nx
import numpy as np
import trimesh
from scipy.spatial import Delaunay, cKDTree
from skimage.measure import points_in_poly

from template_study.base_mesh import MIRROR
from template_study.vault import GRID_MM, Floats, Integers, settle, unit

Mesh = tuple[Floats, Integers]
X = np.array([1.0, 0.0, 0.0])


@dataclass(frozen=True, eq=False)
class NeckPlane:
    """The plane at which the neck ends: a point (3,) in it and its upward unit normal (3,)."""

    origin_mm: Floats
    normal: Floats

    def holds(self, points_mm: Floats) -> np.ndarray:
        """Return which of the points (n, 3) lie in the plane, up to the grid they settle on."""
        return np.abs((points_mm - self.origin_mm) @ self.normal) < 2.0 * GRID_MM


NECK_PLANE = NeckPlane(np.array([0.0, -20.0, -150.0]), unit(np.array([0.0, 0.22, 1.0])))


def on_midline(points_mm: Floats) -> np.ndarray:
    """Return which of the points (n, 3) lie on x = 0, (n,)."""
    return np.abs(points_mm[:, 0]) < 1e-6


def faces_around(faces: Integers) -> list[list[int]]:
    """Return for each vertex the numbers of the faces (m, 3) that meet there."""
    around: list[list[int]] = [[] for _ in range(int(faces.max()) + 1)]
    for number, face in enumerate(faces.tolist()):
        for corner in face:
            around[corner].append(number)
    return around


def only_used(vertices: Floats, faces: Integers) -> tuple[Floats, Integers, Integers]:
    """Return vertices and faces without unused vertices, and the old numbers of those kept."""
    used, renumbered = np.unique(faces, return_inverse=True)
    return vertices[used], renumbered.reshape(-1, 3), used


def largest_part(vertices: Floats, faces: Integers) -> tuple[Floats, Integers, Integers]:
    """Return the connected part with most faces, as :func:`only_used` does."""
    mesh = trimesh.Trimesh(vertices, faces, process=False)
    parts = trimesh.graph.connected_components(mesh.face_adjacency, nodes=np.arange(len(faces)))
    return only_used(vertices, faces[np.sort(max(parts, key=len))])


def open_edges(faces: Integers) -> list[tuple[int, int]]:
    """Return the directed edges of one face only, sorted."""
    edges = {edge for a, b, c in faces.tolist() for edge in ((a, b), (b, c), (c, a))}
    return sorted(edge for edge in edges if edge[::-1] not in edges)


def chains(edges: list[tuple[int, int]]) -> list[list[int]]:
    """Return the vertex chains that directed edges form; a ring is a chain without repeat."""
    after: dict[int, list[int]] = {}
    for start, end in edges:
        after.setdefault(start, []).append(end)
    found = []
    while after:
        chain = [next(iter(after))]
        while chain[-1] in after:
            ends = after[chain[-1]]
            end = ends.pop()
            if not ends:
                del after[chain[-1]]
            if end == chain[0]:
                break
            chain.append(end)
        found.append(chain)
    return found


def zipped(vertices: Floats, upper: list[int], lower: list[int]) -> list[list[int]]:
    """Return triangles between two lips that start at one corner and end at another."""
    u = v = 0
    triangles = []
    while u < len(upper) - 1 or v < len(lower) - 1:
        upper_first = v == len(lower) - 1 or (
            u < len(upper) - 1
            and np.linalg.norm(vertices[upper[u + 1]] - vertices[lower[v]])
            <= np.linalg.norm(vertices[upper[u]] - vertices[lower[v + 1]])
        )
        third = upper[u + 1] if upper_first else lower[v + 1]
        if len({upper[u], third, lower[v]}) == 3:
            triangles.append([upper[u], third, lower[v]])
        u, v = (u + 1, v) if upper_first else (u, v + 1)
    return triangles


def _arc(ring: list[int], start: int, end: int, step: int) -> list[int]:
    """Return the ring from one place to another, walking forwards (+1) or backwards (-1)."""
    n_steps = (step * (end - start)) % len(ring)
    return [ring[(start + step * k) % len(ring)] for k in range(n_steps + 1)]


def close_slits(vertices: Floats, faces: Integers) -> Integers:
    """Return the faces with the slits of eye and lips zipped, once their inner walls are gone."""
    edges = open_edges(faces)
    midline = on_midline(vertices)
    new: list[list[int]] = []
    for ring in chains(edges):
        points = vertices[ring]
        if midline[ring].any():
            for start in range(len(ring)):
                if not midline[ring[start]] or midline[ring[(start + 1) % len(ring)]]:
                    continue
                end = start + 1
                while not midline[ring[end % len(ring)]]:
                    end += 1
                run = [ring[k % len(ring)] for k in range(start, end + 1)]
                if vertices[run][:, 2].mean() > -150:  # the mouth, not the cut through the neck
                    corner = int(np.argmin(vertices[run][:, 0]))
                    new += zipped(vertices, run[: corner + 1][::-1], run[corner:])
        elif points[:, 2].mean() > -120:
            if len(ring) < 6:
                new += [[ring[0], ring[k], ring[k + 1]] for k in range(1, len(ring) - 1)]
                continue
            outer, inner = int(points[:, 0].argmin()), int(points[:, 0].argmax())
            new += zipped(vertices, _arc(ring, outer, inner, 1), _arc(ring, outer, inner, -1))
    # an edge runs one way in one face and the other way in its neighbour
    taken = set(edges)
    turned = [t[::-1] if taken & {(t[0], t[1]), (t[1], t[2]), (t[2], t[0])} else t for t in new]
    return np.vstack([faces, np.array(turned)])


def part_pinches(vertices: Floats, faces: Integers) -> Mesh:
    """Return the mesh with each vertex at which two fans of faces meet made two, 0.15 mm apart."""
    points, faces = list(vertices), faces.copy()
    for vertex, fan in enumerate(faces_around(faces)):
        around = nx.Graph()
        owners: dict[int, set[int]] = {}
        for number in fan:
            first, second = (int(corner) for corner in faces[number] if corner != vertex)
            around.add_edge(first, second)
            owners.setdefault(first, set()).add(number)
            owners.setdefault(second, set()).add(number)
        for part in list(nx.connected_components(around))[1:]:
            toward = np.mean([points[corner] for corner in sorted(part)], axis=0) - points[vertex]
            points.append(points[vertex] + 0.15 * unit(toward))
            for number in {number for corner in part for number in owners[corner]}:
                faces[number][faces[number] == vertex] = len(points) - 1
    return np.array(points), faces


def cut_neck(vertices: Floats, faces: Integers, plane: NeckPlane) -> Mesh:
    """Return what lies above the plane, its cut edge welded."""
    points, cut, _ = trimesh.intersections.slice_faces_plane(
        vertices, faces, plane.normal, plane.origin_mm
    )
    near = nx.Graph()
    near.add_nodes_from(range(len(points)))
    near.add_edges_from(cKDTree(points).query_pairs(1e-7))
    welded = np.zeros(len(points), dtype=np.int64)
    for number, group in enumerate(nx.connected_components(near)):
        welded[list(group)] = number
    first = np.unique(welded, return_index=True)[1]
    cut = welded[cut]
    whole = (cut != np.roll(cut, 1, axis=1)).all(axis=1)
    return only_used(points[first], cut[whole])[:2]


def cap_neck(vertices: Floats, faces: Integers, plane: NeckPlane, spacing_mm: float = 7.0) -> Mesh:
    """Return the half mesh with the cut through the neck closed by a flat net of triangles."""
    in_plane = plane.holds(vertices)
    midline = on_midline(vertices)
    rim = {
        a: b
        for a, b in open_edges(faces)
        if in_plane[a] and in_plane[b] and not (midline[a] and midline[b])
    }
    chain = [next(start for start in rim if start not in set(rim.values()))]
    while chain[-1] in rim:
        chain.append(rim[chain[-1]])
    back = np.cross(plane.normal, X)
    from_origin = vertices[chain] - plane.origin_mm
    edge = np.round(np.column_stack([from_origin @ X, from_origin @ back]), 6)
    n_gaps = max(int(np.linalg.norm(edge[0] - edge[-1]) / spacing_mm), 2)
    share = np.linspace(0.0, 1.0, n_gaps + 1)[1:-1, None]
    middle = (edge[0] + (edge[-1] - edge[0]) * share) * [0.0, 1.0]
    outline = np.vstack([edge, middle[::-1]])
    low, high = edge.min(axis=0), edge.max(axis=0)
    columns = np.arange(low[0], high[0], spacing_mm)
    net = np.stack(np.meshgrid(columns, np.arange(low[1], high[1], 0.866 * spacing_mm)), axis=-1)
    net[1::2, :, 0] += spacing_mm / 2.0
    net = net.reshape(-1, 2)
    net = net[points_in_poly(net, outline)]
    net = net[cKDTree(outline).query(net)[0] > 0.6 * spacing_mm]
    flat = np.vstack([edge, middle, net])
    triangles = Delaunay(flat).simplices
    triangles = triangles[points_in_poly(flat[triangles].mean(axis=1), outline)]
    inner = np.vstack([middle, net])
    new = plane.origin_mm + np.outer(inner[:, 0], X) + np.outer(inner[:, 1], back)
    new[: len(middle), 0] = 0.0
    points = np.vstack([vertices, new])
    triangles = np.r_[chain, len(vertices) + np.arange(len(new))][triangles]
    a, b, c = (points[triangles[:, k]] for k in range(3))
    upward = np.cross(b - a, c - a) @ plane.normal > 0
    triangles[upward] = triangles[upward][:, ::-1]
    return points, np.vstack([faces, triangles])


def mirrored(vertices: Floats, faces: Integers) -> tuple[Floats, Integers, Integers]:
    """Return the whole head made of a half: vertices, faces, mirror (n,) of each vertex."""
    midline = on_midline(vertices)
    n_half, off = len(vertices), np.flatnonzero(~midline)
    twin = np.arange(n_half)
    twin[off] = n_half + np.arange(len(off))
    left = vertices.copy()
    left[midline, 0] = 0.0
    points = np.vstack([left, vertices[off] * MIRROR])
    return points, np.vstack([faces, twin[faces][:, ::-1]]), np.r_[twin, off]


def left_half(points_mm: Floats, triangles: Integers) -> tuple[Floats, Integers, Integers]:
    """Return vertices, faces and old vertex numbers of the left half of the largest part."""
    _, faces, numbers = largest_part(points_mm, triangles)
    faces = numbers[faces]
    faces = faces[(points_mm[faces][:, :, 0] <= 1e-6).all(axis=1)]
    vertices, faces, numbers = only_used(points_mm, faces)
    vertices[on_midline(vertices), 0] = 0.0
    return settle(vertices), faces, numbers


def smoothed_whole(vertices: Floats, faces: Integers) -> Mesh:
    """Return the mirrored half after two rounds of Loop subdivision.

    The first vertices are those of the half, in order. Source: Loop, Smooth subdivision
    surfaces based on triangles, University of Utah 1987.
    """
    whole, whole_faces, _ = mirrored(vertices, faces)
    return trimesh.remesh.subdivide_loop(whole, whole_faces, iterations=2)
