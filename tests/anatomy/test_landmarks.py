"""The four landmarks: what is refused, and the head frame they define."""

import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from solids import turn

from headfit import Landmarks
from headfit.errors import LandmarkError

POINTS = {
    "nasion": [1.0, 95.0, 5.0],
    "inion": [-2.0, -92.0, 28.0],
    "left_preauricular": [-72.0, 1.0, 3.0],
    "right_preauricular": [73.0, -2.0, 4.0],
}
TITLES = {
    "nasion": "nasion",
    "inion": "inion",
    "left_preauricular": "left preauricular point",
    "right_preauricular": "right preauricular point",
}


def with_point(name: str, value: object) -> dict[str, object]:
    return {**POINTS, name: value}


@pytest.mark.parametrize("name", POINTS)
@pytest.mark.parametrize(
    ("value", "got"),
    [
        ([1.0, float("nan"), 2.0], "[1.0, nan, 2.0]"),
        ([float("-inf"), 0.0, 2.0], "[-inf, 0.0, 2.0]"),
        ([1.0, 2.0], "[1.0, 2.0]"),
        ([[1.0, 2.0, 3.0]], "[[1.0, 2.0, 3.0]]"),
        (7.5, "7.5"),
        ([], "[]"),
        (None, "nan"),
        ("1, 2, 3", "1, 2, 3"),
        (["a", 2, 3], "['a', 2, 3]"),
    ],
)
def test_a_point_that_is_not_three_finite_numbers_is_refused(
    name: str, value: object, got: str
) -> None:
    message = f"{TITLES[name]} must be three finite numbers in mm, got {got}"
    with pytest.raises(LandmarkError, match=f"^{re.escape(message)}$") as caught:
        Landmarks(**with_point(name, value))
    assert caught.value.facts["landmark"] == name


def test_two_landmarks_in_one_place_are_refused() -> None:
    message = (
        "nasion and inion must be at least 20 mm apart, got 12.0 mm (was one point recorded twice?)"
    )
    with pytest.raises(LandmarkError, match=f"^{re.escape(message)}$"):
        Landmarks(**with_point("inion", [1.0, 83.0, 5.0]))
    with pytest.raises(LandmarkError, match=r"left pre.* and right pre.* got 0\.0 mm \(was one"):
        Landmarks(**with_point("right_preauricular", POINTS["left_preauricular"]))


@pytest.mark.parametrize(("unit", "mm"), [("metres", 1000.0), ("centimetres", 10.0)])
def test_landmarks_in_metres_or_centimetres_are_told_as_such(unit: str, mm: float) -> None:
    points = {name: np.array(point) / mm for name, point in POINTS.items()}
    with pytest.raises(LandmarkError, match=r"at least 20 mm apart.*\(are these metres or cent"):
        Landmarks(**points)


def test_the_smallest_head_is_not_taken_for_centimetres() -> None:
    """A very small newborn: 60 mm between the ears, 85 mm front to back."""
    landmarks = Landmarks([0, 42, 0], [0, -43, 0], [-30, 0, 0], [30, 0, 0])
    assert landmarks.points_mm.shape == (4, 3)


def test_landmarks_are_unpacked_in_order_and_cannot_be_written() -> None:
    landmarks = Landmarks(**POINTS)
    assert [point.tolist() for point in landmarks] == list(POINTS.values())
    np.testing.assert_array_equal(landmarks.points_mm, list(POINTS.values()))
    np.testing.assert_array_equal(
        Landmarks.from_points(landmarks.points_mm).points_mm, landmarks.points_mm
    )
    with pytest.raises(ValueError, match="read-only"):
        landmarks.nasion[0] = 3.0


def test_the_head_frame_lies_between_the_ears_with_x_right_y_front_z_up() -> None:
    landmarks = Landmarks(**POINTS)
    rotation, translation = landmarks.frame
    nasion, inion, left, right = landmarks.points_mm @ rotation.T + translation
    half = np.linalg.norm(landmarks.right_preauricular - landmarks.left_preauricular) / 2
    np.testing.assert_allclose(left, [-half, 0, 0], atol=1e-12)
    np.testing.assert_allclose(right, [half, 0, 0], atol=1e-12)
    assert nasion[2] == pytest.approx(0, abs=1e-12)
    assert nasion[1] > 90
    assert inion[1] < -85
    assert inion[2] > 15
    np.testing.assert_allclose(rotation @ rotation.T, np.eye(3), atol=1e-12)
    assert np.linalg.det(rotation) == pytest.approx(1.0)


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=30)
def test_the_head_frame_does_not_depend_on_where_the_head_stands(seed: int) -> None:
    rotation = turn(seed)
    shift = np.random.default_rng(seed).normal(scale=400, size=3)
    here = Landmarks(**POINTS)
    there = here.moved(rotation, shift)
    np.testing.assert_allclose(there.nasion, rotation @ here.nasion + shift, atol=1e-9)
    placed = [marks.points_mm @ marks.frame[0].T + marks.frame[1] for marks in (here, there)]
    np.testing.assert_allclose(placed[0], placed[1], atol=1e-9)
    np.testing.assert_allclose(there.up, rotation @ here.up, atol=1e-12)


def test_up_is_square_to_both_axes_and_points_to_the_top() -> None:
    landmarks = Landmarks(**POINTS)
    nasion, inion, left, right = landmarks
    assert landmarks.up @ (right - left) == pytest.approx(0, abs=1e-9)
    assert landmarks.up @ (nasion - inion) == pytest.approx(0, abs=1e-9)
    assert landmarks.up[2] > 0.9
    assert np.linalg.norm(landmarks.up) == pytest.approx(1.0)
