"""Rates of sections and tapes where the answer is known without differences."""

import numpy as np
import pytest
from solids import bumpy_head, turn, unit_sphere

from headfit.geometry.mesh import TriangleMesh
from headfit.geometry.rates import rate_beyond, row_rates, run_rates
from headfit.geometry.sections import cut
from headfit.geometry.taperun import lay


def affine_rates(mesh: TriangleMesh, matrix: np.ndarray, shift: np.ndarray):
    """The material rates of a point p that moves as matrix @ p + shift, one parameter."""

    def move(points: np.ndarray) -> np.ndarray:
        return (points @ matrix.T + shift)[..., None]

    def material(first: np.ndarray, second: np.ndarray, weight: np.ndarray) -> np.ndarray:
        one, other = mesh.vertices_mm[first], mesh.vertices_mm[second]
        return move(one + weight[:, None] * (other - one))

    return material, move


MESH = bumpy_head(6, subdivisions=3, bumps=0.03).surface
NAMED = MESH.triangles_mm[[5, 400, 900]].mean(axis=1)
STRETCH = turn(1) @ np.diag([0.3, -0.2, 0.5]) @ turn(1).T


@pytest.mark.parametrize("kind", ["taut", "skin"])
@pytest.mark.parametrize("pinned", [True, False])
def test_growth_stretches_every_tape_by_its_length(kind: str, pinned: bool) -> None:
    run = lay(cut(MESH, *NAMED), kind, pinned=pinned)
    material, move = affine_rates(MESH, np.eye(3), np.zeros(3))
    rates = run_rates(run, MESH, material, tuple(move(p) for p in NAMED))
    assert rates.length == pytest.approx([run.length_mm], rel=1e-10)
    for fraction in (0.0, 0.13, 0.5, 0.77, 1.0):
        expected = run.point_mm(fraction)
        np.testing.assert_allclose(rates.point(fraction)[:, 0], expected, atol=1e-7)
        reached = rates.distances([fraction])[0]
        assert reached == pytest.approx([run.distance_mm(fraction)], abs=1e-8)


@pytest.mark.parametrize("kind", ["taut", "skin"])
def test_a_rigid_motion_changes_no_length_and_carries_every_place(kind: str) -> None:
    spin = np.array([[0.0, -3, 1], [3, 0, -2], [-1, 2, 0]])
    shift = np.array([5.0, -7, 2])
    run = lay(cut(MESH, *NAMED), kind)
    material, move = affine_rates(MESH, spin, shift)
    rates = run_rates(run, MESH, material, tuple(move(p) for p in NAMED))
    assert rates.length == pytest.approx([0.0], abs=1e-8)
    for fraction in (0.2, 0.6):
        expected = spin @ run.point_mm(fraction) + shift
        np.testing.assert_allclose(rates.point(fraction)[:, 0], expected, atol=1e-7)


@pytest.mark.parametrize("distance_mm", [0.0, 0.2, 7.0, 40.0])  # within the first step, and far
@pytest.mark.parametrize("at_end", [True, False])
def test_growth_and_a_turn_carry_a_place_beyond_the_end_of_a_tape(
    distance_mm: float, at_end: bool
) -> None:
    run = lay(cut(MESH, *NAMED), "skin")
    motion = np.eye(3) + np.array([[0.0, -3, 1], [3, 0, -2], [-1, 2, 0]])
    material, move = affine_rates(MESH, motion, np.zeros(3))
    place = run.after_end_mm(distance_mm) if at_end else run.before_start_mm(distance_mm)
    rate = rate_beyond(
        run,
        MESH,
        material,
        tuple(move(p) for p in NAMED),
        distance_mm,
        np.array([distance_mm]),
        at_end=at_end,
    )
    np.testing.assert_allclose(rate[:, 0], motion @ place, atol=1e-7)


def test_rows_stay_in_the_plane_of_the_three_moving_points() -> None:
    """An affine motion takes planes to planes, and the section along with its triangles."""
    curve = cut(MESH, *NAMED)
    material, move = affine_rates(MESH, STRETCH, np.zeros(3))
    rows = np.arange(len(curve.points_mm))
    rates = row_rates(curve, rows, MESH, material, tuple(move(p) for p in NAMED))
    np.testing.assert_allclose(rates, move(curve.points_mm), atol=1e-7)


@pytest.mark.parametrize("seed", range(5))
def test_a_row_on_an_edge_that_lies_in_the_plane_rides_on_the_material(seed: int) -> None:
    # The sphere as it is made has edges in x = 0, and its section there runs along them. Turned
    # with all that belongs to it, their heights over the plane are rounding errors.
    vertices, faces = unit_sphere(2)
    rotation = turn(seed)
    mesh = TriangleMesh(90 * vertices @ rotation.T, faces)
    flat = np.flatnonzero(np.abs(vertices[:, 0]) < 1e-12)
    around = flat[np.argsort(np.arctan2(vertices[flat, 2], vertices[flat, 1]))]
    named = mesh.vertices_mm[[around[0], around[5], around[10]]]
    run = lay(cut(mesh, *named), "skin")
    material, move = affine_rates(
        mesh, rotation @ np.diag([0.4, 0.1, 0.1]) @ rotation.T, np.zeros(3)
    )
    rates = run_rates(run, mesh, material, tuple(move(p) for p in named))
    assert rates.length == pytest.approx([0.1 * run.length_mm], rel=1e-9)

    shaken = np.random.default_rng(seed).normal(size=(len(vertices), 3, 1))

    def shake(first: np.ndarray, second: np.ndarray, weight: np.ndarray) -> np.ndarray:
        share = weight[:, None, None]
        return (1 - share) * shaken[first] + share * shaken[second]

    still = (np.zeros((3, 1)),) * 3
    assert np.abs(run_rates(run, mesh, shake, still).path).max() < 100


def test_a_hint_only_turns_the_plane() -> None:
    """A hint that runs away within its plane leaves the section of still skin where it is."""
    curve = cut(MESH, *NAMED)
    still = np.zeros((3, 1))
    in_plane = (NAMED[1] - NAMED[0])[:, None]

    def material(first: np.ndarray, second: np.ndarray, weight: np.ndarray) -> np.ndarray:
        return np.zeros((len(first), 3, 1))

    named = (still, in_plane, still)
    run = lay(curve, "skin")
    hinted = run_rates(run, MESH, material, named, via_turns_only=True)
    np.testing.assert_allclose(hinted.path, 0.0, atol=1e-9)
    pulled = run_rates(run, MESH, material, named)
    np.testing.assert_allclose(pulled.path[curve.via - curve.start], in_plane)
