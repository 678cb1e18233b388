"""What DEVELOPERS.md tells to add is enough: a site, a measurement, a format, added once here."""

from __future__ import annotations

import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from headfit import FittedHead, Tape, fit_head, load_template, place_sites, read_marks
from headfit.anatomy import site_table
from headfit.anatomy.site_table import OnArc
from headfit.app.marks_files import checked_marks
from headfit.app.state import start_data
from headfit.files.case_file import case_of_text
from headfit.files.formats import FORMATS, Format
from headfit.files.tables import marks_tsv, sites_tsv
from headfit.fitting.measurements import GROUPS, MEASUREMENTS
from headfit.marks.as_written import GivenMarks


def fitted() -> FittedHead:
    return fit_head(Tape(nasion_inion_mm=360, preauricular_arc_mm=355, ring_mm=560))


def test_a_site_is_one_entry_of_the_table(monkeypatch: pytest.MonkeyPatch) -> None:
    """Half way between Fz and Cz, which no system names."""
    place = OnArc("midline", 0.4, "invented for this test")
    monkeypatch.setitem(site_table.TABLE, "Halfway", place)
    head = fitted()
    sites = place_sites(head, ["Fz", "Halfway", "Cz"])
    run = sites.tracer.run("midline")
    # A closed form: the tape from Fz to it is as long as from it to Cz.
    at = [run.distance_mm(fraction) for fraction in (0.3, 0.4, 0.5)]
    assert at[1] - at[0] == pytest.approx(at[2] - at[1], abs=1e-9)
    np.testing.assert_allclose(sites["Halfway"], run.point_mm(0.4), atol=1e-9)
    assert head.spreads(sites).ellipses_mm[1, 0] > 0
    assert "Halfway" in sites_tsv(sites)
    assert "Halfway" in marks_tsv(sites)


def test_every_measurement_is_known_to_sheet_case_file_fit_and_form() -> None:
    """Whatever `MEASUREMENTS` declares; the four chords over the face were added so."""
    head = fitted()
    grouped = [name for names in GROUPS.values() for name in names]
    shown = [m["name"] for group in start_data()["groups"] for m in group["measurements"]]
    assert sorted(MEASUREMENTS) == sorted(grouped) == sorted(shown)
    for name, kind in MEASUREMENTS.items():
        value = head.predicted_mm[name]
        assert kind.lowest_mm < value < kind.highest_mm
        case = case_of_text(f'[tape]\nunit = "mm"\n{name} = {value:.1f}', Path())
        assert case.tape is not None
        assert case.tape.values_mm == {name: round(value, 1)}
        again = fit_head(case.tape)
        assert again.residuals_mm[name] == pytest.approx(0.0, abs=0.5)


def test_a_format_of_marks_is_a_reader_and_one_line_of_the_list(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A made-up format: name=x/y/z, in mm, between semicolons."""

    def parse(text: str, source: str) -> GivenMarks:
        pairs = [entry.split("=") for entry in text.split(";")]
        places = np.array([[float(number) for number in place.split("/")] for _, place in pairs])
        return GivenMarks(source, tuple(name for name, _ in pairs), places, unit="mm")

    module = ModuleType("marks_by_semicolon")
    module.__dict__["parse"] = parse
    monkeypatch.setitem(sys.modules, "marks_by_semicolon", module)
    added = Format("marks", (".semi",), "marks_by_semicolon:parse")
    monkeypatch.setattr("headfit.files.formats.FORMATS", [*FORMATS, added])
    sites = place_sites(load_template())
    text = ";".join(f"{name}={x}/{y}/{z}" for name, (x, y, z) in sites.items())
    file = tmp_path / "head.semi"
    file.write_text(text, encoding="utf-8")
    marks = read_marks(file)
    assert marks.names == sites.names
    np.testing.assert_allclose(marks.points_mm, sites.points_mm, atol=1e-9)
    with checked_marks([{"name": file.name, "text": text}]) as (_, name):  # the app takes it too
        assert name == file.name
