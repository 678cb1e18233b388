"""A head handed to the general mesh libraries trimesh and pyvista, with its parts and landmarks.

Millimetres, frame of the head. The arrays are copies: what a library does to its mesh leaves the
head as it is.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES


def head_to_trimesh(head: Head) -> Any:
    """A `trimesh.Trimesh`: the same vertices in the same order.

    `vertex_attributes["part"]` holds the parts where they are labelled, `metadata` the label and
    `landmarks_mm` by name.
    """
    import trimesh

    parts: dict[str, Any] = {} if head.part is None else {"part": np.array(head.part)}
    landmarks = dict(zip(LANDMARK_NAMES, np.array(head.landmarks.points_mm), strict=True))
    return trimesh.Trimesh(
        np.array(head.vertices_mm),
        np.array(head.faces),
        process=False,
        vertex_attributes=parts,
        metadata={"label": head.label, "landmarks_mm": landmarks},
    )


def head_to_pyvista(head: Head) -> Any:
    """A `pyvista.PolyData`: the same vertices in the same order.

    `point_data["part"]` holds the parts where they are labelled, `field_data` each landmark by its
    name. Nothing is drawn, and no graphics driver is needed.
    """
    import pyvista

    faces: Any = np.array(head.faces)
    mesh = pyvista.PolyData.from_regular_faces(np.array(head.vertices_mm), faces)
    if head.part is not None:
        mesh.point_data["part"] = np.array(head.part)
    for name, point in zip(LANDMARK_NAMES, head.landmarks, strict=True):
        mesh.field_data[name] = np.array(point)
    return mesh
