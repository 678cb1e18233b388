"""Where names go on a picture: on what is seen, inside the picture, none over another."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh

from headfit import load_template, place_sites
from headfit.output.cameras import CAMERAS, VIEW_ANGLE_DEGREES
from headfit.output.labels import PlacedName, View, place_names, seen_sites, title_lines
from headfit.output.scene import Scene, make_scene

SIZE = (800, 600)
LETTER_PX = 12.0
VIEWS = ["left", "right", "front", "back", "top"]


@cache
def scene() -> Scene:
    head = load_template()
    return make_scene(head, place_sites(head, "10-10"))


def view(name: str) -> View:
    eye, focus, up = scene().camera(name)
    return View(eye, focus, up, SIZE)


def names(name: str) -> list[PlacedName]:
    return place_names(scene(), view(name), LETTER_PX)


@pytest.mark.parametrize("name", VIEWS)
def test_points_appear_where_vtk_draws_them(name: str) -> None:
    from vtkmodules.vtkRenderingCore import vtkCamera

    eye, focus, up = scene().camera(name)
    camera = vtkCamera()
    camera.SetPosition(*eye)
    camera.SetFocalPoint(*focus)
    camera.SetViewUp(*up)
    camera.SetViewAngle(VIEW_ANGLE_DEGREES)
    matrix = camera.GetCompositeProjectionTransformMatrix(SIZE[0] / SIZE[1], -1, 1)
    to_screen = np.array([[matrix.GetElement(i, j) for j in range(4)] for i in range(4)])
    points = np.array([site.point_mm for site in scene().sites])
    projected = np.column_stack([points, np.ones(len(points))]) @ to_screen.T
    expected = (projected[:, :2] / projected[:, 3:] + 1) / 2 * SIZE
    np.testing.assert_allclose(view(name).pixels(points), expected, atol=1e-6)


def test_a_name_keeps_off_the_title_and_is_still_written() -> None:
    eye, focus, up = scene().camera("front")
    raised = focus + np.linalg.norm(eye - focus) * np.array([0.0, 0.97, 0.24])  # Cz at the top
    now = View(raised, focus, up, SIZE)
    one_line = replace(scene(), title="a title as long as one line may be: so")
    placed = {name.name: name for name in place_names(one_line, now, LETTER_PX)}
    below = [name.y + LETTER_PX for name in placed.values() if name.x < 0.55 * SIZE[0]]
    assert max(below) <= SIZE[1] - 2.7 * LETTER_PX
    untitled = {name.name: name for name in place_names(scene(), now, LETTER_PX)}
    assert untitled["Cz"].y + LETTER_PX > SIZE[1] - 2.7 * LETTER_PX  # where the title would be
    assert "Cz" in placed


def test_a_millimetre_at_the_focus_has_the_size_its_projection_has() -> None:
    side = view("left")
    step = side.pixels(np.array([side.focus_mm, side.focus_mm + side.axes[1]]))
    assert side.pixels_per_mm(side.focus_mm) == pytest.approx(step[1, 1] - step[0, 1])


@pytest.mark.parametrize("name", VIEWS)
def test_a_named_site_is_seen_and_a_hidden_one_is_not_named(name: str) -> None:
    # The oracle is a ray tracer over every triangle of the head.
    head = scene().head
    mesh = trimesh.Trimesh(head.vertices_mm, head.faces, process=False)
    eye = scene().camera(name)[0]
    seen = set(seen_sites(scene(), view(name)))
    start = np.array([site.point_mm + 3.0 * site.normal for site in scene().sites])
    blocked = mesh.ray.intersects_any(start, eye - start)
    for site, hidden in zip(scene().sites, blocked, strict=True):
        if hidden:
            assert site.name not in seen
        elif (eye - site.point_mm) @ site.normal > 0.15 * np.linalg.norm(eye - site.point_mm):
            assert site.name in seen
    assert 15 < len(seen) < 60


def test_left_is_named_from_the_left_and_the_far_side_is_not() -> None:
    found = {placed.name for placed in names("left")}
    assert {"C3", "T7", "F3", "P3"} <= found
    assert not {"C4", "T8", "F4", "P4"} & found
    # Behind the ear and under it: the hollow is covered from this side.
    assert "TP9" not in found


@pytest.mark.parametrize("size", [SIZE, (320, 240)], ids=["roomy", "crowded"])
@pytest.mark.parametrize("name", VIEWS)
def test_no_name_covers_another_name_or_marker_or_leaves_the_picture(
    name: str, size: tuple[int, int]
) -> None:
    now = View(*scene().camera(name), size)
    placed = place_names(scene(), now, LETTER_PX)
    assert len(placed) > 8
    boxes = [(p.x, p.y, p.x + 0.62 * LETTER_PX * len(p.name), p.y + LETTER_PX) for p in placed]
    for i, (left, low, right, high) in enumerate(boxes):
        assert 0 <= left < right <= size[0]
        assert 0 <= low < high <= size[1]
        for other_left, other_low, other_right, other_high in boxes[:i]:
            assert (
                right <= other_left or other_right <= left or high <= other_low or other_high <= low
            )
    for seen in seen_sites(scene(), now):
        x, y = now.pixels(scene().site(seen).point_mm[None])[0]
        assert not any(a < x < c and b < y < d for a, b, c, d in boxes)


def test_where_room_is_short_the_sites_of_10_20_win() -> None:
    small = View(*scene().camera("top"), (160, 120))
    found = [p.name for p in place_names(scene(), small, 14.0)]
    assert 0 < len(found) < len(names("top"))
    ranks = [scene().site(name).rank for name in found]
    assert ranks == sorted(ranks)
    assert ranks.count(0) > len(ranks) / 2


def test_a_scene_without_sites_has_no_names() -> None:
    empty = replace(scene(), sites=())
    assert place_names(empty, view("left"), LETTER_PX) == []


def test_every_camera_of_the_scene_gives_a_view() -> None:
    for name in CAMERAS:
        eye, focus, up = scene().camera(name)
        np.testing.assert_allclose(View(eye, focus, up, SIZE).pixels(focus[None]), [[400, 300]])


def test_a_long_title_ends_before_the_word_at_the_top() -> None:
    title = "Accuracy, after the common part is taken off (invented data)"
    lines = title_lines(title, 1200, 24.0)
    assert " ".join(lines) == title
    assert len(lines) > 1
    widest = max(len(line) for line in lines) * 0.72 * 1.35 * 24.0  # bold letters, title size
    assert widest < 0.6 * 1200  # the word begins at 0.64 of the width
    assert title_lines("Adult", 1200, 24.0) == ["Adult"]
