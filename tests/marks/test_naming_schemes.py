"""Names of another scheme, told by where they lie."""

import numpy as np
import pytest
from marked_heads import on_the_spot, scalp_names, template_sites, template_targets, three_of

from headfit import load_template
from headfit.anatomy.arcs import mirrored
from headfit.marks.naming_schemes import lettered, other_scheme

SITES = template_sites("10-10")
LANDMARKS = three_of(load_template())
LETTERED = [f"{letter}{k}" for letter in "ABCD" for k in range(1, 33)]
SPELT_LIKE_SITES = ["A1", "A2", "C1", "C2", "C3", "C4", "C5", "C6"]


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


def test_the_helper_marks_every_site_it_names() -> None:
    assert on_the_spot(template_targets()).names == scalp_names("10-20")
