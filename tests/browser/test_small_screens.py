"""App and report on a tablet and a phone: nothing wider than the screen, targets for a finger."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from browser_tab import Tab
from chair_cases import PLAIN, WOUND
from demo_case import solved_text
from running_app import RunningApp

from headfit import run_study
from headfit.output.case_report import report_text
from headfit.output.case_view import CaseView
from headfit.output.measuring_page import write_measurements

SIZES = {"tablet": (1024, 768), "phone": (390, 664)}
# A box to tick is as large as the label that ticks it.
SMALL = """() => [...document.querySelectorAll('button, input, select, summary')]
  .filter(e => e.getClientRects().length && !e.closest('details:not([open]) > :not(summary)'))
  .map(e => { const whole = e.type === 'checkbox' && (e.closest('label') || e.closest('td')) || e;
    const b = whole.getBoundingClientRect();
    return [e.textContent || e.ariaLabel || e.id, Math.round(b.width), Math.round(b.height)]; })
  .filter(([, width, height]) => Math.min(width, height) < 44)"""
WIDER = "() => document.documentElement.scrollWidth - innerWidth"
TABS = ("sites", "comparison", "derivations", "free", "record", "shape")


def touched(open_tab: Callable[..., Tab], size: str) -> Tab:
    width, height = SIZES[size]
    return open_tab(viewport={"width": width, "height": height}, has_touch=True, is_mobile=True)


@pytest.mark.parametrize("size", list(SIZES))
def test_the_app_is_no_wider_than_the_screen_and_made_for_fingers(
    open_tab: Callable[..., Tab], started_app: RunningApp, size: str
) -> None:
    app = started_app.restarted(WOUND)
    tab = touched(open_tab, size)
    tab.open_app(app)
    tab.page.click(".facts > summary")
    for name in TABS:
        tab.page.click(f"#tab-{name}")
        tab.settle()
        assert tab.page.evaluate(WIDER) <= 0, name
        assert tab.page.evaluate(SMALL) == [], name
    tab.page.click(".facts > summary")
    for press in ("Open", "Export"):
        tab.page.click(f".actions button:text-is('{press}')")
        tab.page.locator("dialog").wait_for()
        assert tab.page.evaluate(WIDER) <= 0, press
        assert tab.page.evaluate(SMALL) == [], press
        tab.page.click("dialog >> text=close")
    assert tab.violations() == []


def test_the_head_is_whole_on_a_tablet(
    open_tab: Callable[..., Tab], started_app: RunningApp
) -> None:
    app = started_app.restarted(PLAIN)
    tab = touched(open_tab, "tablet")
    tab.open_app(app)
    box = tab.page.locator(".stage").bounding_box()
    assert box is not None
    assert box["y"] >= 0
    assert box["y"] + box["height"] <= 768
    assert min(box["width"], box["height"]) > 450
    # Every vertex of the skin, as the camera sees it, lies in the picture.
    reach = tab.page.evaluate(
        """() => { const v = headfit.viewer, c = v.stage.camera; c.updateMatrixWorld();
        const p = v.head.geometry.getAttribute('position').clone();
        const m = c.projectionMatrix.clone().multiply(c.matrixWorldInverse);
        p.applyMatrix4(m); let most = 0;
        for (let i = 0; i < p.count; i++)
          most = Math.max(most, Math.abs(p.getX(i)), Math.abs(p.getY(i)));
        return most; }"""
    )
    assert 0.5 < reach <= 1.0


@pytest.mark.parametrize("size", list(SIZES))
def test_a_finger_turns_the_head_and_the_page_stays(
    open_tab: Callable[..., Tab], started_app: RunningApp, size: str
) -> None:
    app = started_app.restarted(PLAIN)
    tab = touched(open_tab, size)
    tab.open_app(app)
    tab.page.locator(".stage").scroll_into_view_if_needed()
    box = tab.page.locator(".stage").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    before = tab.page.evaluate("[scrollY, scrollX]")
    axes = np.array(tab.page.evaluate("headfit.viewer.stage.axes.map(axis => axis.toArray())"))
    finger = tab.page.context.new_cdp_session(tab.page)
    for kind, step in (("touchStart", 0), *(("touchMove", k) for k in range(1, 9))):
        points = [{"x": x + 12 * step, "y": y + 14 * step}]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    tab.settle()
    assert tab.page.evaluate("[scrollY, scrollX]") == before
    now = np.array(tab.page.evaluate("headfit.viewer.stage.axes.map(axis => axis.toArray())"))
    assert np.abs(now - axes).max() > 0.1
    far = "headfit.viewer.stage.camera.position.distanceTo(headfit.viewer.stage.controls.target)"
    distance = tab.page.evaluate(far)
    for kind, step in (("touchStart", 0), *(("touchMove", k) for k in range(1, 9))):
        points = [
            {"x": x - 20 - 9 * step, "y": y, "id": 0},
            {"x": x + 20 + 9 * step, "y": y, "id": 1},
        ]
        finger.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
    finger.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    tab.settle()
    assert tab.page.evaluate(far) < 0.9 * distance
    assert tab.page.evaluate("[scrollY, scrollX]") == before
    assert tab.page.evaluate("visualViewport.scale") == 1


@pytest.mark.parametrize("size", list(SIZES))
def test_the_report_is_no_wider_than_the_screen(
    open_tab: Callable[..., Tab], tmp_path: Path, size: str
) -> None:
    path = tmp_path / "report.html"
    view = CaseView(solved_text(WOUND + '\n[derivations]\nset = "longitudinal"\n'))
    path.write_text(report_text(view, "case.toml"), encoding="utf-8")
    tab = touched(open_tab, size)
    tab.page.goto(path.as_uri())
    tab.until("headfit.viewer && headfit.viewer.frames > 0")
    assert tab.page.evaluate(WIDER) <= 0
    assert tab.page.evaluate(SMALL) == []
    assert tab.violations() == []


def test_the_pages_of_a_study_are_no_wider_than_a_phone(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    run_study(None, tmp_path, simulate=2, workers=0)
    tab = touched(open_tab, "phone")
    for page in ("report.html", "pages/sub-sim0000001.html"):
        tab.page.goto((tmp_path / page).as_uri())
        assert tab.page.evaluate(WIDER) <= 0, page
        assert tab.page.evaluate(SMALL) == [], page
    tab.page.goto((tmp_path / "report.html").as_uri())
    link = tab.page.locator("li > a").first.bounding_box()
    assert link is not None
    assert link["height"] >= 44


def test_the_page_of_measurements_is_no_wider_than_a_phone(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    path = write_measurements(tmp_path / "measuring.html")
    tab = touched(open_tab, "phone")
    tab.page.goto(path.as_uri())
    assert tab.page.evaluate(WIDER) <= 0
    assert tab.violations() == []
