"""GLB, OFF, VTP and GIfTI: what the libraries of these formats write is read, a real head among it.

The head is the average of forty heads that `mne` carries (fsaverage-head.fif); `base64bin.gii` and
`ascii.gii` are samples of the format that `nibabel` carries, written by other programs.
"""

from __future__ import annotations

import json
from pathlib import Path

import mne
import nibabel
import numpy as np
import pytest
import trimesh
import vtkmodules.util.numpy_support as vtk_numpy
from vtkmodules.vtkCommonCore import vtkPoints
from vtkmodules.vtkCommonDataModel import vtkCellArray, vtkPolyData
from vtkmodules.vtkIOXML import vtkXMLPolyDataWriter

from headfit import place_sites, read_head
from headfit.errors import FileFormatError, HeadfitError, InputError, MeshError
from headfit.files import apart, mesh_libraries
from headfit.files.surfaces import read_surface

DATA = Path(nibabel.__file__).parent / "gifti" / "tests" / "data"


@pytest.fixture(scope="module")
def head() -> trimesh.Trimesh:
    """In mm."""
    file = Path(mne.__file__).parent / "data" / "fsaverage" / "fsaverage-head.fif"
    (skin,) = mne.read_bem_surfaces(file, verbose="error")
    return trimesh.Trimesh(1000.0 * skin["rr"], skin["tris"], process=False)


def as_gifti(head: trimesh.Trimesh, encoding: str) -> bytes:
    arrays = [
        nibabel.gifti.GiftiDataArray(
            np.asarray(values, kind), intent=intent, encoding=encoding, datatype=datatype
        )
        for values, kind, intent, datatype in (
            (head.vertices, np.float32, "NIFTI_INTENT_POINTSET", "NIFTI_TYPE_FLOAT32"),
            (head.faces, np.int32, "NIFTI_INTENT_TRIANGLE", "NIFTI_TYPE_INT32"),
        )
    ]
    return bytes(nibabel.gifti.GiftiImage(darrays=arrays).to_bytes())


def as_vtp(head: trimesh.Trimesh, path: Path, mode: str) -> bytes:
    points, cells, mesh = vtkPoints(), vtkCellArray(), vtkPolyData()
    points.SetData(vtk_numpy.numpy_to_vtk(np.array(head.vertices)))
    for corners in head.faces.tolist():
        cells.InsertNextCell(3, corners)
    mesh.SetPoints(points)
    mesh.SetPolys(cells)
    writer = vtkXMLPolyDataWriter()
    getattr(writer, f"SetDataModeTo{mode}")()
    if mode == "Appended":
        writer.EncodeAppendedDataOff()
    writer.SetFileName(str(path))
    writer.SetInputData(mesh)
    assert writer.Write() == 1
    return path.read_bytes()


def written(kind: str, head: trimesh.Trimesh, folder: Path) -> Path:
    """The head in mm, but in metres as GLB, in a file as the library of its format writes it."""
    name, _, way = kind.partition(" ")
    path = folder / f"head.{name}"
    if name == "gii":
        path.write_bytes(as_gifti(head, way))
    elif name == "vtp":
        as_vtp(head, path, way)
    elif name == "glb":
        # Turned by the scene it stands in, as most programs do that write it.
        turned = trimesh.transformations.rotation_matrix(np.pi / 2, [1, 0, 0])
        scene = trimesh.Scene()
        scene.add_geometry(head.copy().apply_scale(0.001), transform=turned)
        path.write_bytes(scene.export(file_type="glb"))
    else:
        path.write_text(head.export(file_type="off"), encoding="ascii")
    return path


KINDS = [
    "glb",
    "off",
    "vtp Ascii",
    "vtp Binary",
    "vtp Appended",
    "gii GIFTI_ENCODING_ASCII",
    "gii GIFTI_ENCODING_B64BIN",
    "gii GIFTI_ENCODING_B64GZ",
]


@pytest.mark.parametrize("kind", KINDS)
def test_a_real_head_is_read_in_millimetres(
    kind: str, head: trimesh.Trimesh, tmp_path: Path
) -> None:
    mesh, part = read_surface(written(kind, head, tmp_path))
    assert part is None
    assert mesh.faces.shape == head.faces.shape
    assert mesh.volume_mm3 == pytest.approx(abs(head.volume), rel=1e-5)
    size = np.sort(np.ptp(mesh.vertices_mm, axis=0))
    np.testing.assert_allclose(size, np.sort(np.ptp(head.vertices, axis=0)), atol=1e-2)


@pytest.mark.parametrize("kind", ["glb", "off", "vtp Binary", "gii GIFTI_ENCODING_B64GZ"])
def test_sites_of_a_ball_come_out_alike_in_every_format(kind: str, tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(subdivisions=3, radius=90.0)
    path = written(kind, ball, tmp_path)
    at = np.array([[0, 90, 0], [0, -90, 0], [-90, 0, 0], [90, 0, 0]], float)
    top = np.array([0, 0, 90.0])
    if kind == "glb":  # turned by a quarter about x
        at, top = at[:, [0, 2, 1]] * [1, -1, 1], np.array([0, -90.0, 0])
    names = ("nasion", "inion", "left_preauricular", "right_preauricular")
    marks = tmp_path / "marks.json"
    marks.write_text(json.dumps({"unit": "mm", **dict(zip(names, at.tolist(), strict=True))}))
    np.testing.assert_allclose(place_sites(read_head(path, marks))["Cz"], top, atol=0.05)


def test_a_sample_of_gifti_from_another_program_is_read() -> None:
    # One triangle, as the format's specification shows it.
    image = nibabel.load(DATA / "ascii.gii")
    points, corners = (array.data for array in image.darrays)
    mesh, _ = read_surface(DATA / "ascii.gii")
    assert len(mesh.faces) == len(corners) == 1
    np.testing.assert_allclose(mesh.vertices_mm[mesh.faces], points[corners], atol=1e-6)


def test_a_sample_whose_triangles_go_beyond_its_points_is_refused() -> None:
    # The first ten points and triangles of a brain, cut off by whoever made the sample.
    corners = nibabel.load(DATA / "base64bin.gii").darrays[1].data
    with pytest.raises(MeshError, match=f"lie in 0 to 9, got {corners[0][corners[0] > 9][0]} in"):
        read_surface(DATA / "base64bin.gii")


def test_a_unit_that_is_named_goes_before_that_of_the_format(tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(subdivisions=2, radius=90.0)
    path = tmp_path / "ball.glb"
    path.write_bytes(ball.export(file_type="glb"))
    assert np.ptp(read_surface(path, "mm")[0].vertices_mm) == pytest.approx(180.0)
    assert np.ptp(read_surface(path)[0].vertices_mm) == pytest.approx(180_000.0)


def test_polygons_of_a_vtp_are_split_into_triangles(tmp_path: Path) -> None:
    cube = tmp_path / "cube.vtp"
    points, cells, mesh = vtkPoints(), vtkCellArray(), vtkPolyData()
    for corner in np.ndindex(2, 2, 2):
        points.InsertNextPoint(*(100.0 * np.array(corner)))
    for square in (
        (0, 1, 3, 2),
        (4, 6, 7, 5),
        (0, 4, 5, 1),
        (2, 3, 7, 6),
        (0, 2, 6, 4),
        (1, 5, 7, 3),
    ):
        cells.InsertNextCell(4, square)
    mesh.SetPoints(points)
    mesh.SetPolys(cells)
    writer = vtkXMLPolyDataWriter()
    writer.SetFileName(str(cube))
    writer.SetInputData(mesh)
    writer.Write()
    found, _ = read_surface(cube)
    assert found.faces.shape == (12, 3)
    assert abs(found.volume_mm3) == pytest.approx(1e6)


WRONG = {
    "glb cut short": ("glb", lambda raw: raw[:-900], "hold a complete surface"),
    "glb called off": ("off", None, "must begin as one"),
    "vtp cut short": ("vtp Appended", lambda raw: raw[:-900], "VTK does not take it"),
    "vtp of lines": ("vtp Ascii", lambda raw: raw.replace(b"PolyData", b"ImageData"), "VTK does"),
    "gii cut short": ("gii GIFTI_ENCODING_B64GZ", lambda raw: raw[:-900], "hold a complete"),
    "gii that names a huge number": (
        "gii GIFTI_ENCODING_ASCII",
        lambda raw: raw.replace(b'Dimensionality="2"', b'Dimensionality="99999999999"'),
        "its library (was not done|gives up)",
    ),
    "gii without a surface": ("gii", (DATA / "rh.shape.curv.gii").read_bytes(), "hold triangles"),
    "gii with a file beside it": ("gii", (DATA / "external.gii").read_bytes(), "cannot be read"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_with_a_file_is_said_in_one_sentence(
    case: str, head: trimesh.Trimesh, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    kind, change, said = WRONG[case]
    if isinstance(change, bytes):
        path = tmp_path / f"head.{kind}"
        path.write_bytes(change)
    elif change is None:
        path = written("glb", head, tmp_path).rename(tmp_path / f"head.{kind}")
    else:
        path = written(kind, head, tmp_path)
        path.write_bytes(change(path.read_bytes()))
    monkeypatch.setattr(apart, "SECONDS", 10)
    with pytest.raises(FileFormatError, match=said) as caught:
        read_surface(path)
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(path.name)


@pytest.mark.parametrize("ending", [".gltf", ".vtk", ".nii", ".zip", ".fbx"])
def test_a_format_that_is_not_read_is_told_what_to_save_instead(
    ending: str, tmp_path: Path
) -> None:
    path = tmp_path / f"head{ending}"
    path.write_bytes(b"x")
    with pytest.raises(FileFormatError, match=r"\((.* (GLB|PLY|VTP)\b.*|unpack it first)\)$"):
        read_surface(path)


def test_without_the_library_gifti_is_refused_with_the_extra_that_brings_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(mesh_libraries, "find_spec", lambda _name: None)
    path = tmp_path / "head.gii"
    path.write_bytes((DATA / "ascii.gii").read_bytes())
    with pytest.raises(InputError, match=r"pip install 'headfit\[surfaces\]'"):
        read_surface(path)


# VTK ends its process on some of these, and never comes back on others.
DAMAGE = {
    "a count beyond any memory": (b'NumberOfPoints="', b'NumberOfPoints="99999999999999'),
    "no points": (b'type="Float64" Name="Points"', b'type="Float64" Name="Nothing"'),
    "another version": (b'version="', b'version="99.'),
    "another byte order": (b"LittleEndian", b"BigEndian"),
    "a corner out of range": (b"<Polys>", b"<Lines>"),
    "an offset out of the file": (b'offset="0"', b'offset="987654321987654321"'),
}


@pytest.mark.parametrize("case", DAMAGE)
@pytest.mark.parametrize("mode", ["Ascii", "Appended"])
def test_a_damaged_vtp_gives_a_surface_or_a_sentence(case: str, mode: str, tmp_path: Path) -> None:
    ball = trimesh.creation.icosphere(subdivisions=1, radius=90.0)
    path = tmp_path / "head.vtp"
    whole = as_vtp(ball, path, mode)
    damaged = whole.replace(*DAMAGE[case])
    path.write_bytes(damaged)
    said = ""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(apart, "SECONDS", 10)
        try:
            mesh, _ = read_surface(path)
        except HeadfitError as error:
            said = str(error)
    assert said.startswith("head.vtp: ") if said else np.isfinite(mesh.vertices_mm).all()
    assert "\n" not in said
