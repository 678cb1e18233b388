"""Lengths written down by people, in millimetres."""

import re

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from headfit.errors import UnitError
from headfit.units import MM_PER_UNIT, parse_length, to_mm

LENGTHS = st.floats(1e-3, 1e5)


def test_units_are_worth_what_they_are_by_definition() -> None:
    # The inch: international yard and pound agreement, 1959.
    assert MM_PER_UNIT == {
        "mm": 1.0,
        "cm": 10.0,
        "m": 1000.0,
        "inch": 25.4,
        "inches": 25.4,
        "in": 25.4,
    }


@given(LENGTHS, st.sampled_from(sorted(MM_PER_UNIT)))
def test_a_length_is_multiplied_by_its_unit(value: float, unit: str) -> None:
    assert to_mm(value, unit) == pytest.approx(value * MM_PER_UNIT[unit], rel=1e-15)
    assert to_mm(value, f" {unit.upper()} ") == to_mm(value, unit)


@pytest.mark.parametrize("number", [36, 36.0, np.float32(36), np.float64(36), np.int64(36)])
def test_any_real_number_is_taken(number: float) -> None:
    found = to_mm(number, "cm")
    assert found == 360.0
    assert type(found) is float


@pytest.mark.parametrize("unit", ["ells", "", "mmm", "ft", "%"])
def test_an_unknown_unit_is_refused(unit: str) -> None:
    message = f"unit of ring must be one of mm, cm, m, inch, got {unit!r}"
    with pytest.raises(UnitError, match=f"^{re.escape(message)}$") as caught:
        to_mm(36.0, unit, "ring")
    assert caught.value.facts["unit"] == unit


@pytest.mark.parametrize(
    "value", [float("nan"), float("inf"), -float("inf"), None, "36", True, [36.0], 1j]
)
def test_a_value_that_is_no_finite_number_is_refused(value: object) -> None:
    message = f"ring must be a finite number, got {value!r}"
    with pytest.raises(UnitError, match=f"^{re.escape(message)}$"):
        to_mm(value, "cm", "ring")  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("text", "length_mm"),
    [
        ("36.2 cm", 362.0),
        ("36,2 cm", 362.0),
        ("  36.2cm ", 362.0),
        ("362 mm", 362.0),
        (".5 m", 500.0),
        ("14 inches", 355.6),
        ("14.25 IN", 361.95),
        ("+1e2 mm", 100.0),
        ("-3 cm", -30.0),
        ("36. cm", 360.0),
    ],
)
def test_a_length_with_its_unit_is_read(text: str, length_mm: float) -> None:
    assert parse_length(text) == length_mm


@given(st.floats(0.01, 2000, allow_subnormal=False), st.sampled_from(["mm", "cm", "m", "inch"]))
def test_a_length_that_was_printed_is_read_back(value: float, unit: str) -> None:
    expected = value * MM_PER_UNIT[unit]
    for text in (f"{value!r} {unit}", f"{value!r}{unit}", f"{value!r} {unit}".replace(".", ",")):
        assert parse_length(text) == pytest.approx(expected, abs=1e-8)


@pytest.mark.parametrize("text", ["36.2", " 36 ", "36,2"])
def test_a_number_without_a_unit_is_refused(text: str) -> None:
    message = f"ring must carry its unit, got {text!r} (write {text.strip()} cm, mm or inch)"
    with pytest.raises(UnitError, match=f"^{re.escape(message)}$"):
        parse_length(text, "ring")


@pytest.mark.parametrize("text", ["", "cm", "about 36 cm", "36-37 cm", "1.234,5 mm", "36 3 cm"])
def test_a_text_that_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(UnitError, match=r"^ring must be a number with a unit, such as 36\.2 cm"):
        parse_length(text, "ring")


def test_an_unknown_unit_in_a_text_is_refused() -> None:
    message = "unit of ring must be one of mm, cm, m, inch, got 'ells'"
    with pytest.raises(UnitError, match=f"^{re.escape(message)}$"):
        parse_length("36 ells", "ring")
