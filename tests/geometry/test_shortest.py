"""The forced shortest path against great circles and against exact geodesic distances."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pygeodesic.geodesic import PyGeodesicAlgorithmExact
from solids import bumpy_head, direction, turn, unit_sphere

from headfit.geometry.mesh import TriangleMesh
from headfit.geometry.sections import cut
from headfit.geometry.shortest import shortest_curve
from headfit.geometry.surface import nearest


def length(points: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def exact_distance(mesh: TriangleMesh, one: int, other: int) -> float:
    """Between vertices, after Mitchell, Mount & Papadimitriou 1987, by pygeodesic."""
    solver = PyGeodesicAlgorithmExact(np.array(mesh.vertices_mm), np.array(mesh.faces))
    return float(solver.geodesicDistance(one, other)[0])


def vertex_towards(mesh: TriangleMesh, polar: float, azimuth: float) -> int:
    return int((mesh.vertices_mm @ direction(polar, azimuth)).argmax())


@pytest.mark.parametrize("seed", [0, 3])
def test_both_halves_are_as_short_as_exact_geodesics(seed: int) -> None:
    mesh = bumpy_head(seed, subdivisions=3, bumps=0.02).surface
    rows = [vertex_towards(mesh, *at) for at in ((80, -50), (30, 10), (75, 60))]
    curve = shortest_curve(mesh, *mesh.vertices_mm[rows])
    first, second = curve.points_mm[: curve.via + 1], curve.points_mm[curve.via :]
    assert length(first) == pytest.approx(exact_distance(mesh, rows[0], rows[1]), rel=1e-6)
    assert length(second) == pytest.approx(exact_distance(mesh, rows[1], rows[2]), rel=1e-6)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=15)
def test_points_within_triangles_on_edges_and_in_corners_are_kept(seed: int) -> None:
    rng = np.random.default_rng(seed)
    vertices, faces = unit_sphere(3, turn(seed % 9))
    mesh = TriangleMesh(90 * vertices, faces)
    weights = rng.permutation([[1, 0, 0], [0, 0.3, 0.7], [0.2, 0.5, 0.3]])
    rows = [vertex_towards(mesh, *at) for at in ((85, -60), (20, 15), (80, 50))]
    under = [np.flatnonzero((faces == row).any(axis=1))[0] for row in rows]
    named = np.einsum("ij,ijk->ik", weights, mesh.triangles_mm[under])
    curve = shortest_curve(mesh, *named)
    np.testing.assert_array_equal(curve.points_mm[[0, curve.via, -1]], named)
    for half, (a, b) in (
        (curve.points_mm[: curve.via + 1], (named[0], named[1])),
        (curve.points_mm[curve.via :], (named[1], named[2])),
    ):
        angle = np.arccos(a @ b / np.linalg.norm(a) / np.linalg.norm(b))
        assert length(half) == pytest.approx(90 * angle, rel=5e-3)  # triangles of 8 degrees
        assert nearest(mesh, half)[1].max() < 1e-9


def test_a_great_circle_is_met_by_the_second_order() -> None:
    # Averaged over five turns: how triangles lie under one path makes single errors uneven.
    named = 90 * direction(np.array([88.0, 20.0, 70.0]), np.array([10.0, 40.0, 150.0]))
    angle = np.arccos(np.einsum("ij,ij->i", named[1:], named[:-1]) / 90**2).sum()
    short = []
    for subdivisions in (2, 3, 4):
        errors = []
        for seed in range(5):
            vertices, faces = unit_sphere(subdivisions, turn(seed))
            mesh = TriangleMesh(90 * vertices, faces)
            on_mesh = nearest(mesh, named)[0].on(mesh.vertices_mm)
            errors.append(90 * angle - length(shortest_curve(mesh, *on_mesh).points_mm))
        short.append(np.mean(errors))
    np.testing.assert_allclose(np.log2(np.array(short[:-1]) / short[1:]), 2.0, atol=0.2)


def test_a_shortest_path_is_no_longer_than_the_plane_section() -> None:
    mesh = bumpy_head(1, subdivisions=3, bumps=0.02).surface
    rows = [vertex_towards(mesh, *at) for at in ((85, -90), (40, 20), (85, 90))]
    named = mesh.vertices_mm[rows]
    assert length(shortest_curve(mesh, *named).points_mm) < length(cut(mesh, *named).path_mm)
