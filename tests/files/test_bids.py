"""The BIDS dataset, judged by the validator of the standard."""

import csv
import dataclasses
import io
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bids_judge import issues_of
from demo_case import demo_result

from headfit.anatomy.sites import row_nine_words
from headfit.case.case import Case
from headfit.case.solved import solve_case
from headfit.files.bids import bids_files
from headfit.files.landmark_files import read_landmarks
from headfit.files.whole import write_new_folder
from headfit.planning.displacement import displace
from headfit.planning.obstacles import disc

STEM = "sub-01/eeg/sub-01_acq-tape"


def dataset(case: Case | None = None) -> dict[str, str]:
    return bids_files(demo_result() if case is None else solve_case(case))


HOSTILE = '"},\n\t=HYPERLINK("x") <b>Zoë\u202e'


@pytest.mark.parametrize("label", ["Demo", HOSTILE, ""])
def test_the_validator_has_nothing_to_say(tmp_path: Path, label: str) -> None:
    case = dataclasses.replace(demo_result().case, label=label, measured_by=label)
    assert issues_of(write_new_folder(tmp_path / "bids", dataset(case))) == []


def test_the_validator_would_have_noticed(tmp_path: Path) -> None:
    files = dataset()
    del files[f"{STEM}_coordsystem.json"]
    table = files[f"{STEM}_electrodes.tsv"]
    files[f"{STEM}_electrodes.tsv"] = table.replace("name\tx", "x\tname", 1)
    codes = {
        code
        for severity, code in issues_of(write_new_folder(tmp_path / "bids", files))
        if severity == "error"
    }
    assert codes


def electrodes(files: dict[str, str] | None = None) -> list[dict[str, str]]:
    text = (files or dataset())[f"{STEM}_electrodes.tsv"]
    return list(csv.DictReader(io.StringIO(text), delimiter="\t", strict=True))


def test_every_site_is_there_in_millimetres_of_the_head_frame() -> None:
    sites = demo_result().sites
    rows = electrodes()
    assert [row["name"] for row in rows] == list(sites.names)
    found = [[float(row[axis]) for axis in "xyz"] for row in rows]
    np.testing.assert_allclose(found, sites.points_mm, atol=0.005)


def test_every_row_says_predicted_and_every_extra_column_is_described() -> None:
    rows = electrodes()
    assert {row["status"] for row in rows} == {"predicted"}
    described = json.loads(dataset()[f"{STEM}_electrodes.json"])
    assert set(rows[0]) - {"name", "x", "y", "z"} == set(described) - {"Description"}
    assert "not measured" in described["Description"]
    for row, (major, minor, _) in zip(rows, demo_result().spreads.ellipses_mm, strict=True):
        if row["name"] in ("A1", "A2", "M1", "M2"):  # set by eye: no ring tells how sure that is
            assert row["sure_major_mm"] == row["sure_minor_mm"] == "n/a"
            continue
        assert float(row["sure_major_mm"]) == pytest.approx(major, abs=0.005)
        assert float(row["sure_minor_mm"]) == pytest.approx(minor, abs=0.005)


def test_the_landmarks_are_read_back_by_our_own_reader(tmp_path: Path) -> None:
    folder = write_new_folder(tmp_path / "bids", dataset())
    found = read_landmarks(folder / f"{STEM}_coordsystem.json")
    expected = demo_result().fitted.head.landmarks
    np.testing.assert_allclose(found.points_mm, expected.points_mm, atol=0.005)


def test_the_frame_is_that_of_the_keyword() -> None:
    # BIDS 1.11, "CapTrak": right-anterior-superior, origin about midway between LPA and RPA, +x
    # through RPA, the nasion in the plane of x and y.
    system: dict[str, Any] = json.loads(dataset()[f"{STEM}_coordsystem.json"])
    assert system["EEGCoordinateSystem"] == "CapTrak"
    points = system["AnatomicalLandmarkCoordinates"]
    assert points["RPA"][0] == -points["LPA"][0] > 50
    assert points["RPA"][1:] == points["LPA"][1:] == [0.0, 0.0]
    assert points["NAS"][2] == 0.0 < points["NAS"][1]
    assert abs(points["NAS"][0]) < 1.0


def test_invented_data_are_marked_and_licensed_and_real_ones_are_not() -> None:
    files = dataset()
    assert "invented" in files["README.md"]
    assert json.loads(files["dataset_description.json"])["License"] == "CC0"
    real = dataset(dataclasses.replace(demo_result().case, invented=False))
    assert "invented" not in real["README.md"]
    assert json.loads(real["dataset_description.json"])["License"] != "CC0"


def test_the_readme_tells_which_row_nine_it_is_when_there_is_one() -> None:
    said = row_nine_words(demo_result().sites)
    assert said
    assert said in dataset()["README.md"]
    result = demo_result()
    small = dataset(dataclasses.replace(result.case, system="10-20"))
    assert "Row 9/10" not in small["README.md"]


def test_a_site_that_was_moved_or_left_out_is_not_given_at_its_own_place(tmp_path: Path) -> None:
    sites = demo_result().sites
    wound = disc(sites, "C3", 12.0, "wound")
    found = displace(sites, [wound])
    assert found.moves
    gone = found.moves[-1].site
    moved = dataclasses.replace(
        found, moves=found.moves[:-1], left_out={gone: f"{gone} is left out."}
    )
    solved = dataclasses.replace(demo_result())
    vars(solved)["displacement"] = moved  # as if one had found no place
    files = bids_files(solved)
    rows = {row["name"]: row for row in electrodes(files)}
    for move in moved.moves:
        row = rows[move.site]
        point = np.array([float(row[axis]) for axis in "xyz"])
        np.testing.assert_allclose(point, move.point_mm, atol=0.005)
        assert not wound.covers(point[None])[0]
        assert (row["status"], row["arc"], row["sure_major_mm"]) == ("moved", "n/a", "n/a")
        assert move.words in files["README.md"]
    assert [rows[gone][key] for key in ("x", "y", "z", "status")] == ["n/a"] * 3 + ["left_out"]
    assert rows["Cz"]["status"] == "predicted"
    assert issues_of(write_new_folder(tmp_path / "bids", files)) == []
