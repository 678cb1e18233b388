"""The chair inside the app: ticks are changes of the case, taken back, kept safe, gone on with."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from browser_tab import Tab
from chair_cases import PLAIN, WOUND
from running_app import RunningApp, running

from headfit.files.case_file import read_case

TAP_MS = 360


@pytest.fixture
def plain(started_app: RunningApp) -> RunningApp:
    return started_app.restarted(PLAIN)


def sit(tab: Tab, app: RunningApp) -> None:
    tab.open_app(app)
    tab.page.click("button:text-is('At the chair')")
    tab.until("headfit.app.chair.view")


def test_it_is_said_at_once_that_the_chair_comes(tab: Tab, plain: RunningApp) -> None:
    tab.open_app(plain)
    said = tab.page.evaluate(
        """() => {
          const all = [...document.querySelectorAll('button')];
          all.find(each => each.textContent === 'At the chair').click();
          const said = document.querySelector('.waiting[role=status]');
          return [said?.textContent, document.body.ariaBusy];
        }"""
    )
    assert said == ["Getting the steps at the chair ready ...", "true"]
    tab.until("headfit.app.chair.view && !document.querySelector('.waiting')")
    assert tab.page.get_attribute("body", "aria-busy") is None


def main(tab: Tab, times: int = 1) -> None:
    for _ in range(times):
        tab.page.wait_for_timeout(TAP_MS)
        tab.page.click(".chair .actions .main")


def go(tab: Tab, key: str) -> None:
    tab.page.evaluate("key => headfit.app.chair.view.go(key)", key)


def shown(tab: Tab) -> str:
    return str(tab.page.evaluate("headfit.app.chair.view.step.key"))


def settled(tab: Tab) -> None:
    tab.until("headfit.app.changes.idle")
    tab.settle()


def test_ticks_are_changes_of_the_case_and_are_taken_back_by_key_and_button(
    tab: Tab, plain: RunningApp
) -> None:
    sit(tab, plain)
    main(tab, 3)
    settled(tab)
    ticked = plain.get("state")["case"]["record"]["ticked"]
    assert ticked == ["landmark nasion", "landmark inion", "landmark left_preauricular"]
    assert plain.get("state")["undo"] == "landmark left_preauricular"
    tab.page.keyboard.press("Control+z")
    tab.until("headfit.app.chair.view.step.key === 'landmark left_preauricular'")
    settled(tab)
    assert plain.get("state")["case"]["record"]["ticked"] == ticked[:2]
    tab.page.wait_for_timeout(TAP_MS)
    tab.page.click(".chair .undo")
    tab.until("headfit.app.chair.view.step.key === 'landmark inion'")
    tab.page.keyboard.press("Control+y")
    settled(tab)
    tab.until("headfit.app.state.case.record.ticked.length === 2")


def test_a_reading_typed_at_the_chair_is_a_reading_of_the_case(tab: Tab, plain: RunningApp) -> None:
    sit(tab, plain)
    go(tab, "read nasion_inion")
    tab.page.keyboard.type("36,8")
    main(tab)
    tab.until("headfit.app.state.case.tape.nasion_inion === '36.8'")
    settled(tab)
    assert shown(tab) == "read preauricular_arc"
    go(tab, "mark Cz")
    assert tab.page.inner_text(".chair .row.now .number b") == "18.4"
    go(tab, "landmark inion")
    tab.page.click(".chair .unsure")
    tab.until("headfit.app.state.case.doubtful.length === 1")
    settled(tab)
    tab.page.keyboard.press("Control+z")
    tab.until("headfit.app.state.case.doubtful.length === 0")
    settled(tab)
    tab.page.keyboard.press("Control+z")  # reading and tick are one step
    tab.until("headfit.app.state.case.tape.nasion_inion === '36.0'")
    settled(tab)
    assert "ticked" not in plain.get("state")["case"]["record"]
    go(tab, "mark Cz")
    assert tab.page.inner_text(".chair .row.now .number b") == "18.0"


def test_an_impedance_is_charted_and_the_page_behind_says_so(tab: Tab, plain: RunningApp) -> None:
    sit(tab, plain)
    go(tab, "apply F3")
    tab.page.click(".chair .tiles button:text-is('4')")
    main(tab)
    go(tab, "apply F4")
    tab.page.click(".chair .tiles button:text-is('more')")
    tab.page.keyboard.type("14")
    main(tab)
    settled(tab)
    tab.page.click(".chair .menu")
    tab.page.click("dialog >> text=Back to the case")
    settled(tab)
    assert not tab.page.query_selector(".chair")
    tab.page.click("#tab-record")
    said = tab.page.inner_text("#panel-record")
    assert "Above 10 kΩ (common practice; local policy decides): F4 14 kΩ." in said
    assert "F3 4 kΩ and F4 14 kΩ" in said


def test_after_a_reload_the_chair_is_open_at_its_step(tab: Tab, plain: RunningApp) -> None:
    sit(tab, plain)
    main(tab, 2)
    settled(tab)
    tab.page.reload()
    tab.until("!!(window.headfit && headfit.app && headfit.app.chair.view)")
    assert shown(tab) == "landmark left_preauricular"
    tab.page.click(".chair .menu")
    tab.page.click("dialog >> text=Back to the case")
    tab.page.reload()
    tab.until("!!(window.headfit && headfit.app)")
    tab.settle()
    assert not tab.page.query_selector(".chair")


def test_a_power_cut_loses_no_tick(open_tab: Callable[..., Tab], tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    path.write_text(WOUND, encoding="utf-8")
    with running(path) as app:
        tab = open_tab()
        sit(tab, app)
        main(tab, 4)
        settled(tab)
        tab.page.goto("about:blank")
        app.kill()
    with running(path) as again:
        tab = open_tab()
        sit(tab, again)
        assert shown(tab) == "read nasion_inion"
        again.post("save", {"revision": again.get("revision")["revision"]})
    assert len(read_case(path).record.ticked) == 4


def test_nothing_measured_tells_no_mark(tab: Tab, plain: RunningApp) -> None:
    plain.post("new", {})
    sit(tab, plain)
    assert tab.page.evaluate("headfit.app.chair.view.steps.map(s => s.part)").count("mark") == 0
    go(tab, "read nasion_inion")
    tab.page.keyboard.type("36")
    main(tab)
    tab.until("headfit.app.state.case.tape.nasion_inion === '36.0'")
    settled(tab)
    tab.until("headfit.app.chair.view.steps.some(s => s.key === 'mark Cz')")
    assert tab.violations() == []


def test_a_reading_that_no_head_has_is_said_at_the_chair(tab: Tab, plain: RunningApp) -> None:
    sit(tab, plain)
    go(tab, "read nasion_inion")
    tab.page.keyboard.type("16")
    main(tab, 2)  # asked about, then used all the same
    tab.page.locator(".chair [role='alert']").wait_for()
    assert "Not accepted" in tab.page.inner_text(".chair [role='alert']")
    assert plain.get("state")["case"]["tape"]["nasion_inion"] == "36.0"
