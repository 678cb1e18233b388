"""Tables: one rounding for all, and no text of a person ends in the page as anything but text."""

import xml.etree.ElementTree as ET

import pytest

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
