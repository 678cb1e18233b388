"""Tape and caliper on a raw head, to scale it and to compare proportions while building.

headfit measures heads itself, but it needs the template to exist: this is the small stand-in.
Unit: mm. A head comes without its ears, its landmarks as name -> (3,) points in its own frame.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import trimesh
from scipy.spatial import ConvexHull

from template_study.half_mesh import X
from template_study.remesh import Surface
from template_study.vault import Floats, unit


@dataclass(frozen=True)
class Proportions:
    """Sizes of a head, all in mm."""

    largest_circumference_mm: float
    length_mm: float
    breadth_mm: float
    #: from the preauricular line to Cz, at right angles to nasion-inion
    vertex_height_mm: float
    preauricular_width_mm: float


def section(head: trimesh.Trimesh, origin_mm: Floats, normal: Floats) -> Floats:
    """Return the end points (k, 3) of the pieces of a plane section, in no order."""
    return trimesh.intersections.mesh_plane(head, normal, origin_mm).reshape(-1, 3)


def girth(head: trimesh.Trimesh, origin_mm: Floats, normal: Floats) -> float:
    """Return the length in mm of a tape round a plane section."""
    across = unit(np.cross(normal, X))
    from_origin = section(head, origin_mm, normal) - origin_mm
    flat = np.column_stack([from_origin @ across, from_origin @ np.cross(normal, across)])
    return float(ConvexHull(flat).area)


def taut_path(head: trimesh.Trimesh, start: Floats, end: Floats, over: Floats) -> Floats:
    """Return the taut tape (k, 3) from start to end in the plane of three points (3,)."""
    normal = unit(np.cross(end - start, over - start))
    along = unit(end - start)
    up = np.cross(normal, along)
    up = up if up @ (over - start) > 0 else -up
    cut = section(head, start, normal) - start
    flat = np.column_stack([cut @ along, cut @ up])
    ends = np.array([[0.0, 0.0], [(end - start) @ along, 0.0]])
    points = np.vstack([ends, flat[flat[:, 1] > 0]])
    ring = ConvexHull(points).vertices.tolist()
    ring = ring[ring.index(0) :] + ring[: ring.index(0)]
    split = ring.index(1)
    one, other = points[ring[: split + 1]], points[[ring[0], *ring[: split - 1 : -1]]]
    path = one if one[:, 1].max() > other[:, 1].max() else other
    return start + path[:, :1] * along + path[:, 1:] * up


def middle_of(path: Floats) -> Floats:
    """Return the point (3,) halfway along a path (k, 3)."""
    travelled = np.r_[0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))]
    return np.array([np.interp(travelled[-1] / 2.0, travelled, path[:, k]) for k in range(3)])


def vertex(head: trimesh.Trimesh, landmarks: dict[str, Floats]) -> Floats:
    """Return Cz (3,): the point that halves the midline and the coronal tape, 8 rounds."""
    nasion, inion = landmarks["nasion"], landmarks["inion"]
    surface = Surface(head.vertices, head.faces)
    cz = (nasion + inion) / 2.0 + 150.0 * unit(np.cross(X, nasion - inion))
    for _ in range(8):
        over = middle_of(taut_path(head, nasion, inion, cz))
        sides = landmarks["left_preauricular"], landmarks["right_preauricular"]
        over[0] = middle_of(taut_path(head, *sides, over))[0]
        cz = surface.nearest(over[None])[0][0]
    return cz


def measure(head: trimesh.Trimesh, landmarks: dict[str, Floats]) -> Proportions:
    """Return the proportions of a head without ears.

    Length is the largest distance from forehead to occiput in the midline. The largest
    circumference is sought among tapes through that forehead point, level across the head.
    """
    nasion, inion = landmarks["nasion"], landmarks["inion"]
    left, right = landmarks["left_preauricular"], landmarks["right_preauricular"]
    base_mm = float(np.linalg.norm(nasion - inion))
    forward = unit((nasion - inion) * [0.0, 1.0, 1.0])
    up = np.cross(X, forward)
    size = base_mm / 195.0  # bands below are given for an adult of 195 mm
    midline = section(head, np.zeros(3), X)
    height, ahead = (midline - inion) @ up, (midline - inion) @ forward
    above_nasion = height - (nasion - inion) @ up
    forehead = midline[
        (above_nasion > 6 * size) & (above_nasion < 25 * size) & (ahead > 0.6 * base_mm)
    ]
    back = (ahead < 40 * size) & (height > -5 * size)
    distances = np.linalg.norm(forehead[:, None] - midline[back][None], axis=2)
    front, rear = np.unravel_index(distances.argmax(), distances.shape)
    glabella, occiput = forehead[front], midline[back][rear]
    girths = []
    for step_mm in np.arange(-25.0, 40.0, 2.5) * size:
        miss = np.abs((midline - occiput) @ up - step_mm) + 1000.0 * (ahead > 60 * size)
        normal = unit(np.cross(glabella - midline[np.argmin(miss)], X))
        girths.append(girth(head, glabella, normal))
    levels = (section(head, inion + h * up, up) for h in np.arange(-10.0, 110.0, 2.0) * size)
    return Proportions(
        largest_circumference_mm=max(girths),
        length_mm=float(distances.max()),
        breadth_mm=max(float(np.ptp(level[:, 0])) for level in levels if len(level)),
        vertex_height_mm=float((vertex(head, landmarks) - (left + right) / 2.0) @ up),
        preauricular_width_mm=float(np.linalg.norm(left - right)),
    )
