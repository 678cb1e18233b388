"""People, sessions and runs found by the BIDS rules; what is no dataset ends in a sentence."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
from invented_dataset import marks_near, write_dataset, write_marks, write_set

from headfit.cohort.people import checksum, find_people
from headfit.errors import FileFormatError, SheetError, UnknownNameError
from headfit.files.bids_dataset import find_marks_files
from headfit.files.row_table import read_rows
from headfit.files.tape_table import read_tape_table


def reasons(left_out: object) -> str:
    return "\n".join(f"{each.person} {each.what}: {each.reason}" for each in left_out)


def test_sessions_and_runs_are_told_apart_in_order(tmp_path: Path) -> None:
    marks = marks_near(1)
    root = write_dataset(tmp_path / "d", 1, ("ses-b", "ses-a"))
    for run in ("2", "1"):
        write_set(root / "sub-09" / "eeg", f"sub-09_run-{run}", marks.names, marks.points_mm, {})
    found = find_marks_files(root)
    assert [(f.person, f.session, f.entities.get("run")) for f in found.files] == [
        ("sub-01", "a", None),
        ("sub-01", "b", None),
        ("sub-09", "", "1"),
        ("sub-09", "", "2"),
    ]
    assert list(found.people) == ["sub-01", "sub-09"]


def test_a_file_above_its_sessions_belongs_to_the_person(tmp_path: Path) -> None:
    # BIDS 1.11, the inheritance principle: a file applies to every deeper folder.
    root = write_dataset(tmp_path / "d", 1, ("ses-1",))
    marks = marks_near(3)
    write_set(root / "sub-01", "sub-01", marks.names, marks.points_mm, marks.landmarks)
    assert [f.session for f in find_marks_files(root).files] == ["", "1"]


def test_of_two_spaces_the_one_of_the_head_is_taken(tmp_path: Path) -> None:
    marks = marks_near(1)
    for space in ("MNI152Lin", "CapTrak"):
        stem = f"sub-01_space-{space}"
        write_set(tmp_path / "sub-01" / "eeg", stem, marks.names, marks.points_mm, {})
    found = find_marks_files(tmp_path)
    assert [f.entities["space"] for f in found.files] == ["CapTrak"]
    assert "the same positions are taken from sub-01_space-CapTrak" in reasons(found.left_out)


def test_columns_of_sessions_and_scans_come_along(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 1)
    person = root / "sub-01"
    (person / "sub-01_sessions.tsv").write_text("session_id\trater\nses-1\tA\nses-2\tB\n")
    (person / "ses-2" / "sub-01_ses-2_scans.tsv").write_text(
        "filename\tdevice\neeg/sub-01_ses-2_eeg.edf\tpen\n"
    )
    first, second = find_marks_files(root).files
    assert first.columns == {"rater": "A"}
    assert second.columns == {"rater": "B", "device": "pen"}
    assert find_people(root, by="device").by == "device"
    with pytest.raises(UnknownNameError, match=r"unknown column 'devise': did you mean 'device'"):
        find_people(root, by="devise")


def test_age_sex_and_tape_are_read(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 3)
    text = (root / "participants.tsv").read_text()
    text = (
        text.replace("\t20\t", "\t17\t").replace("\t21\t", "\t89+\t").replace("\t22\t", "\told\t")
    )
    (root / "participants.tsv").write_text(text)
    cohort = find_people(root)
    first, second, third = cohort.people
    assert (first.age, first.child, first.sex) == (17.0, True, "female")
    assert (second.age, second.child, second.sex) == (89.0, False, "male")
    assert third.age is None
    assert "age 'old' is no number of years" in reasons(cohort.left_out)
    assert first.tape is not None
    assert first.tape.ring_mm == 555.0


def test_a_tape_table_goes_before_participants(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 2)
    table = tmp_path / "tapes.csv"
    table.write_text("participant_id,ring_cm\nsub-01,56.0\nsub-01,56.4\n02,5600\nsub-77,56\n")
    cohort = find_people(root, table)
    first, second = cohort.people
    assert first.tape is not None
    assert first.tape.readings_mm["ring"] == (560.0, 564.0)
    assert second.tape is None
    assert "10 % ring must lie in 250 to 700 mm" in second.tape_problem
    assert "sub-77 tapes.csv: no such person" in reasons(cohort.left_out)
    bad = tmp_path / "bad.tsv"
    bad.write_text("participant_id\tring\nsub-01\t56\n")
    with pytest.raises(SheetError, match="ring needs its unit behind it"):
        read_tape_table(bad)


def test_a_table_that_is_broken_is_left_out_with_its_sentence(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 1)
    (root / "participants.tsv").write_text("participant_id\tage\nsub-01\t20\t30\n")
    cohort = find_people(root)
    assert "line 2 of participants.tsv must have 2 cells as its heading, got 3" in reasons(
        cohort.left_out
    )
    assert len(cohort.people) == 1
    blank = tmp_path / "blank.tsv"
    blank.write_text("\n\n")
    with pytest.raises(FileFormatError, match="no heading"):
        read_rows(blank)


def test_people_of_the_prior_are_known_by_the_dataset(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 1)
    assert find_people(root).in_prior == ""
    (root / "dataset_description.json").write_text(
        json.dumps({"Name": "x", "DatasetDOI": "doi:10.18112/openneuro.ds004561.v1.0.0"})
    )
    assert find_people(root).in_prior == "ds004561"


def test_the_checksum_tells_every_change_of_the_data(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 1)

    def now() -> str:
        (person,) = find_people(root).people
        return checksum(person, "10-20")

    seen = [now()]
    assert now() == seen[0]
    electrodes = next(root.glob("sub-01/ses-1/eeg/*_electrodes.tsv"))
    electrodes.write_text(electrodes.read_text().replace("Cz", "CZ"))
    seen.append(now())
    system = next(root.glob("sub-01/ses-1/eeg/*_coordsystem.json"))
    system.write_text(system.read_text() + " ")
    seen.append(now())
    table = root / "participants.tsv"
    table.write_text(table.read_text().replace("55.5", "55.6"))
    seen.append(now())
    (person,) = find_people(root).people
    seen.append(checksum(person, "10-10"))
    assert len(set(seen)) == 5


@pytest.mark.parametrize("what", ["missing", "file", "empty"])
def test_what_is_no_dataset_ends_in_a_sentence(tmp_path: Path, what: str) -> None:
    place = tmp_path / what
    if what == "file":
        place.write_text("x")
    if what == "empty":
        place.mkdir()
    with pytest.raises(FileFormatError, match=r"must be the folder of|must hold people"):
        find_people(place)


def test_hostile_folders_end_in_sentences(tmp_path: Path) -> None:
    root = write_dataset(tmp_path / "d", 1, ("ses-1",))
    (root / "sub-02").symlink_to(root, target_is_directory=True)  # round and round
    (root / "sub-03").symlink_to("sub-03")
    (root / "sub-04" / "ses-1").mkdir(parents=True)
    (root / "sub-04" / "ses-1" / "eeg").symlink_to(root / "sub-04", target_is_directory=True)
    (root / "sub-\x1b[31mred").mkdir()
    (root / "sub-..").mkdir()
    (root / "sub-05" / "eeg").mkdir(parents=True)
    (root / "sub-05" / "eeg" / "sub-05_electrodes.tsv").symlink_to("/dev/zero")
    (root / "sub-06" / "eeg").mkdir(parents=True)
    os.mkfifo(root / "sub-06" / "eeg" / "sub-06_electrodes.tsv")
    (root / "sub-07" / "eeg").mkdir(parents=True)
    (root / "sub-07" / "eeg" / "sub-08_electrodes.tsv").write_text("name\tx\ty\tz\n")
    (root / "sub-09" / "eeg" / "sub-09_electrodes.tsv").mkdir(parents=True)
    cohort = find_people(root)
    said = reasons(cohort.left_out)
    assert "'sub-\\x1b[31mred' is no BIDS name of a folder" in said
    assert "'sub-..' is no BIDS name of a folder" in said
    assert "is named for another person or session than its folder" in said
    assert "\x1b" not in said
    labels = {person.label for person in cohort.people}
    assert {"sub-01", "sub-05", "sub-06", "sub-09"} <= labels
    for person in cohort.people:
        assert len(checksum(person, "")) == 64  # devices and pipes are not read


def test_a_folder_that_cannot_be_read_is_left_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    root = write_dataset(tmp_path / "d", 2, ("",))
    real = Path.iterdir

    def refused(path: Path) -> object:
        if path.name == "sub-02":
            raise PermissionError(13, "Permission denied")
        return real(path)

    monkeypatch.setattr(Path, "iterdir", refused)  # the tests may run as root, who may read all
    cohort = find_people(root)
    assert "sub-02 sub-02: sub-02 cannot be read: permission denied" in reasons(cohort.left_out)
    assert len(cohort.people) == 2  # the second by its tape
    assert write_marks(root, "sub-03", "", marks_near(4)).is_file()


def test_a_name_that_is_no_bids_name_is_left_out_and_the_rest_is_read(tmp_path: Path) -> None:
    """BIDS 1.11: labels are of letters and digits; a file is named for its folders."""
    root = write_dataset(tmp_path / "d", 2)
    with (root / "participants.tsv").open("a") as table:
        columns = table.name and (root / "participants.tsv").read_text().split("\n")[0].count("\t")
        for label in ("sub-_1", "sub-1_", "sub-01"):
            table.write(label + "\t" * columns + "\n")
    marks = marks_near(1)
    eeg = root / "sub-01" / "ses-1" / "eeg"
    for stem in ("sub-02_ses-1", "sub-01_ses-2", "sub-01_ses-1_run-a b"):
        write_set(eeg, stem, marks.names, marks.points_mm, {})
    found = find_marks_files(root)
    assert list(found.people) == ["sub-01", "sub-02"]
    said = reasons(found.left_out)
    assert said.count("is no label of a person") == 2
    assert said.count("listed twice, the first line counts") == 1
    assert said.count("is named for another person or session than its folder") == 2
    assert "sub-01_ses-1_run-a b_electrodes.tsv' is no BIDS name of a file" in said


def test_what_is_missing_in_a_table_is_left_out_of_its_row(tmp_path: Path) -> None:
    """BIDS 1.11: n/a is a missing value; empty cells and other cases of it are met in practice."""
    table = tmp_path / "participants.tsv"
    table.write_text("participant_id\tage\tsex\t\nsub-1\tn/a\tF\tx\nsub-2\t\tN/A\n\t\t\n")
    assert read_rows(table) == [
        {"participant_id": "sub-1", "sex": "F"},
        {"participant_id": "sub-2"},
    ]
