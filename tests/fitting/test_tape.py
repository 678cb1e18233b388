"""The measurement sheet: what it takes, what it refuses and why."""

from __future__ import annotations

import pytest

from headfit import Tape
from headfit.errors import SheetError, UnknownNameError
from headfit.fitting.measurements import GROUPS, MEASUREMENTS, measurement


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"nasion_inion_mm": 36.0}, "lie in 150 to 480 mm, got 36 mm (are these centimetres?)"),
        ({"nasion_inion_mm": 14.2}, "got 14.2 mm (are these inches?)"),
        ({"ring_mm": 0.56}, "(are these metres?)"),
        ({"ring_mm": 5600}, "(is there one digit too many?)"),
        ({"ring_mm": 9}, "(measure it again)"),
        ({"ring_mm": float("nan")}, "10 % ring must be a finite number of mm, got nan"),
        ({"ring_mm": "56"}, "must be a finite number of mm, got '56'"),
        ({"ring_mm": True}, "must be a finite number of mm, got True"),
        ({"ring_mm": []}, "must be a number of mm, got an empty list"),
        ({}, "a measurement sheet must hold at least one value, got none"),
        (
            {"ring_mm": 350, "preauricular_arc_mm": 351},
            "preauricular arc must be shorter than the 10 % ring, got 35.1 cm against 35.0 cm",
        ),
        (
            {"nasion_inion_mm": 190, "nasion_inion_chord_mm": 191},
            "nasion-inion chord must be shorter than the nasion-inion arc",
        ),
        (
            {"ring_mm": 560, "spreads_mm": {"ring": 0.0}},
            "spread of 10 % ring must lie in 0 to 50 mm",
        ),
    ],
)
def test_a_bad_sheet_is_answered_by_one_sentence(given: dict[str, object], said: str) -> None:
    with pytest.raises(SheetError) as caught:
        Tape(**given)  # type: ignore[arg-type]
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)
    assert caught.value.code


def test_a_misspelt_measurement_is_answered_with_the_nearest_one() -> None:
    with pytest.raises(UnknownNameError, match="did you mean 'frontal_row'"):
        measurement("frontal_rowe")
    with pytest.raises(UnknownNameError, match="unknown measurement 'rink'"):
        Tape(ring_mm=560, spreads_mm={"rink": 2.0})


def test_repeated_readings_are_averaged_and_sharpen_the_spread() -> None:
    twice = Tape(ring_mm=[560, 562])
    assert twice.ring_mm == 561
    assert twice.spread_mm("ring") < Tape(ring_mm=561).spread_mm("ring")
    # One spread of 3 mm and a scatter of 2 (mm^2) are two degrees of freedom; the mean has half.
    assert twice.spread_mm("ring") == pytest.approx(((9 + 2) / 2 / 2) ** 0.5)


def test_readings_that_scatter_widen_the_spread() -> None:
    assert Tape(ring_mm=[540, 580]).spread_mm("ring") > Tape(ring_mm=560).spread_mm("ring")


def test_a_sheet_without_a_value_keeps_the_others_and_their_spreads() -> None:
    sheet = Tape(ring_mm=[560, 562], nasion_inion_mm=360, spreads_mm={"ring_mm": 5.0})
    left = sheet.without("nasion_inion")
    assert left.readings_mm == {"ring": (560.0, 562.0)}
    assert left.spread_mm("ring") == sheet.spread_mm("ring")


def test_every_measurement_says_how_it_is_taken_and_in_what_range() -> None:
    assert len(MEASUREMENTS) == 31
    for kind in MEASUREMENTS.values():
        assert kind.how
        assert kind.tool in ("tape", "caliper")
        assert 0 < kind.lowest_mm < kind.highest_mm
        assert 0 < kind.spread_mm <= 3


def test_every_measurement_stands_in_exactly_one_group_of_the_form() -> None:
    grouped = [name for names in GROUPS.values() for name in names]
    assert sorted(grouped) == sorted(MEASUREMENTS)
    assert MEASUREMENTS["ring"].group == "Start with these"
    assert {kind.group for kind in MEASUREMENTS.values()} == set(GROUPS)
