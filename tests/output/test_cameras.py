"""The looks at a head: never upside down, and every edge says which side it is."""

from __future__ import annotations

import math

import numpy as np
import pytest
from demo_case import demo_result
from hypothesis import given
from hypothesis import strategies as st

from headfit.output.cameras import CAMERAS, edge_words, levelled
from headfit.output.case_view import CaseView
from headfit.output.drawing import line_drawing
from headfit.output.labels import View

COORDINATES = st.floats(-1.0, 1.0).filter(lambda v: abs(v) > 1e-3)


def axes(name: str) -> np.ndarray:
    scene = CaseView(demo_result()).scene
    return View(*scene.camera(name), (400, 300)).axes


@given(COORDINATES, COORDINATES, COORDINATES)
def test_a_camera_turned_by_hand_keeps_the_nose_up(x: float, y: float, z: float) -> None:
    kept = np.array(levelled((x, y, z)))
    assert np.linalg.norm(kept) == pytest.approx(math.sqrt(x * x + y * y + z * z))
    near = kept / np.linalg.norm(kept)
    right = np.cross([0.0, 0.0, 1.0], near)
    if np.linalg.norm(right) < 1e-6:
        return  # straight above, where the up vector is the nose
    up = np.cross(near, right / np.linalg.norm(right))
    assert up[2] >= -1e-9  # the crown is never below
    # Where the picture is seen more from above than level, the nose does not point down in it.
    if near[2] > math.sin(math.radians(73)):
        assert up[1] > -0.05
    again = levelled(kept.tolist())
    np.testing.assert_allclose(again, kept, atol=1e-9)


def test_the_front_is_level_with_the_eyes() -> None:
    assert CAMERAS["front"].toward[2] == 0.0


@pytest.mark.parametrize(
    ("name", "left", "right"),
    [("front", "R", "L"), ("back", "L", "R"), ("top", "L", "R"), ("nasion", "R", "L")],
)
def test_left_and_right_are_told_at_the_edges(name: str, left: str, right: str) -> None:
    words = edge_words(*axes(name))
    assert (words.left, words.right) == (left, right)


def test_the_nose_is_told_on_top_and_from_the_sides() -> None:
    assert edge_words(*axes("top")).top == "nose"
    assert edge_words(*axes("left")).left == "nose"
    assert edge_words(*axes("left")).near.startswith("L side")
    assert edge_words(*axes("right")).right == "nose"
    assert edge_words(*axes("right")).near.startswith("R side")


@pytest.mark.parametrize("name", ["front", "left", "right", "back", "top"])
def test_a_line_drawing_carries_left_and_right(name: str) -> None:
    drawing = line_drawing(CaseView(demo_result()).scene, name)
    said = " ".join(part.partition("<")[0] for part in drawing.split('class="edge"')[1:])
    told = {word for part in said.split(">")[1:] for word in part.replace("(", " ").split()}
    assert {"L", "R"} <= told, told
