"""Test and retest of one person."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marked_heads import landmarks_of, template_sites, three_of
from scipy.spatial.transform import Rotation

from headfit import load_template
from headfit.comparing.repeatability import Repeatability, compare_sessions, same_places
from headfit.errors import MarksError
from headfit.geometry.rigid import RigidMotion
from headfit.marks.marks import Marks

SITES = template_sites("10-20")
HEAD = load_template()


def session(points: np.ndarray, landmarks: dict[str, np.ndarray] | None = None) -> Marks:
    return Marks(SITES.names, points, three_of(HEAD) if landmarks is None else landmarks)


@settings(max_examples=20)
@given(st.integers(0, 2**32 - 1))
def test_the_same_marks_in_another_frame_repeat_exactly(seed: int) -> None:
    rng = np.random.default_rng(seed)
    motion = RigidMotion(Rotation.random(rng=rng).as_matrix(), rng.normal(scale=100.0, size=3))
    here = session(SITES.points_mm)
    found = compare_sessions([here, here.moved(motion)])
    assert found.by_fit_mm == pytest.approx(0.0, abs=1e-6)
    assert found.by_landmarks_mm == pytest.approx(0.0, abs=1e-6)


def test_one_mark_that_moved_by_five_millimetres_is_told_as_five() -> None:
    points = np.array(SITES.points_mm)
    points[SITES.names.index("P4")] += [3.0, 0.0, 4.0]
    found = compare_sessions([session(SITES.points_mm), session(points)])
    assert found.sites[0].site == "P4"
    assert found.sites[0].by_landmarks_mm == pytest.approx(5.0)
    assert found.sites[0].by_fit_mm == pytest.approx(5.0, abs=0.05)
    assert found.by_fit_mm == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize("k", [2, 3, 6])
def test_noise_of_two_millimetres_differs_by_root_two_times_that(k: int) -> None:
    # Between two sessions each axis differs by sqrt(2) sigma: root mean square sqrt(6) sigma.
    rng = np.random.default_rng(k)
    sessions = [
        session(SITES.points_mm + rng.normal(scale=2.0, size=SITES.points_mm.shape))
        for _ in range(k)
    ]
    found = compare_sessions(sessions)
    rms = np.sqrt(np.mean([s.by_landmarks_mm**2 for s in found.sites if s.by_landmarks_mm]))
    assert rms == pytest.approx(np.sqrt(6.0) * 2.0, rel=0.2)
    assert all(s.n_sessions == k for s in found.sites)


def test_a_landmark_that_moved_shows_by_the_landmarks_and_not_by_the_fit() -> None:
    wrong = three_of(HEAD)
    wrong["nasion"] = wrong["nasion"] + np.array([0.0, 0.0, 10.0])
    found = compare_sessions([session(SITES.points_mm), session(SITES.points_mm, wrong)])
    assert found.by_landmarks_mm is not None
    assert found.by_landmarks_mm > 3.0
    assert found.by_fit_mm == pytest.approx(0.0, abs=1e-6)
    assert found.sentence.endswith("the landmarks are the less sure part")


def test_without_landmarks_only_the_fit_is_told() -> None:
    found = compare_sessions([session(SITES.points_mm), session(SITES.points_mm, {})])
    assert found.by_landmarks_mm is None
    assert found.sentence == "half of the marks come back within 0.0 mm after a best fit"


def test_only_sites_of_all_sessions_are_compared() -> None:
    few = Marks(SITES.names[:6], SITES.points_mm[:6], landmarks_of(HEAD))
    found = compare_sessions([session(SITES.points_mm), few])
    assert {s.site for s in found.sites} == set(SITES.names[:6])


def test_what_cannot_be_repeated_is_refused() -> None:
    with pytest.raises(MarksError, match="be two or more, got 1"):
        compare_sessions([session(SITES.points_mm)])
    other = Marks(("Fpz", "Oz"), SITES.points_mm[:2])
    with pytest.raises(MarksError, match="share 4 sites or more, got 0"):
        compare_sessions([session(SITES.points_mm), other])


def test_two_people_with_the_same_places_are_one_template() -> None:
    rng = np.random.default_rng(0)
    people = {
        "01": session(SITES.points_mm),
        "02": session(SITES.points_mm),
        "03": session(SITES.points_mm + rng.normal(size=SITES.points_mm.shape)),
    }
    people["04"] = Marks(("Fpz", "Oz"), SITES.points_mm[:2])
    assert same_places(people) == (("01", "02"),)


@pytest.mark.parametrize(("by_landmarks_mm", "told"), [(2.0, False), (3.6, False), (3.9, True)])
def test_the_landmarks_are_called_less_sure_only_when_they_add_half_as_much_again(
    by_landmarks_mm: float, told: bool
) -> None:
    found = Repeatability((), by_landmarks_mm, 2.5)
    assert found.sentence.endswith("the landmarks are the less sure part") is told
