"""The choice of one option for each group so that nothing comes too near and the sum is least.

A group is the cups that move together: a site, or a site and its homologue. An option is one place
for each of them. Depth first, cheapest first, cutting every branch that cannot beat the best sum so
far: exact, and the first way tried is already a fair one.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from headfit.geometry.mesh import Floats, Integers
from headfit.geometry.taperun import TapeRun

LEFT_OUT = -1
# Leaving a group out costs more than any sum of moves.
LEFT_OUT_COST = 1e6
# Some seconds. Only dozens of moved sites that crowd each other out need more.
MOST_BRANCHES = 3000


@dataclass(frozen=True, eq=False)
class Options:
    """Places where the cups of one group could stand.

    Attributes
    ----------
    points_mm : (n, c, 3) float64
        Places of the c cups of the group.
    moved_mm : (n, c) float64
        Tape length of each move.
    costs : (n,) float64
        What is minimised: the sum of the moves, and more for a place without a name.
    rows : (n,) int64
        Row of `toward`; `LEFT_OUT` where the blocked cups of the group are not set at all.
    toward : tuple of tuple of str
        The sites toward which the cups go.
    runs : tuple of TapeRun
        The tapes to them, c for each row of `toward`.
    """

    points_mm: Floats
    moved_mm: Floats
    costs: Floats
    rows: Integers
    toward: tuple[tuple[str, ...], ...]
    runs: tuple[TapeRun, ...]

    @property
    def n_places(self) -> int:
        """Number of options that set all cups."""
        return int((self.rows != LEFT_OUT).sum())

    def or_left_out(self, staying_mm: Floats) -> Options:
        """The options and, last, leaving the group out.

        `staying_mm` (c, 3) is where its cups are then: infinity for one that is not set.
        """
        return Options(
            np.concatenate([self.points_mm, staying_mm[None]]),
            np.concatenate([self.moved_mm, np.zeros((1, len(staying_mm)))]),
            np.append(self.costs, LEFT_OUT_COST),
            np.append(self.rows, LEFT_OUT),
            self.toward,
            self.runs,
        )

    def kept(self, which: NDArray[np.bool_] | Integers) -> Options:
        """Some of the options, in the order of their rows."""
        return Options(
            self.points_mm[which],
            self.moved_mm[which],
            self.costs[which],
            self.rows[which],
            self.toward,
            self.runs,
        )

    def cheapest_first(self) -> Options:
        """The options in the order of their cost, and of their names where that is equal."""
        names = [self.toward[row] for row in self.rows]
        costs = self.costs.round(6).tolist()
        order = sorted(range(len(names)), key=lambda i: (costs[i], names[i]))
        return self.kept(np.array(order, int))


@dataclass(frozen=True)
class Choice:
    """The option of each group.

    `least` tells whether no better choice exists; False when there were too many ways to try all.
    """

    rows: tuple[int, ...]
    least: bool


def choose(groups: Sequence[Options], apart_mm: float) -> Choice:
    """The choice that leaves out as few groups as possible and then makes the sum of costs least.

    Parameters
    ----------
    groups : sequence of Options
        Each cheapest first, leaving the group out last.
    apart_mm : float
        Cups of different groups stand at least this far apart.
    """
    lowest = np.array([group.costs[0] for group in groups])
    still = np.append(np.cumsum(lowest[::-1])[::-1], 0.0)  # least cost of the groups from here on
    best_sum = np.inf
    best = [len(group.costs) - 1 for group in groups]
    chosen = list(best)
    n_branches = 0

    def follow(depth: int, spent: float, open_rows: list[NDArray[np.bool_]]) -> None:
        nonlocal best_sum, best, n_branches
        if depth == len(groups):
            best_sum, best = spent, list(chosen)
            return
        group = groups[depth]
        for row in np.flatnonzero(open_rows[depth]).tolist():
            sum_so_far = spent + float(group.costs[row])
            if sum_so_far + still[depth + 1] >= best_sum - 1e-9:
                return
            if n_branches > MOST_BRANCHES and np.isfinite(best_sum):
                return
            n_branches += 1
            chosen[depth] = row
            narrowed = list(open_rows)
            for later in range(depth + 1, len(groups)):
                clear = _apart(groups[later].points_mm, group.points_mm[row], apart_mm)
                narrowed[later] = open_rows[later] & clear
            follow(depth + 1, sum_so_far, narrowed)

    follow(0, 0.0, [np.ones(len(group.costs), bool) for group in groups])
    return Choice(tuple(best), n_branches <= MOST_BRANCHES)


def _apart(points: Floats, cups: Floats, apart_mm: float) -> NDArray[np.bool_]:
    """(n,) whether all places of each option (n, c, 3) are far enough from cups (d, 3)."""
    with np.errstate(invalid="ignore"):  # two cups that are not set: infinity less infinity
        gap = np.linalg.norm(points[:, :, None] - cups[None, None], axis=3)
    return np.asarray(~(gap < apart_mm).any(axis=(1, 2)))
