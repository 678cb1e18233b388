"""Statistics of the tables against closed forms, scipy and pandas."""

from __future__ import annotations

from itertools import starmap
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from headfit.cohort.columns import TABLES
from headfit.cohort.mixed_model import differences
from headfit.cohort.statistics import (
    agreement_of,
    group_rows,
    outlier_rows,
    power_rows,
    repeat_rows,
    site_rows,
    welch,
)
from headfit.files.parquet import read_columns, write_table


@pytest.fixture
def tables(tmp_path: Path) -> Path:
    """Eight invented people, two sessions each, three sites; the last person far off."""
    rng = np.random.default_rng(8)
    marks, sets, people = [], [], []
    for i in range(8):
        person = f"sub-{i}"
        off = rng.normal(scale=2.0, size=(3, 2)) + (12.0 if i == 7 else 0.0)
        for session in "12":
            sizes = []
            for k, site in enumerate(("C3", "Cz", "C4")):
                along, across = off[k] + rng.normal(size=2)
                sizes.append(float(np.hypot(along, across)))
                marks.append(
                    {
                        "person": person,
                        "session": session,
                        "level": "ab"[i % 2],
                        "claim": "accuracy",
                        "site": site,
                        "landmarks_along_mm": along,
                        "landmarks_across_mm": across,
                        "fit_along_mm": along / 2,
                        "fit_across_mm": across / 2,
                        "used": True,
                    }
                )
            sets.append(
                {
                    "person": person,
                    "session": session,
                    "level": "ab"[i % 2],
                    "claim": "accuracy",
                    "landmarks_mm": float(np.mean(sizes)),
                    "fit_mm": float(np.mean(sizes)) / 2,
                    "used": True,
                }
            )
        people.append({"person": person, "repeat_landmarks_mm": 3.0 + 0.1 * i + 9.0 * (i == 2)})
    marks.append({**marks[0], "person": "sub-9", "landmarks_along_mm": 900.0, "used": False})
    for name, rows in (("marks", marks), ("sets", sets), ("people", people)):
        write_table(tmp_path / name, TABLES[name], rows)
    return tmp_path


def frame_of(tables: Path, name: str) -> pd.DataFrame:
    return pd.read_parquet(tables / f"{name}.parquet").query("used").astype({"person": "str"})


def test_a_person_counts_once_and_unused_marks_not_at_all(tables: Path) -> None:
    rows = list(site_rows(tables))
    assert len(rows) == 6  # three sites, two frames, one claim
    marks = frame_of(tables, "marks")
    for row in rows:
        some = marks[marks["site"] == row["site"]].groupby("person")
        means = some[f"{row['frame']}_along_mm"].mean()
        assert row["n_people"] == 8
        assert row["along_mm"] == pytest.approx(means.mean(), abs=1e-5)
        low, high = stats.t.interval(0.95, 7, means.mean(), means.std() / np.sqrt(8))
        assert (row["along_mm_low"], row["along_mm_high"]) == pytest.approx((low, high), abs=1e-4)


def test_repeats_of_two_sessions_follow_their_differences(tables: Path) -> None:
    rows = list(repeat_rows(tables, ""))
    assert len(rows) == 12  # three sites, two frames, two axes
    marks = frame_of(tables, "marks").query("site == 'Cz'")
    wide = marks.pivot(index="person", columns="session", values="landmarks_along_mm")
    gap = wide["2"] - wide["1"]
    (row,) = [r for r in rows if (r["site"], r["frame"], r["axis"]) == ("Cz", "landmarks", "along")]
    # With two repeats the within-person variance is half the mean squared difference.
    assert row["within_sd_mm"] == pytest.approx(np.sqrt((gap**2).mean() / 2), abs=1e-5)
    assert row["bias_mm"] == pytest.approx(gap.mean(), abs=1e-5)
    assert row["n_people"], row["n_repeats"] == (8, 2)


def test_people_with_other_numbers_of_repeats_serve_the_within_person_sd_only() -> None:
    row = agreement_of([[1.0, 2.0], [3.0, 5.0], [2.0, 4.0, 9.0]])
    assert (row["n_people"], row["n_repeats"]) == (3, 2)
    squares = 0.5 + 2.0 + ((np.array([2.0, 4.0, 9.0]) - 5.0) ** 2).sum()
    assert row["within_sd_mm"] == pytest.approx(np.sqrt(squares / 4))


def test_one_person_with_repeats_has_an_sd_and_no_correlation() -> None:
    row = agreement_of([[1.0, 2.0]])
    assert row["within_sd_mm"] == pytest.approx(np.sqrt(0.5))
    assert np.isnan(row["icc_2_1"])
    assert np.isnan(row["lower_mm"])


def test_who_is_far_off_or_comes_back_badly_is_named(tables: Path) -> None:
    rows = list(outlier_rows(tables))
    assert {(row["person"], row["measure"], row["frame"]) for row in rows} == {
        ("sub-7", "distance", "landmarks"),
        ("sub-7", "distance", "fit"),
        ("sub-2", "repeat", "landmarks"),
    }
    for row in rows:
        assert row["score"] > 3.5
        assert "kept in the statistics" in str(row["reason"])


def test_groups_between_people_are_compared_by_welch(tables: Path) -> None:
    rows = [r for r in group_rows(tables, "group") if r["frame"] == "landmarks"]
    sets = frame_of(tables, "sets")
    means = sets.groupby(["level", "person"])["landmarks_mm"].mean()
    theirs = stats.ttest_ind(means["b"], means["a"], equal_var=False)
    first, second = rows
    assert (first["level"], second["level"]) == ("a", "b")
    assert second["difference_mm"] == pytest.approx(means["b"].mean() - means["a"].mean(), abs=1e-5)
    interval = theirs.confidence_interval()
    found = second["difference_mm_low"], second["difference_mm_high"]
    assert found == pytest.approx((interval.low, interval.high), abs=1e-4)
    assert str(second["method"]).startswith("Welch")
    assert np.isnan(first["difference_mm"])


def test_welch_of_two_constants_has_no_width() -> None:
    assert welch(np.array([1.0, 1.0]), np.array([3.0, 3.0])) == (2.0, 2.0, 2.0)
    assert np.isnan(welch(np.array([1.0]), np.array([3.0, 4.0])).value)


def test_a_mixed_model_of_balanced_pairs_is_the_mean_difference() -> None:
    # Closed form: with every person under both conditions once, REML gives the mean of the
    # differences, and its interval is that of a paired t test.
    rng = np.random.default_rng(2)
    n = 30
    person = rng.normal(scale=3.0, size=n)
    pairs = np.stack([person, person + 1.5], axis=1) + rng.normal(size=(n, 2))
    people = [f"sub-{i}" for i in range(n) for _ in "ab"]
    found = differences(pairs.ravel(), people, ["a", "b"] * n)["b"]
    gap = pairs[:, 1] - pairs[:, 0]
    half = stats.t.ppf(0.975, n - 1) * gap.std(ddof=1) / np.sqrt(n)
    assert found.value == pytest.approx(gap.mean(), abs=1e-6)
    assert found.high - found.value == pytest.approx(half, rel=1e-3)


def test_differences_of_groups_and_conditions_are_covered() -> None:
    # 95 % intervals must hold the truth in 95 of 100 studies; the bands are four binomial SD. Two
    # groups of unlike spread and size; and nine people of whom some miss one of three conditions.
    rng = np.random.default_rng(8)
    groups = [(rng.normal(5, 1, 7), rng.normal(6, 3, 15)) for _ in range(2000)]
    held = [found.low <= 1 <= found.high for found in starmap(welch, groups)]
    assert abs(np.mean(held) - 0.95) < 0.02
    people, levels = np.repeat(np.arange(9), 3), np.tile(["a", "b", "c"], 9)
    there = np.arange(27) % 10 != 3  # three values are missing
    within = []
    for _ in range(60):
        values = rng.normal(0, 2, 9)[people] + (levels == "c") + rng.normal(0, 1, 27)
        names = [f"sub-{i}" for i in people[there]]
        for level, found in differences(values[there], names, levels[there].tolist()).items():
            within.append(found.low <= (level == "c") <= found.high)
    assert abs(np.mean(within) - 0.95) < 0.08


def test_a_mixed_model_that_cannot_be_fitted_tells_nothing() -> None:
    found = differences([1.0, 2.0], ["sub-1", "sub-1"], ["a", "b"])
    assert set(found) == {"b"}


def test_levels_people_go_through_are_compared_by_the_mixed_model(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    rows = [
        {
            "person": f"sub-{i}",
            "level": level,
            "claim": "accuracy",
            "landmarks_mm": 5.0 + (level == "pen") + rng.normal(scale=0.2),
            "used": True,
        }
        for i in range(9)
        for level in ("optical", "pen")
    ]
    write_table(tmp_path / "sets", TABLES["sets"], rows)
    told = {row["level"]: row for row in group_rows(tmp_path, "device")}
    values = np.array([row["landmarks_mm"] for row in rows]).reshape(9, 2)
    gap = float((values[:, 1] - values[:, 0]).mean())  # balanced: as above
    assert told["pen"]["difference_mm"] == pytest.approx(gap, abs=1e-4)
    assert told["pen"]["difference_mm_low"] > 0
    assert str(told["pen"]["method"]).startswith("mixed model")


def test_power_is_told_by_the_spread_between_and_within_people(tables: Path) -> None:
    sites, repeats = list(site_rows(tables)), list(repeat_rows(tables, ""))
    rows = list(power_rows(tables, sites, repeats))
    assert len(rows) == 4
    for row in rows:
        assert row["people_each_of_two_groups"] >= 2
        assert row["people_measured_twice"] >= 2


def test_columns_are_read_with_their_gaps(tmp_path: Path) -> None:
    write_table(tmp_path / "sets", TABLES["sets"], [{"person": "sub-1", "pitch": None}])
    found = read_columns(tmp_path / "sets.parquet", ["person", "session", "pitch", "used"])
    assert found["person"].tolist() == ["sub-1"]
    assert found["session"].tolist() == [""]
    assert np.isnan(found["pitch"][0])
    assert not found["used"][0]
    text = (tmp_path / "sets.tsv").read_text().splitlines()[1].split("\t")
    assert text[0] == "sub-1"
    assert set(text[1:]) == {"n/a"}
