"""Sessions of one person on one head. The heads are drawn, the marks invented."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_heads import drawn
from marked_heads import moved_set, scalp_names, template_targets, three_of

from headfit import Head, Marks, place_sites
from headfit.comparing.repeatability import compare_sessions
from headfit.comparing.session_slips import slips_of_sessions, two_people
from headfit.comparing.target_sites import targets_for

NAMES = scalp_names("10-20")


def session(head: Head, seed: int, turn: np.ndarray, slide: np.ndarray, source: str) -> Marks:
    """Marks of a cap that slipped, with landmarks that come back to 1 mm per axis."""
    rng = np.random.default_rng(seed)
    targets = targets_for(place_sites(head, NAMES), NAMES)
    points = moved_set(targets, turn, slide, 4.0) + rng.normal(scale=1.0, size=(len(NAMES), 3))
    landmarks = {name: p + rng.normal(scale=1.0, size=3) for name, p in three_of(head).items()}
    return Marks(NAMES, points, landmarks, source=source)


def test_the_session_that_slipped_is_named_with_its_way() -> None:
    head, _ = drawn(3)
    none = np.zeros(3)
    sessions = [
        session(head, 1, none, none, "a"),
        session(head, 2, none, np.array([0.0, -12.0, 0.0]), "b"),
        session(head, 3, none, none, "c"),
    ]
    found = slips_of_sessions(sessions)
    assert [slip.differs for slip in found.slips][1]
    assert found.sentence.startswith("Session 2 is off: against the others it is 1")
    assert "mm toward the back" in found.sentence
    # By their landmarks the sessions differ as they were made, whatever the head; 1 mm per axis on
    # three landmarks moves the middle of the set by 1.6 mm [derived].
    assert found.slips[1].against_others[4] == pytest.approx(-12.0, abs=4.0)
    # On the one head a slide as long as no cap makes is held back by what is known of caps.
    gap, spread = found.difference(1, 0)
    assert -14.0 < gap[4] < -5.0
    assert 0.5 < spread[4] < 4.0


def test_sessions_share_one_head_and_differ_by_nothing_when_they_are_alike() -> None:
    head, _ = drawn(3)
    none = np.zeros(3)
    found = slips_of_sessions([session(head, seed, none, none, str(seed)) for seed in (4, 5)])
    assert len(found.under.sessions) == 2
    assert found.sentence.startswith("No session sits otherwise")
    assert two_people([s.marks for s in found.under.sessions]) is None


def test_of_two_sessions_none_is_named_as_the_wrong_one() -> None:
    head, _ = drawn(3)
    none = np.zeros(3)
    sessions = [
        session(head, 6, none, none, "a"),
        session(head, 7, np.array([0.0, 0.0, 8.0]), np.array([0.0, 14.0, 0.0]), "b"),
    ]
    said = slips_of_sessions(sessions).sentence
    assert said.startswith("Session 2 sits otherwise than session 1: ")
    assert "toward the nose" in said
    assert said.endswith("session 1 lies nearer to its sites")


def test_two_people_given_as_one_are_noticed() -> None:
    none = np.zeros(3)
    first = session(drawn(3)[0], 8, none, none, "a")
    told = 0
    for number in range(10, 20):
        pair = [first, session(drawn(number)[0], number, none, none, "b")]
        told += two_people(pair) is not None
    # The promise of nine in ten is measured on open data by scripts/bench_marks; drawn heads at 0.8
    # of the spread of people lie nearer to each other.
    assert told >= 7


def test_sessions_without_landmarks_have_no_common_head() -> None:
    points = template_targets("10-20").points_mm
    rng = np.random.default_rng(0)
    sessions = [Marks(NAMES, points + rng.normal(size=points.shape)) for _ in range(2)]
    assert compare_sessions(sessions).slips is None
