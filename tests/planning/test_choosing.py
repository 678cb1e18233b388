"""The choice of moves against trying every combination."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from headfit.planning import choosing
from headfit.planning.choosing import LEFT_OUT, Options, choose

SEEDS = st.integers(0, 2**32 - 1)


def drawn_options(rng: np.random.Generator, n_groups: int) -> list[Options]:
    """Groups of one or two cups with places on a crowded square of 60 mm."""
    groups = []
    for _ in range(n_groups):
        n, n_cups = int(rng.integers(0, 6)), int(rng.integers(1, 3))
        points = rng.uniform(0, 60, (n, n_cups, 3)) * [1, 1, 0]
        moved = rng.uniform(1, 40, (n, n_cups))
        found = Options(points, moved, moved.sum(axis=1), np.arange(n), (("F3",),) * n, ())
        staying = np.where(rng.random((n_cups, 1)) < 0.5, np.inf, rng.uniform(0, 60, (n_cups, 3)))
        groups.append(found.cheapest_first().or_left_out(staying))
    return groups


def far_enough(groups: list[Options], rows: tuple[int, ...], apart_mm: float) -> bool:
    cups = [group.points_mm[row] for group, row in zip(groups, rows, strict=True)]
    return all(
        not np.isfinite(a).all() or not np.isfinite(b).all() or np.linalg.norm(a - b) >= apart_mm
        for one, other in itertools.combinations(cups, 2)
        for a in one
        for b in other
    )


@given(SEEDS, st.integers(1, 4))
@settings(max_examples=150)
def test_the_sum_is_the_least_of_all_combinations(seed: int, n_groups: int) -> None:
    groups = drawn_options(np.random.default_rng(seed), n_groups)
    sums = {
        rows: sum(group.costs[row] for group, row in zip(groups, rows, strict=True))
        for rows in itertools.product(*(range(len(group.costs)) for group in groups))
        if far_enough(groups, rows, 15.0)
    }
    choice = choose(groups, 15.0)
    assert choice.least
    if not sums:  # even the cups that stay are too near: all are left out
        assert choice.rows == tuple(len(group.costs) - 1 for group in groups)
        return
    assert choice.rows in sums
    assert sums[choice.rows] == pytest.approx(min(sums.values()))


def test_leaving_out_comes_last_and_only_where_there_is_no_way() -> None:
    one = Options(
        np.zeros((1, 1, 3)), np.ones((1, 1)), np.ones(1), np.zeros(1, int), (("F3",),), ()
    )
    nowhere = np.full((1, 3), np.inf)
    groups = [one.or_left_out(nowhere), one.or_left_out(nowhere)]
    rows = choose(groups, 15.0).rows
    assert [int(group.rows[row]) for group, row in zip(groups, rows, strict=True)] == [0, LEFT_OUT]
    assert groups[0].n_places == 1


def test_too_many_ways_give_a_fair_choice_and_say_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(choosing, "MOST_BRANCHES", 3)
    groups = drawn_options(np.random.default_rng(5), 8)
    choice = choose(groups, 15.0)
    assert not choice.least
    assert far_enough(groups, choice.rows, 15.0)
