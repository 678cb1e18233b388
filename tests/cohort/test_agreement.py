"""Agreement against published worked examples, closed forms, pingouin, and its own coverage."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pingouin
import pytest
from statsmodels.stats.power import TTestIndPower, TTestPower

from headfit.cohort.agreement import (
    icc_agreement,
    icc_consistency,
    limits_of_agreement,
    mean_with_interval,
    within_person_sd,
)
from headfit.cohort.ellipses import spread_of_site
from headfit.cohort.power import people_needed, power_of
from headfit.errors import InputError

# Six people rated by four judges: Shrout & Fleiss 1979, table 2.
JUDGES = [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]]
# Peak flow of 17 people, first readings of two meters: Bland & Altman 1986, table 1. The values are
# from memory; that they give the published figures below is the check on them.
WRIGHT = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
WRIGHT_AGAIN = [490, 397, 512, 401, 470, 611, 415, 431, 638, 429, 420, 633, 275, 492, 165, 372, 421]
MINI = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]


def test_intraclass_correlations_are_those_shrout_and_fleiss_print() -> None:
    # Their table 4: ICC(2,1) = .29, ICC(3,1) = .71.
    assert round(icc_agreement(JUDGES).value, 2) == 0.29
    assert round(icc_consistency(JUDGES).value, 2) == 0.71


@pytest.mark.parametrize("seed", range(5))
def test_intraclass_correlations_and_intervals_are_those_of_pingouin(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n, k = int(rng.integers(4, 30)), int(rng.integers(2, 5))
    table = rng.normal(size=(n, 1)) * 2 + rng.normal(size=(n, k)) + rng.normal(size=k)
    long = pd.DataFrame(
        {
            "person": np.repeat(np.arange(n), k),
            "rater": np.tile(np.arange(k), n),
            "value": table.ravel(),
        }
    )
    with warnings.catch_warnings():  # its own, about what pandas 4 will drop
        warnings.simplefilter("ignore")
        theirs = pingouin.intraclass_corr(long, "person", "rater", "value")
    theirs = theirs.reset_index().set_index("Type")
    interval = next(name for name in theirs.columns if name.startswith("CI95"))
    names = {key.replace(" ", ""): key for key in theirs.index}
    for function, kinds in (
        (icc_agreement, ("ICC2", "ICC(A,1)", "ICC(2,1)")),
        (icc_consistency, ("ICC3", "ICC(C,1)", "ICC(3,1)")),
    ):
        (row,) = [theirs.loc[names[kind]] for kind in kinds if kind in names]
        ours = function(table)
        assert ours.value == pytest.approx(row["ICC"], abs=1e-9)
        # pingouin rounds its intervals to two decimals.
        assert (ours.low, ours.high) == pytest.approx(tuple(row[interval]), abs=0.0051)


def test_limits_of_agreement_are_those_bland_and_altman_print() -> None:
    # Mean difference -2.1 l/min, SD 38.8, limits -79.7 and 75.5 with a factor of 2; intervals of
    # the bias -22.0 to 17.8, of the lower limit -114.3 to -45.1, of the upper 40.9 to 110.1.
    found = limits_of_agreement(MINI, WRIGHT)
    assert found.n_people == 17
    assert found.bias.value == pytest.approx(-2.1, abs=0.05)
    assert (found.bias.low, found.bias.high) == pytest.approx((-22.0, 17.8), abs=0.1)
    sd = (found.upper.value - found.lower.value) / (2 * 1.96)
    assert sd == pytest.approx(38.8, abs=0.05)
    # 1.96 where the paper takes 2: 0.04 SD.
    assert found.lower.value == pytest.approx(-79.7 + 0.04 * 38.8, abs=0.1)
    assert found.lower.high - found.lower.value == pytest.approx(34.6, abs=0.1)
    assert found.upper.high - found.upper.value == pytest.approx(110.1 - 75.5, abs=0.1)


def test_within_person_sd_is_that_of_bland_and_altman() -> None:
    # The same paper: SD of the differences of two Wright readings 21.6, which is sqrt 2 times the
    # within-person SD. Both take the mean difference as zero.
    found = within_person_sd(np.column_stack([WRIGHT, WRIGHT_AGAIN]))
    assert found.value * np.sqrt(2) == pytest.approx(21.6, abs=0.1)


def test_within_person_sd_passes_over_people_measured_once() -> None:
    assert within_person_sd([[1.0, 3.0], [7.0]]) == within_person_sd([[1.0, 3.0]])
    assert np.isnan(within_person_sd([[7.0]]).value)


def test_copies_are_no_agreement() -> None:
    column = [1.0, 2.0, 4.0]
    assert np.isnan(icc_agreement(np.column_stack([column, column])).value)
    assert np.isnan(icc_consistency([[1.0, 2.0]]).value)


def test_every_interval_covers_what_it_should() -> None:
    # 1000 studies of 12 people measured 3 times, people SD 2, error SD 1, column SD 0.5: the 95 %
    # intervals must hold the truth in 950 of them; binomial SD 0.7 %, the band is four of them. The
    # limits' interval and that of ICC(2,1) are approximations, which may miss by a little more.
    rng = np.random.default_rng(11)
    held = np.zeros(5)
    n, k = 12, 3
    for _ in range(1000):
        people, columns = rng.normal(scale=2.0, size=(n, 1)), rng.normal(scale=0.5, size=k)
        noise = rng.normal(size=(n, k))
        table = people + columns + noise
        pair = limits_of_agreement(noise[:, 0], noise[:, 1])
        truth = (
            (icc_agreement(table), 4 / (4 + 1 + 0.25)),
            (icc_consistency(people + noise), 4 / 5),
            (within_person_sd(people + noise), 1.0),
            (mean_with_interval(table[:, 0] - columns[0]), 0.0),
            (pair.upper, 1.959964 * np.sqrt(2)),
        )
        held += [estimate.low <= true <= estimate.high for estimate, true in truth]
    share = held / 1000
    assert (np.abs(share[[1, 2, 3]] - 0.95) < 0.028).all(), share
    assert (np.abs(share[[0, 4]] - 0.95) < 0.05).all(), share


def test_the_ellipse_holds_the_next_person_in_nineteen_of_twenty() -> None:
    rng = np.random.default_rng(5)
    root = np.array([[4.0, 0.0], [1.5, 1.0]])
    held = 0
    for _ in range(2000):
        points = rng.normal(size=(9, 2)) @ root.T
        found = spread_of_site(*points[:8].T)
        turn = np.radians(found.angle_degrees)
        gap = points[8] - points[:8].mean(axis=0)
        u = gap @ [np.cos(turn), np.sin(turn)] / found.major_mm
        v = gap @ [-np.sin(turn), np.cos(turn)] / found.minor_mm
        held += u * u + v * v <= 1
    assert abs(held / 2000 - 0.95) < 0.02  # four binomial SD


def test_a_line_of_people_has_a_flat_ellipse_along_it() -> None:
    found = spread_of_site([1.0, 2.0, 3.0, 4.0], [1.0, 2.0, 3.0, 4.0])
    assert found.angle_degrees == pytest.approx(45.0)
    assert found.minor_mm == pytest.approx(0.0, abs=1e-6)
    assert found.along_mm.value == 2.5
    assert found.median_mm == pytest.approx(2.5 * np.sqrt(2))


@pytest.mark.parametrize("paired", [False, True])
@pytest.mark.parametrize("sd", [1.0, 2.5, 7.0])
def test_people_needed_are_those_of_statsmodels(sd: float, paired: bool) -> None:
    theirs = TTestPower() if paired else TTestIndPower()
    needed = people_needed(2.0, sd, paired=paired)
    for n in (needed, needed - 1):
        expected = theirs.power(2.0 / sd, n, 0.05)
        assert power_of(n, 2.0, sd, paired=paired) == pytest.approx(expected, abs=1e-6)
    assert power_of(needed, 2.0, sd, paired=paired) >= 0.8
    assert power_of(needed - 1, 2.0, sd, paired=paired) < 0.8


def test_no_difference_needs_no_number() -> None:
    with pytest.raises(InputError, match="be lengths above 0 mm, got 0 and 4 mm"):
        people_needed(0.0, 4.0)
