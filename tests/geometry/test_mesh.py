"""Triangle meshes: what is refused, and what is known of edges, pieces, normals and volume."""

import re
from collections.abc import Callable

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from solids import bumpy_head, turn, unit_sphere

from headfit.errors import MeshError
from headfit.geometry.mesh import TriangleMesh, frozen

CORNERS = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]])
OUTWARDS = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])


def replaced(array: np.ndarray, index: object, value: float) -> np.ndarray:
    copy = array.astype(float)
    copy[index] = value
    return copy


NO_TABLE = "must be a table of three columns, not empty, got shape"
OUT_OF_RANGE = "corner numbers of triangles must lie in 0 to 3, got"
NOT_WHOLE = "corner numbers of triangles must be whole numbers, got"
NOT_FINITE = "vertex coordinates must be finite, got"


@pytest.mark.parametrize(
    ("vertices", "faces", "message"),
    [
        (CORNERS[:, :2], OUTWARDS, f"vertices {NO_TABLE} (4, 2)"),
        (CORNERS[0], OUTWARDS, f"vertices {NO_TABLE} (3,)"),
        (CORNERS[:0], OUTWARDS, f"vertices {NO_TABLE} (0, 3)"),
        (CORNERS, [[0, 1, 2, 3]], f"triangles {NO_TABLE} (1, 4)"),
        (CORNERS, np.zeros((0, 3), int), f"triangles {NO_TABLE} (0, 3)"),
        (
            replaced(CORNERS, (2, 1), np.nan),
            OUTWARDS,
            f"{NOT_FINITE} 1 that are not (first at vertex 2)",
        ),
        (
            replaced(CORNERS, slice(1, 3), np.inf),
            OUTWARDS,
            f"{NOT_FINITE} 2 that are not (first at vertex 1)",
        ),
        (CORNERS, replaced(OUTWARDS, (3, 2), 4), f"{OUT_OF_RANGE} 4 in triangle 3"),
        (CORNERS, replaced(OUTWARDS, (1, 0), -1), f"{OUT_OF_RANGE} -1 in triangle 1"),
        (CORNERS, replaced(OUTWARDS, (2, 0), 0.5), f"{NOT_WHOLE} [0.5, 3.0, 2.0] in triangle 2"),
        (CORNERS, replaced(OUTWARDS, (2, 0), np.nan), f"{NOT_WHOLE} [nan, 3.0, 2.0] in triangle 2"),
    ],
)
def test_a_table_that_is_no_mesh_is_refused(
    vertices: np.ndarray, faces: np.ndarray, message: str
) -> None:
    with pytest.raises(MeshError, match=f"^{re.escape(message)}$"):
        TriangleMesh(vertices, faces)


def test_a_part_of_a_mesh_has_the_neighbours_it_would_have_by_itself() -> None:
    mesh = bumpy_head(3, subdivisions=2).surface
    kept = mesh.triangles_mm.mean(axis=1)[:, 2] > 10
    assert not kept[0] or not kept[-1]
    for chosen in (kept, ~kept):
        part = mesh.part(chosen)
        alone = TriangleMesh(mesh.vertices_mm, mesh.faces[chosen])
        np.testing.assert_array_equal(part.faces, alone.faces)
        np.testing.assert_array_equal(part.neighbours, alone.neighbours)
        assert (part.part(np.ones(len(part.faces), bool)).neighbours < 0).any()  # the rim stays one


def test_whole_numbers_written_as_floats_are_corners() -> None:
    mesh = TriangleMesh(CORNERS.tolist(), OUTWARDS.astype(float).tolist())
    np.testing.assert_array_equal(mesh.faces, OUTWARDS)
    assert mesh.faces.dtype == np.int64


def test_triangles_wound_against_each_other_are_named() -> None:
    faces = OUTWARDS.copy()
    faces[2] = faces[2, ::-1]
    message = r"run along it in opposite directions, got 3 edges .* triangles \d and \d; repair"
    with pytest.raises(MeshError, match=message):
        _ = TriangleMesh(CORNERS, faces).neighbours


def test_stored_arrays_are_copies_that_cannot_be_written() -> None:
    vertices, faces = CORNERS.copy(), OUTWARDS.copy()
    mesh = TriangleMesh(vertices, faces)
    vertices[0], faces[0] = 99.0, 0
    np.testing.assert_array_equal(mesh.vertices_mm, CORNERS)
    np.testing.assert_array_equal(mesh.faces, OUTWARDS)
    for array in (mesh.vertices_mm, mesh.faces, mesh.neighbours, frozen([1, 2])):
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0


def test_neighbours_lie_across_the_edges_they_are_listed_for() -> None:
    mesh = bumpy_head(0, subdivisions=2).surface
    for face, across in enumerate(mesh.neighbours.tolist()):
        for k, other in enumerate(across):
            edge = {int(mesh.faces[face, k]), int(mesh.faces[face, (k + 1) % 3])}
            assert edge < set(mesh.faces[other].tolist())
            assert face in mesh.neighbours[other]


def test_a_lone_triangle_has_three_borders() -> None:
    mesh = TriangleMesh(CORNERS, [[1, 2, 3]])
    np.testing.assert_array_equal(mesh.neighbours, [[-1, -1, -1]])


def test_a_border_has_no_neighbour() -> None:
    mesh = TriangleMesh(CORNERS, OUTWARDS[:3])
    across = mesh.neighbours.ravel().tolist()
    assert across.count(-1) == 3
    first, second, beyond = mesh.half_edges
    at_border = beyond == -1
    assert {
        frozenset(e)
        for e in zip(first[at_border].tolist(), second[at_border].tolist(), strict=True)
    } == {frozenset(e) for e in ((1, 2), (2, 3), (1, 3))}


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=20)
def test_volume_agrees_with_trimesh_wherever_the_mesh_stands(seed: int) -> None:
    rng = np.random.default_rng(seed)
    head = bumpy_head(seed % 5, subdivisions=2, bumps=0.05)
    vertices = head.vertices_mm @ turn(seed).T + rng.normal(scale=500, size=3)
    expected = trimesh.Trimesh(head.vertices_mm, head.faces, process=False).volume
    assert TriangleMesh(vertices, head.faces).volume_mm3 == pytest.approx(expected, rel=1e-9)
    assert TriangleMesh(vertices, head.faces[:, ::-1]).volume_mm3 == pytest.approx(-expected)


def test_volume_of_a_sphere_converges_by_the_second_order() -> None:
    missing = []
    for subdivisions in range(1, 5):
        vertices, faces = unit_sphere(subdivisions)
        missing.append(4 / 3 * np.pi - TriangleMesh(vertices, faces).volume_mm3)
    halvings = np.log2(np.array(missing[:-1]) / missing[1:])
    np.testing.assert_allclose(halvings, 2.0, atol=0.1)


def test_vertex_normals_of_a_sphere_are_its_radii() -> None:
    vertices, faces = unit_sphere(4, turn(1))
    cosine = np.einsum("ij,ij->i", TriangleMesh(vertices, faces).vertex_normals, vertices)
    assert np.degrees(np.arccos(np.minimum(cosine, 1)).max()) < 0.5  # triangles of 4 degrees


def test_a_vertex_that_no_triangle_meets_has_no_normal() -> None:
    mesh = TriangleMesh(np.vstack([CORNERS, [[5, 5, 5]]]), OUTWARDS)
    np.testing.assert_array_equal(mesh.vertex_normals[4], 0.0)
    np.testing.assert_allclose(np.linalg.norm(mesh.vertex_normals[:4], axis=1), 1.0)
    np.testing.assert_array_equal(mesh.used_vertices, [0, 1, 2, 3])


def two_apart() -> TriangleMesh:
    return TriangleMesh(np.vstack([CORNERS, CORNERS + 3]), np.vstack([OUTWARDS, OUTWARDS + 4]))


def two_that_touch_in_a_vertex() -> TriangleMesh:
    second = np.where(OUTWARDS == 0, 0, OUTWARDS + 3)
    return TriangleMesh(np.vstack([CORNERS, -CORNERS[1:]]), np.vstack([OUTWARDS, second[:, ::-1]]))


@pytest.mark.parametrize(
    ("build", "n_pieces"),
    [
        (lambda: TriangleMesh(CORNERS, OUTWARDS), 1),
        (lambda: bumpy_head(0, subdivisions=2).surface, 1),
        (two_apart, 2),
        (two_that_touch_in_a_vertex, 2),
    ],
)
def test_pieces_hang_together_by_edges(build: Callable[[], TriangleMesh], n_pieces: int) -> None:
    assert build().n_pieces == n_pieces


def test_a_moved_mesh_keeps_its_edges_and_forgets_its_shape() -> None:
    mesh = TriangleMesh(CORNERS, OUTWARDS)
    assert mesh.n_pieces == 1
    known = mesh.neighbours, mesh.half_edges, mesh.volume_mm3, mesh.vertex_normals
    moved = mesh.moved(2 * CORNERS)
    assert moved.neighbours is known[0]
    assert moved.half_edges is known[1]
    assert moved.volume_mm3 == pytest.approx(8 * known[2])
    np.testing.assert_allclose(moved.triangles_mm, 2 * mesh.triangles_mm)


def test_the_centre_tree_tells_how_far_triangles_reach() -> None:
    mesh = bumpy_head(0, subdivisions=2).surface
    tree, reach = mesh.centre_tree, mesh.centres[1]
    farthest = np.linalg.norm(mesh.triangles_mm - np.asarray(tree.data)[:, None], axis=2).max(
        axis=1
    )
    np.testing.assert_allclose(reach, farthest)
