"""Tables: safe in a spreadsheet, exact on the tape."""

import csv
import io

import numpy as np
import pytest

from headfit import Rules, load_template, place_sites
from headfit.anatomy.arcs import ARCS
from headfit.files.tables import cell, marks_tsv, site_rows, sites_tsv, tsv
from headfit.planning.displacement import displace
from headfit.planning.obstacles import disc


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text), delimiter="\t", strict=True))


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "|", "%"])
def test_text_that_a_spreadsheet_would_run_is_only_text(start: str) -> None:
    # OWASP, "CSV Injection": cells that begin with these are taken for formulas.
    assert cell(f"{start}cmd|' /C calc'!A0", 1).startswith("'")


def test_text_cannot_break_out_of_its_cell() -> None:
    (row,) = rows_of(tsv(["a", "b"], [["x\ty\r\nz\u2028\x00", "end"]]))
    assert row == {"a": "x y z", "b": "end"}


def test_text_behind_white_space_is_still_no_formula() -> None:
    assert cell("\t\r\n =1+1", 1) == "'=1+1"


def test_numbers_are_rounded_and_missing_ones_are_na() -> None:
    assert [cell(value, 1) for value in (1.25, -2.0, None, float("nan"), float("inf"), "")] == [
        "1.2",
        "-2.0",
        "n/a",
        "n/a",
        "n/a",
        "n/a",
    ]
    assert cell(-0.04, 1) == "0.0"


def test_marks_lie_on_the_tape_where_their_fraction_says() -> None:
    rows = rows_of(marks_tsv(place_sites(load_template(), "10-20")))
    midline = {row["site"]: row for row in rows if row["arc"] == "midline"}
    # Klem et al. 1999: 30 % of the nasion-inion arc from the nasion is Fz, 50 % Cz, 70 % Pz.
    assert {site: row["fraction"] for site, row in midline.items()} == {
        "Fz": "0.300",
        "Cz": "0.500",
        "Pz": "0.700",
    }
    length = float(midline["Cz"]["arc_cm"])
    for row in midline.values():
        expected = float(row["fraction"]) * length
        assert float(row["from_zero_cm"]) == pytest.approx(expected, abs=0.1)
    assert {(row["start"], row["end"]) for row in midline.values()} == {("nasion", "inion")}


def test_every_site_on_an_arc_is_marked_once_and_arcs_come_in_the_order_of_measuring() -> None:
    sites = place_sites(load_template(), "10-10")
    rows = rows_of(marks_tsv(sites))
    on_arcs = [name for name in sites.names if sites.arc_of(name)]
    assert sorted(row["site"] for row in rows) == sorted(on_arcs)
    order = [list(ARCS).index(row["arc"]) for row in rows]
    assert order == sorted(order)
    assert len(on_arcs) > 60


def test_the_site_table_holds_the_points_and_tells_where_no_arc_is() -> None:
    sites = place_sites(load_template(), "10-10", Rules(inner="parasagittal"))
    rows = {row["name"]: row for row in rows_of(sites_tsv(sites))}
    found = [[float(rows[name][axis]) for axis in "xyz"] for name in sites.names]
    np.testing.assert_allclose(found, sites.points_mm, atol=0.0005)
    assert rows["F3"]["arc"] == "left parasagittal"
    assert rows["A1"]["arc"] == rows["A1"]["from_start_mm"] == "n/a"


def test_without_spreads_a_row_ends_with_its_place() -> None:
    sites = place_sites(load_template(), ["Cz"])
    assert [len(row) for row in site_rows(sites)] == [7]


def test_a_site_that_must_stay_free_has_no_distance_but_says_where_it_goes() -> None:
    sites = place_sites(load_template(), "10-20")
    moved = displace(sites, [disc(sites, "C3", 10.0, "wound")])
    rows = [line.split("\t") for line in marks_tsv(sites, moved).splitlines()]
    notes = {row[5]: row[6:] for row in rows[1:]}
    for move in moved.moves:
        assert notes[move.site] == ["n/a", "n/a", "n/a", move.words]
    assert [move.site for move in moved.moves] == ["C3", "C4"]
    assert notes["F3"][3] == "n/a"
    assert notes["F3"][0] == "F7"
    assert float(notes["F3"][1]) > 0
