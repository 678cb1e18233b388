"""One case through every door: Python, command line, app over HTTP, report, sheet: one answer.

The case has a place that must stay free, marks that are off, an alignment and bands of its own, and
derivations; every door must give the same sites, spreads, moves, comparison and sentences.
"""

from __future__ import annotations

import csv
import io
import json
import pickle
import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from demo_case import TEXT
from dirty_marks import dirty_marks
from running_app import RunningApp, running

from headfit.case.solved import SolvedCase, solve_case
from headfit.case.summary import summarise
from headfit.comparing.verdict import verdict
from headfit.files.bids_record import read_record
from headfit.files.case_file import case_of_text, read_case
from headfit.output.case_report import report_text
from headfit.output.case_sheet import sheet_content
from headfit.output.case_view import CaseView

CASE = f"""{TEXT}
[marks]
file = "marks.tsv"
align = "best-fit"
bands_mm = [4, 9]

[[free]]
site = "P3"
radius_mm = 14
reason = "wound"

[derivations]
set = "longitudinal"

[record.reference]
place = "CPz"
impedance_kohm = 3

[[record.sites]]
name = "F3"
impedance_kohm = 4

[[record.sites]]
name = "F4"
impedance_kohm = 14
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("case")
    (place / "case.toml").write_text(CASE, encoding="utf-8")
    (place / "marks.tsv").write_text(dirty_marks(), encoding="utf-8")
    return place


@pytest.fixture(scope="module")
def solved(folder: Path) -> SolvedCase:
    return solve_case(read_case(folder / "case.toml"))


@pytest.fixture(scope="module")
def state(folder: Path) -> Iterator[tuple[RunningApp, dict[str, Any]]]:
    with running(folder / "case.toml") as app:
        yield app, app.get("state")


def printed(*arguments: object) -> dict[str, Any]:
    """What a command prints for a machine, in a process of its own, as in a terminal."""
    words = [sys.executable, "-m", "headfit", *map(str, arguments), "--json"]
    done = subprocess.run(words, capture_output=True, text=True, encoding="utf-8", check=True)
    found = json.loads(done.stdout)
    assert isinstance(found, dict)
    return found


def test_the_case_is_no_easy_one(solved: SolvedCase) -> None:
    assert solved.displacement is not None
    assert {move.site for move in solved.displacement.moves} == {"P3", "P4"}
    assert solved.comparison is not None
    assert solved.comparison.aligned_by == "best-fit"
    assert any(d.band for d in solved.comparison.deviations)


def test_sites_spreads_moves_and_sentences_are_the_same(
    folder: Path, solved: SolvedCase, state: tuple[RunningApp, dict[str, Any]], tmp_path: Path
) -> None:
    app, page = state
    told = printed("fit", folder / "case.toml", "-o", tmp_path / "out", "--no-picture")
    assert [site["name"] for site in told["sites"]] == list(solved.sites.names)
    np.testing.assert_allclose(
        [site["point_mm"] for site in told["sites"]], solved.sites.points_mm, atol=0.0006
    )
    assert solved.spreads is not None
    for site, (major, _, _) in zip(told["sites"], solved.spreads.ellipses_mm, strict=True):
        if site["name"] not in ("M1", "M2") and site["name"] not in ("A1", "A2"):
            assert site["ellipse_95"]["major_mm"] == pytest.approx(major, abs=0.0006)
    moved = solved.displacement.points_mm if solved.displacement else {}
    for site in page["scene"]["sites"]:
        at = moved[site["name"]] if site["name"] in moved else solved.sites[site["name"]]
        np.testing.assert_allclose(site["point_mm"], at, atol=0.006)
    assert page["sentences"]["free"] == told["free"] == list(solved.free_sentences)
    said = list(solved.advice_sentences)
    assert said[0].startswith("Inion doubtful: ")
    assert page["sentences"]["advice"] == told["advice"]["sentences"] == said
    assert summarise(solved).sentences == tuple(said)
    sheet = sheet_content(solved)
    assert said[: len(sheet.warnings)] == list(sheet.warnings) == [said[0]]
    with zipfile.ZipFile(io.BytesIO(app.fetch("export?kind=bids"))) as archive:
        for name in archive.namelist():
            assert archive.read(name) == (tmp_path / "out" / name).read_bytes()


def test_the_set_up_record_is_the_same(
    folder: Path, solved: SolvedCase, state: tuple[RunningApp, dict[str, Any]], tmp_path: Path
) -> None:
    app, page = state
    said = list(solved.record_sentences)
    assert "F4 14 kΩ" in said[0]
    assert page["sentences"]["record"] == said
    printed_ = printed("record", folder / "case.toml", "-o", tmp_path / "record.pdf")
    assert printed_["record"] == said
    told = printed("fit", folder / "case.toml", "-o", tmp_path / "out", "--no-picture")
    assert told["record"] == said
    report = report_text(CaseView(solved), "case.toml")
    assert all(sentence in report for sentence in said)
    table = next((tmp_path / "out" / "bids").rglob("*_electrodes.tsv"))
    assert read_record(table) == solved.case.record
    exported = app.fetch("export?kind=case").decode()
    assert case_of_text(exported, folder).record == solved.case.record


def test_the_comparison_is_the_same(
    folder: Path, solved: SolvedCase, state: tuple[RunningApp, dict[str, Any]], tmp_path: Path
) -> None:
    _, page = state
    command = page["commands"]["compare"]
    assert command.startswith("headfit compare case.toml marks.tsv -o ")
    told = printed(
        "compare",
        folder / "case.toml",
        folder / "marks.tsv",
        "-o",
        tmp_path / "compared",
        "--no-picture",
    )["comparison"]
    own = solved.comparison
    assert own is not None
    assert (told["aligned_by"], told["bands_mm"]) == (own.aligned_by, list(own.bands_mm))
    assert told["verdict"] == verdict(own)
    assert verdict(own) in page["sentences"]["comparison"][0]
    assert verdict(own).replace("&", "&amp;") in report_text(CaseView(solved), "case.toml")
    over = {site["site"]: site["over_scalp_mm"] for site in told["sites"]}
    assert over == {d.site: round(d.over_scalp_mm, 3) for d in own.deviations}
    drawn = {site["name"]: site["deviation_mm"] for site in page["scene"]["sites"]}
    for name, size in over.items():
        assert drawn[name] == pytest.approx(size, abs=0.006)


def test_what_fit_wrote_is_right_to_compare(folder: Path, tmp_path: Path) -> None:
    """A moved site is judged where it was moved to, never sent back into the wound."""
    printed("fit", folder / "case.toml", "-o", tmp_path / "out", "--no-picture")
    table = next((tmp_path / "out" / "bids").rglob("*_electrodes.tsv"))
    rows = csv.DictReader(io.StringIO(table.read_text(encoding="utf-8")), delimiter="\t")
    statuses = {row["name"]: row["status"] for row in rows}
    assert statuses["P3"] == statuses["P4"] == "moved"
    found = printed(
        "compare", folder / "case.toml", table, "-o", tmp_path / "again", "--no-picture"
    )["comparison"]
    assert {site["site"] for site in found["sites"]} >= {"P3", "P4", "Cz"}
    assert max(site["over_scalp_mm"] for site in found["sites"]) < 0.1
    assert found["moves"] == []


def test_the_command_that_the_app_names_makes_the_same_report(
    folder: Path, state: tuple[RunningApp, dict[str, Any]], monkeypatch: pytest.MonkeyPatch
) -> None:
    app, page = state
    monkeypatch.chdir(folder)
    for kind in ("report", "sheet"):
        words = page["commands"][kind].split()
        printed(*words[1:])
        made = (folder / words[-1]).read_bytes()
        assert made == app.fetch(f"export?kind={kind}")
        (folder / words[-1]).unlink()


def test_a_summary_is_small_and_tells_the_same(solved: SolvedCase, folder: Path) -> None:
    twenty = CASE.replace('system = "10-10"', 'system = "10-20"')
    (folder / "twenty.toml").write_text(twenty, encoding="utf-8")
    row = summarise(solve_case(read_case(folder / "twenty.toml")))
    packed = pickle.dumps(row)
    assert len(packed) <= 20_000
    again = pickle.loads(packed)
    assert again.sentences == row.sentences
    moved = solved.displacement.points_mm if solved.displacement else {}
    for name, point in zip(again.site_names, again.points_mm, strict=True):
        expected = moved.get(name, solved.sites[name])
        np.testing.assert_allclose(point, expected, atol=1e-4)
    assert solved.comparison is not None
    assert again.compared.verdict == verdict(solved.comparison)


def test_a_case_and_its_solution_can_be_sent_to_another_process(solved: SolvedCase) -> None:
    again = pickle.loads(pickle.dumps(solved.case))
    twice = solve_case(again)
    assert np.array_equal(twice.sites.points_mm, solved.sites.points_mm)
    whole = pickle.loads(pickle.dumps(solved))
    assert np.array_equal(whole.sites.points_mm, solved.sites.points_mm)
    assert whole.spreads is not None
    assert solved.spreads is not None
    # Caches are left out of a pickle and computed again: slopes of a re-made head, not its bytes.
    np.testing.assert_allclose(whole.spreads.ellipses_mm, solved.spreads.ellipses_mm, atol=1e-6)
    assert verdict(whole.comparison) == verdict(solved.comparison)  # type: ignore[arg-type]
    assert re.fullmatch(r"<SolvedCase '.{1,60}': 10-10 on a head from its tape>", repr(solved))
