"""The adult half head with triangles of one size on the vault, then capped and mirrored.

Edges that are too long are split, too short ones collapsed, badly placed ones flipped, and the
vertices slide along the surface until their triangles are even. Source of the scheme: Botsch &
Kobbelt, A remeshing approach to multiresolution modeling, SGP 2004. Unit: mm, study frame.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pyvista
import scipy.sparse
import trimesh

from template_study.half_mesh import (
    NECK_PLANE,
    Mesh,
    cap_neck,
    close_slits,
    cut_neck,
    faces_around,
    largest_part,
    left_half,
    mirrored,
    on_midline,
    only_used,
    part_pinches,
    smoothed_whole,
)
from template_study.vault import Floats, Integers, Vault, settle, smooth_step

EDGE_MM = 6.0
FACE_EDGE_MM = 9.0
N_ROUNDS = 6
Region = Callable[[Floats], np.ndarray]


class Surface:
    """A triangle surface that tells the nearest point on it."""

    def __init__(self, vertices: Floats, faces: Integers) -> None:
        self._mesh = pyvista.PolyData.from_regular_faces(np.asarray(vertices, float), faces)

    def nearest(self, points_mm: Floats) -> tuple[Floats, Integers]:
        """Return the nearest points (n, 3) on the surface and the faces (n,) they lie in."""
        faces, points = self._mesh.find_closest_cell(points_mm, return_closest_point=True)
        return np.atleast_2d(points), np.atleast_1d(faces)


def edges_of(faces: Integers) -> tuple[Integers, Integers]:
    """Return edges (k, 2) with sorted ends, and their two faces (k, 2), -1 for none."""
    half_edges = np.sort(np.vstack([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    face = np.tile(np.arange(len(faces)), 3)
    edges, edge_of, n_faces = np.unique(half_edges, axis=0, return_inverse=True, return_counts=True)
    order = np.argsort(edge_of.ravel(), kind="stable")
    first = np.r_[0, np.cumsum(n_faces)[:-1]]
    two = n_faces > 1
    sides = np.full((len(edges), 2), -1)
    sides[:, 0] = face[order][first]
    sides[two, 1] = face[order][first[two] + 1]
    return edges, sides


def in_order(keys: Floats) -> Integers:
    """Return the order of rising keys (n,); keys equal to 1e-6 stay as they are numbered."""
    return np.argsort(np.round(keys, 6), kind="stable")


def edge_lengths(vertices: Floats, edges: Integers) -> Floats:
    """Return the lengths (k,) of edges (k, 2)."""
    return np.linalg.norm(vertices[edges[:, 0]] - vertices[edges[:, 1]], axis=1)


def split_long(vertices: Floats, faces: Integers, edge_mm: float, region: Region) -> Mesh:
    """Return the mesh with edges longer than 1.4 edge lengths halved, the longest first."""
    for _ in range(60):
        edges, sides = edges_of(faces)
        length = edge_lengths(vertices, edges)
        touched = region(vertices)[edges].any(axis=1)
        long = np.flatnonzero(touched & (length > 1.4 * edge_mm))
        if not len(long):
            break
        used = np.zeros(len(faces), dtype=bool)
        new_faces: list[list[int]] = []
        middles: list[Floats] = []
        for edge in long[in_order(-length[long])]:
            around = [face for face in sides[edge] if face >= 0]
            if used[around].any():
                continue
            middle = len(vertices) + len(middles)
            middles.append(vertices[edges[edge]].mean(axis=0))
            for face in around:
                used[face] = True
                corners = faces[face].tolist()
                k = next(i for i in range(3) if corners[i] not in edges[edge])
                tip, start, end = corners[k], corners[(k + 1) % 3], corners[(k + 2) % 3]
                new_faces += [[tip, start, middle], [tip, middle, end]]
        vertices = np.vstack([vertices, settle(np.array(middles))])
        faces = np.vstack([faces[~used], np.array(new_faces)])
    return vertices, faces


def _opposite(faces: Integers, edges: Integers) -> Integers:
    """Return the corner (k,) of each face (k, 3) that is not on its edge (k, 2)."""
    return faces[(faces != edges[:, [0]]) & (faces != edges[:, [1]])]


def _angles_rad(vertices: Floats, at: Integers, edges: Integers) -> Floats:
    """Return the angles (k,) under which edges (k, 2) are seen from vertices (k,)."""
    first = vertices[edges[:, 0]] - vertices[at]
    second = vertices[edges[:, 1]] - vertices[at]
    lengths = np.linalg.norm(first, axis=1) * np.linalg.norm(second, axis=1)
    return np.arccos(np.clip((first * second).sum(axis=1) / (lengths + 1e-12), -1.0, 1.0))


def _normal(vertices: Floats, a: int, b: int, c: int) -> Floats:
    return np.cross(vertices[b] - vertices[a], vertices[c] - vertices[a])


def flip(vertices: Floats, faces: Integers, region: Region) -> Integers:
    """Return the faces with edges flipped until opposite angles sum to a half turn or less."""
    faces = faces.copy()
    for _ in range(30):
        edges, sides = edges_of(faces)
        inner = np.flatnonzero((sides[:, 1] >= 0) & region(vertices)[edges].all(axis=1))
        existing = set(map(tuple, edges.tolist()))
        ends, pairs = edges[inner], sides[inner]
        tips = np.column_stack([_opposite(faces[pairs[:, side]], ends) for side in (0, 1)])
        turn = sum(_angles_rad(vertices, tips[:, side], ends) for side in (0, 1))
        used = np.zeros(len(faces), dtype=bool)
        n_flipped = 0
        for k in in_order(-turn):
            if turn[k] < np.pi + 0.02:
                break
            one, other = pairs[k]
            tip, far = tips[k].tolist()
            # an edge between two points of the midline would lie in the plane of symmetry
            flat = on_midline(vertices[tips[k]]).all()
            if used[one] or used[other] or flat or (min(tip, far), max(tip, far)) in existing:
                continue
            start, end = ends[k].tolist()
            corners = faces[one].tolist()
            if corners[(corners.index(start) + 1) % 3] != end:
                start, end = end, start
            now = _normal(vertices, start, end, tip) + _normal(vertices, end, start, far)
            first, second = _normal(vertices, start, far, tip), _normal(vertices, end, tip, far)
            if first @ now <= 0 or second @ now <= 0:
                continue
            faces[one], faces[other] = [start, far, tip], [end, tip, far]
            used[[one, other]] = True
            existing.discard((min(start, end), max(start, end)))
            existing.add((min(tip, far), max(tip, far)))
            n_flipped += 1
        if not n_flipped:
            break
    return faces


def _keeps_shape(
    vertices: Floats, faces: Integers, around: list[int], moving: int, gone: int, to: Floats
) -> bool:
    """Tell whether no face around a moving vertex turns by more than about 70 degrees."""
    for number in around:
        face = faces[number]
        if gone in face and moving in face:
            continue
        before = vertices[face]
        after = np.where((face == moving)[:, None], to, before)
        old = np.cross(before[1] - before[0], before[2] - before[0])
        new = np.cross(after[1] - after[0], after[2] - after[0])
        if old @ new <= 0.3 * np.linalg.norm(old) * np.linalg.norm(new):
            return False
    return True


def collapse_short(
    vertices: Floats, faces: Integers, edge_mm: float, region: Region, fixed: Region
) -> Mesh:
    """Return the mesh without edges shorter than 0.55 edge lengths, the shortest first.

    Fixed vertices stay where they are; an edge between two of them stays too.
    """
    for _ in range(20):
        edges, sides = edges_of(faces)
        length, is_fixed = edge_lengths(vertices, edges), fixed(vertices)
        short = (sides[:, 1] >= 0) & region(vertices)[edges].all(axis=1)
        short &= (length < 0.55 * edge_mm) & ~is_fixed[edges].all(axis=1)
        around = faces_around(faces)
        vertices, faces = vertices.copy(), faces.copy()
        touched: set[int] = set()
        dead = np.zeros(len(faces), dtype=bool)
        candidates = np.flatnonzero(short)
        for edge in candidates[in_order(length[candidates])]:
            keep, gone = edges[edge].tolist()
            if is_fixed[gone]:  # then the other end is free
                keep, gone = gone, keep
            if touched & {keep, gone}:
                continue
            rings = [set(faces[around[v]].ravel().tolist()) - {v} for v in (keep, gone)]
            # more than two shared neighbours: the collapse would fold the surface on itself
            if len(rings[0] & rings[1]) != 2 or touched & (rings[0] | rings[1]):
                continue
            place = vertices[keep] if is_fixed[keep] else vertices[[keep, gone]].mean(axis=0)
            if not all(
                _keeps_shape(vertices, faces, around[a], a, b, place)
                for a, b in ((keep, gone), (gone, keep))
            ):
                continue
            vertices[keep] = settle(place)
            for number in around[gone]:
                dead[number] |= keep in faces[number]
                faces[number][faces[number] == gone] = keep
            touched |= rings[0] | rings[1] | {keep, gone}
        if not touched:
            break
        vertices, faces, _ = only_used(vertices, faces[~dead])
    return vertices, faces


def relax(
    vertices: Floats,
    faces: Integers,
    mobility: Floats,
    project: Callable[[Floats, np.ndarray], Floats],
) -> Floats:
    """Return the vertices after eight rounds of sliding toward the middle of their faces.

    mobility (n,) is the share of each step that is taken; vertices of the midline slide along it.
    """
    n_vertices, midline = len(vertices), on_midline(vertices)
    edges, sides = edges_of(faces)
    along = edges[(sides[:, 1] < 0) & midline[edges].all(axis=1)]
    ends = np.r_[along[:, 0], along[:, 1]], np.r_[along[:, 1], along[:, 0]]
    beside = scipy.sparse.csr_matrix((np.ones(len(ends[0])), ends), shape=(n_vertices,) * 2)
    n_beside = np.asarray(beside.sum(axis=1)).ravel()
    slides = midline & (n_beside == 2)
    corner, owner = faces.ravel(), np.repeat(np.arange(len(faces)), 3)
    for _ in range(8):
        mesh = trimesh.Trimesh(vertices, faces, process=False)
        normals = mesh.vertex_normals.copy()
        areas = scipy.sparse.csr_matrix(
            (np.repeat(mesh.area_faces, 3), (corner, owner)), shape=(n_vertices, len(faces))
        )
        total = np.asarray(areas.sum(axis=1))
        step = (areas @ mesh.triangles_center) / total.reshape(-1, 1) - vertices
        between = (beside @ vertices) / np.maximum(n_beside, 1)[:, None]
        step[midline] = 0.0
        step[slides] = between[slides] - vertices[slides]
        step[midline, 0] = 0.0
        normals[midline, 0] = 0.0
        normals /= np.linalg.norm(normals, axis=1, keepdims=True) + 1e-12
        step -= (step * normals).sum(axis=1, keepdims=True) * normals
        vertices = project(vertices + 0.6 * step * mobility[:, None], mobility > 0)
        vertices[midline, 0] = 0.0
        vertices = settle(vertices)
    return vertices


def remeshed_head(
    points_mm: Floats, triangles: Integers, vault: Vault
) -> tuple[Floats, Integers, Integers]:
    """Return the template topology: whole adult head (n, 3), faces (m, 3) and mirror (n,).

    points_mm (k, 3) and triangles (t, 3) are the warped body mesh without hidden walls.
    """
    vertices, faces, _ = left_half(points_mm, triangles)
    vertices, faces = part_pinches(vertices, faces)
    faces = close_slits(vertices, faces)
    vertices, faces, _ = largest_part(*cut_neck(vertices, faces, NECK_PLANE))
    vertices, faces = part_pinches(vertices, faces)
    smooth, smooth_faces = smoothed_whole(vertices, faces)
    skin = Surface(smooth, smooth_faces)
    midline = on_midline(vertices)
    at_neck = NECK_PLANE.holds(vertices)
    vertices = settle(np.where(at_neck[:, None], vertices, smooth[: len(vertices)]))
    vertices[midline, 0] = 0.0

    def on_vault(points: Floats) -> np.ndarray:
        return vault.weight(points) > 1e-3

    def stays(points: Floats) -> np.ndarray:
        return (vault.weight(points) <= 0.02) | on_midline(points)

    def project(points: Floats, free: np.ndarray) -> Floats:
        share = vault.weight(points)
        moved = (share > 1e-3) & free
        result = points.copy()
        own, weight = points[moved], share[moved][:, None]
        result[moved] = (1.0 - weight) * skin.nearest(own)[0] + weight * vault.project(own)
        return result

    for _ in range(N_ROUNDS):
        vertices, faces = split_long(vertices, faces, EDGE_MM, on_vault)
        faces = flip(vertices, faces, on_vault)
        vertices, faces = collapse_short(vertices, faces, EDGE_MM, on_vault, stays)
        faces = flip(vertices, faces, on_vault)
        midline = on_midline(vertices)
        mobility = smooth_step((vault.weight(vertices) - 0.02) / 0.2)
        vertices = project(vertices, np.ones(len(vertices), dtype=bool))
        vertices[midline, 0] = 0.0
        vertices = relax(settle(vertices), faces, mobility, project)
        faces = flip(vertices, faces, on_vault)

    n_before = len(vertices)
    everywhere = lambda points: np.ones(len(points), dtype=bool)  # noqa: E731
    vertices, faces = split_long(vertices, faces, FACE_EDGE_MM, everywhere)
    midline = on_midline(vertices)
    move = ~NECK_PLANE.holds(vertices)
    move[:n_before] = False
    vertices[move] = skin.nearest(vertices[move])[0]
    vertices[midline, 0] = 0.0
    vertices = settle(vertices)
    faces = flip(
        vertices,
        faces,
        lambda points: ~on_vault(points) & (points[:, 2] < -60) & (points[:, 1] < 60),
    )
    return mirrored(*cap_neck(vertices, faces, NECK_PLANE))
