"""Units told from the size of a head."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from marked_heads import template_sites

from headfit.marks.unit_detection import (
    declared_mm,
    find_unit,
    is_head,
    span_of,
    spread_of,
    unit_name,
)

MM = {"mm": 1.0, "cm": 10.0, "m": 1000.0}
UNITS = sorted(MM)


@given(
    st.sampled_from(UNITS),
    st.sampled_from(UNITS),
    st.sampled_from(["newborn", "m06", "adult"]),
    st.floats(0.0, 15.0),
)
def test_whatever_is_declared_the_true_unit_is_found(
    true: str, declared: str, age: str, height_mm: float
) -> None:
    sites = template_sites("10-20", age)
    size = spread_of(sites.points_mm + height_mm * sites.normals) / MM[true]
    finding = find_unit(size, declared, "marks", len(sites))
    assert finding.mm_per_unit == MM[true]
    codes = [remark.code for remark in finding.remarks]
    assert codes == ([] if true == declared else ["unit-wrong"])


@given(st.sampled_from(UNITS), st.sampled_from([None, "n/a", "furlong"]))
def test_a_unit_that_is_not_declared_is_deduced_and_told(true: str, declared: str | None) -> None:
    finding = find_unit(spread_of(template_sites().points_mm) / MM[true], declared, "marks")
    assert finding.mm_per_unit == MM[true]
    (remark,) = finding.remarks
    assert (remark.code, remark.kind, remark.evidence["taken"]) == (
        "unit-deduced",
        "correction",
        true,
    )


@pytest.mark.parametrize("exponent", range(-9, 10))
def test_every_power_of_ten_is_brought_to_a_head(exponent: int) -> None:
    size = 170.0 * 10.0**exponent
    finding = find_unit(size, "mm", "marks")
    assert size * finding.mm_per_unit == pytest.approx(170.0)


@pytest.mark.parametrize("size", [0.4, 4.0, 40.0, 400.0, 4e5, 39.999999])
def test_the_edges_of_a_decade_belong_to_one_unit_only(size: float) -> None:
    assert is_head(size * find_unit(size, None, "marks").mm_per_unit)


def test_inches_are_believed_when_declared() -> None:
    finding = find_unit(170.0 / 25.4, "inch", "marks")
    assert (finding.mm_per_unit, finding.remarks) == (25.4, ())


def test_inches_declared_as_centimetres_make_an_unusually_small_head() -> None:
    finding = find_unit(140.0 / 25.4, "cm", "marks")
    assert [r.code for r in finding.remarks] == ["size-unusual"]
    assert "55 mm" in finding.remarks[0].sentence


def test_few_marks_of_one_region_keep_the_unit_they_declare() -> None:
    sites = template_sites("10-10", "newborn")
    occipital = np.array([sites[name] for name in ("O1", "Oz", "O2", "POz")])
    finding = find_unit(spread_of(occipital), "mm", "marks", 4)
    assert (finding.mm_per_unit, finding.remarks) == (1.0, ())


def test_a_wild_row_does_not_decide_the_size() -> None:
    points = np.array(template_sites().points_mm)
    size = spread_of(points)
    points[0] = [1e7, 1e7, 1e7]
    assert spread_of(points) == pytest.approx(size, rel=0.1)


def test_span_is_the_largest_distance() -> None:
    assert span_of(np.array([[0.0, 0, 0], [3, 4, 0], [1, 0, 0]])) == 5.0


def test_units_have_plain_names() -> None:
    assert [unit_name(f) for f in (1.0, 10.0, 1000.0, 1e-5)] == [
        "mm",
        "cm",
        "m",
        "units of 1e-05 mm",
    ]
    assert (declared_mm("Millimetres"), declared_mm(" CM "), declared_mm("parsec")) == (
        1.0,
        10.0,
        None,
    )
    assert is_head(170.0)
    assert not is_head(17.0)
