"""Steps over the scalp: exact on a sphere, near the shortest path on a head."""

import numpy as np
import potpourri3d
import pytest
from hypothesis import given
from hypothesis import strategies as st
from marked_heads import template_sites
from solids import direction, turn

from headfit import load_template
from headfit.comparing.scalp_steps import scalp_lengths, scalp_steps


@given(st.floats(0.5, 170.0), st.floats(-180.0, 180.0), st.floats(40.0, 120.0), st.integers(0, 99))
def test_on_a_sphere_the_length_is_that_of_the_great_circle(
    angle_deg: float, azimuth_deg: float, radius_mm: float, seed: int
) -> None:
    one, other = (direction(p, azimuth_deg) @ turn(seed).T for p in (0.0, angle_deg))
    length = scalp_lengths(radius_mm * one[None], one[None], radius_mm * other[None], other[None])
    assert length[0] == pytest.approx(radius_mm * np.radians(angle_deg), rel=1e-9)


def test_on_a_sphere_a_step_has_the_components_of_its_azimuth() -> None:
    # Closed form: R * angle * (sin azimuth, cos azimuth) in the tangent plane of the pole.
    top, foot = direction(0.0, 0.0)[None], direction(20.0, 30.0)[None]
    step = scalp_steps(90 * top, top, 90 * foot, foot)[0]
    size = 90 * np.radians(20.0)
    np.testing.assert_allclose(
        step, size * np.array([np.sin(np.pi / 6), np.cos(np.pi / 6), 0.0]), atol=1e-9
    )


def test_no_step_is_no_length() -> None:
    top = direction(0.0, 0.0)[None]
    assert scalp_lengths(90 * top, top, 90 * top, top).tolist() == [0.0]
    assert scalp_steps(90 * top, top, 90 * top, top).tolist() == [[0.0, 0.0, 0.0]]


def test_on_a_head_it_stays_within_the_stated_share_of_the_shortest_path() -> None:
    # Oracle: edge-flip geodesics of potpourri3d between mesh vertices.
    sites = template_sites("10-10")
    mesh = load_template().bare
    near = [int(np.linalg.norm(mesh.vertices_mm - p, axis=1).argmin()) for p in sites.points_mm]
    solver = potpourri3d.EdgeFlipGeodesicSolver(np.array(mesh.vertices_mm), np.array(mesh.faces))
    rng = np.random.default_rng(5)
    errors: dict[str, list[float]] = {"near": [], "far": []}
    for _ in range(150):
        i, j = rng.choice(len(near), 2, replace=False)
        if near[i] == near[j]:
            continue
        path = solver.find_geodesic_path(near[i], near[j])
        true = float(np.linalg.norm(np.diff(path, axis=0), axis=1).sum())
        rows = [near[i]], [near[j]]
        points, normals = mesh.vertices_mm, mesh.vertex_normals
        told = scalp_lengths(points[rows[0]], normals[rows[0]], points[rows[1]], normals[rows[1]])
        if true < 120.0:
            errors["near" if true < 60.0 else "far"].append(float(told[0]) / true - 1)
    assert len(errors["near"]) > 10
    assert len(errors["far"]) > 30
    assert np.abs(errors["near"]).max() < 0.01
    assert np.abs(errors["far"]).max() < 0.03
