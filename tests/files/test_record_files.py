"""The set-up record in the case file and in BIDS electrodes: what is written is read back."""

import csv
import dataclasses
import io
import json
from pathlib import Path

import pytest
from bids_judge import issues_of
from demo_case import TEXT, demo_result
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from headfit.anatomy.sites import SYSTEMS
from headfit.case.case import Case
from headfit.case.record import MOST_KOHM, ChartedElectrode, SetUpRecord
from headfit.case.solved import SolvedCase, solve_case
from headfit.errors import HeadfitError
from headfit.files.bids import bids_files
from headfit.files.bids_record import read_record
from headfit.files.case_file import case_of_text, case_text
from headfit.files.case_record import record_of_table
from headfit.files.whole import write_new_folder

TABLE = """
[record]
done_by = "M. Example"
done_on = 2024-05-07T07:40:00
type = "cup"
material = "gold"
limit_kohm = 8
balance_kohm = 4.5
skin_before = "whole"
skin_after = "red at O2"
note = "restless"
reference = { place = "CPz", impedance_kohm = 3 }
sites = [
    { name = "F3", impedance_kohm = 4.5 },
    { name = "T3", impedance_kohm = 5, place = "FT7", note = "scar" },
    { name = "O1", applied = false, skin_before = "graze", skin_after = "as before" },
]
other_leads = [{ name = "ECG", place = "left wrist", type = "sticker", material = "Ag/AgCl" }]

[record.ground]
applied = true
"""
RECORD = SetUpRecord(
    (
        ChartedElectrode("F3", impedance_kohm=4.5),
        ChartedElectrode("T7", place="FT7", impedance_kohm=5, note="scar"),
        ChartedElectrode("O1", False, skin_before="graze", skin_after="as before"),
    ),
    ChartedElectrode("REF", place="CPz", impedance_kohm=3),
    ChartedElectrode("GND", True),
    (ChartedElectrode("ECG", place="left wrist", type="sticker", material="Ag/AgCl"),),
    "cup",
    "gold",
    8.0,
    4.5,
    "whole",
    "red at O2",
    "restless",
    "M. Example",
    "2024-05-07 07:40",
)
MEASURED = '[tape]\nunit = "cm"\nring = 56.6\n'
ELECTRODES = "sub-01/eeg/sub-01_acq-tape_electrodes.tsv"


def read_back(text: str) -> SetUpRecord:
    return case_of_text(text, Path()).record


def test_everything_a_person_may_chart_is_understood() -> None:
    assert read_back(MEASURED + TABLE) == RECORD


# Words as `text_of` leaves them; a table writes n/a for nothing, and begins no cell like a formula.
words = (
    st.text(st.characters(categories=("L", "N", "P", "S", "Zs")), max_size=12)
    .map(lambda text: " ".join("".join(c if c.isprintable() else " " for c in text).split()))
    .filter(lambda text: text != "n/a" and not text.startswith("'"))
)
kohm = st.none() | st.integers(0, int(1000 * MOST_KOHM)).map(lambda ohm: ohm / 1000)


@st.composite
def electrodes(draw: st.DrawFn, name: str) -> ChartedElectrode:
    told = {key: draw(words) for key in ("skin_before", "skin_after", "note", "type", "material")}
    if draw(st.booleans()):
        return ChartedElectrode(name, draw(st.sampled_from([None, False])), **told)
    place = draw(st.sampled_from(["", "CP3", "T3", "left wrist"]) | words)
    return ChartedElectrode(name, draw(st.none() | st.just(True)), place, draw(kohm), **told)


@st.composite
def records(draw: st.DrawFn) -> SetUpRecord:
    names = draw(st.lists(st.sampled_from(SYSTEMS["10-10"]), unique=True, max_size=5))
    leads = draw(st.lists(st.sampled_from(["ECG", "EOG left", "=1+1"]), unique=True))
    texts = ("type", "material", "skin_before", "skin_after", "note", "done_by", "done_on")
    return SetUpRecord(
        tuple(draw(electrodes(name)) for name in names),
        draw(st.none() | electrodes("REF")),
        draw(st.none() | electrodes("GND")),
        tuple(draw(electrodes(name)) for name in leads),
        limit_kohm=draw(st.sampled_from([10.0, 5.0, 7.125])),
        balance_kohm=draw(st.sampled_from([5.0, 2.0])),
        **{name: draw(words) for name in texts},
    )


@given(records())
def test_a_record_survives_the_case_file(record: SetUpRecord) -> None:
    text = case_text(Case(label="invented", record=record))
    assert case_of_text(text, Path(), measured=False).record == record


def with_record(record: SetUpRecord) -> SolvedCase:
    """The demo case with a record; nothing of it is computed again."""
    solved = demo_result()
    made = dataclasses.replace(solved, case=dataclasses.replace(solved.case, record=record))
    vars(made)["sites"], vars(made)["spreads"] = solved.sites, solved.spreads
    return made


def in_any_order(record: SetUpRecord) -> SetUpRecord:
    """A table has the sites in the order of the plan."""
    return dataclasses.replace(record, sites=tuple(sorted(record.sites, key=lambda one: one.name)))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(record=records())
def test_a_record_survives_bids_electrodes(tmp_path: Path, record: SetUpRecord) -> None:
    files = bids_files(with_record(record))
    table = tmp_path / "electrodes.tsv"
    table.write_text(files[ELECTRODES], encoding="utf-8", newline="")
    described = files[ELECTRODES.replace(".tsv", ".json")]
    table.with_suffix(".json").write_text(described, encoding="utf-8")
    if record.blank:  # nothing of a record is written then
        assert "impedance" not in files[ELECTRODES]
    else:
        assert in_any_order(read_record(table)) == in_any_order(record)


HOSTILE = ChartedElectrode("F4", place='"},\t=HYPERLINK("x") <b>Zoë\u202e', note="=1+1")


@pytest.mark.parametrize(
    "record",
    [
        RECORD,
        SetUpRecord(limit_kohm=5),
        dataclasses.replace(RECORD, sites=(*RECORD.sites, HOSTILE), note=HOSTILE.place),
    ],
    ids=["full", "only a limit", "hostile"],
)
def test_the_validator_has_nothing_to_say(tmp_path: Path, record: SetUpRecord) -> None:
    folder = write_new_folder(tmp_path / "bids", bids_files(with_record(record)))
    assert issues_of(folder) == []


def test_the_validator_would_have_noticed(tmp_path: Path) -> None:
    files = bids_files(with_record(RECORD))
    assert "\t4.5\t" in files[ELECTRODES]
    files[ELECTRODES] = files[ELECTRODES].replace("\t4.5\t", "\tfour and a half\t")
    assert ("error", "TSV_VALUE_INCORRECT_TYPE") in issues_of(
        write_new_folder(tmp_path / "bids", files)
    )


def rows_of(record: SetUpRecord) -> dict[str, dict[str, str]]:
    text = bids_files(with_record(record))[ELECTRODES]
    return {row["name"]: row for row in csv.DictReader(io.StringIO(text), delimiter="\t")}


def test_type_material_and_impedance_stand_in_the_columns_of_the_standard() -> None:
    # BIDS 1.11, electrodes.tsv: type, material, and impedance in kOhm.
    rows = rows_of(RECORD)
    wanted = ("type", "material", "impedance", "status", "charted", "role", "stands_at")
    found = {name: [rows[name][column] for column in wanted] for name in ("F3", "T7", "O1", "ECG")}
    assert found == {
        "F3": ["cup", "gold", "4.5", "predicted", "applied", "site", "n/a"],
        "T7": ["cup", "gold", "5", "moved", "applied", "site", "FT7"],
        "O1": ["n/a", "n/a", "n/a", "left_out", "left_out", "site", "n/a"],
        "ECG": ["sticker", "Ag/AgCl", "n/a", "n/a", "applied", "other", "left wrist"],
    }
    assert (rows["REF"]["role"], rows["REF"]["impedance"]) == ("reference", "3")
    assert rows["Cz"]["charted"] == rows["Cz"]["impedance"] == "n/a"
    place = [float(rows["T7"][axis]) for axis in "xyz"]
    assert place == pytest.approx(list(demo_result().sites["FT7"]), abs=0.005)
    assert rows["T7"]["arc"] == rows["T7"]["sure_major_mm"] == "n/a"
    assert [rows["O1"][axis] for axis in "xyz"] == ["n/a"] * 3


def test_every_column_is_described_and_the_readme_tells_what_was_done() -> None:
    solved = with_record(RECORD)
    files = bids_files(solved)
    described = json.loads(files[ELECTRODES.replace(".tsv", ".json")])
    columns = set(rows_of(RECORD)["Cz"]) - {"name", "x", "y", "z"}
    assert columns == set(described) - {"Description", "SetUpRecord"}
    assert described["impedance"]["Units"] == "kOhm"
    assert "personal data" in described["SetUpRecord"]["Description"]
    assert solved.record_sentences
    assert all(sentence in files["README.md"] for sentence in solved.record_sentences)


def test_the_example_of_the_standard_is_read(tmp_path: Path) -> None:
    # BIDS 1.11, "Electrodes description (*_electrodes.tsv)", example of EEG.
    table = tmp_path / "sub-01_electrodes.tsv"
    table.write_text(
        "name\tx\ty\tz\ttype\tmaterial\n"
        "A1\t-0.0707\t0.0000\t-0.0707\tcup\tAg/AgCl\n"
        "F3\t-0.0567\t0.0677\t0.0469\tcup\tAg/AgCl\n"
        "REF\t-0.0742\t-0.0200\t-0.0100\tcup\tAg/AgCl\n"
        "GND\t0.0742\t-0.0200\t-0.0100\tcup\tAg/AgCl\n"
    )
    found = read_record(table)
    assert [one.name for one in found.electrodes] == ["A1", "F3", "REF", "GND"]
    assert {(one.type, one.material) for one in found.electrodes} == {("cup", "Ag/AgCl")}


def table_text(*rows: str, header: str = "name\timpedance\tcharted\trole") -> str:
    return "\n".join([header, *rows, ""])


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name\tx\ty\tz\n", "the first line must name the columns name and impedance"),
        ("impedance\n4\n", "the first line must name the columns name and impedance"),
        (table_text("C3\t4"), "line 2 must have 4 cells, got 2"),
        (table_text("C3\tfour\tn/a\tn/a"), "impedance of C3 must be a number in 0 to 1000 kΩ"),
        (table_text("C3\t4\tleft_out\tsite"), "C3 must be left out, or have a place"),
        (table_text("C3\t4\tyes\tsite"), "unknown word for what was charted 'yes'"),
        (table_text("C3\t4\tapplied\tcup"), "unknown role 'cup'"),
        (table_text("Fzz\t4\tapplied\tsite"), "unknown site 'Fzz'"),
        (table_text(*["C3\t4\tapplied\tsite"] * 2), "C3 must be charted once"),
        (table_text(*["a\t4\tapplied\tground"] * 2), "the ground must stand in one row"),
        (table_text(*["C3\t4\tn/a\tn/a"] * 10_000), "the table must hold at most 10000 lines"),
    ],
)
def test_a_table_that_is_none_is_refused(tmp_path: Path, text: str, said: str) -> None:
    table = tmp_path / "electrodes.tsv"
    table.write_text(text)
    with pytest.raises(HeadfitError) as caught:
        read_record(table)
    assert str(caught.value).startswith("electrodes.tsv: ")
    assert said in str(caught.value)


def test_what_the_json_beside_says_wrongly_is_refused_in_its_name(tmp_path: Path) -> None:
    (tmp_path / "electrodes.tsv").write_text(table_text("C3\t4\tapplied\tsite"))
    beside = tmp_path / "electrodes.json"
    beside.write_text('{"SetUpRecord": {"limit_kohm": "ten"}}')
    with pytest.raises(HeadfitError, match=r"^electrodes\.json: limit_kohm must be a number"):
        read_record(tmp_path / "electrodes.tsv")
    beside.write_text('{"impedance": {"Units": "kOhm"}}')
    assert read_record(tmp_path / "electrodes.tsv").site("C3").impedance_kohm == 4.0


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("done_bye = 'x'", "unknown entry of [record] 'done_bye': did you mean 'done_by'?"),
        ("done_by = 3", "done_by of [record] must be text in quotes"),
        ("sites = 3", "sites of [record] must be a list of electrodes"),
        ("sites = ['C3']", "sites of [record] must be entries in braces"),
        ("sites = [{}]", "each of sites of [record] must have a name"),
        ("sites = [{name = 'C3', kohm = 4}]", "unknown entry of sites of [record] 'kohm'"),
        ("sites = [{name = 'C3', applied = 1}]", "applied of sites of [record] must be true"),
        ("sites = [{name = 'C3', impedance_kohm = '4'}]", "impedance of C3 must be a number"),
        ("reference = 'CPz'", "reference of [record] must be entries in braces"),
        ("reference = {name = 'x'}", "unknown entry of reference of [record] 'name'"),
        (
            "limit_kohm = 5000",
            "limit_kohm must be a number in 0 to 1000 kΩ, got 5000 (is it in Ω?)",
        ),
    ],
)
def test_a_wrong_entry_is_said_by_its_name(entry: str, said: str) -> None:
    with pytest.raises(HeadfitError) as caught:
        case_of_text(f"{MEASURED}[record]\n{entry}\n", Path())
    assert said in str(caught.value)


def test_a_record_is_part_of_case_json_only_when_there_is_one() -> None:
    from headfit.files.case_json import solved_data

    plain = solved_data(demo_result())
    assert "record" not in plain["case"]
    assert plain["record"] == []
    told = solved_data(with_record(RECORD))
    assert record_of_table({"sites": told["case"]["record"]["sites"]}).site("T7").note == "scar"
    assert told["record"] == list(with_record(RECORD).record_sentences)


def test_a_case_read_from_its_text_solves_to_the_same_record() -> None:
    solved = solve_case(case_of_text(TEXT + TABLE, Path()))
    assert solved.case.record == RECORD
    assert solved.record_sentences == with_record(RECORD).record_sentences
