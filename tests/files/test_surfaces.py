"""Surfaces: what other programs write is read, and what we write other programs read."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
import trimesh

from headfit import Head, Landmarks, load_template, place_sites, read_head
from headfit.anatomy.head import EAR
from headfit.anatomy.landmarks import NAMES
from headfit.errors import FileFormatError, LandmarkError, MeshError, UnitError
from headfit.files.landmark_files import landmarks_json
from headfit.files.surfaces import ply_bytes, read_surface
from headfit.units import MM_PER_UNIT

# A unit sphere from a library, scaled to 90 mm: 642 vertices, 1280 triangles.
BALL = trimesh.creation.icosphere(subdivisions=3, radius=90.0)
KINDS = {"ply": ".ply", "ply_ascii": ".ply", "obj": ".obj", "stl": ".stl", "stl_ascii": ".stl"}
KINDS |= {"off": ".off"}


def exported(kind: str) -> bytes:
    if kind == "ply_ascii":
        found = trimesh.exchange.ply.export_ply(BALL, encoding="ascii")
    else:
        found = BALL.export(file_type=kind)
    return found.encode() if isinstance(found, str) else bytes(found)


def written(folder: Path, contents: bytes, suffix: str = ".ply") -> Path:
    path = folder / f"head{suffix}"
    path.write_bytes(contents)
    return path


@pytest.mark.parametrize("kind", KINDS)
def test_a_sphere_written_by_another_program_is_read_whole(tmp_path: Path, kind: str) -> None:
    mesh, part = read_surface(written(tmp_path, exported(kind), KINDS[kind]))
    assert part is None
    assert mesh.vertices_mm.shape == (642, 3)
    assert mesh.faces.shape == (1280, 3)
    assert mesh.n_pieces == 1
    assert (mesh.neighbours >= 0).all()
    # Text files carry eight digits, binary ones single precision.
    np.testing.assert_allclose(np.linalg.norm(mesh.vertices_mm, axis=1), 90.0, atol=1e-4)
    assert mesh.volume_mm3 == pytest.approx(BALL.volume, rel=1e-6)


@pytest.mark.parametrize(("unit", "factor"), [("cm", 0.1), ("m", 0.001), ("inch", 1 / 25.4)])
def test_the_unit_of_the_surface_is_what_the_user_says(
    tmp_path: Path, unit: str, factor: float
) -> None:
    scaled = BALL.copy().apply_scale(factor).export(file_type="obj", digits=12)
    mesh, _ = read_surface(written(tmp_path, scaled.encode(), ".obj"), unit)
    np.testing.assert_allclose(np.linalg.norm(mesh.vertices_mm, axis=1), 90.0, atol=1e-6)


def test_vertices_split_along_a_seam_are_merged_and_loose_ones_dropped(tmp_path: Path) -> None:
    vertices = np.concatenate([BALL.vertices, BALL.vertices[:50], [[1e3, 0, 0]]])
    faces = np.array(BALL.faces)
    seam = faces[:40]
    faces[:40] = np.where(seam < 50, seam + 642, seam)
    flat = np.concatenate([faces, [[7, 7, 9]]])  # a triangle without area
    split = trimesh.Trimesh(vertices, flat, process=False).export(file_type="ply")
    mesh, _ = read_surface(written(tmp_path, split))
    assert len(mesh.vertices_mm) == 642
    assert len(mesh.faces) == 1280
    assert mesh.n_pieces == 1


def test_the_order_of_a_whole_surface_is_kept(tmp_path: Path) -> None:
    mesh, _ = read_surface(written(tmp_path, exported("ply")))
    np.testing.assert_allclose(mesh.vertices_mm, BALL.vertices, atol=1e-5)
    np.testing.assert_array_equal(mesh.faces, BALL.faces)


def test_a_head_written_by_us_comes_back_with_its_ears_and_its_sites(tmp_path: Path) -> None:
    head = load_template()
    path = written(tmp_path, ply_bytes(head))
    (tmp_path / "marks.json").write_text(landmarks_json(head.landmarks))
    found = read_head(path, tmp_path / "marks.json")
    np.testing.assert_allclose(found.vertices_mm, head.vertices_mm, atol=1e-5)
    np.testing.assert_array_equal(found.faces, head.faces)
    assert head.part is not None
    np.testing.assert_array_equal(found.part, head.part)
    assert (head.part == EAR).sum() > 100
    gap = place_sites(found, "10-10").points_mm - place_sites(head, "10-10").points_mm
    assert np.abs(gap).max() < 0.02  # landmarks are written to a hundredth


def test_other_programs_read_what_we_write(tmp_path: Path) -> None:
    head = load_template()
    path = written(tmp_path, ply_bytes(head))
    loaded = trimesh.load(path, process=False)
    np.testing.assert_allclose(loaded.vertices, head.vertices_mm, atol=1e-5)
    np.testing.assert_array_equal(loaded.faces, head.faces)
    from vtkmodules.vtkIOPLY import vtkPLYReader

    reader = vtkPLYReader()
    reader.SetFileName(str(path))
    reader.Update()
    assert reader.GetOutput().GetNumberOfPoints() == len(head.vertices_mm)
    assert reader.GetOutput().GetNumberOfPolys() == len(head.faces)


def test_a_label_cannot_break_the_header(tmp_path: Path) -> None:
    template = load_template()
    hostile = Head(
        template.vertices_mm,
        template.faces,
        template.landmarks,
        None,
        "Zoë\nelement vertex 9\nend_header\n",
    )
    mesh, part = read_surface(written(tmp_path, ply_bytes(hostile)))
    assert len(mesh.vertices_mm) == len(template.vertices_mm)
    assert part is None


def test_part_labels_nobody_declared_are_not_believed(tmp_path: Path) -> None:
    head = load_template()
    raw = bytearray(ply_bytes(head))
    start = raw.index(b"end_header\n") + len(b"end_header\n")
    raw[start + 12] = 99  # the label of the first vertex, after its three floats
    assert read_surface(written(tmp_path, bytes(raw)))[1] is None


def marks_of(folder: Path, factor: float = 1.0) -> Path:
    """Landmarks on the sphere: a quarter turn apart, the inion behind."""
    at = 90.0 * factor * np.array([[0, 1, 0], [0, -1, 0], [-1, 0, 0], [1, 0, 0]])
    path = folder / "marks.json"
    path.write_text(json.dumps({"unit": "mm", **dict(zip(NAMES, at.tolist(), strict=True))}))
    return path


def test_a_sphere_with_landmarks_is_a_head(tmp_path: Path) -> None:
    head = read_head(written(tmp_path, exported("stl"), ".stl"), marks_of(tmp_path))
    assert head.label == "head"
    np.testing.assert_allclose(place_sites(head)["Cz"], [0, 0, 90], atol=0.05)


def test_what_the_head_refuses_is_said_with_the_file(tmp_path: Path) -> None:
    metres = BALL.copy().apply_scale(0.001).export(file_type="ply")
    with pytest.raises(MeshError, match=r"^head\.ply: .*, got 0\.312 mm \(is it --unit m\?"):
        read_head(written(tmp_path, metres), marks_of(tmp_path))
    with pytest.raises(LandmarkError, match=r"^head\.ply: nasion must lie on the head surface"):
        read_head(written(tmp_path, exported("ply")), marks_of(tmp_path, 1.3))
    inside_out = trimesh.Trimesh(BALL.vertices, BALL.faces[:, ::-1], process=False)
    with pytest.raises(MeshError, match="normals point outwards, got an inside-out surface"):
        read_head(written(tmp_path, inside_out.export(file_type="ply")), marks_of(tmp_path))
    pair = trimesh.util.concatenate([BALL, BALL.copy().apply_translation([300, 0, 0])])
    with pytest.raises(MeshError, match="must be one connected piece, got 2 pieces"):
        read_head(written(tmp_path, pair.export(file_type="ply")), marks_of(tmp_path))


@pytest.mark.parametrize("written_in", ["mm", "cm", "m", "inch"])
@pytest.mark.parametrize("read_in", ["mm", "cm", "m", "inch"])
def test_a_wrong_unit_of_the_surface_is_told_with_the_one_that_fits(
    tmp_path: Path, written_in: str, read_in: str
) -> None:
    # A ball of 115 mm is 398 mm across its bounding box: a head with face and neck.
    size_mm = 2 * np.sqrt(3.0) * 115.0
    ball = BALL.copy().apply_scale(115.0 / 90.0 / MM_PER_UNIT[written_in])
    path = written(tmp_path, ball.export(file_type="ply"))
    taken_mm = size_mm / MM_PER_UNIT[written_in] * MM_PER_UNIT[read_in]
    if 120 <= taken_mm <= 1500:  # centimetres taken for inches are the size of a large bust
        assert read_surface(path, read_in)[0].volume_mm3 > 0
        return
    with pytest.raises(MeshError) as caught:
        read_head(path, marks_of(tmp_path), read_in)
    assert str(caught.value).endswith(f"(is it --unit {written_in}?)")
    assert re.search(r"got \d+(\.\d+)? mm ", str(caught.value))


def test_a_surface_of_no_size_of_a_head_gets_no_unit_named(tmp_path: Path) -> None:
    path = written(tmp_path, BALL.copy().apply_scale(1e6).export(file_type="ply"))
    with pytest.raises(MeshError, match=r"got 312000000 mm \(is this the surface of one head\?\)$"):
        read_head(path, marks_of(tmp_path))


def ascii_ply(vertices: str, faces: str, n_vertices: int, n_faces: int) -> bytes:
    return (
        f"ply\nformat ascii 1.0\nelement vertex {n_vertices}\nproperty float x\nproperty float y\n"
        f"property float z\nelement face {n_faces}\nproperty list uchar int vertex_indices\n"
        f"end_header\n{vertices}\n{faces}\n"
    ).encode()


CORNERS = "0 0 0\n1 0 0\n0 1 0\n0 0 1"
WRONG: dict[str, tuple[str, bytes, str]] = {
    "another ending": (
        ".gltf",
        b"{}",
        r"must be a .* surface, got the ending '\.gltf' \(save it as one file, GLB",
    ),
    "no ending": ("", b"x", "must be a .* surface, got no ending"),
    "empty": (".ply", b"", "must hold something, got an empty file"),
    "STL called PLY": (".ply", exported("stl_ascii"), r'file must begin as one, got "solid'),
    "PLY called OBJ": (".obj", exported("ply"), r'a \.obj file must begin as one, got "ply'),
    "a picture called OBJ": (
        ".obj",
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        r'must begin as one, got "\\ufffdPNG',
    ),
    "prose called OBJ": (".obj", b"Dear all,\n", "must hold triangles, got poi"),
    "binary PLY cut short": (".ply", exported("ply")[:-9], "hold a complete surface of triangles"),
    "text PLY cut short": (".ply", exported("ply_ascii")[:-400], r"got \d+ of 1280 face rows"),
    "PLY without the end of its header": (".ply", exported("ply")[:120], "hold a complete surface"),
    "text STL cut short": (".stl", exported("stl_ascii")[:-400], "got no closing endsolid"),
    "binary STL cut short": (".stl", exported("stl")[:-9], "must hold triangles, got poi"),
    "points only": (
        ".ply",
        ascii_ply(CORNERS, "", 4, 0),
        "must hold triangles, got points at most",
    ),
    "a coordinate that is no number": (
        ".ply",
        ascii_ply(CORNERS.replace("1 0 0", "1 nan 0"), "3 0 1 2", 4, 1),
        "vertex coordinates must be finite, got 1 that are not",
    ),
    "a corner out of range": (
        ".ply",
        ascii_ply(CORNERS, "3 0 1 9", 4, 1),
        "corner numbers of triangles must lie in 0 to 3, got 9 in triangle 0",
    ),
    "all triangles flat": (
        ".ply",
        ascii_ply(CORNERS, "3 1 1 2", 4, 1),
        "must have three different corners",
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_with_a_file_is_said_in_one_sentence(tmp_path: Path, case: str) -> None:
    suffix, contents, sentence = WRONG[case]
    path = written(tmp_path, contents, suffix)
    with pytest.raises((FileFormatError, MeshError), match=sentence) as caught:
        read_surface(path)
    assert path.name in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_unknown_unit_is_refused(tmp_path: Path) -> None:
    with pytest.raises(UnitError, match="unit of the surface must be one of mm, cm, m, inch"):
        read_surface(written(tmp_path, exported("ply")), "ells")


def test_landmarks_are_those_of_the_file(tmp_path: Path) -> None:
    head = read_head(written(tmp_path, exported("ply")), marks_of(tmp_path))
    expected = Landmarks([0, 90, 0], [0, -90, 0], [-90, 0, 0], [90, 0, 0])
    # Vertices of an icosphere lie on the sphere, its triangles up to 0.4 mm inside.
    np.testing.assert_allclose(head.landmarks.points_mm, expected.points_mm, atol=0.4)
