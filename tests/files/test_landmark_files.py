"""Landmark files: our own JSON and a BIDS coordsystem.json."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from headfit.anatomy.landmarks import NAMES, Landmarks
from headfit.errors import FileFormatError, LandmarkError, UnitError
from headfit.files.landmark_files import landmarks_json, read_json, read_landmarks

POINTS = {
    "nasion": [0.0, 97.0, 0.0],
    "inion": [0.5, -92.25, 8.0],
    "left_preauricular": [-74.0, 0.0, 0.0],
    "right_preauricular": [74.0, 0.0, 0.0],
}
OURS: dict[str, Any] = {"unit": "mm", **POINTS}
# The keys of the specification, BIDS 1.11, "Landmark coordinates"; INI is not among them.
BIDS: dict[str, Any] = {
    "EEGCoordinateSystem": "CapTrak",
    "EEGCoordinateUnits": "cm",
    "AnatomicalLandmarkCoordinates": {
        "NAS": [0.0, 0.097, 0.0],
        "LPA": [-0.074, 0.0, 0.0],
        "RPA": [0.074, 0.0, 0.0],
        "INI": [0.0005, -0.09225, 0.008],
    },
    "AnatomicalLandmarkCoordinateSystem": "CapTrak",
    "AnatomicalLandmarkCoordinateUnits": "m",
}


def written(folder: Path, content: object) -> Path:
    path = folder / "marks.json"
    path.write_text(content if isinstance(content, str) else json.dumps(content))
    return path


def without(content: dict[str, Any], *keys: str) -> dict[str, Any]:
    found = json.loads(json.dumps(content))
    inner = found
    for key in keys[:-1]:
        inner = inner[key]
    del inner[keys[-1]]
    return dict(found)


@pytest.mark.parametrize("content", [OURS, BIDS], ids=["ours", "coordsystem.json"])
def test_both_kinds_give_the_points_in_millimetres(tmp_path: Path, content: object) -> None:
    found = read_landmarks(written(tmp_path, content))
    np.testing.assert_allclose(found.points_mm, [POINTS[name] for name in NAMES], atol=1e-9)


def test_the_unit_of_the_landmarks_counts_not_that_of_the_electrodes(tmp_path: Path) -> None:
    found = read_landmarks(written(tmp_path, BIDS))
    assert found.nasion[1] == pytest.approx(97.0)


@pytest.mark.parametrize("key", ["Iz", "inion", "INION"])
def test_the_inion_has_no_keyword_in_bids_and_is_found_by_several_names(
    tmp_path: Path, key: str
) -> None:
    content = without(BIDS, "AnatomicalLandmarkCoordinates", "INI")
    content["AnatomicalLandmarkCoordinates"][key] = [0.0, -0.09, 0.0]
    assert read_landmarks(written(tmp_path, content)).inion[1] == pytest.approx(-90.0)


def test_a_byte_order_mark_is_no_obstacle(tmp_path: Path) -> None:
    path = tmp_path / "marks.json"
    path.write_bytes(b"\xef\xbb\xbf" + json.dumps(OURS).encode())
    assert read_landmarks(path).nasion[1] == 97.0


def test_what_is_written_is_read_back_to_a_hundredth(tmp_path: Path) -> None:
    marks = Landmarks(*(np.array(POINTS[name]) + 1 / 3 for name in NAMES))
    text = landmarks_json(marks)
    assert json.loads(text)["unit"] == "mm"
    found = read_landmarks(written(tmp_path, text))
    np.testing.assert_allclose(found.points_mm, marks.points_mm, atol=0.005)
    assert not np.array_equal(found.points_mm, marks.points_mm)


WRONG: dict[str, tuple[object, type[Exception], str]] = {
    "no inion": (
        without(OURS, "inion"),
        LandmarkError,
        r"the inion must be given as 'inion', got only 'unit', 'nasion', .* \(a landmark is never",
    ),
    "no inion in BIDS": (
        without(BIDS, "AnatomicalLandmarkCoordinates", "INI"),
        LandmarkError,
        r"the inion must be given as 'INI' or 'Iz' or 'inion', got only 'NAS', 'LPA', 'RPA'",
    ),
    "nothing at all": ({}, LandmarkError, "the nasion must be given as 'nasion', got only nothing"),
    "no unit": (without(OURS, "unit"), UnitError, r'must name their unit, got none \(write "unit"'),
    "no unit in BIDS": (
        without(BIDS, "AnatomicalLandmarkCoordinateUnits"),
        UnitError,
        r'landmarks must name their unit, got none \(write "AnatomicalLandmarkCoordinateUnits"',
    ),
    "odd unit": (OURS | {"unit": "ells"}, UnitError, "must be one of mm, cm, m, inch, got 'ells'"),
    "unit that is no text": (OURS | {"unit": ["mm"]}, UnitError, "must be one of mm, cm, m, inch"),
    "two numbers": (
        OURS | {"inion": [1, 2]},
        LandmarkError,
        r"the inion must be three numbers \[x, y, z\], got \[1, 2\]",
    ),
    "text for a point": (
        OURS | {"inion": "n/a " * 20},
        LandmarkError,
        r"the inion must be three numbers \[x, y, z\], got \"n/a n/a .*\.\.\.",
    ),
    "text for a number": (
        OURS | {"inion": [1, 2, "n/a"]},
        UnitError,
        "the inion must be a finite number, got 'n/a'",
    ),
    "metres declared as millimetres": (
        OURS | {name: [x / 1000 for x in point] for name, point in POINTS.items()},
        LandmarkError,
        r"must be at least 20 mm apart, got 0.\d mm \(are these metres or centimetres\?\)",
    ),
    "landmarks of BIDS that are no object": (
        BIDS | {"AnatomicalLandmarkCoordinates": None},
        LandmarkError,
        "AnatomicalLandmarkCoordinates must be an object of named points, got a null",
    ),
    "NaN": (
        json.dumps(OURS).replace("97.0", "NaN"),
        FileFormatError,
        r"every number must be finite, got NaN \(leave out what is not known\)",
    ),
    "a name twice": (
        json.dumps(OURS).replace('"inion"', '"nasion"'),
        FileFormatError,
        "every name must stand once, got 'nasion' twice",
    ),
    "no JSON": (
        '{"unit": "mm",\n "nasion": [0, 1,]}',
        FileFormatError,
        r"the file must be JSON, got .* \(line 2, column \d+\)",
    ),
    "a list": ("[1, 2]", FileFormatError, "must hold one JSON object {...}, got a list"),
    "nested without end": ("[" * 100_000, FileFormatError, "be JSON that a person could have"),
    "a number without end": (
        '{"unit": ' + "9" * 10_000 + "}",
        FileFormatError,
        "be JSON that a person could have",
    ),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_said_in_one_sentence_with_the_file(tmp_path: Path, case: str) -> None:
    content, kind, sentence = WRONG[case]
    path = written(tmp_path, content)
    with pytest.raises(kind, match=rf"(?s)^marks\.json: .*{sentence}"):
        read_landmarks(path)


def test_every_kind_of_json_has_a_word(tmp_path: Path) -> None:
    for text, word in (("1", "number"), ("true", "truth value"), ('"x"', "text"), ("null", "null")):
        with pytest.raises(FileFormatError, match=f"got a {word}"):
            read_json(written(tmp_path, text))
