"""A head handed to the general mesh libraries trimesh and pyvista, and a surface taken from VTK.

Millimetres, frame of the head, with its parts and landmarks. The arrays are copies: what a library
does to its mesh leaves the head as it is.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.errors import FileFormatError, sentence
from headfit.geometry.mesh import Floats, Integers


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


_VTP_SECONDS = 60
# Memory as one process may have it, where the system can be told.
_READ_VTP = """
import sys
try:
    import resource
    resource.setrlimit(resource.RLIMIT_AS, (8 << 30, 8 << 30))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
except (ImportError, ValueError, OSError):
    pass
import numpy as np
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkObject
from vtkmodules.vtkFiltersCore import vtkTriangleFilter
from vtkmodules.vtkIOXML import vtkXMLPolyDataReader
vtkObject.GlobalWarningDisplayOff()
reader = vtkXMLPolyDataReader()
reader.SetFileName(sys.argv[1])
if not reader.CanReadFile(sys.argv[1]):
    sys.exit(3)
split = vtkTriangleFilter()
split.PassLinesOff()
split.PassVertsOff()
split.SetInputConnection(reader.GetOutputPort())
split.Update()
if reader.GetErrorCode():
    sys.exit(3)
mesh = split.GetOutput()
points, corners = mesh.GetPoints(), mesh.GetPolys().GetConnectivityArray()
np.savez(
    sys.argv[2],
    points=np.zeros((0, 3)) if points is None else vtk_to_numpy(points.GetData()),
    corners=vtk_to_numpy(corners).reshape(-1, 3),
)
"""


def vtp_arrays(raw: bytes) -> tuple[Floats, Integers]:
    """Vertices and triangles of a VTP file, polygons split into triangles, as VTK reads it.

    VTK ends the process, or never comes back, on some damaged files: so it reads in one of its own.

    Raises
    ------
    RuntimeError
        It cannot be read.
    FileFormatError
        VTK is not installed.
    """
    if find_spec("vtkmodules") is None:
        raise FileFormatError(
            sentence(
                "the library vtk",
                "be installed to read VTP surfaces",
                "none",
                "install headfit again, or save the surface as PLY",
            ),
            code="surface-no-vtk",
        )
    with tempfile.TemporaryDirectory() as name:
        source, target = Path(name) / "surface.vtp", Path(name) / "arrays.npz"
        source.write_bytes(raw)
        try:
            done = subprocess.run(
                [sys.executable, "-I", "-c", _READ_VTP, str(source), str(target)],
                capture_output=True,
                stdin=subprocess.DEVNULL,
                timeout=_VTP_SECONDS,
                check=False,
            )
        except subprocess.TimeoutExpired:
            raise RuntimeError(f"VTK was not done in {_VTP_SECONDS} s") from None
        if done.returncode or not target.is_file():
            raise RuntimeError("VTK does not take it")
        with np.load(io.BytesIO(target.read_bytes()), allow_pickle=False) as arrays:
            vertices: Floats = arrays["points"].astype(np.float64)
            faces: Integers = arrays["corners"].astype(np.int64)
    return vertices, faces
