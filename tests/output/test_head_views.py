"""Outline and curves of a head from one side, on a ball, where both have closed forms."""

import numpy as np
import pytest
import trimesh

from headfit import Head, Landmarks
from headfit.output.drawing_views import LIFT_MM, VIEWS
from headfit.output.head_views import HeadView, smoothed, thinned_line

RADIUS_MM = 90.0


@pytest.fixture(scope="module")
def ball() -> Head:
    mesh = trimesh.creation.icosphere(subdivisions=4, radius=RADIUS_MM)
    marks = Landmarks([0, RADIUS_MM, 0], [0, -RADIUS_MM, 0], [-RADIUS_MM, 0, 0], [RADIUS_MM, 0, 0])
    return Head(np.asarray(mesh.vertices), np.asarray(mesh.faces), marks)


@pytest.mark.parametrize("view", list(VIEWS))
def test_the_rim_of_a_ball_is_a_circle_from_every_side(ball: Head, view: str) -> None:
    radius = np.linalg.norm(HeadView(ball, view).rim, axis=1)
    # A ball of triangles is up to 0.2 mm within its sphere, a pixel is 1/3 mm.
    assert np.abs(radius - RADIUS_MM).max() < 0.6


def test_half_of_a_circle_round_a_ball_is_seen_and_half_is_behind(ball: Head) -> None:
    turn = np.radians(np.arange(0.0, 361.0, 2.0))
    circle = RADIUS_MM * np.stack([np.sin(turn), np.cos(turn), 0.0 * turn], axis=1)
    view = HeadView(ball, "left")
    runs = view.runs(circle)
    seen = np.concatenate(runs.seen)
    hidden = np.concatenate(runs.hidden)
    # Closed form: seen from the left the whole circle is a line as wide as the lifted ball.
    assert np.ptp(seen[:, 0]) == pytest.approx(2 * (RADIUS_MM + LIFT_MM), abs=1.2)
    assert np.ptp(hidden[:, 0]) > 2 * RADIUS_MM * 0.9
    left, right = view.on_skin(np.array([[-RADIUS_MM, 0, 0], [RADIUS_MM, 0, 0]]))[1]
    assert left
    assert not right


def test_a_thinned_line_leaves_no_point_farther_off_than_told() -> None:
    turn = np.linspace(0.0, np.pi, 400)
    line = 50.0 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    kept = thinned_line(line, 0.2)
    assert len(kept) < 40
    # The sagitta of a chord of a circle: r - sqrt(r^2 - (c/2)^2).
    half = np.linalg.norm(np.diff(kept, axis=0), axis=1) / 2
    assert (50.0 - np.sqrt(50.0**2 - half**2)).max() < 0.21


def test_smoothing_keeps_a_straight_line_and_its_ends() -> None:
    line = np.stack([np.linspace(0.0, 40.0, 21), np.full(21, 3.0)], axis=1)
    soft = smoothed(line, 1.2)
    assert np.abs(soft[:, 1] - 3.0).max() < 1e-9
    assert soft[[0, -1], 0].tolist() == [0.0, 40.0]
