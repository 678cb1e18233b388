"""The report opened from a file, as somebody who got it by mail does."""

from __future__ import annotations

import io
import re
import subprocess
from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np
import pypdf
import pytest
from browser_tab import Tab, launch
from demo_case import TEXT
from PIL import Image
from playwright.sync_api import Playwright

from headfit.case.solved import solve_case
from headfit.files.case_file import case_of_text
from headfit.output.case_report import report_text
from headfit.output.case_view import CaseView


@cache
def demo_report() -> str:
    text = TEXT.replace("Demo: long", "</script><b>Demo</b>: long")
    return report_text(CaseView(solve_case(case_of_text(text, Path()))), "demo.toml")


@pytest.fixture
def report(tmp_path: Path) -> Path:
    path = tmp_path / "report.html"
    path.write_text(demo_report(), encoding="utf-8")
    return path


def test_it_asks_for_nothing_and_its_head_and_rows_are_linked(tab: Tab, report: Path) -> None:
    tab.page.goto(report.as_uri())
    tab.until("headfit.viewer && headfit.viewer.frames > 0")
    assert tab.urls == [report.as_uri()]
    x, y, seen = tab.where("Fz")
    assert seen
    tab.page.mouse.click(x, y)
    assert tab.chosen() == "Fz"
    tab.page.click("tr[data-site='Oz'] button")
    assert tab.where("Oz")[2]
    assert "</script><b>Demo</b>: long" in tab.page.inner_text("h1")
    assert not tab.page.is_visible("#drawings")
    assert tab.urls == [report.as_uri()]


def test_it_reads_with_scripts_off(open_tab: Callable[..., Tab], report: Path) -> None:
    tab = open_tab(java_script_enabled=False)
    tab.page.goto(report.as_uri())
    assert tab.page.locator("#drawings svg").count() == 5
    assert tab.page.locator("#drawings svg").first.is_visible()
    assert "Cz" in tab.page.inner_text("#table-sites")
    assert tab.urls == [report.as_uri()]


def test_it_reads_without_webgl(playwright: Playwright, report: Path) -> None:
    browser = launch(playwright, "--disable-3d-apis")
    tab = Tab(browser.new_page())
    tab.page.goto(report.as_uri())
    assert "cannot draw in 3D" in tab.page.inner_text("#view")
    assert tab.page.locator("#drawings svg").first.is_visible()
    tab.page.click("tr[data-site='Oz'] button")
    assert tab.chosen() == "Oz"
    browser.close()


def pdf_pages(pdf: bytes, tmp_path: Path) -> tuple[list[Image.Image], str]:
    """Pages at 60 dots an inch, and the text, by poppler."""
    path = tmp_path / "report.pdf"
    path.write_bytes(pdf)
    subprocess.run(["pdftoppm", "-r", "60", "-png", str(path), str(tmp_path / "page")], check=True)
    text = subprocess.run(["pdftotext", str(path), "-"], check=True, capture_output=True, text=True)
    pages = sorted(tmp_path.glob("page-*.png"))
    return [Image.open(io.BytesIO(page.read_bytes())).convert("RGB") for page in pages], text.stdout


def skin_share(image: Image.Image) -> float:
    """Share of a page in the warm light grey of the skin."""
    red, _, blue = (np.asarray(image, int)[:, :, k] for k in range(3))
    return float(((red - blue > 8) & (red > 110)).mean())


def test_it_prints_the_head_and_all_rows(tab: Tab, report: Path, tmp_path: Path) -> None:
    tab.page.goto(report.as_uri())
    tab.until("headfit.viewer && headfit.viewer.frames > 0")
    pages, text = pdf_pages(tab.page.pdf(format="A4"), tmp_path)
    assert skin_share(pages[0]) > 0.05
    for name in ("Cz", "Fp1", "O2", "TP9"):
        assert re.search(rf"^{name}$", text, re.MULTILINE)
    assert "Not a medical device." in text
    # The check can fail: without the copy for the printer the page is blank there.
    tab.page.evaluate("() => document.querySelector('.printed').remove()")
    blank, _ = pdf_pages(tab.page.pdf(format="A4"), tmp_path)
    assert skin_share(blank[0]) < 0.01


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_no_serious_violation(
    open_tab: Callable[..., Tab], report: Path, theme: str
) -> None:
    tab = open_tab(color_scheme=theme)
    tab.page.goto(report.as_uri())
    tab.until("headfit.viewer && headfit.viewer.frames > 0")
    assert tab.violations() == []


def last_lines(tab: Tab) -> list[str]:
    """What stands last on each page of a print."""
    found = []
    for page in pypdf.PdfReader(io.BytesIO(tab.page.pdf(format="A4"))).pages:
        lines = [" ".join(line.split()) for line in page.extract_text().splitlines()]
        found.append([line for line in lines if line][-1])
    return found


def test_a_printed_page_ends_with_no_heading(tab: Tab, report: Path) -> None:
    """The heading of an arc, a section or a table stands with what it heads."""
    tab.page.goto(report.as_uri())
    tab.until("headfit.viewer && headfit.viewer.frames > 0")
    headings = tab.page.locator("tr.heading th, h2, caption").all_inner_texts()
    assert len(headings) > 15
    starts = tuple(" ".join(text.split())[:24] for text in headings)

    printed = last_lines(tab)
    assert len(printed) >= 4
    assert not [line for line in printed if line.startswith(starts)]
    # The same page without its rules shows the fault: it would be seen.
    tab.page.add_style_tag(
        content="@media print { * { break-after: auto !important; "
        "break-inside: auto !important; break-before: auto !important; } }"
    )
    assert [line for line in last_lines(tab) if line.startswith(starts)]
    shown = tab.page.locator("footer details")
    assert not shown.locator("code").is_visible()
    shown.locator("summary").click()
    assert "headfit report" in shown.locator("code").inner_text()
