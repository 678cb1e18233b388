"""The chair as one file on a tablet, a phone and a laptop, opened from a disk without a network."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from browser_tab import Tab
from chair_cases import CASES, PLAIN, chair, page
from demo_case import solved_text

from headfit.case.impedances import above_limit, imbalances
from headfit.case.record import ChartedElectrode, SetUpRecord
from headfit.case.solved import SolvedCase
from headfit.files.case_record import table_of_record
from headfit.files.chair_notes import case_with

SIZES = {"tablet": (1024, 768), "phone": (390, 664), "laptop": (1280, 720)}
TAP_MS = 360  # a step takes no second tap sooner: a gloved finger bounces
NO_SCROLL = """() => {
  const root = document.documentElement;
  const work = document.querySelector('.work');
  return [root.scrollWidth - innerWidth, root.scrollHeight - innerHeight,
          work.scrollHeight - work.clientHeight, work.scrollWidth - work.clientWidth];
}"""
TARGETS = """() => [...document.querySelectorAll('.chair button, .chair input, .chair textarea')]
  .filter(e => e.getClientRects().length)
  .map(e => { const b = e.getBoundingClientRect();
    const words = e.textContent || e.ariaLabel;
    return [words, b.width, b.height, b.left, b.top, b.right, b.bottom]; })"""
CUT = """() => [...document.querySelectorAll(
    '.actions button, .row.now .name, .row.now .number, .big, .pad button, h1, .do, .note')]
  .filter(e => e.getClientRects().length && e.scrollWidth > e.clientWidth + 1)
  .map(e => e.textContent)"""


def written(folder: Path, name: str) -> Path:
    path = folder / f"{name}.html"
    path.write_text(page(name), encoding="utf-8")
    return path


def opened(open_tab: Callable[..., Tab], path: Path, size: str = "tablet", **more: Any) -> Tab:
    width, height = SIZES[size]
    tab = open_tab(viewport={"width": width, "height": height}, has_touch=size != "laptop", **more)
    tab.page.goto(path.as_uri())
    tab.until("!!(window.headfit && headfit.chair)")
    return tab


def tap(tab: Tab, selector: str) -> None:
    tab.page.wait_for_timeout(TAP_MS)
    tab.page.locator(selector).first.tap()


def go(tab: Tab, key: str) -> None:
    tab.page.evaluate("key => headfit.chair.go(key)", key)


def left(tab: Tab) -> int:
    return int(tab.page.inner_text(".left-count b"))


def shown(tab: Tab) -> str:
    return str(tab.page.evaluate("headfit.chair.step.key"))


@pytest.mark.parametrize("name", list(CASES))
@pytest.mark.parametrize("size", list(SIZES))
def test_every_step_fits_the_screen_with_targets_for_a_gloved_thumb(
    open_tab: Callable[..., Tab], tmp_path: Path, name: str, size: str
) -> None:
    tab = opened(open_tab, written(tmp_path, name), size)
    width, height = SIZES[size]
    steps = [step for step in chair(name).steps if step.kind != "pass"]
    for step in steps:
        go(tab, step.key)
        assert max(tab.page.evaluate(NO_SCROLL)) <= 1, step.key
        for words, wide, high, x, y, right, bottom in tab.page.evaluate(TARGETS):
            assert min(wide, high) >= 44, (step.key, words, wide, high)
            assert x >= 0, (step.key, words)
            assert y >= 0, (step.key, words)
            assert right <= width + 1, (step.key, words)
            assert bottom <= height + 1, (step.key, words)
        assert tab.page.evaluate(CUT) == [], step.key
        picture = tab.page.locator(".picture svg").bounding_box()
        assert picture is not None
        assert picture["height"] > 55, step.key  # a drawing is there to be seen
    assert tab.urls == [tab.page.url]


# The plain head is walked in the app (test_new_case.py).
@pytest.mark.parametrize("name", ["newborn", "wound"])
def test_all_steps_are_done_by_thumb_alone(
    open_tab: Callable[..., Tab], tmp_path: Path, name: str
) -> None:
    tab = opened(open_tab, written(tmp_path, name), "phone")
    todo = [step.key for step in chair(name).steps if step.kind != "pass"]
    assert left(tab) == len(todo)
    seen = []
    for n in range(len(todo), 0, -1):
        assert left(tab) == n
        seen.append(shown(tab))
        if tab.page.locator(".actions .main").is_disabled():  # a tape that nobody read
            tap(tab, ".actions .skip")
        else:
            tap(tab, ".actions .main")
    assert seen == todo
    assert left(tab) == 0
    text = tab.page.input_value("dialog textarea")
    case = case_with(chair(name).solved.case, text)
    assert set(case.record.ticked) == set(todo)
    assert all(case.record.site(site).applied for site in chair(name).solved.sites.names)
    assert case.record.skin_before == "whole"
    assert tab.urls == [tab.page.url]


def test_enter_arrow_and_control_z_do_what_the_thumb_does(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"), "laptop")
    for _ in range(3):
        tab.page.wait_for_timeout(TAP_MS)
        tab.page.keyboard.press("Enter")
    assert shown(tab) == "landmark right_preauricular"
    tab.page.keyboard.press("ArrowLeft")
    assert shown(tab) == "landmark left_preauricular"
    tab.page.wait_for_timeout(TAP_MS)
    tab.page.keyboard.press("Control+z")
    assert left(tab) == len([s for s in chair("plain").steps if s.kind != "pass"]) - 2
    go(tab, "landmark inion")
    tab.page.keyboard.press("?")
    assert "Inion doubtful: if it is 1 cm lower" in tab.page.inner_text(".note.doubt")
    assert tab.page.inner_text(".actions .main") == "Inion: marked, doubtful"


def test_two_taps_of_a_bouncing_finger_are_one(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"))
    before = left(tab)
    tab.page.evaluate("() => { const b = '.actions .main'; document.querySelector(b).click();"
                      " document.querySelector(b).click(); }")  # fmt: skip
    assert left(tab) == before - 1


def test_a_session_that_was_cut_off_goes_on_at_its_step_until_it_is_forgotten(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    path = written(tmp_path, "plain")
    tab = opened(open_tab, path)
    total = left(tab)
    for _ in range(4):
        tap(tab, ".actions .main")
    tab.page.keyboard.type("36.4")
    tap(tab, ".actions .main")
    assert shown(tab) == "read preauricular_arc"
    tab.page.reload()
    tab.until("!!(window.headfit && headfit.chair)")
    assert shown(tab) == "read preauricular_arc"
    assert left(tab) == total - 5
    go(tab, "mark Cz")
    assert tab.page.inner_text(".row.now .number b") == "18.2"
    # Another case of the same tablet knows nothing of it.
    other = opened(open_tab, written(tmp_path, "wound"))
    assert left(other) == len([s for s in chair("wound").steps if s.kind != "pass"])
    tap(tab, ".menu")
    tab.page.click("text=Forget this case")
    tab.page.click("text=Press again to forget")
    assert left(tab) == total
    tab.page.reload()
    tab.until("!!(window.headfit && headfit.chair)")
    assert left(tab) == total
    go(tab, "mark Cz")
    assert tab.page.inner_text(".row.now .number b") == "18.0"


def test_a_browser_that_keeps_nothing_is_told(open_tab: Callable[..., Tab], tmp_path: Path) -> None:
    tab = open_tab()
    tab.page.add_init_script(
        "Object.defineProperty(window, 'localStorage', { get() { throw new Error('no'); } })"
    )
    tab.page.goto(written(tmp_path, "plain").as_uri())
    tab.until("!!(window.headfit && headfit.chair)")
    tab.page.click(".actions .main")
    tab.page.click(".menu")
    assert "This browser keeps nothing for this page" in tab.page.inner_text("dialog")


def numbers(tab: Tab) -> dict[str, float]:
    found = tab.page.evaluate(
        "() => headfit.chair.steps.filter(s => s.number_mm !== null)"
        ".map(s => [s.key, s.number_mm, s.own])"
    )
    return {key: mm for key, mm, own in found if own and key.startswith("mark ")}


def python_numbers(solved: SolvedCase) -> dict[str, float]:
    from headfit.output.chair_steps import chair_of

    return {
        step.key: step.number_mm
        for step in chair_of(solved).steps
        if step.own and step.key.startswith("mark ") and step.number_mm is not None
    }


@pytest.mark.parametrize(
    "typed",
    [
        {"nasion_inion": "36.9"},
        {"ring": "55,1"},
        {"preauricular_arc": "35.2", "parietal_row": "23.4"},
        {"ring": "55.8", "left_ring": "28.4"},
        {"nasion_inion": "14 1/4 in", "ring": "22 in"},
    ],
)
def test_the_page_tells_the_marks_of_a_new_reading_as_the_program_does(
    open_tab: Callable[..., Tab], tmp_path: Path, typed: dict[str, str]
) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"))
    tab.page.evaluate(
        "tape => { const v = headfit.chair; v.keep({...v.notes, tape}, 'x'); v.refresh(); }",
        {name: text if text.endswith("in") else f"{text} cm" for name, text in typed.items()},
    )
    lines = [line for line in PLAIN.splitlines() if line.partition(" =")[0] not in typed]
    for name, text in typed.items():
        inches = text.removesuffix(" in")
        whole, _, part = inches.partition(" ")
        length = float(whole.replace(",", "."))
        if part:
            above, below = part.split("/")
            length += int(above) / int(below)
        lines.append(f"{name} = {length * 2.54 if text.endswith('in') else length}")
    told, right = numbers(tab), python_numbers(solved_text("\n".join(lines)))
    assert set(told) == set(right)
    assert len(told) >= 13
    for key, mm in told.items():
        # A row is told by halves, whose shares follow the fitted head a little.
        assert mm == pytest.approx(right[key], abs=0.6), key


def test_what_is_foreseen_follows_a_reading_as_the_fit_does(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"))
    go(tab, "mark P3")
    before = float(tab.page.inner_text(".row.now .number b"))
    tab.page.evaluate(
        "() => { const v = headfit.chair; v.keep({...v.notes, tape: {frontal_row: '24 cm'}}, 'x');"
        " v.refresh(); }"
    )
    after = tab.page.evaluate("headfit.chair.step.number_mm") / 10
    solved = solved_text(f"{PLAIN}frontal_row = 24.0")
    assert after > before + 0.05
    # P3 halves one side of the row, which is held in the middle.
    assert after * 40 == pytest.approx(solved.tape_on("row P").length_mm, abs=3.0)


def test_a_slip_is_not_used_and_a_strange_reading_is_asked_about(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"), "phone")
    go(tab, "read nasion_inion")
    for digit in "3.6":
        tap(tab, f".pad button:text-is('{'. ,' if digit == '.' else digit}')")
    assert tab.page.inner_text(".actions .main") == "Use 3.6 cm"
    tap(tab, ".actions .main")
    assert "3.6 not used. Did you read 36.0?" in tab.page.inner_text(".why")
    assert max(tab.page.evaluate(NO_SCROLL)) <= 1
    assert tab.page.evaluate("Object.keys(headfit.chair.notes.tape).length") == 0
    tap(tab, ".instead")
    assert tab.page.evaluate("headfit.chair.notes.tape.nasion_inion") == "36.0 cm"
    go(tab, "read nasion_inion")
    tab.page.keyboard.type("42")
    tap(tab, ".actions .main")
    assert "The other readings ask for 36.0 ±" in tab.page.inner_text(".why")
    assert shown(tab) == "read nasion_inion"
    tap(tab, ".actions .main")
    assert tab.page.evaluate("headfit.chair.notes.tape.nasion_inion") == "42 cm"


def test_inches_are_shown_and_typed_as_a_tape_has_them(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"), "phone")
    go(tab, "read nasion_inion")
    tap(tab, ".units button:text-is('inch')")
    for key in ("1", "4", "␣", "1", "/", "4"):
        tap(tab, f".pad button:text-is('{key}')")
    assert max(tab.page.evaluate(NO_SCROLL)) <= 1
    tap(tab, ".actions .main")
    go(tab, "mark Cz")
    assert tab.page.inner_text(".row.now .number b") == "7 1/8"  # half of 14 1/4
    assert tab.page.inner_text(".row.now .number small").strip() == "inch"


def test_without_javascript_every_step_stands_there_with_its_number(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    tab = open_tab(java_script_enabled=False, viewport={"width": 390, "height": 664})
    tab.page.goto(written(tmp_path, "wound").as_uri())
    text = tab.page.inner_text("body")
    for step in chair("wound").steps:
        assert step.name in text
        assert step.title in text
        if step.number_mm is not None:
            assert f"{step.number_mm / 10:.1f} cm" in text
    assert "No tape over: wound, 14 mm around P4." in text
    assert "Not a medical device" in text


@pytest.mark.parametrize("width", [390, 900])
def test_without_javascript_no_label_of_a_drawing_is_cut_off(
    open_tab: Callable[..., Tab], tmp_path: Path, width: int
) -> None:
    tab = open_tab(java_script_enabled=False, viewport={"width": width, "height": 800})
    path = written(tmp_path, "wound")
    tab.page.goto(path.as_uri())
    seen = 0
    for figure in tab.page.query_selector_all("figure:has(svg:not(.close))"):
        box = figure.bounding_box()
        assert box is not None
        for label in figure.query_selector_all("svg text"):
            at = label.bounding_box()
            if at is None or not at["width"]:
                continue
            seen += 1
            said = label.text_content()
            assert at["x"] >= max(box["x"], 0.0), said
            assert at["x"] + at["width"] <= min(box["x"] + box["width"], width), said
            assert at["y"] >= box["y"], said
    assert seen > 20
    # What reaches over the frame of a drawing is seen; only a close view ends at its frame.
    looks = re.search(r"\.chair-list figure \.dr\{([^}]*)\}", path.read_text(encoding="utf-8"))
    assert looks is not None
    assert "overflow:visible" in looks[1]


RECORDS = {
    "alike": {"F3": 4, "F4": 5, "C3": 5},
    "high": {"F3": 14, "F4": 12, "Cz": 3},
    "uneven": {"F3": 2, "F4": 8, "C3": 3, "C4": 8.3, "O1": 3.3, "Cz": 9},
}


@pytest.mark.parametrize("name", list(RECORDS))
def test_the_page_finds_in_impedances_what_the_program_finds(
    open_tab: Callable[..., Tab], tmp_path: Path, name: str
) -> None:
    record = SetUpRecord(
        tuple(ChartedElectrode(site, impedance_kohm=kohm) for site, kohm in RECORDS[name].items()),
        reference=ChartedElectrode("REF", place="CPz", impedance_kohm=11),
    )
    tab = opened(open_tab, written(tmp_path, "plain"))
    tab.page.evaluate(
        "record => { const v = headfit.chair; v.keep({...v.notes, record}, 'x');"
        " v.go('check impedances'); }",
        table_of_record(record),
    )
    said = tab.page.locator(".said li").all_inner_texts()
    high = [each for each in said if "above the limit" in each]
    uneven = [each for each in said if "not balanced" in each]
    assert len(high) == len(above_limit(record))
    assert [each.partition(": ")[2] for each in uneven] == [e.words for e in imbalances(record)]
    assert "common practice" in tab.page.inner_text(".work")


def test_one_electrode_is_charted_moved_and_left_out_by_taps(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"), "phone")
    go(tab, "apply F3")
    tap(tab, ".tiles button:text-is('4')")
    assert tab.page.inner_text(".actions .main") == "F3 is on, 4 kΩ"
    tap(tab, ".actions .main")
    go(tab, "apply F4")
    tap(tab, ".tiles button:text-is('more')")
    tab.page.keyboard.type("14")
    tap(tab, ".actions .main")
    assert "14 is above 10" in tab.page.inner_text(".note.doubt")
    tap(tab, ".actions button:text-is('Moved')")
    tab.page.fill(".choices input", "FC4")
    tap(tab, ".actions .main")
    tap(tab, ".actions .main")
    go(tab, "apply O1")
    tap(tab, ".actions button:text-is('Left out')")
    tap(tab, ".choices button:text-is('skin')")
    go(tab, "check reference")
    tap(tab, ".choices button:text-is('CPz')")
    tap(tab, ".tiles button:text-is('3')")
    tap(tab, ".actions .main")
    text = tab.page.evaluate("JSON.stringify({headfit_chair: 1, label: 'invented head',"
                             " ...headfit.chair.notes})")  # fmt: skip
    record = case_with(chair("plain").solved.case, text).record
    assert (record.site("F3").impedance_kohm, record.site("F3").applied) == (4, True)
    assert (record.site("F4").impedance_kohm, record.site("F4").place) == (14, "FC4")
    assert (record.site("O1").applied, record.site("O1").note) == (False, "skin")
    assert record.reference is not None
    assert (record.reference.place, record.reference.impedance_kohm) == ("CPz", 3)
    go(tab, "check changes")
    assert "F4 stands at FC4" in tab.page.inner_text(".work")
    assert "O1 left out: skin" in tab.page.inner_text(".work")


def test_a_check_outside_its_tolerance_names_the_mark_that_two_share(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"))
    go(tab, "check F4–C4")
    tap(tab, ".actions .unsure")
    assert "Mark F4 and C4 again" in tab.page.inner_text(".note.doubt")
    go(tab, "check Fp2–F4")
    tap(tab, ".actions .unsure")
    assert "Look at F4 again: it is in both." in tab.page.inner_text(".note.doubt")
    tap(tab, ".actions button:text-is('Keep, chart it')")
    assert "Check Fp2–F4 outside" in tab.page.evaluate("headfit.chair.notes.record.note")


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("size", ["phone", "tablet"])
def test_it_is_accessible_in_both_themes(
    open_tab: Callable[..., Tab], tmp_path: Path, theme: str, size: str
) -> None:
    tab = opened(open_tab, written(tmp_path, "wound"), size, color_scheme=theme)
    keys = ("landmark inion", "read ring", "mark Cz", "mark P3", "mark P4", "check F3–C3",
            "prepare skin", "apply F3", "check reference", "check finish")  # fmt: skip
    for key in keys:
        go(tab, key)
        assert tab.violations() == [], key
    tap(tab, ".left-count")
    assert tab.violations() == []
    tab.page.click("dialog .close")
    tap(tab, ".menu")
    assert tab.violations() == []


def test_a_left_hand_has_the_work_on_its_side(open_tab: Callable[..., Tab], tmp_path: Path) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"))

    def middle(selector: str) -> float:
        box = tab.page.locator(selector).bounding_box()
        assert box is not None
        return box["x"] + box["width"] / 2

    assert middle(".actions .main") > middle(".picture")
    tap(tab, ".menu")
    tab.page.click("text=left hand")
    assert middle(".actions .main") < middle(".picture")
    tab.page.reload()
    tab.until("!!(window.headfit && headfit.chair)")
    assert middle(".actions .main") < middle(".picture")


def test_the_list_of_what_is_left_reaches_every_step(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    tab = opened(open_tab, written(tmp_path, "plain"), "phone")
    tap(tab, ".actions .main")
    tap(tab, ".left-count")
    rows = tab.page.locator("dialog .all button")
    assert rows.count() == len([s for s in chair("plain").steps if s.kind != "pass"])
    assert re.match("✓", rows.first.inner_text())
    tab.page.click("dialog .all button:has-text('Apply Cz')")
    assert shown(tab) == "apply Cz"
    assert not json.loads(tab.page.evaluate("JSON.stringify(headfit.chair.notes.tape)"))


def test_a_place_by_two_short_tapes_says_that_it_is_older_than_what_was_typed(
    open_tab: Callable[..., Tab], tmp_path: Path
) -> None:
    """Its lengths lie on the fitted head, which the page cannot fit anew."""
    tab = opened(open_tab, written(tmp_path, "wound"))
    (bearing,) = (step.key for step in chair("wound").steps if step.kind == "bearing")
    warning = "from before what was typed here"
    go(tab, bearing)
    assert warning not in tab.page.inner_text(".work")
    tab.page.evaluate(
        "() => { const v = headfit.chair; v.keep({...v.notes, tape: {ring: '55.1 cm'}}, 'x'); }"
    )
    tab.page.evaluate("headfit.chair.refresh()")
    assert warning in tab.page.inner_text(".work")
    assert tab.page.evaluate(NO_SCROLL)[:3] == [0, 0, 0]
