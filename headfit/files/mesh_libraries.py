"""A head handed to the mesh libraries trimesh and pyvista, and surfaces taken from VTK and nibabel.

Millimetres, frame of the head, with its parts and landmarks. The arrays are copies: what a library
does to its mesh leaves the head as it is.
"""

from __future__ import annotations

import io
import tempfile
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.errors import FileFormatError, missing_library, sentence
from headfit.files.apart import read_apart
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


_READ_VTP = """
import numpy as np
from vtkmodules.util.numpy_support import vtk_to_numpy
from vtkmodules.vtkCommonCore import vtkObject
from vtkmodules.vtkFiltersCore import vtkTriangleFilter
from vtkmodules.vtkIOXML import vtkXMLPolyDataReader
vtkObject.GlobalWarningDisplayOff()
reader = vtkXMLPolyDataReader()
reader.SetFileName(source)
split = vtkTriangleFilter()
split.PassLinesOff()
split.PassVertsOff()
split.SetInputConnection(reader.GetOutputPort())
if not reader.CanReadFile(source):
    sys.exit("VTK does not take it")
split.Update()
if reader.GetErrorCode():
    sys.exit("VTK does not take it")
mesh = split.GetOutput()
points, corners = mesh.GetPoints(), mesh.GetPolys().GetConnectivityArray()
with open(target, "wb") as file:
    np.savez(
        file,
        points=np.zeros((0, 3)) if points is None else vtk_to_numpy(points.GetData()),
        corners=vtk_to_numpy(corners).reshape(-1, 3),
    )
"""
_READ_GIFTI = """
import numpy as np
from nibabel.gifti import GiftiImage
with open(source, "rb") as file:
    raw = file.read()
try:
    image = GiftiImage.from_bytes(raw)
    found = [
        [array.data for array in image.get_arrays_from_intent(intent)[:1]]
        for intent in ("NIFTI_INTENT_POINTSET", "NIFTI_INTENT_TRIANGLE")
    ]
    points, corners = (np.array(arrays).reshape(-1, 3) for arrays in found)
    points, corners = points.astype(np.float64), corners.astype(np.int64)
except Exception as error:
    sys.exit(str(error) or type(error).__name__)
with open(target, "wb") as file:
    np.savez(file, points=points, corners=corners)
"""


def vtp_arrays(raw: bytes) -> tuple[Floats, Integers]:
    """Vertices and triangles of a VTP file, polygons split into triangles, as VTK reads it.

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
    return _arrays_read_apart(_READ_VTP, raw, "surface.vtp")


def gifti_arrays(raw: bytes) -> tuple[Floats, Integers]:
    """Vertices and triangles of a GIfTI file, as nibabel reads it.

    Raises
    ------
    RuntimeError
        It cannot be read.
    InputError
        nibabel is not installed.
    """
    if find_spec("nibabel") is None:
        raise missing_library("nibabel", "read GIfTI surfaces", "surfaces")
    return _arrays_read_apart(_READ_GIFTI, raw, "surface.gii")


def _arrays_read_apart(script: str, raw: bytes, name: str) -> tuple[Floats, Integers]:
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / name
        source.write_bytes(raw)
        read = read_apart(script, source)
    with np.load(io.BytesIO(read), allow_pickle=False) as arrays:
        vertices: Floats = arrays["points"].astype(np.float64)
        faces: Integers = arrays["corners"].astype(np.int64)
    return vertices, faces
