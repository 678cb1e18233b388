"""Nearest places, points that ride on a surface, and the membrane that stands for the ears."""

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from solids import Capsule, bumpy_head, turn, unit_sphere

from headfit.geometry.mesh import TriangleMesh
from headfit.geometry.surface import (
    SurfacePoints,
    membrane,
    nearest,
    nearest_on_triangles,
    normals_at,
)

SEEDS = st.integers(0, 2**32 - 1)


def points_about(mesh: TriangleMesh, n: int, seed: int, least: float = 0.0) -> np.ndarray:
    """Points inside, on and outside a mesh, from its middle (or `least` its size) to twice it."""
    rng = np.random.default_rng(seed)
    vertices = mesh.vertices_mm[rng.integers(len(mesh.vertices_mm), size=n)]
    return vertices * rng.uniform(least, 2, size=(n, 1))


@given(SEEDS)
@settings(max_examples=25)
def test_nearest_is_the_best_of_all_triangles(seed: int) -> None:
    mesh = bumpy_head(seed % 7, subdivisions=2, bumps=0.05).surface
    points = points_about(mesh, 12, seed)
    places, distance = nearest(mesh, points)
    _, _, every = nearest_on_triangles(points, mesh.triangles_mm)
    np.testing.assert_allclose(distance, every, atol=1e-9)
    gap = np.linalg.norm(places.on(mesh.vertices_mm) - points, axis=1)
    np.testing.assert_allclose(gap, distance, atol=1e-9)


@pytest.mark.parametrize(
    "mesh",
    [bumpy_head(2, subdivisions=4, bumps=0.05).surface, Capsule().head(48).surface],
    ids=["bumps", "capsule with triangles as long as its side"],
)
def test_nearest_agrees_with_trimesh(mesh: TriangleMesh) -> None:
    # From inside several places may be as near: there only the distance is defined.
    points = np.vstack([points_about(mesh, 100, 11), points_about(mesh, 200, 12, least=1.01)])
    other = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    closest, distance, _ = trimesh.proximity.closest_point(other, points)
    ours, our_distance = nearest(mesh, points)
    np.testing.assert_allclose(our_distance, distance, atol=1e-8)
    np.testing.assert_allclose(ours.on(mesh.vertices_mm)[100:], closest[100:], atol=1e-5)


def test_nearest_takes_one_point() -> None:
    mesh = TriangleMesh(*unit_sphere(1))
    places, distance = nearest(mesh, 3 * mesh.vertices_mm[5])
    assert distance == pytest.approx([2.0])
    np.testing.assert_allclose(places.on(mesh.vertices_mm), mesh.vertices_mm[[5]], atol=1e-12)


# A place for each of the seven regions around a triangle: inside, three edges, three corners.
TRIANGLE = np.array([[[0.0, 0, 0], [4, 0, 0], [0, 4, 0]]])


@pytest.mark.parametrize(
    ("point", "foot"),
    [
        ([1, 1, 5], [1, 1, 0]),
        ([2, -3, 1], [2, 0, 0]),
        ([-3, 2, 1], [0, 2, 0]),
        ([4, 4, -2], [2, 2, 0]),
        ([-1, -1, 2], [0, 0, 0]),
        ([9, -1, 0], [4, 0, 0]),
        ([-1, 9, 0], [0, 4, 0]),
    ],
)
def test_foot_on_a_triangle_from_every_region_around_it(point: list[int], foot: list[int]) -> None:
    at = np.array([point], dtype=float)
    _, weights, distance = nearest_on_triangles(at, TRIANGLE)
    np.testing.assert_allclose(weights @ TRIANGLE[0], [foot], atol=1e-12)
    assert distance[0] == pytest.approx(np.linalg.norm(at[0] - foot))


@pytest.mark.parametrize("doubled", [(0, 0, 1), (0, 1, 1), (1, 0, 1), (0, 0, 0)])
def test_a_triangle_without_area_still_has_a_nearest_place(doubled: tuple[int, int, int]) -> None:
    ends = np.array([[0.0, 0, 0], [10, 0, 0]])
    _, weights, distance = nearest_on_triangles(
        np.array([[4.0, 3, 0], [-3, 4, 0], [13, 0, 4]]), ends[list(doubled)][None]
    )
    assert np.isfinite(weights).all()
    np.testing.assert_allclose(
        distance, [5, 5, np.hypot(13, 4)] if doubled == (0, 0, 0) else [3, 5, 5]
    )


def test_a_mesh_with_a_triangle_without_area_is_searched_whole() -> None:
    vertices, faces = unit_sphere(2)
    twin = np.vstack([vertices, vertices[faces[0, 0]]])
    flat = [faces[0, 0], len(vertices), faces[0, 1]]
    mesh = TriangleMesh(twin, np.vstack([faces, [flat]]))
    _, distance = nearest(mesh, vertices * 1.5)
    np.testing.assert_allclose(distance, 0.5, atol=1e-12)


@given(SEEDS)
@settings(max_examples=25)
def test_places_ride_along_when_the_surface_is_moved(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = bumpy_head(1, subdivisions=2).surface
    places, _ = nearest(mesh, points_about(mesh, 8, seed))
    assert (places.weights >= 0).all()
    np.testing.assert_allclose(places.weights.sum(axis=1), 1.0, atol=1e-12)
    affine, shift = rng.normal(size=(3, 3)), rng.normal(size=3)
    ridden = places.on(mesh.vertices_mm @ affine.T + shift)
    np.testing.assert_allclose(ridden, places.on(mesh.vertices_mm) @ affine.T + shift, atol=1e-9)


def test_a_vertex_that_moves_takes_its_share_of_the_places_with_it() -> None:
    places = SurfacePoints(np.array([[0, 1, 2]]), np.array([[0.5, 0.3, 0.2]]))
    vertices = np.zeros((3, 3))
    vertices[1] = [10.0, 0.0, 0.0]
    np.testing.assert_allclose(places.on(vertices), [[3.0, 0.0, 0.0]])


def test_normals_of_a_sphere_point_away_from_its_middle() -> None:
    vertices, faces = unit_sphere(4, turn(3))
    mesh = TriangleMesh(80 * vertices, faces)
    places, _ = nearest(mesh, 90 * vertices[::7] @ turn(4).T)
    foot = places.on(mesh.vertices_mm)
    away = foot / np.linalg.norm(foot, axis=1, keepdims=True)
    cosine = np.einsum("ij,ij->i", normals_at(mesh, places), away)
    assert np.degrees(np.arccos(cosine.min())) < 0.5  # triangles of 4 degrees


def test_a_membrane_moves_the_loose_vertices_only() -> None:
    mesh = bumpy_head(4, subdivisions=3).surface
    loose = mesh.vertices_mm[:, 0] > 60
    assert 10 < loose.sum() < 100
    laid = membrane(mesh, loose)
    np.testing.assert_array_equal(laid[~loose], mesh.vertices_mm[~loose])
    assert (np.linalg.norm(laid - mesh.vertices_mm, axis=1)[loose] > 0).all()


def test_a_membrane_solves_the_bilaplacian() -> None:
    mesh = bumpy_head(4, subdivisions=3).surface
    loose = mesh.vertices_mm[:, 0] > 60
    laid = membrane(mesh, loose)
    neighbours = trimesh.Trimesh(laid, mesh.faces, process=False).vertex_neighbors

    def unevenness(values: np.ndarray) -> np.ndarray:
        around = [len(n) * values[i] - values[n].sum(axis=0) for i, n in enumerate(neighbours)]
        return np.array(around)

    np.testing.assert_allclose(unevenness(unevenness(laid))[loose], 0.0, atol=1e-8)


@pytest.mark.parametrize(("n", "n_loose"), [(12, 36), (44, 1444)])  # solved as full and as sparse
def test_a_membrane_over_a_flat_sheet_is_flat(n: int, n_loose: int) -> None:
    grid = np.stack(np.meshgrid(np.arange(n), np.arange(n), [0.0]), axis=-1).reshape(-1, 3)
    corner = np.array([row * n + column for row in range(n - 1) for column in range(n - 1)])
    faces = np.concatenate(
        [
            np.column_stack([corner, corner + 1, corner + n + 1]),
            np.column_stack([corner, corner + n + 1, corner + n]),
        ]
    )
    bulging = grid.copy()
    loose = ((grid[:, :2] >= 3) & (grid[:, :2] < n - 3)).all(axis=1)
    assert loose.sum() == n_loose
    bulging[loose] += [3.0, -2.0, 7.0]
    np.testing.assert_allclose(membrane(TriangleMesh(bulging, faces), loose), grid, atol=1e-9)


def test_a_membrane_takes_an_ear_off_a_sphere() -> None:
    vertices, faces = unit_sphere(4, turn(6))
    lobe = vertices[:, 0] > 0.93  # a cap of 43 degrees
    with_ear = 80 * vertices + np.where(lobe[:, None], [25.0, 0, 0], 0.0)
    laid = membrane(TriangleMesh(with_ear, faces), lobe)
    assert np.abs(np.linalg.norm(laid, axis=1) - 80).max() < 0.5  # mm


def test_a_membrane_with_nothing_loose_is_the_surface() -> None:
    mesh = bumpy_head(4, subdivisions=2).surface
    laid = membrane(mesh, np.zeros(len(mesh.vertices_mm), bool))
    np.testing.assert_array_equal(laid, mesh.vertices_mm)
    assert laid.flags.writeable


def test_a_few_points_find_the_same_places_without_a_tree() -> None:
    points = np.random.default_rng(8).normal(size=(6, 3)) * 110.0
    vertices, faces = unit_sphere(3)
    without = TriangleMesh(90.0 * vertices, faces)
    with_tree = TriangleMesh(90.0 * vertices, faces)
    assert with_tree.centre_tree.n == len(faces)  # built now, and so taken
    few, many = (nearest(mesh, points) for mesh in (without, with_tree))
    assert "centre_tree" not in without.__dict__
    assert np.allclose(few[1], many[1], atol=1e-12)
    assert np.allclose(few[0].on(without.vertices_mm), many[0].on(without.vertices_mm), atol=1e-9)


@given(SEEDS, st.sampled_from([0.01, 1.0, 5.0]))
@settings(max_examples=20)
def test_the_place_on_a_triangle_is_that_of_trimesh(seed: int, size_mm: float) -> None:
    # Small triangles too: what is near a corner on a large one is not near it there.
    rng = np.random.default_rng(seed)
    triangles = size_mm * rng.normal(size=(200, 3, 3))
    points = triangles.mean(axis=1) + size_mm * rng.normal(size=(200, 3))
    _, weights, distance = nearest_on_triangles(points, triangles[:, None])
    feet = np.einsum("ij,ijk->ik", weights, triangles)
    expected = trimesh.triangles.closest_point(triangles, points)
    np.testing.assert_allclose(feet, expected, atol=1e-6 * size_mm)
    np.testing.assert_allclose(distance, np.linalg.norm(expected - points, axis=1), rtol=1e-6)
