"""What comes back from the chair's one page: readings, doubts, record; and whose case it is."""

import json
from pathlib import Path

import pytest
from chair_cases import PLAIN
from commands import refused, said

from headfit.case.case import Case
from headfit.errors import FileFormatError, InputError, UnitError
from headfit.files.case_file import case_of_text, read_case
from headfit.files.case_record import record_of_table, table_of_record
from headfit.files.chair_notes import case_with

NOTES = {
    "headfit_chair": 1,
    "label": "invented head",
    "checksum": "0123",
    "tape": {"ring": "55,5 cm", "parietal_row": "9 1/2 inch"},
    "arcs": {"row FC": "35.2 cm"},
    "doubtful": ["inion"],
    "record": {
        "ticked": ["landmark nasion", "mark Fz"],
        "note": "quiet",
        "sites": [
            {"name": "F3", "impedance_kohm": 4, "applied": True},
            {"name": "O1", "applied": False, "note": "skin"},
        ],
        "reference": {"place": "CPz", "impedance_kohm": 3},
    },
}


@pytest.fixture
def case() -> Case:
    return case_of_text(PLAIN, Path())


def told(case: Case, **changed: object) -> Case:
    return case_with(case, json.dumps(NOTES | changed))


def test_what_was_typed_comes_into_the_case_and_the_rest_stays(case: Case) -> None:
    new = told(case)
    assert new.tape is not None
    assert dict(new.tape.values_mm) == pytest.approx(
        {"nasion_inion": 360, "preauricular_arc": 364, "ring": 555, "parietal_row": 9.5 * 25.4}
    )
    assert new.doubtful == ("inion",)
    assert new.record.ticked == ("landmark nasion", "mark Fz")
    assert new.record.site("F3").impedance_kohm == 4
    assert new.record.site("O1").applied is False
    assert new.record.note == "quiet row FC read as 35.2 cm."
    assert new.label == case.label
    again = case_with(new, json.dumps(NOTES))
    assert again.record == new.record  # carried back twice is carried back once


def test_notes_of_another_case_are_refused(case: Case) -> None:
    with pytest.raises(InputError, match="be of the case 'invented head', got 'somebody else'"):
        told(case, label="somebody else")


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"headfit_chair": 2}', "[" * 100_000])
def test_what_is_no_notes_is_refused(case: Case, text: str) -> None:
    with pytest.raises(FileFormatError, match="must be notes of the chair"):
        case_with(case, text)


@pytest.mark.parametrize(
    ("changed", "error", "words"),
    [
        ({"tape": {"ring": "55.5"}}, UnitError, "10 % ring must carry its unit"),
        ({"tape": {"rong": "55.5 cm"}}, InputError, "unknown measurement 'rong'"),
        ({"tape": []}, InputError, "tape of the notes must be an object"),
        ({"doubtful": ["chin"]}, InputError, "unknown landmark in doubtful 'chin'"),
        ({"doubtful": "inion"}, InputError, "doubtful of the notes must be a list"),
        ({"record": {"ticked": "x"}}, InputError, "ticked of"),
        ({"more": 1}, InputError, "unknown entry of the notes 'more'"),
    ],
)
def test_a_wrong_entry_is_named(
    case: Case, changed: dict[str, object], error: type[Exception], words: str
) -> None:
    with pytest.raises(error, match=words):
        told(case, **changed)


def test_the_first_reading_of_a_case_may_come_from_the_chair() -> None:
    new = told(Case(label="invented head"))
    assert new.tape is not None
    assert new.tape.ring_mm == 555


def test_ticks_come_back_from_the_case_file() -> None:
    record = record_of_table(NOTES["record"])  # type: ignore[arg-type]
    assert record_of_table(table_of_record(record)) == record
    assert table_of_record(record)["ticked"] == ["landmark nasion", "mark Fz"]


def test_the_command_carries_notes_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case, notes = tmp_path / "case.toml", tmp_path / "chair-notes.json"
    case.write_text(PLAIN, encoding="utf-8")
    notes.write_text(json.dumps(NOTES), encoding="utf-8")
    code, out, err = said(capsys, "record", case, "--from", notes, "-o", case)
    assert (code, err) == (0, "")
    assert "Left out: O1 (skin)." in out
    assert read_case(case).tape.ring_mm == 555  # type: ignore[union-attr]
    notes.write_text(json.dumps(NOTES | {"label": "x"}), encoding="utf-8")
    told = refused(capsys, "record", case, "--from", notes, "-o", case)
    assert told.startswith("chair-notes.json: notes of the chair must be of the case")
