"""Rigid motions: closed forms, invariants, an oracle that minimises, and outliers."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import minimize
from scipy.spatial.transform import Rotation

from headfit.errors import InputError
from headfit.geometry.rigid import RigidMotion, best_rigid, robust_rigid

seeds = st.integers(0, 2**32 - 1)
BOX = np.array([[0.0, 0, 0], [60, 0, 0], [0, 80, 0], [0, 0, 100]])


def random_motion(rng: np.random.Generator) -> RigidMotion:
    return RigidMotion(Rotation.random(rng=rng).as_matrix(), rng.normal(scale=200.0, size=3))


def test_a_quarter_turn_about_the_vertical_comes_back_with_its_shift() -> None:
    # Closed form: (x, y, z) -> (-y, x, z) + (1, 2, 3).
    target = np.column_stack([-BOX[:, 1], BOX[:, 0], BOX[:, 2]]) + np.array([1.0, 2.0, 3.0])
    motion = best_rigid(BOX, target)
    np.testing.assert_allclose(motion.rotation, [[0, -1, 0], [1, 0, 0], [0, 0, 1]], atol=1e-12)
    np.testing.assert_allclose(motion.translation_mm, [1, 2, 3], atol=1e-10)
    np.testing.assert_allclose(motion.turn_degrees, [0, 0, 90], atol=1e-9)


@given(seeds)
def test_any_rigid_motion_is_recovered(seed: int) -> None:
    rng = np.random.default_rng(seed)
    motion, points = random_motion(rng), rng.normal(scale=80.0, size=(7, 3))
    found = best_rigid(points, motion.on(points))
    np.testing.assert_allclose(found.on(points), motion.on(points), atol=1e-9)


@given(seeds)
def test_a_motion_and_its_inverse_cancel_in_either_order(seed: int) -> None:
    rng = np.random.default_rng(seed)
    motion, points = random_motion(rng), rng.normal(scale=80.0, size=(5, 3))
    np.testing.assert_allclose(motion.inverse.on(motion.on(points)), points, atol=1e-9)
    np.testing.assert_allclose(motion.after(motion.inverse).on(points), points, atol=1e-9)


@given(seeds)
def test_after_means_first_the_one_then_the_other(seed: int) -> None:
    rng = np.random.default_rng(seed)
    one, other, points = random_motion(rng), random_motion(rng), rng.normal(size=(4, 3))
    np.testing.assert_allclose(other.after(one).on(points), other.on(one.on(points)), atol=1e-9)


@given(seeds)
def test_a_mirror_image_is_never_reached_by_reflection(seed: int) -> None:
    points = np.random.default_rng(seed).normal(scale=80.0, size=(8, 3))
    motion = best_rigid(points, points * [-1.0, 1.0, 1.0])
    assert np.linalg.det(motion.rotation) == pytest.approx(1.0, abs=1e-9)


def test_no_other_motion_leaves_a_smaller_weighted_sum_of_squares() -> None:
    # Oracle: a general minimiser over rotation vector and shift.
    rng = np.random.default_rng(5)
    source = rng.normal(scale=80.0, size=(9, 3))
    target = random_motion(rng).on(source) + rng.normal(scale=5.0, size=(9, 3))
    weights = rng.uniform(0.1, 3.0, size=9)
    motion = best_rigid(source, target, weights)

    def cost(x: np.ndarray) -> float:
        gap = Rotation.from_rotvec(x[:3]).apply(source) + x[3:] - target
        return float(weights @ (gap**2).sum(axis=1))

    start = np.concatenate(
        [Rotation.from_matrix(motion.rotation).as_rotvec() + 0.05, motion.translation_mm + 3.0]
    )
    oracle = minimize(cost, start, method="BFGS", options={"gtol": 1e-9})
    mine = np.concatenate(
        [Rotation.from_matrix(motion.rotation).as_rotvec(), motion.translation_mm]
    )
    assert cost(mine) <= oracle.fun * (1 + 1e-9)
    assert oracle.fun == pytest.approx(cost(mine), rel=1e-6)


def test_a_point_without_weight_does_not_pull() -> None:
    target = np.array(BOX)
    target[3] += 50.0
    points = np.vstack([BOX, [30.0, 30.0, 30.0]])
    target = np.vstack([target, [30.0, 30.0, 30.0]])
    motion = best_rigid(points, target, np.array([1.0, 1.0, 1.0, 0.0, 1.0]))
    np.testing.assert_allclose(motion.on(points[:3]), target[:3], atol=1e-9)


@pytest.mark.parametrize("n_off", [1, 4, 6])
def test_points_that_are_far_off_do_not_pull_the_robust_motion(n_off: int) -> None:
    rng = np.random.default_rng(11)
    points = rng.normal(scale=80.0, size=(20, 3))
    motion = random_motion(rng)
    target = motion.on(points)
    target[:n_off] += rng.normal(scale=60.0, size=(n_off, 3))
    found = robust_rigid(points, target)
    np.testing.assert_allclose(found.motion.on(points), motion.on(points), atol=1e-3)
    assert (found.weights[:n_off] < 0.01).all()
    assert (found.weights[n_off:] > 0.99).all()
    # The plain motion does follow them, or the test would show nothing.
    assert np.abs(best_rigid(points, target).on(points) - motion.on(points)).max() > 1.0


def test_the_spread_is_that_of_the_points_that_agree() -> None:
    rng = np.random.default_rng(2)
    points = rng.normal(scale=80.0, size=(300, 3))
    target = points + rng.normal(scale=3.0, size=points.shape)
    target[:40] += 100.0
    # 2 % of sampling error, 3 % because the 13 % that are off shift the median.
    assert robust_rigid(points, target).spread_mm == pytest.approx(3.0, rel=0.12)


def test_two_points_fix_no_rotation() -> None:
    with pytest.raises(InputError, match=r"be three or more, not on one line, got 2$"):
        best_rigid(BOX[:2], BOX[:2])


def test_points_on_one_line_fix_no_rotation() -> None:
    line = np.outer(np.arange(5.0), [1.0, 2.0, 3.0])
    with pytest.raises(InputError, match="got 5 points on one line"):
        best_rigid(line, BOX[[0, 1, 2, 3, 0]])


def test_weights_may_leave_too_few_points() -> None:
    with pytest.raises(InputError, match="got 2"):
        best_rigid(BOX, BOX, np.array([1.0, 1.0, 0.0, 0.0]))
