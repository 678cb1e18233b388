"""Values as typed: what is accepted, what is refused, and that a refusal changes nothing."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from headfit.app.changes import RefusedError, changed_case, readings_of
from headfit.app.desk import Desk
from headfit.case.case import Case, FreePlace
from headfit.case.record import ChartedElectrode, SetUpRecord
from headfit.case.solved import solve_case
from headfit.errors import HeadfitError, InputError, UnitError, UnknownNameError
from headfit.files.case_file import read_case, write_case
from headfit.fitting.tape import Tape

CASE = Case(Tape(nasion_inion_mm=360.0, preauricular_arc_mm=355.0, ring_mm=570.0), label="one")


def change(entries: object, case: Case = CASE) -> Case:
    return changed_case(case, entries, Path("/nowhere"))


@pytest.mark.parametrize(
    ("text", "unit", "expected_mm"),
    [
        ("36.2", "cm", [362.0]),
        ("36,2", "cm", [362.0]),
        ("362", "mm", [362.0]),
        ("14.2", "inch", [360.68]),  # 1 inch = 25.4 mm exactly (international yard, 1959)
        ("14.2 in", "cm", [360.68]),
        ("362 mm", "cm", [362.0]),
        ("36.2; 36.4", "cm", [362.0, 364.0]),
        (" 36.2 / 364 mm ", "cm", [362.0, 364.0]),
    ],
)
def test_readings_are_read_as_people_write_them(
    text: str, unit: str, expected_mm: list[float]
) -> None:
    assert readings_of(text, unit, "ring") == pytest.approx(expected_mm)


@pytest.mark.parametrize("text", ["", ";", "abc", "36 ells", "3 6", "1" * 300, None, 36.2, "nan"])
def test_what_is_no_reading_is_said(text: object) -> None:
    with pytest.raises(UnitError, match="ring"):
        readings_of(text, "cm", "ring")


def test_a_value_in_the_wrong_unit_is_refused_in_the_unit_of_the_sheet() -> None:
    with pytest.raises(RefusedError) as caught:
        change({"tape": {"nasion_inion": "360"}})
    assert caught.value.reasons == {
        "nasion_inion": "nasion-inion arc must lie in 15 to 48 cm, got 360 cm (is it in mm? then "
        "write 360 mm)"
    }


def test_a_contradiction_is_said_at_the_value_that_was_changed() -> None:
    with pytest.raises(RefusedError) as caught:
        change({"tape": {"ring": "34"}})
    assert list(caught.value.reasons) == ["ring"]
    assert "must be shorter than the 10 % ring" in caught.value.reasons["ring"]


def test_one_refused_value_refuses_the_whole_change() -> None:
    with pytest.raises(RefusedError) as caught:
        change({"tape": {"ring": "56", "head_breadth": "3", "cz_height": "x"}})
    assert set(caught.value.reasons) == {"head_breadth", "cz_height"}


RECORD = SetUpRecord(
    (ChartedElectrode("F3", impedance_kohm=4.5), ChartedElectrode("O1", False, note="dressing")),
    ChartedElectrode("REF", place="CPz"),
    done_by="nobody",
)


@pytest.mark.parametrize(
    "entries",
    [
        {"label": "two"},
        {"tape": {"ring": "56.2"}},
        {"system": "newborn"},  # without the sites that were charted
        {"free": [{"site": "P4", "radius_mm": 14, "reason": "wound"}]},
        {"unit": "inch", "doubtful": ["inion"]},
        {"derivations": "longitudinal"},
    ],
)
@pytest.mark.parametrize("quick", [False, True])
def test_a_change_keeps_what_was_charted(entries: dict[str, object], quick: bool) -> None:
    case = replace(CASE, record=RECORD)
    new = changed_case(case, entries, Path("/nowhere"), quick=quick)
    assert new.record == RECORD


def test_a_safety_copy_keeps_what_was_charted(tmp_path: Path) -> None:
    path = tmp_path / "case.toml"
    write_case(replace(CASE, record=RECORD), path)
    desk = Desk.open(path)
    desk.put(changed_case(desk.case, {"label": "two"}, tmp_path))
    again = desk.opened("case.toml")  # finds the safety copy
    assert (again.case.label, again.case.record) == ("two", RECORD)
    assert not again.saved
    again.save()
    assert read_case(path).record == RECORD


def test_values_come_and_go_and_the_last_one_leaves_nothing_measured() -> None:
    more = change({"tape": {"head_breadth": "15.2; 15.4"}})
    assert more.tape.readings_mm["head_breadth"] == (152.0, 154.0)
    fewer = change({"tape": {"ring": None, "nasion_inion": "", "preauricular_arc": None}}, more)
    assert list(fewer.tape.values_mm) == ["head_breadth"]
    none = change({"tape": {"head_breadth": None}}, fewer)
    assert none.tape is None
    assert solve_case(none).fitted is None
    again = change({"label": "two"}, none)
    assert again.tape is None
    assert again.label == "two"


def test_all_other_entries_of_a_case_can_be_changed() -> None:
    case = change(
        {
            "label": "two",
            "age": 5,
            "sex": "female",
            "system": "10-20",
            "unit": "mm",
            "doubtful": ["inion"],
            "rules": {"inner": "parasagittal"},
            "free": [
                {"site": "c3", "radius_mm": 12, "reason": "wound"},
                {"point_mm": [0, 10, 120], "radius_mm": 8},
            ],
            "derivations": "Longitudinal bipolar",
            "measured_by": "somebody",
            "note": "n",
        }
    )
    assert (case.label, case.age, case.sex, case.system, case.unit) == (
        "two",
        5,
        "female",
        "10-20",
        "mm",
    )
    assert case.doubtful == ("inion",)
    assert case.rules.inner == "parasagittal"
    assert case.free[0] == FreePlace(site="C3", radius_mm=12.0, reason="wound")
    assert case.free[1].point_mm == (0.0, 10.0, 120.0)
    assert case.derivations == "longitudinal"
    assert case.tape.values_mm == CASE.tape.values_mm


@pytest.mark.parametrize(
    ("entries", "message"),
    [
        ([], "a change must be an object"),
        ({}, "a change must be an object with at least one entry"),
        ({"lable": "x"}, "unknown entry of a change 'lable': did you mean 'label'"),
        ({"tape": []}, "tape of a change must be an object"),
        ({"tape": {"rin": "5"}}, "unknown measurement 'rin': did you mean 'ring'"),
        ({"label": 5}, "label must be text"),
        ({"age": True}, "age must be a template age"),
        ({"age": "old"}, "unknown age 'old'"),
        ({"age": -3}, "unknown age in years -3"),
        ({"sex": "no"}, "unknown sex 'no'"),
        ({"system": "10-30"}, "unknown system '10-30'"),
        ({"unit": "ell"}, "unknown unit of the sheet 'ell': choose one of cm, mm, inch"),
        ({"unit": ["cm"]}, "unknown unit of the sheet"),
        ({"doubtful": "inion"}, "doubtful of a change must be a list"),
        ({"rules": {"inner": "x"}}, "unknown rule for inner 'x'"),
        ({"rules": {"iner": "row"}}, "unknown rule 'iner'"),
        ({"rules": []}, "rules of a change must be an object"),
        ({"shape": []}, "shape of a change must be an object"),
        ({"shape": {"vault_22": 1}}, "unknown shape mode 'vault_22': did you mean 'vault_2_m2'"),
        ({"shape": {"vault_3_2": 9}}, "must lie in -6 to 6 mm, got 9 mm"),
        ({"shape": {"vault_3_2": "1"}}, "must be a finite number, got '1'"),
        ({"free": [{"site": "C3"}]}, "must lie in 0 to 150 mm|give its radius"),
        ({"free": [{"site": "C3", "radius_mm": -1}]}, "must lie in 0 to 150 mm"),
        ({"free": [{"place": "C3"}]}, "unknown entry of a free place 'place'"),
        ({"free": {}}, "free of a change must be a list"),
        ({"derivations": "longitudnal"}, "did you mean 'longitudinal'"),
        ({"marks": "/etc/passwd"}, "marks of a change must be null"),
    ],
)
def test_a_wrong_entry_is_said_in_one_sentence(entries: object, message: str) -> None:
    with pytest.raises(InputError, match=message) as caught:
        change(entries)
    assert "\n" not in str(caught.value)


def test_a_mode_set_by_hand_comes_and_goes() -> None:
    one = change({"shape": {"vault_3_2": 1.5}})
    two = change({"shape": {"vault_2_m2": -2}}, one)
    assert dict(two.shape) == {"vault_3_2": 1.5, "vault_2_m2": -2.0}
    assert dict(change({"shape": {"vault_3_2": None, "vault_2_m2": None}}, two).shape) == {}


def test_an_unknown_set_of_derivations_is_a_lookup_error_too() -> None:
    with pytest.raises(UnknownNameError):
        change({"derivations": "zigzag"})


JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3)
    ),
    max_leaves=8,
)
ENTRY = st.sampled_from(
    "label age sex system unit doubtful align note tape shape rules free derivations marks".split()
)


@given(
    st.dictionaries(
        ENTRY, JSON | st.dictionaries(st.sampled_from(["ring", "curve", "vault_3_2"]), JSON)
    )
)
def test_any_json_is_accepted_or_refused_in_one_sentence(entries: dict[str, object]) -> None:
    try:
        said = change(entries).label
    except HeadfitError as error:
        said = str(error)
    assert said.strip() or entries.get("label") is not None
    assert "\n" not in said
