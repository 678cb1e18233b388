"""Axes and exchanged landmarks, told from marks, names and landmarks against each other."""

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from marked_heads import landmarks_of, template_sites, three_of
from scipy.spatial.transform import Rotation

from headfit import load_template
from headfit.anatomy.arcs import mirrored, side_of
from headfit.marks.axes import axes_matrix, described, nearest_axes, settle
from headfit.marks.handedness import front_of, vote
from headfit.marks.template_sites import fit_by_names

ALL_AXES = [
    "".join(letters)
    for order in itertools.permutations(("RL", "AP", "SI"))
    for letters in itertools.product(*order)
]
SITES = template_sites("10-10")
HEAD = load_template()


def hand(letters: str) -> float:
    return float(np.linalg.det(axes_matrix(letters)))


def written(letters: str, points: np.ndarray) -> np.ndarray:
    """Points of the head frame as a file with these axes would hold them."""
    return points @ axes_matrix(letters)


def test_there_are_48_ways_for_axes_to_run_and_half_are_left_handed() -> None:
    assert len(ALL_AXES) == 48
    assert sorted({hand(a) for a in ALL_AXES}) == [-1.0, 1.0]
    assert sum(hand(a) < 0 for a in ALL_AXES) == 24


def test_als_means_x_front_y_left_z_up() -> None:
    # BIDS: "ALS orientation" names where x, y and z point.
    assert (axes_matrix("ALS") @ [1.0, 0, 0]).tolist() == [0, 1, 0]
    assert (axes_matrix("ALS") @ [0, 1.0, 0]).tolist() == [-1, 0, 0]
    assert described("ALS") == "x to the front, y to the left, z up"


@pytest.mark.parametrize("letters", ALL_AXES)
def test_any_axes_are_turned_to_right_front_up_by_the_landmarks(letters: str) -> None:
    landmarks = {k: written(letters, p) for k, p in three_of(HEAD).items()}
    settled = settle(written(letters, SITES.points_mm), SITES.names, landmarks, None)
    np.testing.assert_allclose(settled.points_mm, SITES.points_mm, atol=1e-9)
    np.testing.assert_allclose(settled.landmarks["nasion"], HEAD.landmarks.nasion, atol=1e-9)
    codes = [r.code for r in settled.remarks]
    assert codes == ([] if letters == "RAS" else ["axes-deduced"])
    if codes:
        assert settled.remarks[0].evidence["axes"] == letters
        assert ("left-handed" in settled.remarks[0].sentence) == (hand(letters) < 0)
    assert settled.names_fit


@pytest.mark.parametrize("letters", [a for a in ALL_AXES if hand(a) > 0])
def test_without_landmarks_the_names_tell_the_axes(letters: str) -> None:
    settled = settle(written(letters, SITES.points_mm), SITES.names, {}, None)
    np.testing.assert_allclose(settled.points_mm, SITES.points_mm, atol=1e-9)
    assert [r.code for r in settled.remarks] == ([] if letters == "RAS" else ["axes-deduced"])


def test_a_left_handed_file_without_landmarks_is_doubted_not_turned_over() -> None:
    settled = settle(written("LAS", SITES.points_mm), SITES.names, {}, None)
    assert [r.code for r in settled.remarks] == ["handedness"]
    np.testing.assert_allclose(settled.points_mm, written("LAS", SITES.points_mm))


@pytest.mark.parametrize("letters", ["ALS", "PRS", "LPS", "RSP", "ILA"])
def test_marks_on_other_axes_than_their_landmarks_are_turned_to_them(letters: str) -> None:
    settled = settle(written(letters, SITES.points_mm), SITES.names, three_of(HEAD), None)
    assert [(r.code, r.kind) for r in settled.remarks] == [("axes-differ", "correction")]
    assert settled.remarks[0].evidence["axes"] == letters
    np.testing.assert_allclose(settled.points_mm, SITES.points_mm, atol=1e-9)
    assert settled.names_fit


def test_marks_turned_by_an_angle_that_no_axes_explain_are_left_to_the_comparison() -> None:
    turn = Rotation.from_rotvec([0.0, 0.0, 45.0], degrees=True)
    points = turn.apply(np.array(SITES.points_mm))
    settled = settle(points, SITES.names, three_of(HEAD), None)
    assert settled.remarks == []
    np.testing.assert_array_equal(settled.points_mm, points)


def test_a_frame_of_its_own_without_landmarks_is_kept() -> None:
    points = Rotation.from_rotvec([0.0, 0.0, 45.0], degrees=True).apply(np.array(SITES.points_mm))
    settled = settle(points, SITES.names, {}, None)
    assert [(r.code, r.kind) for r in settled.remarks] == [("axes-own", "note")]
    np.testing.assert_array_equal(settled.points_mm, points)


def test_marks_in_line_lay_no_template() -> None:
    line = np.outer(np.arange(6.0), [10.0, 20.0, 30.0])
    assert fit_by_names(SITES.names[:6], line) is None
    assert fit_by_names(SITES.names[:4], SITES.points_mm[:4]) is None


def test_marks_and_landmarks_may_run_on_two_different_axes() -> None:
    landmarks = {k: written("ALS", p) for k, p in three_of(HEAD).items()}
    settled = settle(SITES.points_mm, SITES.names, landmarks, "CTF")
    assert [r.code for r in settled.remarks] == ["axes-differ", "axes-turned"]
    np.testing.assert_allclose(settled.points_mm, SITES.points_mm, atol=1e-9)


def test_exchanged_ears_are_put_right_and_told() -> None:
    landmarks = three_of(HEAD)
    left, right = landmarks["left_preauricular"], landmarks["right_preauricular"]
    wrong = landmarks | {"left_preauricular": right, "right_preauricular": left}
    settled = settle(SITES.points_mm, SITES.names, wrong, "CapTrak")
    assert [(r.code, r.kind) for r in settled.remarks] == [("ears-exchanged", "correction")]
    assert settled.landmarks["left_preauricular"][0] < 0
    np.testing.assert_allclose(settled.points_mm, SITES.points_mm)


def test_exchanged_ears_without_names_are_doubted() -> None:
    landmarks = three_of(HEAD)
    wrong = landmarks | {
        "left_preauricular": landmarks["right_preauricular"],
        "right_preauricular": landmarks["left_preauricular"],
    }
    settled = settle(SITES.points_mm, [], wrong, None)
    assert "handedness" in [r.code for r in settled.remarks]


def test_mirrored_names_are_doubted_and_left_to_the_comparison() -> None:
    names = [mirrored(name) for name in SITES.names]
    settled = settle(SITES.points_mm, names, three_of(HEAD), None)
    assert [(r.code, r.kind) for r in settled.remarks] == [("handedness", "doubt")]
    np.testing.assert_allclose(settled.points_mm, SITES.points_mm)


FEW = ("C3", "C4", "Fz", "Pz")


@pytest.mark.parametrize("names", [FEW, ("F7", "T8"), ("O1",), (*FEW, "Fp1", "Oz")])
@pytest.mark.parametrize("letters", ["RAS", "LAS", "PLI", "SAR"])
@pytest.mark.parametrize("exchanged", [False, True])
def test_few_names_tell_left_handed_axes_from_exchanged_ears(
    names: tuple[str, ...], letters: str, exchanged: bool
) -> None:
    points = np.array([SITES[name] for name in names])
    landmarks = three_of(HEAD)
    if exchanged:
        landmarks["left_preauricular"], landmarks["right_preauricular"] = (
            landmarks["right_preauricular"],
            landmarks["left_preauricular"],
        )
    there = {k: written(letters, p) for k, p in landmarks.items()}
    settled = settle(written(letters, points), names, there, None)
    codes = {r.code for r in settled.remarks}
    assert settled.names_fit
    if exchanged and hand(letters) < 0:  # the same numbers as with all names mirrored
        assert "handedness" in codes
        return
    assert ("ears-exchanged" in codes, "handedness" in codes) == (exchanged, False)
    assert ("axes-deduced" in codes) == (letters != "RAS")
    np.testing.assert_allclose(settled.points_mm, points, atol=1e-9)


@pytest.mark.parametrize("order", list(itertools.permutations(range(3)))[1:])
@pytest.mark.parametrize("letters", ["RAS", "ALS"])
def test_landmarks_under_each_others_keys_are_put_right_and_told(
    order: tuple[int, ...], letters: str
) -> None:
    keys = list(three_of(HEAD))
    places = [written(letters, p) for p in three_of(HEAD).values()]
    mixed = {key: places[k] for key, k in zip(keys, order, strict=True)}
    settled = settle(written(letters, SITES.points_mm), SITES.names, mixed, None)
    codes = [r.code for r in settled.remarks]
    only_ears = mixed["nasion"] is places[0]
    assert codes[0] == ("ears-exchanged" if only_ears else "landmarks-mixed-up")
    for key, place in three_of(HEAD).items():
        np.testing.assert_allclose(settled.landmarks[key], place, atol=1e-9)
    np.testing.assert_allclose(settled.points_mm, SITES.points_mm, atol=1e-9)


def test_names_of_the_midline_tell_no_side() -> None:
    points = np.array([SITES[name] for name in ("Fz", "Cz", "Pz", "Oz")])
    wrong = {k: p * [1.0, 1.0, -1.0] for k, p in three_of(HEAD).items()}
    settled = settle(points * [1.0, 1.0, -1.0], ["Fz", "Cz", "Pz", "Oz"], wrong, "CapTrak")
    assert [r.code for r in settled.remarks][:1] == ["handedness"]


def test_few_names_without_landmarks_claim_no_axes_that_a_mirror_image_would_fit_too() -> None:
    names = ["Fz", "Cz", "Pz", "Oz", "Fpz", "C3"]
    points = np.array([SITES[name] for name in names])
    settled = settle(written("ALS", points), names, {}, None)
    assert [r.code for r in settled.remarks] == ["axes-unknown"]
    assert settled.names_fit


def test_axes_that_run_as_declared_are_a_note_and_against_it_a_correction() -> None:
    landmarks = {k: written("ALS", p) for k, p in three_of(HEAD).items()}
    for system, code, kind in (
        ("CTF", "axes-turned", "note"),
        ("CapTrak", "axes-wrong", "correction"),
        ("Other", "axes-deduced", "correction"),
    ):
        settled = settle(written("ALS", SITES.points_mm), SITES.names, landmarks, system)
        assert [(r.code, r.kind) for r in settled.remarks] == [(code, kind)]
        np.testing.assert_allclose(settled.points_mm, SITES.points_mm, atol=1e-9)


def test_a_file_declared_als_that_runs_ras_is_not_turned() -> None:
    settled = settle(SITES.points_mm, SITES.names, three_of(HEAD), "CTF")
    assert [r.code for r in settled.remarks] == ["axes-wrong"]
    np.testing.assert_allclose(settled.points_mm, SITES.points_mm)


def test_declared_axes_are_followed_when_nothing_else_tells() -> None:
    settled = settle(written("ALS", SITES.points_mm), [], {}, "CTF")
    assert [r.code for r in settled.remarks] == ["axes-turned"]
    np.testing.assert_allclose(settled.points_mm, SITES.points_mm, atol=1e-9)


def test_a_tilted_scanner_frame_is_a_frame_of_right_front_up() -> None:
    tilt = Rotation.from_rotvec([20.0, 0.0, 0.0], degrees=True)
    landmarks = {k: tilt.apply(np.array(p)) for k, p in three_of(HEAD).items()}
    assert settle(tilt.apply(np.array(SITES.points_mm)), SITES.names, landmarks, None).remarks == []


@given(st.integers(0, 2**32 - 1))
def test_a_frame_of_its_own_is_kept_and_its_landmarks_still_place_the_marks(seed: int) -> None:
    turn = Rotation.random(rng=np.random.default_rng(seed))
    landmarks = {k: turn.apply(np.array(p)) for k, p in landmarks_of(HEAD).items()}
    settled = settle(turn.apply(np.array(SITES.points_mm)), SITES.names, landmarks, None)
    gap = settled.points_mm[3] - settled.landmarks["nasion"]
    assert np.linalg.norm(gap) == pytest.approx(
        np.linalg.norm(SITES.points_mm[3] - HEAD.landmarks.nasion)
    )
    degrees = nearest_axes(turn.as_matrix().T)[1]
    if degrees > 31:
        assert [(r.code, r.kind) for r in settled.remarks] == [("axes-own", "note")]


def test_names_tell_sides_and_front() -> None:
    assert [side_of(n) for n in ("F3", "F4", "Fz", "FFC5h", "T10")] == [-1, 1, 0, -1, 1]
    assert [front_of(n) for n in ("Fp1", "F7", "C3", "P3", "Oz", "FC1")] == [1, 1, 0, -1, -1, 0]


def test_four_marks_or_more_must_agree_for_a_vote() -> None:
    names = ["F3", "F4", "P3", "P4"]
    right = np.array([-50.0, 50, -50, 50])
    assert vote(names, right, side_of) is True
    assert vote(names, -right, side_of) is False
    assert vote(names, np.abs(right), side_of) is None
    assert vote(names[:3], right, side_of) is None
