"""case.json: everything, in plain JSON, the same bytes each time."""

import dataclasses
import json
from pathlib import Path

import numpy as np
import pytest
from demo_case import TEXT, demo_result, solved_text

from headfit import Rules, Tape, __version__, measure_head
from headfit.case.case import Case
from headfit.case.solved import solve_case
from headfit.errors import SheetError
from headfit.files.case_json import solved_data
from headfit.files.plain_json import as_json, plain
from headfit.fitting.measurements import MEASUREMENTS


def data() -> dict[str, object]:
    found = json.loads(as_json(solved_data(demo_result())))
    assert isinstance(found, dict)
    return found


def test_the_text_is_strict_json_that_holds_what_was_given() -> None:
    given = solved_data(demo_result())
    text = as_json(given)

    def refuse(name: str) -> None:
        raise AssertionError(name)

    assert json.loads(text, parse_constant=refuse) == given
    assert as_json({}) == "{}\n"
    assert json.loads(as_json({"a": [], "b": [[1], {}]})) == {"a": [], "b": [[1], {}]}


def test_the_same_case_gives_the_same_bytes() -> None:
    again = solved_text(TEXT)
    assert as_json(solved_data(again)) == as_json(solved_data(demo_result()))


def test_every_measurement_stands_there_taken_or_not() -> None:
    found = data()["measurements"]
    assert isinstance(found, dict)
    assert list(found) == list(MEASUREMENTS)
    measured = demo_result().case.tape.values_mm
    on_head = measure_head(demo_result().fitted.head).values_mm
    for name, entry in found.items():
        assert ("measured_mm" in entry) == (name in measured)
        # What the fit says of its head is what a tape finds on the head that is written.
        assert entry["fitted_mm"] == pytest.approx(on_head[name], abs=0.5)
    ring = found["ring"]
    assert ring["readings_mm"] == [545.0, 549.0]
    gap = ring["fitted_mm"] - ring["measured_mm"]
    assert ring["fitted_minus_measured_mm"] == pytest.approx(gap, abs=0.002)


def test_every_site_stands_there_with_its_place_and_its_doubt() -> None:
    result = demo_result()
    found = data()["sites"]
    assert isinstance(found, list)
    assert [site["name"] for site in found] == list(result.sites.names)
    points = [site["point_mm"] for site in found]
    np.testing.assert_allclose(points, result.sites.points_mm, atol=0.0006)
    for site, covariance in zip(found, result.spreads.covariance_mm2, strict=True):
        if site["name"] in ("A1", "A2", "M1", "M2"):  # set by eye: no ring tells how sure that is
            assert site["ellipse_95"] is site["variance_mm2"] is None
            continue
        assert sum(site["variance_mm2"].values()) == pytest.approx(np.trace(covariance), abs=0.01)
        assert 0 < site["ellipse_95"]["minor_mm"] <= site["ellipse_95"]["major_mm"]
    beside_ears = [site["name"] for site in found if site["arc"] is None]
    assert {"A1", "A2", "M1", "M2"} <= set(beside_ears)
    assert all(site["from_start_mm"] is None for site in found if site["arc"] is None)


def test_what_is_needed_to_make_it_again_is_there_and_nothing_of_this_machine() -> None:
    case = dataclasses.replace(demo_result().case, marks_file=Path("/home/someone/marks.tsv"))
    result = dataclasses.replace(demo_result(), case=case)
    found = solved_data(result)
    assert found["made_by"] == {"program": "headfit", "version": __version__}
    assert found["rules"] == dataclasses.asdict(Rules(inferior="row"))  # as 10-10 has it
    assert found["case"]["doubtful"] == ["inion"]
    assert found["case"]["marks_file"] == "marks.tsv"
    assert "someone" not in as_json(found)
    assert found["advice"]["sentences"]
    assert found["advice"]["next"][0]["lowers_mm"] > 0


def test_the_rules_and_the_system_of_the_case_are_followed() -> None:
    case = Case(Tape(ring_mm=560), system="ifcn-25", rules=Rules(inner="parasagittal"))
    result = solve_case(case)
    assert len(result.sites) == 25
    assert result.sites.arc_of("F3") == ("left parasagittal", 0.25)


def test_plain_values_stay_and_others_become_plain() -> None:
    assert plain({"a": (1, True, None, "x")}) == {"a": [1, True, None, "x"]}
    assert plain([-0.0001, np.inf, np.array([2.00051])]) == [0.0, None, [2.001]]
    assert plain(Rules()) == dataclasses.asdict(Rules())
    assert plain(0.1234567, decimals=6) == 0.123457


def test_what_was_set_by_hand_is_told_and_kept() -> None:
    # The side that is flat: x is to the right, y to the nose (docs of the mode: back, right).
    text = f"{TEXT}\n[shape]\nvault_2_m2 = 3.0\n"
    result = solved_text(text)
    found = solved_data(result)
    assert found["case"]["shape"] == {"vault_2_m2": 3.0}
    assert found["shape"]["vault_2_m2"]["set_by_hand"] is True
    assert found["shape"]["vault_2_m2"]["value"] == pytest.approx(3.0, abs=0.01)
    assert found["shape"]["vault_2_m2"]["spread"] < 0.01
    assert "set_by_hand" not in found["shape"]["vault_3_2"]
    p7, p8 = (result.sites[name] for name in ("P7", "P8"))
    even = demo_result().sites
    assert np.linalg.norm(p8[:2]) < np.linalg.norm(even["P8"][:2]) - 2.0
    assert np.linalg.norm(p7[:2]) > np.linalg.norm(even["P7"][:2]) + 2.0


def test_a_shape_that_contradicts_the_tape_is_named_not_the_tape() -> None:
    with pytest.raises(SheetError, match="a shape set by hand must leave a head that has the meas"):
        solved_text(f"{TEXT}\n[shape]\nvault_4_2 = 6\nvault_4_4 = 6\n")
    wrong = TEXT.replace("nasion_inion = 36.6", "nasion_inion = 17")
    with pytest.raises(SheetError, match="a measurement sheet must describe a head"):
        solved_text(f"{wrong}\n[shape]\nvault_2_m2 = 1\n")
