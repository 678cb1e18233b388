"""The figures of a study, each as SVG and PNG: maps of the error, distributions, repeats."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from headfit.anatomy.head import Head
from headfit.anatomy.sites import TABLE, BesideEar
from headfit.anatomy.template import load_template
from headfit.cohort.columns import AXES, COMMON_UNITS, FRAMES
from headfit.cohort.statistics import Row
from headfit.errors import DrawingError
from headfit.files.parquet import distinct, read_columns
from headfit.output.charts import Panel, Range, range_chart, range_of
from headfit.output.drawing import line_drawing
from headfit.output.headmap import HeadMap, as_svg
from headfit.output.raster import drawing_png
from headfit.output.site_map import SiteError, error_map, error_scene
from headfit.output.small_drawing import inked

FRAME_TITLES = {"landmarks": "by the landmarks", "fit": "after the common part is taken off"}
_VIEWS = ("left", "top")
_FEWEST_SITES = 3


@dataclass(frozen=True)
class Figure:
    """One figure: its name, what it shows, and its drawing."""

    name: str
    title: str
    svg: str
    png: bytes | None


def errors_of(sites: Sequence[Row], claim: str, frame: str) -> list[SiteError]:
    """What the maps draw, from the rows of the table of sites."""
    return [
        SiteError(str(row["site"]), *(_number(row[key]) for key in _DRAWN))
        for row in sites
        if row["claim"] == claim
        and row["frame"] == frame
        and not isinstance(TABLE[str(row["site"])], BesideEar)
    ]


_DRAWN = ("along_mm", "across_mm", "major_mm", "minor_mm", "angle_deg")


def _number(value: object) -> float:
    return float(value) if isinstance(value, int | float) else float("nan")


def figures(tables: Path, rows: Mapping[str, Sequence[Row]], *, invented: bool) -> Iterator[Figure]:
    """Every figure for which there are data.

    Parameters
    ----------
    tables : Path
        Folder of the tables.
    rows : mapping of str to rows
        Of the tables "sites", "repeats" and "common".
    invented : bool
        Said in the title of each.
    """
    mark = " (invented data)" if invented else ""
    head = load_template()
    for claim in sorted({str(row["claim"]) for row in rows["sites"]}):
        for frame in FRAMES:
            errors = errors_of(rows["sites"], claim, frame)
            if len(errors) >= _FEWEST_SITES:
                title = f"{claim.capitalize()}, {FRAME_TITLES[frame]}{mark}"
                yield _shapes(f"map_{claim}_{frame}", title, error_map(head, errors))
                yield from _on_the_head(head, errors, f"{claim}_{frame}", title)
    yield from _distributions(tables, mark)
    yield from _common(tables, mark)
    yield from _repeats(rows["repeats"], mark)


def _shapes(name: str, title: str, drawing: HeadMap) -> Figure:
    return Figure(name, title, as_svg(drawing, title), drawing_png(drawing))


def _on_the_head(
    head: Head, errors: Sequence[SiteError], name: str, title: str
) -> Iterator[Figure]:
    """Line drawings from three sides; pictures where this machine has a driver that draws."""
    from headfit.output.picture import png_bytes

    drawn = error_scene(head, errors, title, drawn=True)
    shaded = error_scene(head, errors, title)
    for view in _VIEWS:
        svg = inked(line_drawing(drawn, view)).replace(
            "<svg ", '<svg xmlns="http://www.w3.org/2000/svg" ', 1
        )
        try:
            png = png_bytes(shaded, view, (1000, 750))
        except DrawingError:
            png = None
        yield Figure(f"head_{name}_{view}", f"{title}, {view}", svg, png)


def _distributions(tables: Path, mark: str) -> Iterator[Figure]:
    """Distances from the sites, site by site, the farthest first, both frames side by side."""
    path = tables / "marks.parquet"
    found: dict[str, dict[str, Range]] = {}
    columns = [f"{frame}_{axis}_mm" for frame in FRAMES for axis in AXES]
    for site in distinct(path, "site"):
        marks = read_columns(path, columns, {"site": site, "used": True})
        for frame in FRAMES:
            sizes = np.hypot(*(marks[f"{frame}_{axis}_mm"] for axis in AXES))
            sizes = sizes[np.isfinite(sizes)]
            if len(sizes):
                found.setdefault(site, {})[frame] = range_of(sizes.tolist())
    if not found:
        return
    names = sorted(found, key=lambda site: -max(r.middle for r in found[site].values()))
    panels = [
        Panel(
            FRAME_TITLES[frame],
            "distance over the scalp, mm",
            tuple(found[site].get(frame) for site in names),
        )
        for frame in FRAMES
        if any(frame in of_site for of_site in found.values())
    ]
    title = f"Distance of the marks from their sites: percentiles 5, 25, 50, 75, 95{mark}"
    yield _shapes("distribution_by_site", title, range_chart(names, panels, one_scale=True))


def _common(tables: Path, mark: str) -> Iterator[Figure]:
    sets = read_columns(tables / "sets.parquet", list(COMMON_UNITS), {"used": True})
    panels, names = [], []
    known = {name: values[np.isfinite(values)] for name, values in sets.items()}
    if not any(len(values) for values in known.values()):
        return
    for unit, words in (("deg", "degrees"), ("mm", "mm")):
        parts = [name for name, of in COMMON_UNITS.items() if of == unit]
        names.append(parts)
        ranges = tuple(
            range_of(known[name].tolist()) if len(known[name]) else None for name in parts
        )
        panels.append(Panel(" / ".join(parts), words, ranges))
    rows = [f"{a} / {b}" for a, b in zip(*names, strict=True)]
    title = f"Common part of the sets: percentiles 5, 25, 50, 75, 95{mark}"
    yield _shapes("common_part", title, range_chart(rows, panels))


def _repeats(rows: Sequence[Row], mark: str) -> Iterator[Figure]:
    """Within-person SD of every site with its interval, per axis, both frames side by side."""
    for over in sorted({str(row["repeated_over"]) for row in rows}):
        some = [row for row in rows if row["repeated_over"] == over]
        for axis in AXES:
            by_site: dict[str, dict[str, Range]] = {}
            for row in some:
                if row["axis"] == axis:
                    low, middle, high = (
                        _number(row[f"within_sd_mm{end}"]) for end in ("_low", "", "_high")
                    )
                    of_site = by_site.setdefault(str(row["site"]), {})
                    of_site[str(row["frame"])] = Range(low, middle, high)
            names = sorted(by_site, key=lambda s: -max(r.middle for r in by_site[s].values()))
            panels = [
                Panel(
                    FRAME_TITLES[frame],
                    "within-person SD, mm",
                    tuple(by_site[site].get(frame) for site in names),
                )
                for frame in FRAMES
            ]
            title = f"Repeats over {over}, {axis} the arc: SD of one measurement, 95 %{mark}"
            yield _shapes(
                f"repeats_{_plain(over)}_{axis}", title, range_chart(names, panels, one_scale=True)
            )


def _plain(word: str) -> str:
    return "".join(c if c.isascii() and c.isalnum() else "-" for c in word)
