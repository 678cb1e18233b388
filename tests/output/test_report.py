"""The report as a file: complete without scripts, safe with any text, the same bytes each time."""

import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import pytest
from demo_case import TEXT

from headfit.anatomy.sites import both_names, row_nine_words
from headfit.case.case import FreePlace
from headfit.case.solved import solve_case
from headfit.errors import FileFormatError
from headfit.files.case_file import case_of_text
from headfit.output import report as report_module
from headfit.output.case_report import report_text
from headfit.output.case_view import CaseView
from headfit.output.sheet import rules_words
from headfit.units import cm

HOSTILE = "</script><img src=x onerror=alert(1)> & \"quotes\" 'too'"


@cache
def view() -> CaseView:
    case = case_of_text(TEXT, Path())
    place = FreePlace(site="P4", radius_mm=12.0, reason="dressing <b>")
    return CaseView(
        solve_case(replace(case, label=HOSTILE, free=(place,), derivations="longitudinal"))
    )


@cache
def report() -> str:
    return report_text(view(), "demo.toml")


class Reader(HTMLParser):
    """What a browser without scripts sees: tags, attributes, cells of tables, visible text."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.tables: list[list[list[str]]] = []
        self.words: list[str] = []
        self._silent = ""
        self._cell = False
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag == "table":
            self.tables.append([])
        elif tag == "tr":
            self.tables[-1].append([])
        elif tag in ("th", "td"):
            self.tables[-1][-1].append("")
            self._cell = True
        elif tag in ("script", "style"):
            self._silent = tag

    def handle_endtag(self, tag: str) -> None:
        if tag == self._silent:
            self._silent = ""
        if tag in ("th", "td"):
            self._cell = False

    def handle_data(self, data: str) -> None:
        if self._silent:
            return
        self.words.append(data)
        if self._cell:
            self.tables[-1][-1][-1] += data


@cache
def read() -> Reader:
    return Reader(report())


def test_every_site_and_its_tape_distance_stand_in_plain_html() -> None:
    rows = {row[0]: row for table in read().tables for row in table if len(row) > 1}
    for site in view().scene.sites:
        # With ≈ where nobody taped the arc, the old name beside the new one.
        at = "" if site.from_start_mm is None else cm(site.from_start_mm)
        told = at if site.taped or not at else f"≈ {at}"
        assert rows[both_names(site.name)][1] == told
    sheet = rows["nasion-inion arc"]
    assert sheet[2] == cm(view().solved.case.tape.nasion_inion_mm)  # type: ignore[arg-type]


def test_a_moved_site_shows_no_distance_on_the_tape_where_nothing_must_be_put() -> None:
    rows = {row[0]: row for table in read().tables for row in table if len(row) > 1}
    assert view().scene.site("P4").state == "moved"
    assert rows["P4"][1] == ""
    assert "goes to" in rows["P4"][-1] or "is moved" in rows["P4"][-1]


def test_derivations_have_their_lengths() -> None:
    rows = {row[0]: row for table in read().tables for row in table if len(row) > 1}
    montage = view().solved.derivations
    assert montage is not None
    shown = {name.partition(" (")[0]: row for name, row in rows.items()}
    for each in montage.derivations:
        assert shown[each.name][1] == f"{each.length_mm:.0f}"


def test_a_hostile_label_stays_text() -> None:
    tags = read().tags
    assert not [tag for tag, _ in tags if tag in ("img", "iframe", "b")]
    assert not [name for _, attributes in tags for name in attributes if name.startswith("on")]
    assert len([tag for tag, _ in tags if tag == "script"]) == 2
    assert HOSTILE in "".join(read().words)


def test_the_report_may_ask_nobody_for_anything() -> None:
    (policy,) = (a["content"] for t, a in read().tags if a.get("http-equiv"))
    assert policy is not None
    assert policy.startswith("default-src 'none'")
    assert "connect-src" not in policy
    for tag, attributes in read().tags:
        for name in ("src", "href", "action", "data", "poster", "srcset"):
            value = attributes.get(name)
            assert value is None or value.startswith("data:"), (tag, value)
    styles = re.findall(r"url\(|@import", report()[: report().index("</style>")])
    assert not styles


def test_drawings_from_five_sides_stand_in_for_the_head() -> None:
    labels = [a.get("aria-label") or "" for tag, a in read().tags if tag == "svg"]
    for side in ("left", "right", "front", "back", "top"):
        assert any(f" {side}: line drawing" in label for label in labels)


def test_it_is_said_what_the_head_is_and_is_not() -> None:
    words = " ".join(read().words)
    assert "Invented data, no person." in words
    assert "predicted from the measurements, not measured" in words
    assert "Not a medical device." in words
    assert "headfit report demo.toml -o demo.html" in words


def test_the_report_is_small_and_the_same_each_time() -> None:
    assert len(report().encode()) <= 1_500_000
    assert report_text(view(), "demo.toml") == report()


def test_a_missing_viewer_is_said(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr(report_module, "_STATIC", tmp_path)
    with pytest.raises(
        FileFormatError, match=r"the viewer must lie in the package, got no view\.js"
    ):
        report_text(view(), "demo.toml")


def test_the_report_tells_which_row_nine_it_shows() -> None:
    sites = view().solved.sites
    assert row_nine_words(sites) in read().words
    assert any(rules_words(sites.rules) in said for said in read().words)
