"""A new case from nothing by keyboard and by thumb, and how long it takes to the marks."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import pypdf
import pytest
from browser_tab import Tab
from running_app import RunningApp, running

from headfit.files.case_file import read_case

TAP_S = 0.6  # a person's pace
MOST_S = 60.0


@pytest.fixture
def empty(started_app: RunningApp) -> RunningApp:
    """The app with nothing on the desk and no case in its folder."""
    folder = Path(started_app.get("state")["folder"])
    started_app.post("new", {})
    for path in folder.glob("*.toml*"):
        path.unlink()
    started_app.post("new", {})
    return started_app


def test_it_is_typed_from_box_to_box_with_comma_point_and_fraction(
    tab: Tab, empty: RunningApp
) -> None:
    tab.open_app(empty)
    assert tab.page.inner_text(".savestate") == "not saved yet"
    tab.page.click("button:text-is('New')")
    tab.settle()
    assert empty.get("state")["case"]["system"] == "10-20"
    tab.until("!['BODY', 'BUTTON'].includes(document.activeElement.tagName)")  # in the first box
    tab.page.keyboard.type("Ward 3, bed 2")
    tab.page.keyboard.press("Enter")
    tab.until("document.activeElement.id === 'm-nasion_inion'")
    tab.page.keyboard.type("36,0")
    tab.page.keyboard.press("Enter")
    tab.until("document.activeElement.id === 'm-preauricular_arc'")
    tab.page.keyboard.type("14 1/4 in")
    tab.page.keyboard.press("Enter")
    tab.until("document.activeElement.id === 'm-ring'")
    tab.page.keyboard.type("56.2")
    tab.page.keyboard.press("Enter")
    tab.until("headfit.app.state.case.tape.ring === '56.2'")
    tab.settle()
    tape = empty.get("state")["case"]["tape"]
    assert tape["nasion_inion"] == "36.0"
    assert float(tape["preauricular_arc"]) == pytest.approx(14.25 * 2.54)
    tab.page.click("button:text-is('Save')")
    tab.until("headfit.app.state.saved && !headfit.app.state.never_saved")
    assert tab.page.inner_text(".savestate") == "ward-3-bed-2.toml, saved"
    tab.page.click("button:text-is('Open')")
    row = tab.page.locator("dialog .cases button")
    assert "Ward 3, bed 2" in row.inner_text()
    assert "ward-3-bed-2.toml" in row.inner_text()
    row.locator("svg").wait_for()
    assert tab.violations() == []
    tab.page.keyboard.press("Escape")


def test_inches_stay_inches_in_the_boxes(tab: Tab, empty: RunningApp) -> None:
    empty.change(tape={"ring": "56 cm"}, unit="inch")
    tab.open_app(empty)
    tab.page.fill("#m-nasion_inion", "14 1/4")
    tab.page.keyboard.press("Enter")
    tab.until("headfit.app.state.case.tape.nasion_inion === '14 1/4'")
    tab.settle()
    tab.page.focus("#m-nasion_inion")
    assert tab.page.inner_text(".cardhead output") == "14 1/4 inch"
    assert tab.page.inner_text("#unit-said") == "inch"


@pytest.mark.parametrize(("width", "height"), [(1024, 768), (390, 664)], ids=["tablet", "phone"])
def test_three_tapes_to_the_marks_by_thumb_in_less_than_a_minute(
    open_tab: Callable[..., Tab],
    tmp_path: Path,
    width: int,
    height: int,
    record_property: Callable[[str, object], None],
) -> None:
    """A case file that is there already costs the person nothing: the app starts on a new one."""
    with running(tmp_path / "new-case.toml") as app:
        tab = open_tab(viewport={"width": width, "height": height}, has_touch=True, is_mobile=True)
        tab.open_app(app)
        start, taps = time.monotonic(), 0

        def tap(selector: str) -> None:
            nonlocal taps
            taps += 1
            time.sleep(TAP_S)
            tab.page.locator(selector).first.tap()

        tap("button:text-is('New')")
        for letter in "bed 2":
            time.sleep(TAP_S)
            taps += 1
            tab.page.keyboard.type(letter)
        tap("button:text-is('At the chair')")
        tab.page.locator(".chair .actions .main").wait_for()
        for _ in range(4):
            tap(".chair .actions .main")
        for reading in ("36.0", "36.4", "56.0"):
            for digit in reading:
                tap(f".chair .pad button:text-is('{'. ,' if digit == '.' else digit}')")
            tap(".chair .actions .main")
        tab.until("headfit.app.chair.view.step.key === 'mark Fpz'")
        assert tab.page.inner_text(".chair .row.now .number b") == "3.6"
        seconds = time.monotonic() - start
        record_property("seconds", round(seconds, 1))
        record_property("taps", taps)
        assert seconds < MOST_S

        if width > height:
            return
        # On to the printed sheet and the record.
        done = 0
        while tab.page.evaluate("headfit.app.chair.view.left") and done < 120:
            tab.page.wait_for_timeout(360)
            tab.page.locator(".chair .actions .main").tap()
            done += 1
        tab.until("headfit.app.changes.idle", 60)
        tab.page.locator(".chair .menu").tap()
        tab.page.locator("dialog >> text=Back to the case").tap()
        tab.settle()
        tab.page.locator("button:text-is('Save')").tap()
        tab.until("!headfit.app.state.never_saved")
        saved = read_case(tmp_path / "bed-2.toml")
        assert all(one.applied for one in saved.record.sites)
        assert len(saved.record.sites) == 21
        for kind, words in (("sheet", "36.0"), ("record", "bed 2")):
            pdf = tmp_path / f"{kind}.pdf"
            pdf.write_bytes(app.fetch(f"export?kind={kind}"))
            assert words in pypdf.PdfReader(pdf).pages[0].extract_text()
