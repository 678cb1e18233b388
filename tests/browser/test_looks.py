"""How app and report look, at the size of a small screen and of a large one."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest
from browser_tab import Tab
from demo_case import TEXT
from dirty_marks import dirty_marks
from looks import MOST_BLOCK, MOST_MEAN, assert_looks_as_stored, differences
from PIL import Image
from running_app import RunningApp

from headfit.case.solved import solve_case
from headfit.files.case_file import case_of_text
from headfit.files.lesson_file import lesson
from headfit.output.case_report import report_text
from headfit.output.case_view import CaseView
from headfit.output.lesson_page import lesson_html

SMALL = {"width": 1280, "height": 720}
LARGE = {"width": 1920, "height": 1080}
OpenTab = Callable[..., Tab]


def size(viewport: dict[str, int]) -> str:
    return f"{viewport['width']}x{viewport['height']}"


@pytest.mark.parametrize("viewport", [SMALL, LARGE], ids=size)
@pytest.mark.parametrize("theme", ["light", "dark"])
def test_the_app(open_tab: OpenTab, app: RunningApp, viewport: dict[str, int], theme: str) -> None:
    tab = open_tab(viewport=viewport, color_scheme=theme)
    tab.open_app(app)
    tab.page.click("#panel-sites tr[data-site='F3'] button")
    tab.settle()
    assert_looks_as_stored(tab.page.screenshot(), f"app-{theme}-{size(viewport)}")


def test_a_picture_of_something_else_would_be_noticed(open_tab: OpenTab, app: RunningApp) -> None:
    tab = open_tab(viewport=SMALL)
    tab.open_app(app)
    pictures = []
    for change in ("", "#tab-shape", "[data-look='left']"):
        if change:
            tab.page.click(change)
            tab.settle()
        pictures.append(Image.open(io.BytesIO(tab.page.screenshot())))
    first, other_panel, other_look = pictures
    for other in (other_panel, other_look):
        mean, worst = differences(first, other)
        assert mean > MOST_MEAN or worst > MOST_BLOCK


def test_the_comparison(open_tab: OpenTab, app: RunningApp) -> None:
    tab = open_tab(viewport=SMALL)
    files = [{"name": "marks.tsv", "text": dirty_marks()}]
    app.post("marks", {"revision": app.get("revision")["revision"], "files": files})
    tab.open_app(app)
    tab.page.click("#tab-comparison")
    tab.page.click("text=previous move")
    tab.settle()
    assert_looks_as_stored(tab.page.screenshot(), f"app-comparison-{size(SMALL)}")


def test_places_to_keep_free_and_derivations(open_tab: OpenTab, app: RunningApp) -> None:
    tab = open_tab(viewport=LARGE)
    app.change(
        free=[{"site": "C3", "radius_mm": 15, "reason": "dressing"}], derivations="longitudinal"
    )
    tab.open_app(app)
    tab.page.click("#tab-derivations")
    tab.page.click("[data-look='left']")
    tab.settle()
    assert_looks_as_stored(tab.page.screenshot(), f"app-derivations-{size(LARGE)}")


def test_an_empty_case(open_tab: OpenTab, app: RunningApp) -> None:
    tab = open_tab(viewport=SMALL)
    app.post("new", {})
    tab.open_app(app)
    assert_looks_as_stored(tab.page.screenshot(), f"app-empty-{size(SMALL)}")


def test_a_refusal_and_a_shape_set_by_hand(open_tab: OpenTab, app: RunningApp) -> None:
    tab = open_tab(viewport=SMALL, color_scheme="dark")
    app.change(shape={"vault_2_m2": 2.0})
    tab.open_app(app)
    tab.page.fill("#m-nasion_inion", "366")
    tab.page.keyboard.press("Tab")
    tab.page.locator("#m-nasion_inion-why").wait_for(state="visible")
    tab.page.click(".hand > summary")
    tab.page.evaluate("document.querySelector('.hand').scrollIntoView()")
    tab.page.evaluate("document.activeElement.blur()")
    tab.settle()
    assert_looks_as_stored(tab.page.screenshot(), f"app-by-hand-{size(SMALL)}")


@cache
def demo_report() -> str:
    return report_text(CaseView(solve_case(case_of_text(TEXT, Path()))), "demo.toml")


@pytest.mark.parametrize("viewport", [SMALL, LARGE], ids=size)
def test_the_report(open_tab: OpenTab, viewport: dict[str, int], tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_text(demo_report(), encoding="utf-8")
    tab = open_tab(viewport=viewport)
    tab.page.goto(path.as_uri())
    tab.until("headfit.viewer && headfit.viewer.frames > 0")
    tab.settle()
    assert_looks_as_stored(tab.page.screenshot(), f"report-{size(viewport)}")


def test_the_report_without_scripts(open_tab: OpenTab, tmp_path: Path) -> None:
    path = tmp_path / "report.html"
    path.write_text(demo_report(), encoding="utf-8")
    tab = open_tab(viewport=SMALL, java_script_enabled=False)
    tab.page.goto(path.as_uri())
    assert_looks_as_stored(tab.page.screenshot(), f"report-plain-{size(SMALL)}")


@pytest.mark.parametrize(
    ("name", "step", "theme", "viewport"),
    [("slips", 0, "light", SMALL), ("vertex", 2, "dark", LARGE), ("landmarks", 3, "light", SMALL)],
)
def test_a_lesson(
    open_tab: OpenTab, tmp_path: Path, name: str, step: int, theme: str, viewport: dict[str, int]
) -> None:
    path = tmp_path / "lesson.html"
    path.write_text(lesson_html(lesson(name)), encoding="utf-8")
    tab = open_tab(viewport=viewport, color_scheme=theme, reduced_motion="reduce")
    tab.page.goto(path.as_uri())
    tab.until("!!(window.headfit && headfit.player)")
    tab.page.click(f".dots button:nth-child({step + 1})")
    tab.settle()
    assert_looks_as_stored(tab.page.screenshot(), f"lesson-{name}-{theme}-{size(viewport)}")
