"""Directions in words."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from marked_heads import template_targets
from scipy.spatial.transform import Rotation

from headfit.comparing.directions import joined, phrase, slide_in_words, turn_in_words, word_pairs

TARGETS = template_targets("10-10")


@pytest.mark.parametrize(
    ("along", "across", "words"),
    [
        ((0, -1, 0), (1, 0, 0), ("toward the back", "to the right")),
        ((1, 0, 0), (0, 1, 0), ("to the right", "toward the nose")),
        ((0, 0.1, 1), (-1, 0, 0), ("up", "to the left")),
        ((0, 0, -1), (0, -1, 0), ("down", "toward the back")),
    ],
)
def test_each_axis_has_its_word(
    along: tuple[float, ...], across: tuple[float, ...], words: tuple[str, str]
) -> None:
    pairs = word_pairs(np.array(along), np.array(across))
    assert (pairs[0][0], pairs[1][0]) == words
    back = word_pairs(-np.array(along, float), -np.array(across, float))
    assert (back[0][1], back[1][1]) == words


@given(st.integers(0, 2**32 - 1))
def test_no_two_directions_at_a_right_angle_get_the_same_word(seed: int) -> None:
    along, across, _ = Rotation.random(rng=np.random.default_rng(seed)).as_matrix()
    pairs = word_pairs(along, across)
    assert set(pairs[0]).isdisjoint(pairs[1])


def test_a_direction_clearest_on_the_same_axis_takes_the_next_one() -> None:
    # Both lie nearest to the axis to the right; together they say most as up and right.
    along, across = np.array([0.62, 0.55, 0.56]), np.array([0.78, -0.45, -0.43])
    assert [pair[0] for pair in word_pairs(along, across)] == ["up", "to the right"]


def test_no_site_has_the_same_word_along_and_across() -> None:
    for name, (along, across) in zip(TARGETS.names, TARGETS.words, strict=True):
        assert set(along).isdisjoint(across), name


def test_words_of_a_site_point_where_they_say() -> None:
    # Along the midline from the nose over the top to the back; the left ring from Fpz backwards.
    words = dict(zip(TARGETS.names, TARGETS.words, strict=True))
    assert words["Cz"] == (("toward the back", "toward the nose"), ("to the right", "to the left"))
    assert words["F7"][0] == ("toward the back", "toward the nose")
    assert words["T7"] == (("up", "down"), ("toward the nose", "toward the back"))
    assert words["T8"] == (("down", "up"), ("toward the nose", "toward the back"))


def test_lengths_are_whole_millimetres_the_larger_first() -> None:
    words = (("up", "down"), ("toward the nose", "toward the back"))
    assert phrase((-2.4, 4.4), words) == "4 mm toward the nose and 2 mm down"
    assert phrase((0.4, 4.4), words) == "4 mm toward the nose"
    assert phrase((0.4, -0.4), words) == "less than 1 mm away"


def test_parts_are_joined_as_in_a_sentence() -> None:
    assert joined(["a", "b", "", "c"]) == "a, b and c"
    assert joined([]) == ""


def test_slides_and_turns_leave_out_what_is_not_sure() -> None:
    assert slide_in_words(np.array([2.0, -6.0, 0.5]), np.ones(3)) == (
        "6 mm toward the back and 2 mm to the right"
    )
    assert turn_in_words(np.array([-1.0, 0.2, 2.14]), np.full(3, 0.5)) == (
        "turned 2.1 degrees to the left and tilted down in front by 1.0 degrees"
    )
    assert (
        turn_in_words(np.array([0.0, -3.0, 0.0]), np.full(3, 0.5))
        == "leaning 3.0 degrees to the left"
    )
