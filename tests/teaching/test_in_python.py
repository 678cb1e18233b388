"""A lesson in Python: its steps, a drawing in a notebook, a scene, a plotter."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from lesson_heads import head

import headfit
from headfit.files.lesson_file import FOLDER, lesson_names
from headfit.output.scene import Scene
from headfit.teaching.numbers import in_one


def test_a_lesson_of_a_name_and_of_a_file_are_the_same_and_take_any_head() -> None:
    by_name = headfit.lesson("ring")
    by_file = headfit.lesson(FOLDER / "04_ring.toml")
    assert [in_one(s.caption) for s in by_name.steps] == [in_one(s.caption) for s in by_file.steps]
    newborn = headfit.lesson("ring", head("newborn"))
    assert "17.0 cm on the left" in in_one(newborn["snap"].caption)
    assert isinstance(headfit.read_lesson(FOLDER / "04_ring.toml"), headfit.Lesson)


@pytest.mark.parametrize("name", lesson_names())
def test_a_notebook_shows_each_step_with_its_caption(name: str) -> None:
    for step in headfit.lesson(name, head("demo")).steps:
        html = step._repr_html_()
        assert html.startswith("<figure><svg ")
        assert in_one(step.caption) in html.replace("&#x27;", "'")
        assert "<script" not in html
        assert html.count("<path") >= 1


def test_a_drawing_has_the_tape_where_the_tape_is() -> None:
    """From the left a parallel picture: right is to the back, down is down."""
    step = headfit.lesson("midline", head("demo"))["pull"]
    html = step._repr_html_()
    drawn = [m[1] for m in re.finditer(r'd="M([^"]+)" stroke="#0b5cad"', html)]
    points = np.array([[float(v) for v in p.split()] for run in drawn for p in run.split("L")])
    tape = step.tapes[0].points_mm[0] - step.focus_mm
    assert points[:, 0].min() == pytest.approx(-tape[:, 1].max(), abs=0.1)
    assert points[:, 1].min() == pytest.approx(-tape[:, 2].max(), abs=0.1)


def test_a_step_is_a_scene_as_it_begins() -> None:
    step = headfit.lesson("slips", head("demo"))["inion-low"]
    scene = step.scene()
    assert isinstance(scene, Scene)
    # Pushed by 10 mm: arrows lead from the own place of Oz to where it is.
    arrow = next(arrow for arrow in scene.arrows if arrow.site == "Oz")
    assert np.linalg.norm(arrow.end_mm - arrow.start_mm) == pytest.approx(9.0, abs=0.1)
    assert in_one(step.caption) in scene.captions
    wound = headfit.lesson("wound", head("demo"))["place"].scene()
    assert wound.regions
    assert "P4" not in {site.name for site in wound.sites}


def test_a_step_is_a_plotter_seen_from_its_camera(tmp_path: Path) -> None:
    step = headfit.lesson("ring", head("demo"))["snap"]
    plotter = step.to_pyvista()
    try:
        position, focus, _ = plotter.camera_position
        toward = np.subtract(position, focus)
        assert toward / np.linalg.norm(toward) == pytest.approx(step.toward, abs=1e-6)
        path = tmp_path / "step.png"
        plotter.screenshot(str(path))
        assert path.stat().st_size > 20_000
    finally:
        plotter.close()
