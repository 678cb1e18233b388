"""What a value that is not used was meant to be."""

from __future__ import annotations

import math

import pytest

from headfit.fitting.likely_value import likely_value_mm
from headfit.fitting.shape import shape_model
from headfit.fitting.tape import Tape

SHEET = Tape(nasion_inion_mm=362.0, preauricular_arc_mm=360.0, ring_mm=566.0)


@pytest.mark.parametrize(
    ("name", "wrong_mm", "meant_mm"),
    [
        ("nasion_inion", 3660.0, 366.0),  # millimetres typed as centimetres
        ("nasion_inion", 36.0, 360.0),  # 3.6 for 36
        ("head_breadth", 125.0, 152.0),  # digits exchanged
        ("preauricular_arc", 3666.0, 366.6),
        ("ring", 5566.0, 556.6),
        ("preauricular_arc", 142.0, 142 * 2.54),  # 14.2 inches typed as centimetres
    ],
)
def test_one_slip_of_hand_is_taken_back(name: str, wrong_mm: float, meant_mm: float) -> None:
    assert likely_value_mm(shape_model("adult"), SHEET, name, wrong_mm) == pytest.approx(meant_mm)


@pytest.mark.parametrize("wrong_mm", [-80.0, 0.0, 1.0, 1e9])
def test_where_no_slip_explains_it_nothing_is_proposed(wrong_mm: float) -> None:
    assert math.isnan(likely_value_mm(shape_model("adult"), SHEET, "ring", wrong_mm))
