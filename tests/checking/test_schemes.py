"""Names of another scheme, and templates that pose as measurements."""

import numpy as np
import pytest
from marked_heads import on_the_spot, scalp_names, template_sites, template_targets, three_of
from solids import SPHERE_C

from headfit import load_template
from headfit.anatomy.arcs import mirrored
from headfit.checking.schemes import fit_sphere, lettered, other_scheme, posing_template

SITES = template_sites("10-10")
LANDMARKS = three_of(load_template())
LETTERED = [f"{letter}{k}" for letter in "ABCD" for k in range(1, 33)]
SPELT_LIKE_SITES = ["A1", "A2", "C1", "C2", "C3", "C4", "C5", "C6"]


def codes(remarks: object) -> list[str]:
    return [remark.code for remark in remarks]  # type: ignore[attr-defined]


@pytest.mark.parametrize("landmarks", [LANDMARKS, {}], ids=["landmarks", "no landmarks"])
def test_lettered_names_that_are_spelt_like_sites_are_recognised_by_where_they_lie(
    landmarks: dict[str, np.ndarray],
) -> None:
    # The vertex, then round the back: where a lettered scheme may have its first places.
    places = np.array([SITES[n] for n in ("Cz", "CPz", "FC2", "F4", "F6", "FC6", "AF4", "Fp2")])
    remark = other_scheme(SPELT_LIKE_SITES, places, landmarks, LETTERED[6:12])
    assert remark is not None
    assert (remark.code, remark.kind) == ("names-other-scheme", "doubt")
    assert "a lettered scheme" in remark.sentence
    assert remark.evidence["median_gap_mm"] > 35  # type: ignore[operator]


def test_sites_in_their_places_are_sites_whatever_stands_beside_them() -> None:
    names = scalp_names("10-10")
    assert other_scheme(names, SITES.points_mm, LANDMARKS, LETTERED[6:12]) is None
    assert other_scheme(names, SITES.points_mm, {}, LETTERED[6:12]) is None


def test_mirrored_names_are_no_other_scheme() -> None:
    names = [mirrored(name) for name in SITES.names]
    assert other_scheme(names, SITES.points_mm, LANDMARKS, []) is None


def test_two_suspect_names_without_landmarks_are_not_believed() -> None:
    remark = other_scheme(["C3", "C4"], SITES.points_mm[:2], {}, LETTERED[6:12])
    assert remark is not None
    assert "too few of them" in remark.sentence
    assert other_scheme(["C3", "C4"], SITES.points_mm[:2], {}, ["EEG001"]) is None


def test_only_letters_a_to_h_with_numbers_are_a_lettered_scheme() -> None:
    assert lettered(LETTERED[2:6])
    assert not lettered(["EEG001", "E12", "E13", "12", "X1", "Y2", "Z3"])
    assert not lettered(["A17", "B2"])


def test_a_measured_head_poses_as_nothing() -> None:
    rng = np.random.default_rng(1)
    points = SITES.points_mm + rng.normal(scale=1.0, size=SITES.points_mm.shape)
    assert posing_template(SITES.names, points, 1.0) == ()


def test_marks_that_mirror_each_other_exactly_are_a_template() -> None:
    # The template head is symmetric: its sites are what such a file holds.
    assert codes(posing_template(SITES.names, SITES.points_mm, 1.0)) == ["template-symmetric"]
    shifted = SITES.points_mm + np.array([12.0, -3.0, 40.0])
    assert codes(posing_template(SITES.names, shifted, 1.0)) == ["template-symmetric"]


def test_one_pair_that_differs_by_a_millimetre_makes_it_a_measurement() -> None:
    points = np.array(SITES.points_mm)
    points[0] += [0.0, 1.0, 0.0]
    assert posing_template(SITES.names, points, 1.0) == ()


@pytest.mark.parametrize(
    ("radius", "mm_per_unit", "is_round"),
    [(85.0, 1.0, True), (1.0, 100.0, True), (9.5, 10.0, True), (87.31, 1.0, False)],
)
def test_marks_on_a_sphere_are_a_template_and_a_round_radius_is_told(
    radius: float, mm_per_unit: float, is_round: bool
) -> None:
    names = [n for n in SPHERE_C.sites if n not in ("Nz", "Iz")][:30]
    points = np.array([SPHERE_C.sites[n] for n in names]) / 90.0 * radius * mm_per_unit
    remark = posing_template(names, points, mm_per_unit)[-1]
    assert remark.code == "template-sphere"
    assert remark.evidence["round_radius"] is is_round
    assert remark.evidence["radius_mm"] == pytest.approx(radius * mm_per_unit, abs=0.01)


def test_the_sphere_through_points_of_one_is_that_sphere() -> None:
    rng = np.random.default_rng(3)
    unit = rng.normal(size=(12, 3))
    points = 77.0 * unit / np.linalg.norm(unit, axis=1, keepdims=True) + [10.0, 20.0, 30.0]
    found = fit_sphere(points)
    assert found is not None
    np.testing.assert_allclose(found[0], [10, 20, 30], atol=1e-9)
    assert found[1:] == (pytest.approx(77.0), pytest.approx(0.0, abs=1e-9))


def test_flat_points_lie_on_no_sphere() -> None:
    assert (
        fit_sphere(np.column_stack([np.random.default_rng(0).normal(size=(9, 2)), np.zeros(9)]))
        is None
    )


def test_the_helper_marks_every_site_it_names() -> None:
    assert on_the_spot(template_targets()).names == scalp_names("10-20")
