"""Everybody can use it: keyboard, visible focus, contrast, target sizes, names for what is seen."""

from __future__ import annotations

from typing import Any

import pytest
from browser_tab import Tab
from dirty_marks import dirty_marks
from running_app import RunningApp

TABS = ("sites", "comparison", "derivations", "free", "shape")


def full(tab: Tab, app: RunningApp) -> None:
    """The app with something in every panel."""
    app.change(
        free=[{"site": "P4", "radius_mm": 15, "reason": "wound"}],
        derivations="longitudinal",
        shape={"vault_2_m2": 1.0},
    )
    files = [{"name": "marks.tsv", "text": dirty_marks()}]
    app.post("marks", {"revision": app.get("revision")["revision"], "files": files})
    tab.open_app(app)


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_no_serious_violation(tab: Tab, app: RunningApp, theme: str) -> None:
    full(tab, app)
    tab.page.evaluate("t => document.documentElement.dataset.theme = t", theme)
    for closed in (".facts > summary", ".facts details > summary", ".layers > summary"):
        tab.page.click(closed)
    # All panels and groups at once: looking takes seconds.
    tab.page.evaluate(
        "() => document.querySelectorAll('.lines details').forEach(d => (d.open = 1))"
    )
    tab.page.evaluate("() => document.querySelectorAll('.panel').forEach(p => (p.hidden = false))")
    assert tab.violations() == []
    tab.page.fill("#m-nasion_inion", "366")
    tab.page.keyboard.press("Tab")
    tab.page.locator("#m-nasion_inion-why").wait_for(state="visible")
    for dialog in ("Export", "Open"):
        tab.page.click(f"button:text-is('{dialog}')")
        tab.page.locator("dialog").wait_for(state="visible")
        assert tab.violations() == []
        tab.page.keyboard.press("Escape")
        tab.page.locator("dialog").wait_for(state="detached")


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_no_serious_violation_in_an_empty_case(
    tab: Tab, app: RunningApp, theme: str
) -> None:
    app.post("new", {})
    tab.open_app(app)
    tab.page.evaluate("t => document.documentElement.dataset.theme = t", theme)
    tab.page.evaluate("() => document.querySelectorAll('.panel').forEach(p => (p.hidden = false))")
    tab.page.click(".hand > summary")
    assert tab.violations() == []


def test_a_dialog_takes_the_focus_and_gives_it_back(tab: Tab, app: RunningApp) -> None:
    tab.open_app(app)
    tab.page.focus("button:text-is('Export')")
    tab.page.keyboard.press("Enter")
    tab.page.locator("dialog").wait_for(state="visible")
    for _ in range(8):
        # Inside, or on the browser's own controls, which the page sees as its body.
        where = "document.activeElement.closest('dialog, body').tagName"
        assert tab.page.evaluate(where) in ("DIALOG", "BODY")
        assert tab.page.evaluate("!document.activeElement.closest('main, header')")
        tab.page.keyboard.press("Tab")
    tab.page.keyboard.press("Escape")
    tab.page.locator("dialog").wait_for(state="detached")
    assert tab.page.evaluate("document.activeElement.textContent") == "Export"


def test_axe_would_find_a_violation(tab: Tab, app: RunningApp) -> None:
    tab.open_app(app)
    tab.page.evaluate("() => document.querySelector('.status').style.color = '#999'")
    tab.page.evaluate("() => document.querySelector('#m-ring').labels[0].remove()")
    assert {found["id"] for found in tab.violations()} >= {"color-contrast", "label"}


STOPS = """() => [...document.querySelectorAll(
  'button, input, select, summary, a[href], [tabindex="0"]')].filter(e =>
    e.checkVisibility() && !e.disabled && e.tabIndex >= 0 && !e.closest('[inert]')).length"""
FOCUSED = """() => { const e = document.activeElement, s = getComputedStyle(e);
  if (!e.dataset.stop) e.dataset.stop = String(window.stops = (window.stops || 0) + 1);
  const b = e.getBoundingClientRect();
  return { stop: e.dataset.stop, tag: e.tagName, name: e.id || e.textContent.slice(0, 30),
    ring: s.outlineStyle !== 'none' && parseFloat(s.outlineWidth) >= 2, width: b.width,
    height: b.height }; }"""


def test_every_control_is_reached_by_tab_with_a_visible_focus(tab: Tab, app: RunningApp) -> None:
    full(tab, app)
    for group in tab.page.query_selector_all(".lines details:not([open]) summary"):
        group.click()
    for name in TABS:
        tab.page.click(f"#tab-{name}")
        expected = tab.page.evaluate(STOPS)
        assert expected > 50
        reached: dict[str, dict[str, Any]] = {}
        for _ in range(expected + 10):
            tab.page.keyboard.press("Tab")
            found = tab.page.evaluate(FOCUSED)
            if found["tag"] == "BODY":
                continue
            if found["stop"] in reached:
                break
            reached[found["stop"]] = found
        assert len(reached) == expected, name
        for found in reached.values():
            assert found["ring"], found


def test_pointer_targets_are_24_pixels(tab: Tab, app: RunningApp) -> None:
    full(tab, app)
    tab.page.click(".layers summary")
    tab.page.click(".facts summary")
    for name in TABS:
        tab.page.click(f"#tab-{name}")
        small = tab.page.evaluate(
            """() => [...document.querySelectorAll('button, select, summary, input')]
              .filter(e => e.checkVisibility())
              .map(e => [(e.type === 'checkbox' ? e.closest('label') : e), e])
              .map(([box, e]) => [e.id || e.textContent, box.getBoundingClientRect()])
              .filter(([, b]) => b.width < 24 || b.height < 24)
              .map(([name, b]) => `${name}: ${b.width} x ${b.height}`)"""
        )
        assert small == []


def test_the_head_is_turned_zoomed_and_stepped_through_by_keys(tab: Tab, app: RunningApp) -> None:
    tab.open_app(app)
    position = "headfit.viewer.stage.camera.position.toArray()"
    distance = (
        "headfit.viewer.stage.camera.position.distanceTo(headfit.viewer.stage.controls.target)"
    )
    tab.page.focus(".stage")
    assert tab.page.is_visible(".keys")
    start = tab.page.evaluate(position)
    tab.page.keyboard.press("ArrowRight")
    assert tab.page.evaluate(position) != start
    tab.page.keyboard.press("ArrowLeft")
    assert tab.page.evaluate(position) == pytest.approx(start, abs=1e-6)
    far = tab.page.evaluate(distance)
    tab.page.keyboard.press("+")
    assert tab.page.evaluate(distance) == pytest.approx(far / 1.15)
    tab.page.keyboard.press("2")  # left: the camera stands at negative x
    x, y, _ = tab.page.evaluate(position)
    assert x < -200
    assert abs(y) < 40
    first = tab.page.evaluate("headfit.app.state.scene.sites[0].name")
    second = tab.page.evaluate("headfit.app.state.scene.sites[1].name")
    tab.page.keyboard.press("n")
    assert tab.chosen() == first
    tab.page.keyboard.press("n")
    assert tab.chosen() == second
    tab.page.keyboard.press("p")
    assert tab.chosen() == first
    tab.page.keyboard.press("Escape")
    assert tab.chosen() is None


def test_arrow_keys_step_a_measurement_and_walk_the_tables(tab: Tab, app: RunningApp) -> None:
    tab.open_app(app)
    tab.page.focus("#m-nasion_inion")
    before = float(tab.page.input_value("#m-nasion_inion"))
    tab.page.keyboard.press("ArrowUp")
    assert float(tab.page.input_value("#m-nasion_inion")) == pytest.approx(before + 0.1)
    tab.settle()
    tab.page.focus("#panel-sites tr[data-site] button")
    tab.page.keyboard.press("Enter")
    first = tab.chosen()
    tab.page.keyboard.press("ArrowDown")
    second = tab.chosen()
    assert first is not None
    assert second not in (None, first)
    tab.page.focus("#tab-sites")
    tab.page.keyboard.press("ArrowRight")
    assert tab.page.is_visible("#panel-comparison")
    assert not tab.page.is_visible("#panel-sites")
