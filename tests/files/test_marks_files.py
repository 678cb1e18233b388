"""Files of marks: invented imitations of what real ones hold, and whatever else may lie there."""

import json
import os
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from mark_files import CENTIMETRES, DATA, DECLARED, GOOD, LANDMARKS, METRES, SITES, bids, written

from headfit.comparing.compare import compare_marks
from headfit.errors import FileFormatError, HeadfitError, MarksError, UnitError
from headfit.files.coordsystem import find_coordsystem
from headfit.files.limits import MARKS_BYTES
from headfit.files.marks_files import read_marks
from headfit.files.marks_json import place_of
from headfit.files.marks_table import MOST_ROWS
from headfit.marks.marks import Marks


def codes(marks: Marks) -> list[str]:
    return [remark.code for remark in marks.remarks]


# What the invented files of tests/data/marks hold, see the README there.


def test_a_clean_file_in_metres_leaves_notes_only() -> None:
    marks = read_marks(METRES, strict=True)
    assert codes(marks) == ["byte-order-mark", "columns-extra", "place-missing"]
    assert len(marks) == 32
    assert marks["Cz"][2] == pytest.approx(134.0, abs=6.0)
    assert marks.landmarks["nasion"] == pytest.approx([0.0, 95.4, 0.0], abs=1.0)


def test_wrong_units_and_an_inherited_coordsystem_are_found() -> None:
    marks = read_marks(CENTIMETRES)
    assert codes(marks) == ["place-missing", "landmark-respelled", "unit-wrong", "names-not-sites"]
    wrong = marks.remarks[2]
    assert (wrong.evidence["declared"], wrong.evidence["taken"]) == ("mm", "cm")
    assert marks.landmarks["nasion"] == pytest.approx([0.0, 95.4, 0.0], abs=1.0)
    assert (len(marks), len(marks.other_names)) == (0, 71)
    with pytest.raises(
        MarksError, match="got none: its 71 marks are named EEG001, EEG002, EEG003 and 68 more"
    ):
        compare_marks(SITES, marks)
    with pytest.raises(MarksError, match="must need no correction"):
        read_marks(CENTIMETRES, strict=True)


def test_without_coordsystem_the_unit_is_deduced_and_no_landmark_invented() -> None:
    path = DATA / "centimetres/sub-03/eeg/sub-03_task-rest_run-1_electrodes.tsv"
    marks = read_marks(path)
    assert codes(marks) == [
        "coordsystem-missing",
        "place-missing",
        "unit-deduced",
        "axes-unknown",
        "landmarks-missing",
        "names-not-sites",
    ]
    assert dict(marks.landmarks) == {}


def test_lettered_names_are_refused_by_name() -> None:
    marks = read_marks(DATA / "lettered/sub-01/eeg/sub-01_electrodes.tsv")
    assert (len(marks), len(marks.other_names)) == (0, 128)
    assert "names-other-scheme" in codes(marks)


def test_a_sphere_that_poses_as_a_measurement_is_doubted() -> None:
    marks = read_marks(DATA / "posing/sphere.csv")
    assert {"template-symmetric", "template-sphere"} <= set(codes(marks))


def test_a_very_dirty_csv_survives_with_everything_told() -> None:
    marks = read_marks(DATA / "dirty/marks.csv")
    assert codes(marks) == [
        "line-ends",
        "columns-extra",
        "decimal-comma",
        "names-respelled",
        "not-scalp",
        "landmark-rows",
        "axes-deduced",
    ]
    clean = read_marks(DATA / "dirty/marks.json", strict=True)
    assert clean.remarks == ()
    for name in clean.names:
        # The same places were written in cm with two decimals and in mm with one.
        np.testing.assert_allclose(marks[name], clean[name], atol=0.11)
    for name in ("nasion", "left_preauricular", "right_preauricular"):
        np.testing.assert_allclose(marks.landmarks[name], clean.landmarks[name], atol=0.11)


# Tables.


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("name\tx\ty\tz", "{n}\t{x}\t{y}\t{z}"),
        ("name,x,y,z", "{n},{x},{y},{z}"),
        ("z;y;x;Label", "{z};{y};{x};{n}"),
        ('"name","x","y","z"', '"{n}",{x},{y},{z}'),
        ("site\tX (mm)\tY (mm)\tZ (mm)", "{n}\t{x}\t{y}\t{z}"),
        ("electrode,x_mm,y_mm,z_mm,note", "{n},{x},{y},{z},"),
    ],
)
def test_columns_are_found_by_their_titles(tmp_path: Path, header: str, row: str) -> None:
    lines = [
        row.format(n=n, x=p[0], y=p[1], z=p[2])
        for n, p in zip(SITES.names, SITES.points_mm, strict=True)
    ]
    marks = read_marks(written(tmp_path, "marks.csv", "\n".join([header, *lines, ""])))
    np.testing.assert_allclose(marks.points_mm, SITES.points_mm, rtol=1e-12)
    declared = "mm" in header
    assert ("unit-deduced" in codes(marks)) is not declared


def test_line_ends_of_any_kind_are_read(tmp_path: Path) -> None:
    for end, code in (("\r\n", ["line-ends"]), ("\r", []), ("\n", [])):
        path = written(tmp_path, "marks.tsv", GOOD.replace("\n", end))
        marks = read_marks(path, unit="mm")
        assert len(marks) == 71
        assert [c for c in codes(marks) if c == "line-ends"] == code


def test_an_open_last_line_is_noted(tmp_path: Path) -> None:
    assert "last-line-open" in codes(read_marks(written(tmp_path, "marks.tsv", GOOD[:-1])))


@pytest.mark.parametrize("encoding", ["utf-16", "latin-1"])
def test_other_encodings_are_read_and_told(tmp_path: Path, encoding: str) -> None:
    text = GOOD.replace("z\n", "z\tnötig\n", 1).replace("\n", "\tx\n").replace("nötig\tx", "nötig")
    marks = read_marks(written(tmp_path, "marks.tsv", text.encode(encoding)))
    assert "encoding" in codes(marks)
    assert len(marks) == 71


def test_words_for_missing_other_than_na_are_corrected(tmp_path: Path) -> None:
    text = GOOD + "leog\tNaN\tNaN\tNaN\nreog\t\t\t\n"
    marks = read_marks(written(tmp_path, "marks.tsv", text))
    assert {"missing-spelled", "place-missing"} <= set(codes(marks))


def test_a_unit_that_is_asked_for_goes_before_the_one_declared(tmp_path: Path) -> None:
    path = bids(tmp_path, {**DECLARED, "EEGCoordinateUnits": "m"})
    marks = read_marks(path, unit="mm")
    assert codes(marks) == ["unit-given", "template-symmetric"]
    assert "the file says m" in marks.remarks[0].sentence
    with pytest.raises(UnitError, match="be one of mm, cm, m, inch, got 'ells'"):
        read_marks(path, unit="ells")


REFUSED = {
    "no header": ("Fp1\t1\t2\t3\n", "table-header", "must name the columns name, x, y and z"),
    "x twice": ("name\tx\tx\ty\tz\nCz\t1\t1\t2\t3\n", "table-header", "once each"),
    "two units": ("name\tx_mm\ty_cm\tz_mm\nCz\t1\t2\t3\n", "table-header", "all in one unit"),
    "cut short": (GOOD[:-12], "table-short-line", "have 4 cells, got"),
    "no number": (GOOD + "X\ta\t1\t2\n", "table-not-a-number", "line 73 of marks.tsv must be a"),
    "hidden number": (GOOD + "X\t1_0\t1\t2\n", "table-not-a-number", "or n/a, got '1_0'"),
    "blank": (" \n\t\n", "file-empty", "got blanks only"),
    "empty": ("", "file-empty", "an empty file"),
    "bytes": (b"\x00\x01\x02" * 30, "file-not-text", "be text, got bytes that are none"),
    "half a letter": (b"\xef\xbb\xbfname\xff", "file-not-text", "be text"),
    "only a header": ("name\tx\ty\tz\n", "marks-none", "at least one mark with a place, got none"),
}


@pytest.mark.parametrize(("text", "code", "message"), REFUSED.values(), ids=list(REFUSED))
def test_a_table_that_is_none_is_refused_in_one_sentence(
    tmp_path: Path, text: str | bytes, code: str, message: str
) -> None:
    with pytest.raises(HeadfitError, match=message) as caught:
        read_marks(written(tmp_path, "marks.tsv", text))
    assert caught.value.code == code


def test_an_open_quote_does_not_swallow_the_rest_of_the_file(tmp_path: Path) -> None:
    text = 'name,x,y,z\n"Cz,0,0,130\nPz,0,-50,110\n'
    with pytest.raises(FileFormatError, match=r"line 2 of marks.csv must have its quotes closed"):
        read_marks(written(tmp_path, "marks.csv", text))


# JSON.


def test_json_places_are_lists_or_objects_or_nothing() -> None:
    assert place_of([1, 2.5, -3]) == (1.0, 2.5, -3.0)
    assert place_of({"x": 1, "y": 2, "z": 3}) == (1.0, 2.0, 3.0)
    assert [place_of(v) for v in ([1, 2], [1, 2, "3"], [True, 1, 2], "1,2,3", None, {"x": 1})] == [
        None
    ] * 6
    assert place_of([10**400, 0, 0]) == (np.inf,) * 3


def test_json_marks_may_stand_together_and_keys_given_twice_are_seen(tmp_path: Path) -> None:
    rows = ", ".join(
        f'"{n}": {p.round(1).tolist()}' for n, p in zip(SITES.names, SITES.points_mm, strict=True)
    )
    text = f'{{"unit": "mm", "marks": {{{rows}, "Cz": [0, -60, 100]}}, "landmarks": null}}'
    marks = read_marks(written(tmp_path, "marks.json", text))
    assert "name-twice" in codes(marks)
    assert "Cz" not in marks.names


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("{", "json-broken"),
        ("[1, 2]", "json-no-object"),
        ('{"Cz": "here"}', "json-no-place"),
        (json.dumps(DECLARED), "json-no-place"),
        ('{"a": ' * 5000 + "1" + "}" * 5000, "json-broken"),
        ('{"Cz": [1' + "0" * 5000 + ", 0, 0]}", "json-broken"),
        (
            "{" + ", ".join(f'"E{i}": [0, 0, {i}]' for i in range(MOST_ROWS + 1)) + "}",
            "table-too-long",
        ),
        ('{"Cz": [NaN, Infinity, 0]}', "marks-none"),
    ],
    ids=["cut", "list", "text", "coordsystem", "deep", "long number", "too many", "no number"],
)
def test_json_that_holds_no_marks_is_refused(tmp_path: Path, text: str, code: str) -> None:
    with pytest.raises(HeadfitError) as caught:
        read_marks(written(tmp_path, "marks.json", text))
    assert caught.value.code == code


# The coordsystem.json of BIDS.


@pytest.mark.parametrize(
    ("electrodes", "coordsystem"),
    [
        ("sub-01/eeg/sub-01_electrodes.tsv", "sub-01/eeg/sub-01_coordsystem.json"),
        ("sub-01/eeg/sub-01_space-CapTrak_electrodes.tsv", "sub-01/sub-01_coordsystem.json"),
        ("sub-01/ses-a/eeg/sub-01_ses-a_run-2_electrodes.tsv", "sub-01/sub-01_coordsystem.json"),
        ("sub-01/ses-a/eeg/sub-01_ses-a_electrodes.tsv", "coordsystem.json"),
        ("sub-01/eeg/sub-01_task-x_electrodes.tsv", "task-x_coordsystem.json"),
    ],
)
def test_inheritance_finds_the_coordsystem(
    tmp_path: Path, electrodes: str, coordsystem: str
) -> None:
    path = written(tmp_path, electrodes, GOOD)
    written(tmp_path, coordsystem, json.dumps(DECLARED))
    marks = read_marks(path)
    assert codes(marks) == ["template-symmetric"]
    assert set(marks.landmarks) == {"nasion", "left_preauricular", "right_preauricular"}


def test_a_coordsystem_of_another_space_run_or_person_does_not_apply(tmp_path: Path) -> None:
    path = written(tmp_path, "sub-01/eeg/sub-01_space-A_run-1_electrodes.tsv", GOOD)
    for name in (
        "sub-01_space-B_coordsystem.json",
        "sub-01_run-2_coordsystem.json",
        "sub-02_coordsystem.json",
    ):
        written(tmp_path, f"sub-01/eeg/{name}", json.dumps(DECLARED))
    assert "coordsystem-missing" in codes(read_marks(path))


@pytest.mark.parametrize("special", ["acq-b", "space-CapTrak"])  # before and after by name
def test_of_two_that_apply_the_coordsystem_that_says_more_is_taken(
    tmp_path: Path, special: str
) -> None:
    """BIDS 1.11, the inheritance principle: the more specific file has the last word."""
    path = written(tmp_path, f"sub-01/eeg/sub-01_{special}_electrodes.tsv", GOOD)
    for stem in ("sub-01", f"sub-01_{special}"):
        written(path.parent, f"{stem}_coordsystem.json", json.dumps(DECLARED))
    found = find_coordsystem(path)
    assert [one.name for one in found.paths] == [f"sub-01_{special}_coordsystem.json"]


def test_the_nearer_coordsystem_says_it_and_the_farther_fills_in(tmp_path: Path) -> None:
    path = bids(tmp_path, {"EEGCoordinateUnits": "mm"})
    written(tmp_path, "coordsystem.json", json.dumps({**DECLARED, "EEGCoordinateUnits": "m"}))
    marks = read_marks(path)
    assert "unit-wrong" not in codes(marks)
    assert set(marks.landmarks) == {"nasion", "left_preauricular", "right_preauricular"}


def test_a_name_that_says_more_is_taken_when_it_is_the_only_one(tmp_path: Path) -> None:
    path = bids(tmp_path)
    folder = path.parent
    written(folder, "sub-01_space-CapTrak_coordsystem.json", json.dumps(DECLARED))
    assert "coordsystem-loose" in codes(read_marks(path))
    written(folder, "sub-01_space-Other_coordsystem.json", json.dumps(DECLARED))
    marks = read_marks(path)
    assert "coordsystem-several" in codes(marks)
    assert "landmarks-missing" in codes(marks)
    asked = read_marks(path, coordsystem=folder / "sub-01_space-Other_coordsystem.json")
    assert "landmarks-missing" not in codes(asked)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "coordsystem-unreadable"),
        ("{", "coordsystem-unreadable"),
        ("[]", "coordsystem-unreadable"),
        ("{}", "coordsystem-empty"),
        ("\ufeff" + json.dumps(DECLARED), "byte-order-mark"),
        (json.dumps({**DECLARED, "AnatomicalLandmarkCoordinates": "none"}), "landmark-unread"),
        (
            json.dumps({**DECLARED, "AnatomicalLandmarkCoordinates": {"NAS": "n/a"}}),
            "landmark-unread",
        ),
        ('{"AnatomicalLandmarkCoordinates": {"NAS": [0,95,0], "NAS": [0,9,0]}}', "landmark-unread"),
        (json.dumps({**DECLARED, "EEGCoordinateUnits": 3}), "unit-deduced"),
    ],
)
def test_a_coordsystem_that_is_broken_is_told_and_survived(
    tmp_path: Path, text: str, code: str
) -> None:
    path = bids(tmp_path)
    written(path.parent, "sub-01_coordsystem.json", text)
    marks = read_marks(path)
    assert code in codes(marks)
    assert len(marks) == 71


def test_landmarks_of_other_keys_serve_when_there_are_no_anatomical_ones(tmp_path: Path) -> None:
    content = {
        "EEGCoordinateUnits": "mm",
        "FiducialsCoordinateUnits": "mm",
        "FiducialsCoordinates": LANDMARKS,
    }
    marks = read_marks(bids(tmp_path, content))
    assert set(marks.landmarks) == {"nasion", "left_preauricular", "right_preauricular"}
    assert "landmarks-fiducials" in codes(marks)


# The file system.


def test_what_is_no_file_is_said(tmp_path: Path) -> None:
    with pytest.raises(FileFormatError, match="there is no file"):
        read_marks(tmp_path / "none.tsv")
    with pytest.raises(FileFormatError, match="be a file, got a folder"):
        read_marks(tmp_path)
    with pytest.raises(FileFormatError):
        read_marks("a\0b.tsv")
    with pytest.raises(FileFormatError, match="cannot be read"):
        read_marks("a" * 5000 + ".tsv")
    os.mkfifo(tmp_path / "pipe.tsv")
    with pytest.raises(FileFormatError, match="be a file, got a device or a pipe"):
        read_marks(tmp_path / "pipe.tsv")


def test_a_folder_that_cannot_be_listed_holds_no_coordsystem() -> None:
    found = find_coordsystem(Path("/no/such/folder/sub-01/eeg/sub-01_electrodes.tsv"))
    assert [remark.code for remark in found.remarks] == ["coordsystem-missing"]


def test_a_link_that_was_never_fetched_is_said(tmp_path: Path) -> None:
    (tmp_path / "sub-01_electrodes.tsv").symlink_to("../.git/annex/objects/none")
    with pytest.raises(FileFormatError, match="there is no file"):
        read_marks(tmp_path / "sub-01_electrodes.tsv")


def test_a_million_rows_are_refused_in_bounded_time_and_memory(tmp_path: Path) -> None:
    path = tmp_path / "long.tsv"
    with path.open("w") as file:
        file.write("name\tx\ty\tz\n")
        for block in range(100):
            file.write("".join(f"E{block}_{i}\t1.25\t-20.5\t90.0\n" for i in range(10_000)))
    assert path.stat().st_size > 5 * MARKS_BYTES
    tracemalloc.start()
    start = time.perf_counter()
    with pytest.raises(FileFormatError) as caught:
        read_marks(path)
    took = time.perf_counter() - start
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert caught.value.code in ("file-too-large", "file-too-long")
    assert took < 1.0
    assert peak < 3 * MARKS_BYTES


def test_as_many_rows_as_are_allowed_are_read_in_bounded_time(tmp_path: Path) -> None:
    rng = np.random.default_rng(0)
    unit = rng.normal(size=(MOST_ROWS, 3))
    unit *= 90.0 / np.linalg.norm(unit, axis=1, keepdims=True)
    rows = "".join(f"H{i}\t{p[0]:.1f}\t{p[1]:.1f}\t{p[2]:.1f}\n" for i, p in enumerate(unit))
    path = written(tmp_path, "many.tsv", "name\tx\ty\tz\n" + rows)
    start = time.perf_counter()
    assert len(read_marks(path).other_names) == MOST_ROWS
    assert time.perf_counter() - start < 5.0
    path.write_text("name\tx\ty\tz\n" + "a\t1\t2\t3\n" * (MOST_ROWS + 2))
    with pytest.raises(FileFormatError, match="hold at most 10000 marks, got 10003 lines"):
        read_marks(path)
