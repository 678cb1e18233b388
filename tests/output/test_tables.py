"""Tables: one rounding for all, and no text of a person ends in the page as anything but text."""

import xml.etree.ElementTree as ET

import pytest
from demo_case import TEXT, solved_text

from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.case_view import CaseView
from headfit.output.tables import Column, Row, Table, mm, table_html
from headfit.units import cm

HOSTILE = "<b>&\"'</td>"


@pytest.mark.parametrize(
    ("length_mm", "text"), [(181.4, "18.1"), (0.0, "0.0"), (None, ""), (99.96, "10.0")]
)
def test_tape_lengths_are_centimetres_to_the_millimetre(length_mm: float, text: str) -> None:
    assert cm(length_mm) == text


@pytest.mark.parametrize(("length_mm", "text"), [(3.6, "4"), (-0.2, "0"), (-3.6, "-4"), (None, "")])
def test_small_lengths_are_whole_millimetres(length_mm: float, text: str) -> None:
    assert mm(length_mm) == text


def test_hostile_text_stays_text_in_every_place_of_a_table() -> None:
    table = Table(
        HOSTILE,
        HOSTILE,
        (Column(HOSTILE, HOSTILE), Column("n", number=True)),
        (Row((HOSTILE,), heading=True), Row((HOSTILE, HOSTILE), HOSTILE)),
    )
    page = ET.fromstring(table_html(table))
    assert not list(page.iter("b"))
    assert page.get("id") == f"table-{HOSTILE}"
    texts = [element.text for element in page.iter() if element.text]
    assert texts.count(HOSTILE) == 5  # caption, title with its unit, heading, two cells
    assert [unit.text for unit in page.iter("span")] == [HOSTILE]
    heading, row = page.findall("tbody/tr")
    assert heading.find("th").get("colspan") == "2"  # type: ignore[union-attr]
    assert row.get("data-site") == HOSTILE
    assert row.find("td").get("class") == "number"  # type: ignore[union-attr]


def test_old_names_stand_beside_the_new_ones_until_they_are_switched_off() -> None:
    text = TEXT + '\n[derivations]\nset = "longitudinal"\n'
    shown, hidden = (
        CaseView(solved_text(t)).tables
        for t in (text, text.replace("[case]", "[case]\nold_names = false"))
    )
    cells = {row.site: row.cells[0] for row in shown["sites"].rows if row.site}
    assert {cells[n] for n in ("T7", "T8", "P7", "P8", "Cz")} == {
        "T7 (T3)",
        "T8 (T4)",
        "P7 (T5)",
        "P8 (T6)",
        "Cz",
    }
    assert "T7-P7 (T3–T5)" in {row.cells[0] for row in shown["derivations"].rows}
    assert all(row.cells[0] == row.site for row in hidden["sites"].rows if row.site)
    assert "T7-P7" in {row.cells[0] for row in hidden["derivations"].rows}


def test_rows_tell_what_was_read_from_what_is_predicted() -> None:
    rows = CaseView(solved_text(TEXT)).tables["sites"].rows
    headings = {row.cells[0].partition(":")[0]: row for row in rows if row.heading}
    assert headings["Midline"].state == "own"
    assert "■" in headings["Midline"].cells[0]
    assert headings["Row FC"].state == "predicted"
    assert "≈" in headings["Row FC"].cells[0]
    assert "±" in headings["Row FC"].cells[0]
    html = table_html(CaseView(solved_text(TEXT)).tables["sites"])
    assert '<tr class="heading predicted">' in html
    assert '<tr data-site="Cz" class="own">' in html


def test_a_wrong_reading_looks_wrong_in_the_table() -> None:
    """Seen: a ring of 50.9 for 54.5 showed a difference of some mm and nothing else."""
    text = TEXT.replace("ring = [54.5, 54.9]", "ring = 49.7")
    assert text != TEXT
    view = CaseView(solved_text(text))
    rows = {row.cells[0]: row for row in view.tables["sheet"].rows}
    (name,) = view.doubted
    assert rows[MEASUREMENTS[name].title].state == "doubtful"
    assert rows[MEASUREMENTS[name].title].cells[-1] == "? doubtful"
    assert sum(row.state == "doubtful" for row in rows.values()) == 1


def test_the_marks_from_which_the_ring_is_laid_are_listed() -> None:
    """Seen: in 10-20 the app and the report never said where Fpz and Oz are, though the ring is
    laid through them."""
    table = CaseView(solved_text(TEXT.replace('"10-10"', '"10-20"'))).tables["sites"]
    rows = {row.cells[0]: row for row in table.rows}
    midline = 36.6  # as read
    for name, share in (("Fpz", 0.1), ("Oz", 0.9)):  # Klem et al. 1999
        assert rows[name].cells[1] == f"{share * midline:.1f}"
        assert rows[name].state == "stroke"
        assert "no cup" in rows[name].cells[-1]
        assert len(rows[name].cells) == len(table.columns)
