"""The common part of a set: closed forms, recovery, and marks that do not pull."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from marked_heads import moved_set, template_targets
from scipy.spatial.transform import Rotation
from solids import SPHERE_C

from headfit.comparing.common_shift import Doubt, fit_set
from headfit.comparing.target_sites import targets_for
from headfit.errors import MarksError
from headfit.geometry.rates import skew

TARGETS = template_targets("10-10")
SMALL = template_targets("10-20")


@given(
    st.tuples(*[st.floats(-25, 25)] * 3), st.tuples(*[st.floats(-20, 20)] * 3), st.floats(-5, 15)
)
def test_turn_slide_and_height_come_back_exactly_from_exact_marks(
    turn: tuple[float, ...], slide: tuple[float, ...], height_mm: float
) -> None:
    points = moved_set(SMALL, np.array(turn), np.array(slide), height_mm)
    for robust in (True, False):
        found = fit_set(points, SMALL, robust=robust)
        np.testing.assert_allclose(found.turn_degrees, turn, atol=1e-4)
        np.testing.assert_allclose(found.slide_mm, slide, atol=1e-3)
        assert found.height_mm == pytest.approx(height_mm, abs=1e-3)
        np.testing.assert_allclose(
            found.motion.on(SMALL.points_mm + height_mm * SMALL.normals), points, atol=1e-3
        )


def test_each_axis_turns_as_its_name_says() -> None:
    pitch = fit_set(moved_set(SMALL, np.array([5.0, 0, 0]), np.zeros(3)), SMALL)
    assert pitch.pitch_degrees == pytest.approx(5.0, abs=1e-4)
    front = SMALL.names.index("Fz")
    # Lifted in front: the foremost sites go up.
    assert pitch.motion.on(SMALL.points_mm)[front, 2] > SMALL.points_mm[front, 2]
    yaw = fit_set(moved_set(SMALL, np.array([0, 0, 5.0]), np.zeros(3)), SMALL)
    assert yaw.yaw_degrees == pytest.approx(5.0, abs=1e-4)
    assert yaw.motion.on(SMALL.points_mm)[front, 0] < SMALL.points_mm[front, 0]  # nose to the left
    roll = fit_set(moved_set(SMALL, np.array([0, 5.0, 0]), np.zeros(3)), SMALL)
    assert roll.roll_degrees == pytest.approx(5.0, abs=1e-4)
    top = SMALL.names.index("Cz")
    assert roll.motion.on(SMALL.points_mm)[top, 0] > SMALL.points_mm[top, 0]  # top to the right


def test_a_cap_that_floats_evenly_has_a_height_and_no_slide() -> None:
    found = fit_set(SMALL.points_mm + 9.0 * SMALL.normals, SMALL)
    assert found.height_mm == pytest.approx(9.0, abs=1e-3)
    np.testing.assert_allclose(found.slide_mm, 0.0, atol=1e-3)
    np.testing.assert_allclose(found.turn_degrees, 0.0, atol=1e-3)


def test_on_a_sphere_a_turn_about_its_centre_is_a_turn_and_a_slide_of_the_middle() -> None:
    # Closed form: when the sphere turns about its centre the middle c moves by R c - c.
    targets = targets_for(SPHERE_C.head(5), ("Fz", "Cz", "Pz", "C3", "C4", "F7", "F8", "T7", "T8"))
    turn = Rotation.from_rotvec([4.0, 0.0, 0.0], degrees=True)
    found = fit_set(turn.apply(np.array(targets.points_mm)), targets)
    middle = targets.points_mm.mean(axis=0)
    expected = targets.to_head.rotation @ (turn.apply(middle) - middle)
    np.testing.assert_allclose(found.turn_degrees, [4.0, 0.0, 0.0], atol=1e-3)
    np.testing.assert_allclose(found.slide_mm, expected, atol=1e-2)


def test_marks_that_are_far_off_do_not_pull() -> None:
    rng = np.random.default_rng(0)
    points = moved_set(TARGETS, np.array([0.0, 0, 3.0]), np.array([0.0, -6.0, 0]), 5.0)
    off = rng.choice(len(TARGETS), 14, replace=False)  # a fifth of them
    points[off] += rng.normal(scale=40.0, size=(14, 3))
    found = fit_set(points, TARGETS)
    np.testing.assert_allclose(found.turn_degrees, [0, 0, 3.0], atol=0.02)
    np.testing.assert_allclose(found.slide_mm, [0, -6.0, 0], atol=0.02)
    far = np.linalg.norm(points - found.motion.on(TARGETS.points_mm + 5 * TARGETS.normals), axis=1)
    assert (found.weights[far > 8.0] < 0.01).all()
    plain = fit_set(points, TARGETS, robust=False)
    assert np.abs(plain.slide_mm - [0, -6.0, 0]).max() > 1.0


def test_standard_errors_are_those_of_many_draws() -> None:
    # 300 draws tell a standard deviation to 4 %; the linear formula forgets the gate: 15 %.
    rng = np.random.default_rng(3)
    found = [
        fit_set(TARGETS.points_mm + rng.normal(scale=2.0, size=TARGETS.points_mm.shape), TARGETS)
        for _ in range(300)
    ]
    turn = np.std([f.turn_degrees for f in found], axis=0)
    slide = np.std([f.slide_mm for f in found], axis=0)
    told = [
        np.mean([getattr(f, a) for f in found], axis=0)
        for a in ("turn_spread_degrees", "slide_spread_mm")
    ]
    np.testing.assert_allclose(told[0], turn, rtol=0.25)
    np.testing.assert_allclose(told[1], slide, rtol=0.25)
    # Errors of 2 mm an axis along the scalp are what the spread tells.
    assert np.mean([f.spread_mm for f in found]) == pytest.approx(2.0, rel=0.05)


def test_places_beside_the_ears_fix_nothing() -> None:
    targets = targets_for(TARGETS.sites, ("Fz", "Cz", "Pz", "C3", "C4", "A1", "M2"))
    points = np.array(targets.points_mm)
    points[5:] += 60.0
    found = fit_set(points, targets, robust=False)
    np.testing.assert_allclose(found.slide_mm, 0.0, atol=1e-6)
    assert found.weights[5:].tolist() == [0.0, 0.0]


def test_three_sites_are_too_few() -> None:
    targets = targets_for(TARGETS.sites, ("Fz", "Cz", "Pz", "A1"))
    with pytest.raises(MarksError, match="be 4 or more scalp sites, got 3"):
        fit_set(targets.points_mm, targets)


def test_marks_in_one_place_fix_nothing() -> None:
    with pytest.raises(MarksError, match="not lie on one line"):
        fit_set(np.ones((len(SMALL), 3)), SMALL)


def test_the_spread_of_turn_and_slide_carries_the_doubt_of_head_and_landmarks() -> None:
    # The set moved by each unknown of a pose, numerically, against how the answer is said to go; a
    # set that is not turned, since turns about two axes add as vectors to first order only.
    targets = template_targets("10-20")
    points = moved_set(targets, np.zeros(3), np.array([1.0, -4.0, 2.0]), 4.0)
    moves = np.concatenate([-skew(points), np.tile(np.eye(3), (len(points), 1, 1))], axis=2)
    covariance = np.diag([2e-4, 3e-4, 1e-4, 4.0, 5.0, 2.0])
    plain = fit_set(points, targets)
    found = fit_set(points, targets, doubt=Doubt(moves, covariance))
    step = 1e-3
    for k in range(6):
        moved = fit_set(points + step * moves[:, :, k], targets)
        np.testing.assert_allclose((moved.six - plain.six) / step, found.follow[:, k], atol=0.05)
    np.testing.assert_array_equal(found.six, plain.six)
    carried = np.diag(found.follow @ covariance @ found.follow.T)
    np.testing.assert_allclose(found.six_spread**2, plain.six_spread**2 + carried, rtol=1e-9)
