"""The statistics of a study, column by column from its tidy tables; rows ready to be written.

A person counts once: repeated sets are averaged first. Only marks and sets that are used.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from headfit.cohort.agreement import (
    LEVEL,
    UNKNOWN,
    Estimate,
    LimitsOfAgreement,
    icc_agreement,
    icc_consistency,
    limits_of_agreement,
    mean_with_interval,
    within_person_sd,
)
from headfit.cohort.columns import AXES, CLAIMS, COMMON_UNITS, FRAMES
from headfit.cohort.ellipses import spread_of_site
from headfit.cohort.mixed_model import differences
from headfit.cohort.power import people_needed
from headfit.files.parquet import Value, distinct, read_columns

Floats = NDArray[np.float64]
Row = dict[str, Value]
DIFFERENCE_MM = 2.0
_FEWEST_FOR_OUTLIERS = 5
_OUTLYING = 3.5  # Iglewicz & Hoaglin 1993, How to Detect and Handle Outliers


def site_rows(tables: Path) -> Iterator[Row]:
    """Where the marks of every site lie over people, by claim and frame."""
    columns = [f"{frame}_{axis}_mm" for frame in FRAMES for axis in AXES]
    for site in distinct(tables / "marks.parquet", "site"):
        marks = read_columns(
            tables / "marks.parquet", ["person", "claim", *columns], {"site": site, "used": True}
        )
        for claim in CLAIMS:
            rows = np.flatnonzero(marks["claim"] == claim)
            for frame in FRAMES:
                people = [_by_person(marks, rows, f"{frame}_{axis}_mm") for axis in AXES]
                if len(people[0]):
                    about: Row = {"claim": claim, "frame": frame, "site": site}
                    yield about | _spread(*people)


def _spread(along: Floats, across: Floats) -> Row:
    found = spread_of_site(along, across)
    return {
        "n_people": found.n_people,
        **_estimate("along_mm", found.along_mm),
        **_estimate("across_mm", found.across_mm),
        "along_sd_mm": found.along_sd_mm,
        "across_sd_mm": found.across_sd_mm,
        **_estimate("size_mm", found.size_mm),
        "median_mm": found.median_mm,
        "major_mm": found.major_mm,
        "minor_mm": found.minor_mm,
        "angle_deg": found.angle_degrees,
    }


def _by_person(table: Mapping[str, NDArray[Any]], rows: NDArray[np.intp], column: str) -> Floats:
    """One value a person, the mean of their known ones, in order of label."""
    values, people = table[column][rows], table["person"][rows]
    known = np.isfinite(values)
    _, person = np.unique(people[known].astype(str), return_inverse=True)
    if not len(person):
        return np.empty(0)
    return np.asarray(np.bincount(person, values[known]) / np.bincount(person))


def repeat_rows(tables: Path, by: str) -> Iterator[Row]:
    """How sites come back, by frame and axis; repeats are told apart by `by`, else by session."""
    order = ["session", "run", "acquisition"]
    for site in distinct(tables / "marks.parquet", "site"):
        columns = [f"{frame}_{axis}_mm" for frame in FRAMES for axis in AXES]
        marks = read_columns(
            tables / "marks.parquet",
            ["person", "level", *order, *columns],
            {"site": site, "used": True},
        )
        for over, keys in _ways_to_repeat(marks, order, by):
            for frame in FRAMES:
                for axis in AXES:
                    groups = _repeats(marks, keys, f"{frame}_{axis}_mm")
                    if groups:
                        about: Row = {"repeated_over": over, "frame": frame, "axis": axis}
                        about["site"] = site
                        yield about | agreement_of(groups)


def _ways_to_repeat(
    marks: Mapping[str, NDArray[Any]], order: Sequence[str], by: str
) -> Iterator[tuple[str, list[str]]]:
    """Labels of the repeats: session, run and acquisition; and the column where it tells."""
    yield "session", [" ".join(parts) for parts in zip(*(marks[k] for k in order), strict=True)]
    if by and by != "ses" and any(marks["level"]):
        yield by, list(marks["level"])


def _repeats(
    marks: Mapping[str, NDArray[Any]], keys: Sequence[str], column: str
) -> list[list[float]]:
    """The values of every person with two or more repeats, in the order of their labels."""
    people = marks["person"].tolist()
    if len(set(people)) == len(people):  # a large study has one set a person
        return []
    found: dict[str, dict[str, list[float]]] = {}
    for person, key, value in zip(people, keys, marks[column].tolist(), strict=True):
        if np.isfinite(value):
            found.setdefault(person, {}).setdefault(key, []).append(value)
    return [
        [float(np.mean(values)) for _, values in sorted(repeats.items())]
        for _, repeats in sorted(found.items())
        if len(repeats) > 1
    ]


def agreement_of(groups: Sequence[Sequence[float]]) -> Row:
    """Within-person SD of all repeats; ICC and limits of people with the usual number of them."""
    usual = Counter(len(values) for values in groups).most_common()
    k = max(usual, key=lambda pair: (pair[1], -pair[0]))[0]
    table = np.array([values[:k] for values in groups if len(values) >= k])
    limits = limits_of_agreement(table[:, 0], table[:, 1])
    if len(table) < 2:
        limits = LimitsOfAgreement(len(table), UNKNOWN, UNKNOWN, UNKNOWN)
    return {
        "n_people": len(table),
        "n_repeats": k,
        **_estimate("within_sd_mm", within_person_sd(groups)),
        **_estimate("icc_2_1", icc_agreement(table)),
        **_estimate("icc_3_1", icc_consistency(table)),
        **_estimate("bias_mm", limits.bias),
        **_estimate("lower_mm", limits.lower),
        **_estimate("upper_mm", limits.upper),
    }


def common_rows(tables: Path) -> Iterator[Row]:
    """What whole sets have in common: mean, SD between people, and within them from repeats."""
    columns = [column for name in COMMON_UNITS for column in (name, f"{name}_se")]
    order = ["session", "run", "acquisition"]
    sets = read_columns(
        tables / "sets.parquet", ["person", "claim", *order, *columns], {"used": True}
    )
    for claim in CLAIMS:
        rows = np.flatnonzero(sets["claim"] == claim)
        some = {name: values[rows] for name, values in sets.items()}
        keys = [" ".join(parts) for parts in zip(*(some[k] for k in order), strict=True)]
        for name, unit in COMMON_UNITS.items():
            people = _by_person(sets, rows, name)
            if len(people):
                yield {
                    "claim": claim,
                    "part": name,
                    "unit": unit,
                    "n_people": len(people),
                    **_estimate("mean", mean_with_interval(people)),
                    "sd": _sd(people),
                    "mean_se": float(np.nanmean(some[f"{name}_se"])),
                    **_estimate("within_sd", within_person_sd(_repeats(some, keys, name))),
                }


def group_rows(tables: Path, by: str) -> Iterator[Row]:
    """Mean size of every level of a column, and its difference from the first level.

    Levels between people are compared by Welch's t, levels that people go through by a mixed model.
    """
    sets = read_columns(
        tables / "sets.parquet",
        ["person", "claim", "level", *(f"{frame}_mm" for frame in FRAMES)],
        {"used": True},
    )
    for claim in CLAIMS:
        for frame in FRAMES:
            column = f"{frame}_mm"
            rows = np.flatnonzero(
                (sets["claim"] == claim) & (sets["level"] != "") & np.isfinite(sets[column])
            )
            levels = sorted(set(sets["level"][rows]))
            if not levels:
                continue
            pairs = set(zip(sets["person"][rows], sets["level"][rows], strict=True))
            crossed = len(pairs) > len({person for person, _ in pairs})
            of_level = {
                level: _by_person(sets, rows[sets["level"][rows] == level], column)
                for level in levels
            }
            if crossed:
                method = "mixed model: fixed level, random person, one value a set (REML)"
                told = differences(
                    sets[column][rows], list(sets["person"][rows]), list(sets["level"][rows])
                )
            else:
                method = "Welch's t, one value a person"
                told = {level: welch(of_level[levels[0]], of_level[level]) for level in levels[1:]}
            for level, values in of_level.items():
                yield {
                    "claim": claim,
                    "frame": frame,
                    "column": by,
                    "level": level,
                    "n_people": len(values),
                    **_estimate("size_mm", mean_with_interval(values)),
                    "sd_mm": _sd(values),
                    **_estimate("difference_mm", told.get(level, UNKNOWN)),
                    "method": method if level in told else "",
                }


def welch(first: Floats, second: Floats) -> Estimate:
    """Mean of second less first, with Welch's interval; NaN for fewer than two values in either.

    >>> welch(np.array([1.0, 3.0]), np.array([2.0, 4.0])).value
    1.0
    """
    if min(len(first), len(second)) < 2:
        return UNKNOWN
    shares = [values.var(ddof=1) / len(values) for values in (first, second)]
    error = float(np.sqrt(sum(shares)))
    gap = float(second.mean() - first.mean())
    if not error:
        return Estimate(gap, gap, gap)
    freedom = sum(shares) ** 2 / sum(
        share**2 / (len(values) - 1) for share, values in zip(shares, (first, second), strict=True)
    )
    half = float(stats.t.ppf((1 + LEVEL) / 2, freedom)) * error
    return Estimate(gap, gap - half, gap + half)


def person_sizes(tables: Path) -> dict[str, dict[str, float]]:
    """By frame and person: mean distance of their marks from the sites."""
    sets = read_columns(
        tables / "sets.parquet", ["person", *(f"{frame}_mm" for frame in FRAMES)], {"used": True}
    )
    found = {}
    for frame in FRAMES:
        known = np.flatnonzero(np.isfinite(sets[f"{frame}_mm"]))
        labels = np.unique(sets["person"][known].astype(str)).tolist()
        values = _by_person(sets, known, f"{frame}_mm").tolist()
        found[frame] = dict(zip(labels, values, strict=True))
    return found


def outlier_rows(tables: Path) -> Iterator[Row]:
    """People whose marks lie farther off, or come back worse, than those of the others.

    They stay in the statistics.
    """
    people = read_columns(
        tables / "people.parquet", ["person", *(f"repeat_{frame}_mm" for frame in FRAMES)]
    )
    sizes = person_sizes(tables)
    for frame in FRAMES:
        known = np.flatnonzero(np.isfinite(people[f"repeat_{frame}_mm"]))
        back = dict(
            zip(people["person"][known], people[f"repeat_{frame}_mm"][known].tolist(), strict=True)
        )
        words = "marks lie {value:.1f} mm from their sites on average where the middle person has"
        yield from _outlying(frame, "distance", words, sizes[frame])
        words = "marks come back to {value:.1f} mm between sessions where the middle person has"
        yield from _outlying(frame, "repeat", words, back)


def _outlying(frame: str, measure: str, words: str, sizes: Mapping[str, float]) -> Iterator[Row]:
    values = np.array(list(sizes.values()))
    if len(values) < _FEWEST_FOR_OUTLIERS:
        return
    middle = float(np.median(values))
    usual = float(np.median(np.abs(values - middle)))
    for label, value in sizes.items():
        score = 0.6745 * (value - middle) / usual if usual else 0.0
        if score > _OUTLYING:
            yield {
                "person": label,
                "frame": frame,
                "measure": measure,
                "size_mm": value,
                "score": score,
                "reason": f"{words.format(value=value)} {middle:.1f} mm; kept in the statistics",
            }


def power_rows(tables: Path, sites: Sequence[Row], repeats: Sequence[Row]) -> Iterator[Row]:
    """How many people the next study needs to see 2 mm, by the spread found here.

    Parameters
    ----------
    tables : Path
    sites, repeats : sequence of rows
        Of `site_rows` and `repeat_rows`.
    """
    order = ["session", "run", "acquisition"]
    for frame, sizes in person_sizes(tables).items():
        sets = read_columns(
            tables / "sets.parquet", ["person", *order, f"{frame}_mm"], {"used": True}
        )
        keys = [" ".join(parts) for parts in zip(*(sets[k] for k in order), strict=True)]
        within = within_person_sd(_repeats(sets, keys, f"{frame}_mm")).value
        yield _power_row(
            frame,
            "mean distance of a person's marks from their sites",
            _sd(np.array(list(sizes.values()))),
            within,
        )
        of_frame = [row for row in sites if row["frame"] == frame]
        yield _power_row(
            frame,
            "signed deviation at one site (the middle one, either axis)",
            _middle([row[f"{axis}_sd_mm"] for row in of_frame for axis in AXES]),
            _middle([row["within_sd_mm"] for row in repeats if row["frame"] == frame]),
        )


def _power_row(frame: str, measure: str, sd_mm: float, within_sd_mm: float) -> Row:
    between = bool(np.isfinite(sd_mm) and sd_mm > 0)
    paired = bool(np.isfinite(within_sd_mm) and within_sd_mm > 0)
    of_difference = float(np.sqrt(2) * within_sd_mm)
    return {
        "frame": frame,
        "measure": measure,
        "difference_mm": DIFFERENCE_MM,
        "sd_mm": sd_mm,
        "people_each_of_two_groups": people_needed(DIFFERENCE_MM, sd_mm) if between else None,
        "sd_of_difference_mm": of_difference if paired else None,
        "people_measured_twice": (
            people_needed(DIFFERENCE_MM, of_difference, paired=True) if paired else None
        ),
    }


def _middle(values: Sequence[Value]) -> float:
    known = [float(v) for v in values if isinstance(v, int | float) and np.isfinite(v)]
    return float(np.median(known)) if known else float("nan")


def _sd(values: Floats) -> float:
    return float(values.std(ddof=1)) if len(values) > 1 else float("nan")


def _estimate(name: str, found: Estimate) -> Row:
    return {name: found.value, f"{name}_low": found.low, f"{name}_high": found.high}
