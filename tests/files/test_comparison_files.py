"""Comparisons as text: tables, JSON, and corrected marks that the BIDS validator passes."""

import csv
import io
import json
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from marked_heads import landmarks_of, slipped, template_sites, template_targets, three_of
from solids import turn

import headfit
from headfit import load_template
from headfit.comparing.compare import compare_marks
from headfit.comparing.comparison import Comparison
from headfit.files.comparison_files import (
    DEVIATION_HEADER,
    comparison_json,
    corrected_electrodes,
    deviations_tsv,
)
from headfit.files.marks_files import read_marks
from headfit.geometry.rigid import RigidMotion
from headfit.marks.marks import Marks
from headfit.marks.remarks import correction

SITES = template_sites("10-20")
TARGETS = template_targets("10-20")
HEAD = load_template()
DATA = Path(__file__).parents[1] / "data" / "marks"


@pytest.fixture(scope="module")
def comparison() -> Comparison:
    slip = slipped(TARGETS, np.random.default_rng(12))
    marks = Marks(
        TARGETS.names,
        slip.points_mm,
        landmarks_of(HEAD),
        source="marks.tsv",
        remarks=(correction("unit-wrong", "taken as cm", declared="mm"),),
    )
    return compare_marks(SITES, marks)


def test_deviations_are_a_table_with_a_row_for_each_site(comparison: Comparison) -> None:
    rows = list(csv.DictReader(io.StringIO(deviations_tsv(comparison)), delimiter="\t"))
    assert tuple(rows[0]) == DEVIATION_HEADER
    assert [row["name"] for row in rows] == list(comparison.names)
    for row, d in zip(rows, comparison.deviations, strict=True):
        assert float(row["along_mm"]) == pytest.approx(d.along_mm, abs=0.006)
        assert float(row["percent_of_arc"]) == pytest.approx(100 * d.fraction_of_arc, abs=0.006)  # type: ignore[operator]
        assert row["words"] == d.words
        assert row["uncertainty_mm"] == "n/a"
    told = {row["name"]: row["lies_at"] for row in rows if row["lies_at"] != "n/a"}
    (mixup,) = comparison.mixups
    assert told == mixup.renaming
    assert {row["name"] for row in rows if row["stands_out"] == "yes"} == set(comparison.stands_out)
    assert {row["judged"] for row in rows} <= {"within", "cannot be told", "off", "far off"}
    for row, d in zip(rows, comparison.deviations, strict=True):
        assert float(row["tolerance_mm"]) == pytest.approx(5.0 + d.uncertainty_mm, abs=0.01)


def test_json_holds_everything_and_is_the_same_each_time(comparison: Comparison) -> None:
    text = comparison_json(comparison, headfit.__version__)
    assert text == comparison_json(comparison, headfit.__version__)
    found = json.loads(text)
    assert found["version"] == headfit.__version__
    assert found["rules"] == {
        "curve": "plane",
        "inner": "row",
        "temporal": "coronal",
        "inferior": "row",
        "length": "taut",
    }
    assert [site["site"] for site in found["sites"]] == list(comparison.names)
    assert set(found["alignments"]) == {"landmarks", "best-fit", "robust"}
    assert comparison.common is not None
    np.testing.assert_allclose(
        found["common"]["pitch_roll_yaw_degrees"], comparison.common.turn_degrees, atol=6e-4
    )
    assert found["remarks"][0] == {
        "code": "unit-wrong",
        "kind": "correction",
        "sentence": "taken as cm",
        "evidence": {"declared": "mm"},
    }
    assert found["mixups"][0]["kind"] == "exchanged"
    assert {"moves", "own_moves", "pairs", "spacings", "verdict", "bands_mm"} <= set(found)


def test_a_mark_goes_back_to_its_place_in_the_file_by_the_alignment(comparison: Comparison) -> None:
    found = json.loads(comparison_json(comparison, "0"))
    by = found["alignments"]["landmarks"]
    rotation, shift = np.array(by["rotation"]), np.array(by["translation_mm"])
    slip = slipped(TARGETS, np.random.default_rng(12))
    placed = [site["mark_mm"] for site in found["sites"]]
    np.testing.assert_allclose(slip.points_mm @ rotation.T + shift, placed, atol=0.15)


def test_corrected_marks_are_read_again_without_any_correction(tmp_path: Path) -> None:
    turned = RigidMotion(turn(3), [10.0, 20.0, 30.0])
    marks = read_marks(DATA / "dirty/marks.csv").moved(turned)
    texts = corrected_electrodes(marks)
    for suffix, text in texts.items():
        (tmp_path / f"sub-01_{suffix}").write_text(text)
    again = read_marks(tmp_path / "sub-01_electrodes.tsv", strict=True)
    assert again.remarks == ()
    assert again.names == marks.names
    assert marks.frame is not None
    np.testing.assert_allclose(again.points_mm, marks.frame.on(marks.points_mm), atol=6e-4)
    told = json.loads(texts["coordsystem.json"])
    assert "T3 is T7" in told["EEGCoordinateSystemDescription"]
    assert told["EEGCoordinateSystem"] == "CapTrak"


def test_without_landmarks_the_frame_is_that_of_the_file_and_none_are_written() -> None:
    texts = corrected_electrodes(Marks(SITES.names, SITES.points_mm))
    told = json.loads(texts["coordsystem.json"])
    assert told["EEGCoordinateSystem"] == "Other"
    assert "AnatomicalLandmarkCoordinates" not in told
    assert "nothing changed" in told["EEGCoordinateSystemDescription"]


def test_a_landmark_on_an_axis_is_written_without_the_sign_of_a_rounding_error() -> None:
    on_axes = 0
    for seed in range(6):
        moved = RigidMotion(turn(seed), [10.0, 20.0, 30.0])
        marks = Marks(SITES.names, SITES.points_mm, three_of(HEAD)).moved(moved)
        text = corrected_electrodes(marks)["coordsystem.json"]
        on_axes += text.count(" 0.0")
        assert "-0.0" not in text
    assert on_axes == 6 * 6


def test_hostile_names_are_made_harmless() -> None:
    marks = Marks(("Cz",), [[0.0, 0, 130]], three_of(HEAD), ("=1+1", "=1+1"), np.ones((2, 3)))
    names = [
        line.split("\t")[0] for line in corrected_electrodes(marks)["electrodes.tsv"].splitlines()
    ]
    assert names == ["name", "Cz", "'=1+1", "'=1+1_2"]


def test_the_bids_validator_passes_corrected_marks(tmp_path: Path) -> None:
    # The validator of the standard (bids-validator-deno), run on a small data set.
    texts = corrected_electrodes(read_marks(DATA / "dirty/marks.csv"))
    folder = tmp_path / "sub-01" / "eeg"
    folder.mkdir(parents=True)
    for suffix, text in texts.items():
        (folder / f"sub-01_acq-corrected_{suffix}").write_text(text)
    about = {
        "Name": "Invented marks",
        "BIDSVersion": "1.11.0",
        "DatasetType": "derivative",
        "License": "CC0",
        "Authors": ["A. Nobody", "B. Nobody"],
        "HEDVersion": "8.3.0",
        "GeneratedBy": [{"Name": "headfit"}],
        "SourceDatasets": [{"URL": "file:///invented"}],
    }
    (tmp_path / "dataset_description.json").write_text(json.dumps(about))
    (tmp_path / "README.md").write_text(
        "Invented marks for a test, no real person was measured. " * 4
    )
    validator = Path(sys.executable).with_name("bids-validator-deno")
    done = subprocess.run(
        [str(validator), str(tmp_path), "--format", "json"],
        check=False,
        capture_output=True,
        text=True,
        timeout=120,
    )
    issues = json.loads(done.stdout)["issues"]["issues"]
    assert [i for i in issues if i["severity"] == "error"] == []
