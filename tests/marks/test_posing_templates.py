"""Templates that pose as measurements."""

import mne
import numpy as np
import pytest
from marked_heads import template_sites, three_of
from solids import SPHERE_C

from headfit import load_template
from headfit.marks.axes import axes_matrix
from headfit.marks.posing_templates import fit_sphere, mirrored_pairs, posing_template

SITES = template_sites("10-10")
LANDMARKS = three_of(load_template())


def codes(points: np.ndarray, mm_per_unit: float = 1.0) -> list[str]:
    return [remark.code for remark in posing_template(points, {}, mm_per_unit)]


@pytest.mark.parametrize("decimals", [6, 1, 0])
def test_a_measured_head_poses_as_nothing(decimals: int) -> None:
    for seed in range(20):
        noise = np.random.default_rng(seed).normal(scale=1.0, size=SITES.points_mm.shape)
        points = np.round(SITES.points_mm + noise, decimals)
        assert posing_template(points, LANDMARKS, 1.0) == ()


def test_marks_that_mirror_each_other_exactly_are_a_template() -> None:
    # The template head is symmetric: its sites are what such a file holds.
    assert codes(SITES.points_mm) == ["template-symmetric"]
    assert codes(SITES.points_mm + np.array([12.0, -3.0, 40.0])) == ["template-symmetric"]


def test_a_template_stays_one_when_a_mark_is_moved_or_channels_are_missing() -> None:
    points = np.array(SITES.points_mm)
    points[0] += [0.0, 5.0, 0.0]
    assert codes(np.delete(points, [5, 17], axis=0)) == ["template-symmetric"]


def test_in_a_tilted_frame_the_landmarks_show_the_mirror_image() -> None:
    turn = np.linalg.qr(np.random.default_rng(2).normal(size=(3, 3)))[0]
    landmarks = {name: point @ turn for name, point in LANDMARKS.items()}
    assert mirrored_pairs(SITES.points_mm @ turn, 0.1) == 0
    found = posing_template(SITES.points_mm @ turn, landmarks, 1.0)
    assert [remark.code for remark in found] == ["template-symmetric"]


# Templates of the general library mne, BSD licence: mne/channels/data/montages.
@pytest.mark.parametrize("kind", ["easycap-M1", "biosemi64", "GSN-HydroCel-128", "biosemi128"])
@pytest.mark.parametrize(
    ("unit_mm", "decimals"), [(1.0, 4), (1000.0, 6), (10.0, 2), (1000.0, 3), (1.0, 0)]
)
def test_published_templates_are_known_in_any_unit_shifted_and_rounded(
    kind: str, unit_mm: float, decimals: int
) -> None:
    positions = mne.channels.make_standard_montage(kind).get_positions()["ch_pos"].values()
    points = 1000.0 * np.array(list(positions)) + [3.21, -14.4, 20.07]
    written = np.round(points / unit_mm, decimals)
    assert codes(written * unit_mm, unit_mm) != []


def test_numbers_rounded_too_coarsely_say_nothing_either_way() -> None:
    assert codes(np.round(SITES.points_mm, -1)) == []


@pytest.mark.parametrize(
    ("radius", "mm_per_unit", "is_round"),
    [(85.0, 1.0, True), (1.0, 100.0, True), (9.5, 10.0, True), (87.31, 1.0, False)],
)
def test_marks_on_a_sphere_are_a_template_and_a_round_radius_is_told(
    radius: float, mm_per_unit: float, is_round: bool
) -> None:
    names = [n for n in SPHERE_C.sites if n not in ("Nz", "Iz")][:30]
    points = np.array([SPHERE_C.sites[n] for n in names]) / 90.0 * radius * mm_per_unit
    remark = posing_template(points, {}, mm_per_unit)[-1]
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


def test_axes_of_the_file_need_no_landmarks() -> None:
    turned = SITES.points_mm @ axes_matrix("LPS")
    assert mirrored_pairs(turned, 0.1) == mirrored_pairs(SITES.points_mm, 0.1) > 20
