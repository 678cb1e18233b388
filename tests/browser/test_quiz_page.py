"""The quiz as an offline file: clicked, answered, scored, handed out and forgotten."""

from __future__ import annotations

import csv
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from browser_tab import Tab, launch
from lesson_heads import head
from playwright.sync_api import Playwright

from headfit.output.lesson_page import quiz_html
from headfit.teaching.quiz import Quiz, make_quiz

OpenTab = Callable[..., Tab]
STILL = {"reduced_motion": "reduce"}


@cache
def quiz() -> Quiz:
    return make_quiz(head("demo"))


@cache
def page_text() -> str:
    return quiz_html(quiz())


def opened(tab: Tab, folder: Path) -> Path:
    path = folder / "quiz.html"
    path.write_text(page_text(), encoding="utf-8")
    tab.page.goto(path.as_uri())
    tab.until("!!(window.headfit && headfit.quiz && headfit.quiz.picture.shown)")
    return path


def ask(tab: Tab, kind: str, head_number: int) -> int:
    """Put a question of a kind on a head; the row of its site."""
    tab.page.evaluate(f"headfit.quiz.ask('{kind}', headfit.quiz.data.heads[{head_number}])")
    tab.page.evaluate("() => new Promise(done => requestAnimationFrame(() => setTimeout(done)))")
    return int(tab.page.evaluate("headfit.quiz.question.site"))


def kept(tab: Tab) -> list[dict[str, str]]:
    return list(csv.DictReader(tab.page.evaluate("headfit.quiz.results.csv").splitlines()))


def where(tab: Tab, number: int, site: int) -> tuple[float, float]:
    found = tab.page.evaluate(
        """([h, k]) => { const q = headfit.quiz, o = q.data.heads[h], p = q.picture;
          const at = p.at(o.points[k], o.normals[k]), b = p.host.getBoundingClientRect();
          return [b.left + at.x, b.top + at.y]; }""",
        [number, site],
    )
    return found[0], found[1]


def test_a_click_is_scored_along_and_across_and_the_arc_shown(tab: Tab, tmp_path: Path) -> None:
    path = opened(tab, tmp_path)
    site = ask(tab, "click", 2)
    each = quiz().heads[2]
    assert each.names[site] in tab.page.inner_text(".caption")
    assert tab.page.locator("path.tape").count() == 0
    x, y = where(tab, 2, site)
    tab.page.mouse.click(x, y)
    told = tab.page.inner_text(".said-now")
    assert told.startswith("✓")
    assert tab.page.locator("path.tape, path.behind").count() >= 1
    assert each.names[site] in tab.page.evaluate("headfit.quiz.picture.names")
    (row,) = kept(tab)
    assert row["score"] == "1"
    assert float(row["off_mm"]) < 5.0
    # Elsewhere: the same numbers as from the points themselves.
    site = ask(tab, "click", 3)
    tab.page.mouse.click(430, 330)
    row = kept(tab)[-1]
    off = np.array([float(row["along_mm"]), float(row["across_mm"])])
    # What is not along and not across is up or down from the tangent plane.
    assert np.linalg.norm(off) <= float(row["off_mm"]) + 0.1
    shown = tab.page.evaluate(
        "() => { const d = headfit.quiz.picture.shown.dots[0]; return [...d.points.at([[0, 1]])]; }"
    )
    each = quiz().heads[3]
    gap = np.array(shown) - each.points_mm[site]
    assert float(row["along_mm"]) == pytest.approx(gap @ each.along[site], abs=0.1)
    assert float(row["across_mm"]) == pytest.approx(gap @ each.across[site], abs=0.1)
    assert tab.urls == [path.as_uri()]


def test_a_place_is_marked_with_the_keyboard_alone(tab: Tab, tmp_path: Path) -> None:
    opened(tab, tmp_path)
    ask(tab, "click", 1)
    tab.page.focus(".picture")
    tab.page.keyboard.press("ArrowUp")
    tab.page.keyboard.press("Shift+ArrowUp")
    assert tab.page.is_visible(".cross")
    tab.page.keyboard.press("Enter")
    assert "mm off" in tab.page.inner_text(".said-now")
    assert len(kept(tab)) == 1


def test_names_distances_and_misread_tapes(tab: Tab, tmp_path: Path) -> None:
    opened(tab, tmp_path)
    site = ask(tab, "name", 4)
    each = quiz().heads[4]
    tab.page.click(f".option[data-answer='{each.names[site]}']")
    assert tab.page.inner_text(".said-now").startswith(f"✓ {each.names[site]}")
    site = ask(tab, "apart", 1)
    each = quiz().heads[1]
    other = int(tab.page.evaluate("headfit.quiz.question.other"))
    due = each.apart_cm[site, other]
    tab.page.fill(".typed input", "far")
    tab.page.keyboard.press("Enter")
    assert "Type a length in cm" in tab.page.inner_text(".said-now")
    tab.page.fill(".typed input", f"{due + 1.2:.1f}".replace(".", ","))
    tab.page.keyboard.press("Enter")
    assert f"It is {due:.1f} cm" in tab.page.inner_text(".said-now")
    assert "long" in tab.page.inner_text(".said-now")
    ask(tab, "misread", 5)
    sheet = quiz().heads[5].sheet
    wrong = sheet.titles[sheet.misread - 1]
    tab.page.click(f".option[data-answer='{wrong}']")
    assert f"Not {wrong}" in tab.page.inner_text(".said-now")
    assert sheet.titles[sheet.misread] in tab.page.inner_text(".option.right")
    assert [row["score"] for row in kept(tab)] == ["1", "0", "0"]
    assert "1 of 3 right" in tab.page.inner_text(".score")


def test_results_stay_on_the_device_until_they_are_forgotten(tab: Tab, tmp_path: Path) -> None:
    path = opened(tab, tmp_path)
    ask(tab, "misread", 0)
    tab.page.click(".option >> nth=0")
    tab.page.reload()
    tab.until("!!(window.headfit && headfit.quiz)")
    assert "1 answers kept" in tab.page.inner_text(".score")
    with tab.page.expect_download() as caught:
        tab.page.click("button:has-text('CSV')")
    rows = list(csv.DictReader(Path(caught.value.path()).read_text().splitlines()))
    assert len(rows) == 1
    assert rows[0]["head"] == "Demo: long narrow head, doubtful inion"
    tab.page.click("button:has-text('forget')")
    assert kept(tab) == []
    assert {url for url in tab.urls if not url.startswith("blob:")} == {path.as_uri()}


def test_a_cell_that_a_spreadsheet_would_run_is_made_harmless(tab: Tab, tmp_path: Path) -> None:
    opened(tab, tmp_path)
    row = {"head": '=cmd|"x",1', "along_mm": "-3.5", "question": "a\nb"}
    tab.page.evaluate("row => headfit.quiz.results.rows.push(row)", row)
    text = tab.page.evaluate("headfit.quiz.results.csv")
    assert "'=cmd" in text
    assert ",-3.5," in text


def test_without_webgl_it_asks_what_needs_no_head(playwright: Playwright, tmp_path: Path) -> None:
    browser = launch(playwright, "--disable-3d-apis")
    tab = Tab(browser.new_page())
    path = tmp_path / "quiz.html"
    path.write_text(page_text(), encoding="utf-8")
    tab.page.goto(path.as_uri())
    kinds = set()
    for _ in range(6):
        kinds.add(tab.page.evaluate("headfit.quiz.question.kind"))
        tab.page.click(".tools .next")
    assert kinds == {"apart", "misread"}
    browser.close()


def test_axe_finds_no_serious_violation(open_tab: OpenTab, tmp_path: Path) -> None:
    tab = open_tab(color_scheme="light", **STILL)
    opened(tab, tmp_path)
    for kind in ("click", "name", "apart", "misread"):
        ask(tab, kind, 1)
        for _ in ("light", "dark"):
            assert tab.violations() == [], kind
            tab.page.click(".tools button:has-text('dark')")


def test_it_is_small(tmp_path: Path) -> None:
    assert len(page_text().encode()) <= 2_000_000
