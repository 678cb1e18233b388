"""A lesson as one offline file: walked by mouse, keyboard and touch, dragged, asked, looked at."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser_tab import Tab, launch, swipe
from lesson_heads import head
from playwright.sync_api import Playwright

from headfit import place_sites, solve_case
from headfit.files.lesson_file import lesson, lesson_names
from headfit.output.lesson_page import lesson_html
from headfit.teaching.bench import SLIP_SITES
from headfit.teaching.numbers import in_one
from headfit.teaching.slips import pushed
from headfit.teaching.stage import StagedLesson
from headfit.units import number_in

NAMES = lesson_names()
SIZES = [(1280, 720), (1920, 1080), (1024, 768)]
OpenTab = Callable[..., Tab]
STILL = {"reduced_motion": "reduce"}


@cache
def staged(name: str) -> StagedLesson:
    return lesson(name, head("demo"))


@cache
def page_text(name: str) -> str:
    return lesson_html(staged(name))


def opened(tab: Tab, name: str, folder: Path) -> Path:
    path = folder / f"{name}.html"
    path.write_text(page_text(name), encoding="utf-8")
    tab.page.goto(path.as_uri())
    tab.until("!!(window.headfit && headfit.player && headfit.player.at === 0)")
    return path


def said(tab: Tab) -> str:
    return plain(tab.page.inner_text(".caption"))


def plain(text: str) -> str:
    """Spaces and hyphens that hold words together are for the eye only."""
    return " ".join(text.replace("\u00a0", " ").replace("\u2011", "-").split())


def captions(name: str) -> list[str]:
    return [plain(in_one(step.caption)) for step in staged(name).steps]


def go(tab: Tab, name: str, step: str) -> None:
    names = [each.step.name for each in staged(name).steps]
    tab.page.click(f".dots button:nth-child({names.index(step) + 1})")
    tab.page.evaluate("() => new Promise(done => requestAnimationFrame(() => setTimeout(done)))")


@pytest.mark.parametrize("name", NAMES)
def test_it_is_small_asks_for_nothing_and_shows_its_first_picture_soon(
    open_tab: OpenTab, name: str, tmp_path: Path
) -> None:
    tab = open_tab()
    path = opened(tab, name, tmp_path)
    assert path.stat().st_size <= 2_000_000
    tab.until("performance.getEntriesByName('head-drawn').length > 0")
    first = tab.page.evaluate("performance.getEntriesByName('head-drawn')[0].startTime")
    assert first <= 1500.0  # ms, on software GL
    assert tab.urls == [path.as_uri()]


STEP = {"arrows": ("ArrowRight", "ArrowLeft"), "remote": ("PageDown", "PageUp")}


@pytest.mark.parametrize("name", NAMES)
def test_every_step_is_walked_forward_and_back(
    open_tab: OpenTab, name: str, tmp_path: Path
) -> None:
    tab = open_tab(**STILL)
    opened(tab, name, tmp_path)
    due = captions(name)
    for how in ("mouse", "arrows", "remote"):
        for forward in (True, False):
            seen = [said(tab)]
            for _ in due[1:]:
                if how == "mouse":
                    tab.page.click(".tools .next" if forward else ".tools .step:not(.next)")
                else:
                    tab.page.keyboard.press(STEP[how][0 if forward else 1])
                seen.append(said(tab))
            assert seen == (due if forward else due[::-1]), how


@pytest.mark.parametrize("name", NAMES)
def test_every_step_is_walked_by_swiping(open_tab: OpenTab, name: str, tmp_path: Path) -> None:
    tab = open_tab(has_touch=True, **STILL)
    opened(tab, name, tmp_path)
    touch = tab.page.context.new_cdp_session(tab.page)
    due = captions(name)
    for ends, order in (((500.0, 250.0), due), ((250.0, 500.0), due[::-1])):
        seen = [said(tab)]
        for _ in due[1:]:
            swipe(touch, *ends)
            seen.append(said(tab))
        assert seen == order


LAYOUT = """() => {
  const box = q => { const b = document.querySelector(q).getBoundingClientRect();
    return [b.left, b.top, b.right, b.bottom]; };
  const foot = box('footer')[1];
  const all = [...document.querySelectorAll('aside input, aside button')];
  return { caption: box('.caption'), picture: box('.picture'), aside: box('aside'), foot,
    hidden: all.filter(e => e.getBoundingClientRect().bottom > foot + 1).length,
    shown: document.querySelector('aside').offsetParent !== null,
    size: parseFloat(getComputedStyle(document.querySelector('.caption')).fontSize) };
}"""


@pytest.mark.parametrize("name", NAMES)
def test_from_the_back_row_the_caption_is_read_and_nothing_covers_the_head(
    open_tab: OpenTab, name: str, tmp_path: Path
) -> None:
    tab = open_tab(**STILL)
    opened(tab, name, tmp_path)
    for width, height in SIZES:
        tab.page.set_viewport_size({"width": width, "height": height})
        for step in staged(name).steps:
            go(tab, name, step.step.name)
            found: dict[str, Any] = tab.page.evaluate(LAYOUT)
            picture = found["picture"]
            assert found["size"] >= 28.0
            assert found["caption"][3] <= picture[1] + 1
            assert picture[3] <= found["foot"] + 1
            assert not found["shown"] or picture[2] <= found["aside"][0] + 1
            assert found["hidden"] == 0, step.step.name
            assert picture[3] - picture[1] > 0.6 * height


@pytest.mark.parametrize("name", NAMES)
def test_sites_of_every_step_are_named_on_the_head(
    open_tab: OpenTab, name: str, tmp_path: Path
) -> None:
    tab = open_tab(**STILL)
    opened(tab, name, tmp_path)
    for step in staged(name).steps:
        go(tab, name, step.step.name)
        drawn = tab.page.evaluate("headfit.player.picture.names")
        known = {n for dots in step.dots for n in dots.names} | {"wound"}
        assert set(drawn) <= known
        if step.profile is None and step.dots:
            assert drawn, step.step.name


def test_old_names_stand_beside_the_new_ones_until_they_are_switched_off(
    open_tab: OpenTab, tmp_path: Path
) -> None:
    tab = open_tab(**STILL)
    opened(tab, "slips", tmp_path)
    written = "[...document.querySelectorAll('.figures text.name')].map(t => t.textContent)"
    assert {"T7 (T3)", "P7 (T5)"} & set(tab.page.evaluate(written))
    off = solve_case(replace(head("demo").case, old_names=False))
    path = tmp_path / "off.html"
    path.write_text(lesson_html(lesson("slips", off)), encoding="utf-8")
    tab.page.goto(path.as_uri())
    tab.until("!!(window.headfit && headfit.player && headfit.player.at === 0)")
    found = tab.page.evaluate(written)
    assert "T7" in found
    assert not [name for name in found if "(" in name]


def test_a_handle_hides_no_name(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(**STILL)
    opened(tab, "slips", tmp_path)
    go(tab, "slips", "slack")
    hidden = tab.page.evaluate(
        """() => { const h = document.querySelector('.handle').getBoundingClientRect();
          return [...document.querySelectorAll('.figures text.name')].map(t => [t.dataset.name,
            t.getBoundingClientRect()]).filter(([, b]) => b.left < h.right - 4 && b.right >
            h.left + 4 && b.top + 4 < h.bottom && b.bottom - 4 > h.top).map(([name]) => name); }"""
    )
    assert hidden == []
    assert "Oz" in tab.page.evaluate("headfit.player.picture.names")


def bars(tab: Tab) -> dict[str, float]:
    names = tab.page.locator(".bars li > span:first-child").all_inner_texts()
    numbers = tab.page.locator(".bars li > b").all_inner_texts()
    return dict(zip(names, map(float, numbers), strict=True))


def slide(tab: Tab, value: float, which: int = 0) -> None:
    tab.page.evaluate(
        """([value, which]) => {
          const input = document.querySelectorAll('.dial input[type=range]')[which];
          input.value = String(value);
          input.dispatchEvent(new Event('input'));
        }""",
        [value, which],
    )


def test_a_pushed_landmark_moves_the_sites_as_python_has_it(
    open_tab: OpenTab, tmp_path: Path
) -> None:
    """Half way between two stops, where the page goes straight."""
    tab = open_tab(**STILL)
    opened(tab, "slips", tmp_path)
    own = place_sites(head("demo").head, SLIP_SITES)
    for by in (-18.5, -1.0, 3.5, 13.5):
        slide(tab, by)
        there = pushed(own, "inion", "lower", by)
        shown = tab.page.evaluate(
            """() => { const p = headfit.player.picture, d = p.shown.dots[0];
              return [d.data.names, [...d.points.at(p.mix)]]; }"""
        )
        points = np.array(shown[1]).reshape(-1, 3)
        gaps = [np.linalg.norm(points[k] - there[n]) for k, n in enumerate(shown[0])]
        assert max(gaps) <= 0.5
        for site, far in bars(tab).items():
            assert far == pytest.approx(np.linalg.norm(there[site] - own[site]), abs=0.15)


def test_a_handle_is_dragged_by_pointer_and_by_keys(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(**STILL)
    opened(tab, "slips", tmp_path)
    before = bars(tab)["Oz"]
    box = tab.page.locator(".handle").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    tab.page.mouse.move(x, y)
    tab.page.mouse.down()
    tab.page.mouse.move(x + 3, y - 40, steps=5)
    tab.page.mouse.up()
    value = float(tab.page.input_value(".dial input"))
    assert -12.0 < value < 4.0
    assert bars(tab)["Oz"] != before
    moved = tab.page.locator(".handle").bounding_box()
    assert moved is not None
    assert moved["y"] < box["y"] - 20
    tab.page.focus(".handle")
    tab.page.keyboard.press("ArrowUp")  # as it is seen: the inion goes up, so it is less low
    assert float(tab.page.input_value(".dial input")) == pytest.approx(value - 1.0, abs=0.26)
    tab.page.keyboard.press("Shift+ArrowDown")
    assert float(tab.page.input_value(".dial input")) == pytest.approx(value + 4.0, abs=0.26)
    tab.page.keyboard.press("Home")
    assert tab.page.get_attribute(".handle", "aria-valuenow") == "-20"
    assert tab.page.evaluate("headfit.player.at") == 0  # arrows in hand do not step
    tab.page.keyboard.press("Escape")
    tab.page.keyboard.press("ArrowRight")
    assert tab.page.evaluate("headfit.player.at") == 1


def test_cz_is_pushed_until_both_bars_are_level(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(**STILL)
    opened(tab, "vertex", tmp_path)
    go(tab, "vertex", "balance")
    assert "level" not in tab.page.inner_text(".verdict")
    assert tab.page.locator(".balance.level").count() == 0
    slide(tab, 0.0, 0)
    assert tab.page.locator(".balance.level").count() == 1
    slide(tab, 0.0, 1)
    assert tab.page.locator(".balance.level").count() == 2
    assert "this is Cz" in tab.page.inner_text(".verdict")
    halves = [float(text) for text in tab.page.locator(".halves b").all_inner_texts()]
    tracer = place_sites(head("demo").head, "10-20").tracer
    half = [tracer.length_mm(arc) / 20 for arc in ("midline", "coronal")]
    assert halves == pytest.approx([half[0], half[0], half[1], half[1]], abs=0.06)


def test_numbers_follow_a_drag_within_90_ms(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab()
    for name, step in (("slips", "inion-low"), ("same-tapes", "walk"), ("vertex", "balance")):
        opened(tab, name, tmp_path)
        go(tab, name, step)
        times = tab.page.evaluate(
            """async () => {
              const input = document.querySelector('.dial input'), times = [];
              const low = Number(input.min), span = Number(input.max) - low;
              for (let i = 0; i < 30; i++) {
                const start = performance.now();
                input.value = String(low + span * ((i * 7) % 30) / 30);
                input.dispatchEvent(new Event('input'));
                await new Promise(done => requestAnimationFrame(() => setTimeout(done)));
                times.push(performance.now() - start);
              }
              return times.sort((a, b) => a - b);
            }"""
        )
        assert times[len(times) // 2] <= 90.0, (name, times)


def test_the_heads_change_and_their_tapes_stand_still(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(**STILL)
    opened(tab, "same-tapes", tmp_path)
    go(tab, "same-tapes", "walk")
    step = staged("same-tapes")["walk"]
    tapes = tab.page.locator(".number.large b").all_inner_texts()
    vertices = "[...headfit.player.picture.mesh.geometry.attributes.position.array]"
    for stop, k in ((-2.0, 0), (2.0, 8), (0.0, 4)):
        slide(tab, stop)
        assert tab.page.locator(".number.large b").all_inner_texts() == tapes
        shown = np.array(tab.page.evaluate(vertices)).reshape(-1, 3)
        assert step.vertices_mm is not None
        assert np.abs(shown - step.vertices_mm[k]).max() < 0.01
    tab.page.keyboard.press("PageUp")
    own = np.array(tab.page.evaluate(vertices)).reshape(-1, 3)
    assert np.abs(own - step.head.vertices_mm).max() < 1e-3


def test_the_tape_grows_and_lies_there_at_once_where_motion_is_unwanted(
    open_tab: OpenTab, tmp_path: Path
) -> None:
    calm = open_tab(**STILL)
    opened(calm, "midline", tmp_path)
    whole = staged("midline").steps[0].readings[0].values[-1]
    assert float(calm.page.inner_text(".number.huge b")) == pytest.approx(whole, abs=0.051)
    moving = open_tab()
    opened(moving, "midline", tmp_path)
    first = float(moving.page.inner_text(".number.huge b"))
    assert first < whole - 1
    moving.until(f"Number(document.querySelector('.number.huge b').textContent) > {whole - 0.06}")
    # Whoever takes hold stops it.
    moving.page.keyboard.press("PageDown")
    slide(moving, 40.0)
    moving.page.wait_for_timeout(150)
    assert float(moving.page.inner_text(".number.huge b")) == pytest.approx(0.4 * whole, abs=0.06)


@pytest.mark.parametrize("name", NAMES)
def test_questions_say_which_answer_is_right_and_lead_back(
    open_tab: OpenTab, name: str, tmp_path: Path
) -> None:
    tab = open_tab(**STILL)
    opened(tab, name, tmp_path)
    go(tab, name, "question")
    asked = staged(name)["question"].asked
    assert asked is not None
    wrong = next(k for k in range(len(asked.options)) if k != asked.right)
    tab.page.keyboard.press("ABCDEFGH"[wrong])
    assert "not this one" in tab.page.inner_text(".option.wrong")
    assert tab.page.locator(".option.right").count() == 0  # nobody is told before they find it
    tab.page.click(f".option:nth-of-type({asked.right + 1})")
    assert "right" in tab.page.inner_text(".option.right em")
    assert asked.options[asked.right] in tab.page.inner_text(".option.right")
    assert plain(tab.page.inner_text(".why")) == plain(asked.why)
    tab.page.keyboard.press("ABCDEFGH"[wrong].lower())
    tab.page.click(".again")
    assert tab.page.evaluate("headfit.player.lesson.steps[headfit.player.at].name") == asked.again


def test_exchanged_marks_are_found_and_counted(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(**STILL)
    opened(tab, "exchange", tmp_path)
    go(tab, "exchange", "find")
    exchange = staged("exchange")["find"].exchange
    assert exchange is not None
    assert "0 of 1" in tab.page.inner_text(".score")
    rows = tab.page.locator(".distances li").all()
    taped = {}
    for row in rows:
        picks = row.locator("button").all()
        pair = frozenset(pick.get_attribute("data-site") for pick in picks)
        taped[pair] = float(row.locator("b").inner_text())
    at = exchange.names.index

    def fits(a: int, b: int) -> bool:
        who = {a: b, b: a}
        for pair, length in taped.items():
            i, j = (at(name) for name in pair)
            due = exchange.apart_cm[who.get(i, i), who.get(j, j)]
            if abs(due - length) > 0.051:
                return False
        return True

    found = [pair for pair in exchange.exchanged if fits(*pair)]
    assert len(found) == 1  # the distances alone tell it
    for k in found[0]:
        tab.page.locator(f".distances [data-site='{exchange.names[k]}']").first.click()
    assert "Found" in tab.page.inner_text(".told-now")
    assert "1 of 1" in tab.page.inner_text(".score")
    assert tab.page.locator("circle.chosen").count() >= 1
    tab.page.click(".exchange .main")
    assert "1 of 2" in tab.page.inner_text(".score")


def test_a_finger_slides_up_the_profile_and_says_what_it_feels(
    open_tab: OpenTab, tmp_path: Path
) -> None:
    tab = open_tab(**STILL)
    opened(tab, "landmarks", tmp_path)
    for step, felt in (("knob", "The knob"), ("no-knob", "no knob")):
        go(tab, "landmarks", step)
        feels = staged("landmarks")[step].said
        assert "Neck: soft" in tab.page.inner_text(".said-now")
        middle = next(k for k, words in enumerate(feels) if felt in words)
        slide(tab, middle)
        assert tab.page.inner_text(".said-now") == feels[middle]
        box = tab.page.locator(".profile .contour").bounding_box()
        assert box is not None
        tab.page.mouse.move(box["x"] + box["width"] - 4, box["y"] + 6)
        tab.page.mouse.down()
        tab.page.mouse.up()
        assert "Back of the head" in tab.page.inner_text(".said-now")


def test_two_fingers_and_shifted_arrows_turn_the_head(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(has_touch=True, **STILL)
    opened(tab, "ring", tmp_path)
    position = "headfit.player.picture.stage.camera.position.toArray()"
    start = tab.page.evaluate(position)
    tab.page.keyboard.press("Shift+ArrowRight")
    turned = tab.page.evaluate(position)
    assert np.linalg.norm(np.subtract(turned, start)) > 20.0
    touch = tab.page.context.new_cdp_session(tab.page)
    for kind, shift in (
        ("touchStart", 0),
        ("touchMove", 20),
        ("touchMove", 60),
        ("touchEnd", None),
    ):
        places = [] if shift is None else [{"x": x + shift, "y": 300, "id": x} for x in (400, 500)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": places})
    assert np.linalg.norm(np.subtract(tab.page.evaluate(position), turned)) > 20.0
    assert tab.page.evaluate("headfit.player.at") == 0


def test_a_tape_in_inches_is_told_in_inches_on_the_page(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(**STILL)
    inches = solve_case(replace(head("demo").case, unit="inch"))
    path = tmp_path / "inches.html"
    path.write_text(lesson_html(lesson("midline", inches)), encoding="utf-8")
    tab.page.goto(path.as_uri())
    tab.until("!!(window.headfit && headfit.player)")
    assert tab.page.inner_text(".number.huge b") == "14 7/16"
    assert "14 7/16 inch" in said(tab)
    # Whatever the page tells is what Python tells of the same length.
    for share in (3, 50, 77):
        slide(tab, share)
        length = share / 100 * inches.tape_on("midline").length_mm
        assert tab.page.inner_text(".number.huge b") == number_in(length, "inch")


def test_cards_turn_and_systems_peel(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(**STILL)
    opened(tab, "names", tmp_path)
    tab.page.click(".choices label:has-text('C and T')")
    assert set(tab.page.evaluate("headfit.player.picture.names")) <= {"T7", "C3", "Cz", "C4", "T8"}
    go(tab, "names", "systems")
    few = tab.page.locator("circle.site").count()
    tab.page.click(".choices label:has-text('10-5')")
    assert tab.page.locator("circle.site").count() > 5 * few
    assert tab.page.inner_text(".number.huge b") == "349"
    go(tab, "names", "old-names")
    tab.page.click(".card:has-text('T5')")
    assert "P7" in tab.page.inner_text(".card[aria-pressed=true]")


def test_notes_full_screen_dark_and_black(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(color_scheme="light", **STILL)
    opened(tab, "ring", tmp_path)
    assert not tab.page.is_visible(".notes")
    tab.page.keyboard.press("n")
    assert "Klem" in tab.page.inner_text(".notes")
    assert "Not a medical device" in tab.page.inner_text(".notes")
    background = "getComputedStyle(document.body).backgroundColor"
    light = tab.page.evaluate(background)
    tab.page.keyboard.press("d")
    assert tab.page.evaluate(background) != light
    tab.page.keyboard.press("b")
    assert tab.page.is_visible(".black")
    tab.page.keyboard.press("b")
    assert not tab.page.is_visible(".black")
    tab.page.click(".tools button:has-text('full screen')")
    tab.until("document.fullscreenElement !== null")
    tab.page.keyboard.press("f")
    tab.until("document.fullscreenElement === null")


def test_without_webgl_it_is_a_drawing_with_the_same_drags(
    playwright: Playwright, tmp_path: Path
) -> None:
    browser = launch(playwright, "--disable-3d-apis")
    tab = Tab(browser.new_page())
    opened(tab, "slips", tmp_path)
    assert tab.page.evaluate("document.documentElement.dataset.no3d")
    assert tab.page.locator(".figures path.contour").count() == 1
    assert "Oz" in tab.page.evaluate("headfit.player.picture.names")
    slide(tab, 20.0)
    assert bars(tab)["Oz"] == pytest.approx(18.0, abs=0.4)
    for caption in captions("slips")[1:]:
        tab.page.keyboard.press("PageDown")
        assert said(tab) == caption
    browser.close()


def test_hostile_text_stays_text(tab: Tab, tmp_path: Path) -> None:
    evil = "</script><img src=x onerror=alert(1)>"
    hostile = replace(staged("ring"), head_label=evil)
    path = tmp_path / "evil.html"
    path.write_text(lesson_html(hostile), encoding="utf-8")
    tab.page.goto(path.as_uri())
    tab.until("!!(window.headfit && headfit.player)")
    assert tab.page.inner_text(".whose") == evil
    assert tab.page.locator("img").count() == 0


@pytest.mark.parametrize("name", NAMES)
def test_axe_finds_no_serious_violation(open_tab: OpenTab, name: str, tmp_path: Path) -> None:
    tab = open_tab(color_scheme="light", **STILL)
    opened(tab, name, tmp_path)
    tab.page.keyboard.press("n")
    for step in staged(name).steps:
        go(tab, name, step.step.name)
        for _ in ("light", "dark"):
            assert tab.violations() == [], step.step.name
            tab.page.click(".tools button:has-text('dark')")
