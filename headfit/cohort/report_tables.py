"""The tables of the report of a study, as people read them: rounded, with intervals. In mm."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from headfit.cohort.columns import FRAMES
from headfit.cohort.statistics import Row
from headfit.cohort.words import Counts
from headfit.output.tables import Column, Table
from headfit.output.tables import Row as Line

_MOST_LISTED = 300


def table_of(
    name: str, caption: str, titles: Sequence[str], rows: Iterable[Sequence[str]]
) -> Table:
    """A table; a title "name|unit" makes a column of numbers."""
    columns = tuple(
        Column(title.partition("|")[0], title.partition("|")[2], number="|" in title)
        for title in titles
    )
    return Table(name, caption, columns, tuple(Line(tuple(row)) for row in rows))


def shown(value: object, decimals: int = 1) -> str:
    """A number rounded, or nothing."""
    if not isinstance(value, int | float) or not np.isfinite(value):
        return ""
    return f"{value:.{decimals}f}"


def _with_interval(row: Row, name: str, decimals: int = 1) -> str:
    middle = shown(row[name], decimals)
    low, high = shown(row[f"{name}_low"], decimals), shown(row[f"{name}_high"], decimals)
    return f"{middle} ({low} to {high})" if low and high else middle


def sizes_table(counts: Counts) -> Table:
    """Mean distances by claim and frame."""
    rows = [
        [
            claim,
            frame,
            str(counts.n_sized[claim, frame]),
            shown(found.value),
            f"{shown(found.low)} to {shown(found.high)}" if shown(found.low) else "",
        ]
        for (claim, frame), found in counts.sizes.items()
    ]
    titles = ["Claim", "Frame", "People|", "Mean distance|mm", "95 % interval|mm"]
    return table_of(
        "sizes", "Distance of the marks from their sites, a person counts once.", titles, rows
    )


def site_tables(rows: Sequence[Row]) -> Iterator[Table]:
    """Site by site, both frames side by side, a table a claim."""
    for claim in sorted({str(row["claim"]) for row in rows}):
        by_site: dict[str, dict[str, Row]] = {}
        for row in rows:
            if row["claim"] == claim:
                by_site.setdefault(str(row["site"]), {})[str(row["frame"])] = row
        lines = []
        for site, frames in by_site.items():
            cells = [site, str(next(iter(frames.values()))["n_people"])]
            for frame in FRAMES:
                cells += _site_cells(frames[frame]) if frame in frames else [""] * 3
            lines.append(cells)
        titles = ["Site", "People|"]
        for frame in FRAMES:
            titles += [f"{frame}: distance (95 %)|mm", "along / across|mm", "ellipse|mm"]
        yield table_of(f"sites-{claim}", f"{claim.capitalize()}, site by site.", titles, lines)


def _site_cells(row: Row) -> list[str]:
    return [
        _with_interval(row, "size_mm"),
        f"{shown(row['along_mm'])} / {shown(row['across_mm'])}",
        f"{shown(row['major_mm'])} × {shown(row['minor_mm'])}",
    ]


def common_table(rows: Sequence[Row]) -> Table:
    """Turn and slide of whole sets."""
    lines = [
        [
            str(row["claim"]),
            str(row["part"]),
            str(row["unit"]),
            str(row["n_people"]),
            _with_interval(row, "mean"),
            shown(row["sd"]),
            shown(row["mean_se"]),
            _with_interval(row, "within_sd"),
        ]
        for row in rows
    ]
    titles = [
        "Claim",
        "Part",
        "Unit",
        "People|",
        "Mean (95 %)|",
        "SD between people|",
        "± of one set|",
        "SD within a person (95 %)|",
    ]
    return table_of("common", "Turn and slide that the marks of a set share.", titles, lines)


def repeats_table(rows: Sequence[Row]) -> Table:
    """Repeats at the middle site."""
    lines = []
    keys = sorted({tuple(str(row[k]) for k in ("repeated_over", "frame", "axis")) for row in rows})
    for key in keys:
        some = [
            row
            for row in rows
            if tuple(str(row[k]) for k in ("repeated_over", "frame", "axis")) == key
        ]
        figures = [
            shown(_middle([row[name] for row in some]), 2)
            for name in ("within_sd_mm", "icc_2_1", "icc_3_1", "bias_mm", "lower_mm", "upper_mm")
        ]
        n_people = max(int(row["n_people"] or 0) for row in some)
        lines.append([*key, str(len(some)), str(n_people), *figures])
    titles = [
        "Over",
        "Frame",
        "Axis",
        "Sites|",
        "People|",
        "Within-person SD|mm",
        "ICC(2,1)|",
        "ICC(3,1)|",
        "Bias|mm",
        "Lower limit|mm",
        "Upper limit|mm",
    ]
    return table_of("repeats", "Repeats: the middle site.", titles, lines)


def _middle(values: Sequence[object]) -> float | None:
    known = [float(v) for v in values if isinstance(v, int | float) and np.isfinite(v)]
    return float(np.median(known)) if known else None


def groups_table(rows: Sequence[Row]) -> Table:
    """Levels of the chosen column."""
    lines = [
        [
            *(str(row[k]) for k in ("claim", "frame", "level", "n_people")),
            _with_interval(row, "size_mm"),
            _with_interval(row, "difference_mm"),
            str(row["method"]),
        ]
        for row in rows
    ]
    titles = [
        "Claim",
        "Frame",
        "Level",
        "People|",
        "Distance (95 %)|mm",
        "Against the first level (95 %)|mm",
        "How",
    ]
    return table_of("groups", "Mean distance of the marks from their sites.", titles, lines)


def outliers_table(rows: Sequence[Row]) -> Table:
    """People who stand out."""
    lines = [[str(row["person"]), str(row["frame"]), str(row["reason"])] for row in rows]
    return table_of(
        "outliers", _some(lines, "outlier"), ["Person", "Frame", "Why"], lines[:_MOST_LISTED]
    )


def exclusions_table(rows: Sequence[Row]) -> Table:
    """What takes no part, and why."""
    lines = [
        [str(row.get(k) or "") for k in ("person", "session", "what", "reason")] for row in rows
    ]
    return table_of(
        "exclusions",
        _some(lines, "exclusion"),
        ["Person", "Session", "What", "Why"],
        lines[:_MOST_LISTED],
    )


def _some(lines: Sequence[object], word: str) -> str:
    if len(lines) > _MOST_LISTED:
        return f"The first {_MOST_LISTED} of {len(lines)}; all are in the tables."
    return f"{len(lines)} {word}{'' if len(lines) == 1 else 's'}."


def power_table(rows: Sequence[Row]) -> Table:
    """How many people the next study needs."""
    lines = [
        [
            str(row["frame"]),
            str(row["measure"]),
            shown(row["difference_mm"]),
            shown(row["sd_mm"], 2),
            shown(row["people_each_of_two_groups"], 0),
            shown(row["people_measured_twice"], 0),
        ]
        for row in rows
    ]
    titles = [
        "Frame",
        "Measure",
        "Difference|mm",
        "SD between people|mm",
        "People in each of two groups|",
        "People measured twice|",
    ]
    return table_of(
        "power", "People needed for a power of 0.8 at 0.05, two-sided t test.", titles, lines
    )
