"""The report of a study: one page with the head, tables and figures, and a page a person."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape

import numpy as np

from headfit import __version__
from headfit.anatomy.sites import TABLE, BesideEar, place_sites
from headfit.anatomy.template import load_template
from headfit.cohort.columns import FRAMES
from headfit.cohort.figures import Figure, errors_of
from headfit.cohort.people import Cohort
from headfit.cohort.person_row import PersonRow
from headfit.cohort.statistics import Row
from headfit.cohort.words import Counts
from headfit.output.headmap import as_svg
from headfit.output.report import Section, plain_page, report_html
from headfit.output.scene import Scene, make_scene
from headfit.output.site_map import SiteError, error_map, error_scene
from headfit.output.tables import Column, Table
from headfit.output.tables import Row as Line

_MOST_LISTED = 300


@dataclass(frozen=True)
class Story:
    """All that the report tells.

    Attributes
    ----------
    cohort : Cohort
    counts : Counts
    said : list of str
        Findings.
    methods : str
    rows : mapping of str to rows
        Of the tables of statistics, and "exclusions".
    pages : list of str
        Labels of people who have a page.
    command : str
        That makes the same again.
    """

    cohort: Cohort
    counts: Counts
    said: Sequence[str]
    methods: str
    rows: Mapping[str, Sequence[Row]]
    pages: Sequence[str]
    command: str

    @property
    def title(self) -> str:
        """As it stands over the report."""
        return f"Study: {self.cohort.name}"


def study_report(story: Story, figures: Iterable[Figure]) -> str:
    """The report as HTML."""
    drawn = {figure.name: figure for figure in figures}
    sections = [Section("What was found", tuple(story.said), (_sizes(story.counts),))]
    for name, figure in drawn.items():
        if name.startswith("map_"):
            sections.append(Section(figure.title, (_MAP_KEY,), drawing=figure.svg))
    sections.append(Section("Sites", (_SITES_SAID,), tuple(_site_tables(story.rows["sites"]))))
    sections += [
        Section(figure.title, drawing=figure.svg)
        for name, figure in drawn.items()
        if name.startswith(("distribution", "common"))
    ]
    sections.append(Section("Common part of the sets", (), (_common(story.rows["common"]),)))
    if story.rows["repeats"]:
        sections.append(Section("Repeats", (_REPEATS_SAID,), (_repeats(story.rows["repeats"]),)))
        sections += [
            Section(figure.title, drawing=figure.svg)
            for name, figure in drawn.items()
            if name.startswith("repeats")
        ]
    if story.rows["groups"]:
        sections.append(Section(f"By {story.cohort.by}", (), (_groups(story.rows["groups"]),)))
    sections.append(Section("Outliers, which are kept", (), (_outliers(story.rows["outliers"]),)))
    sections.append(Section("What takes no part", (), (_left_out(story.rows["exclusions"]),)))
    if story.rows["power"]:
        sections.append(Section("The next study", (), (_power(story.rows["power"]),)))
    sections.append(Section("Methods, ready for a paper", (story.methods.strip(),)))
    if story.pages:
        links = "".join(
            f'<li><a href="pages/{escape(label)}.html">{escape(label)}</a></li>'
            for label in story.pages
        )
        sections.append(Section("People", (), drawing=f"<ul>{links}</ul>"))
    return report_html(_scene(story), sections, commands=[story.command], version=__version__)


_MAP_KEY = (
    "Ring: site on a template head. Dot: mean place of its marks. Ellipse: holds the next person's "
    "mark with 95 % probability. The flat map shortens lengths towards the vertex by up to a third."
    " From above, nose up."
)
_SITES_SAID = (
    "Two frames side by side: by the landmarks, with the slip of the whole set and the error of "
    "the landmarks; fit, after the common part of the set is taken off. All figures with their "
    "intervals are in tables/sites.tsv."
)
_REPEATS_SAID = (
    "Middle figure over the sites. Site by site with intervals: tables/repeats.tsv. ICC(2,1): "
    "absolute agreement; ICC(3,1): consistency (Shrout and Fleiss 1979)."
)


def _scene(story: Story) -> Scene:
    """The head with mean errors and ellipses, by the landmarks where there are any."""
    head = load_template()
    for claim in ("accuracy", "consistency"):
        for frame in FRAMES:
            errors = errors_of(story.rows["sites"], claim, frame)
            if errors:
                captions = [f"{claim.capitalize()}, frame {frame}, on a template head."]
                scene = error_scene(head, errors, story.title, captions)
                # The page calls every ellipse the place of a site; the maps show these.
                return replace(scene, ellipses=())
    return make_scene(
        head, place_sites(head, "10-20"), title=story.title, captions=["No marks to show."]
    )


def _table(name: str, caption: str, titles: Sequence[str], rows: Iterable[Sequence[str]]) -> Table:
    columns = tuple(
        Column(title.partition("|")[0], title.partition("|")[2], number="|" in title)
        for title in titles
    )
    return Table(name, caption, columns, tuple(Line(tuple(row)) for row in rows))


def _n(value: object, decimals: int = 1) -> str:
    if not isinstance(value, int | float) or not np.isfinite(value):
        return ""
    return f"{value:.{decimals}f}"


def _with_interval(row: Row, name: str, decimals: int = 1) -> str:
    middle = _n(row[name], decimals)
    low, high = _n(row[f"{name}_low"], decimals), _n(row[f"{name}_high"], decimals)
    return f"{middle} ({low} to {high})" if low and high else middle


def _sizes(counts: Counts) -> Table:
    rows = [
        [
            claim,
            frame,
            str(counts.n_sized[claim, frame]),
            _n(found.value),
            f"{_n(found.low)} to {_n(found.high)}" if _n(found.low) else "",
        ]
        for (claim, frame), found in counts.sizes.items()
    ]
    titles = ["Claim", "Frame", "People|", "Mean distance|mm", "95 % interval|mm"]
    return _table(
        "sizes", "Distance of the marks from their sites, a person counts once.", titles, rows
    )


def _site_tables(rows: Sequence[Row]) -> Iterator[Table]:
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
        yield _table(f"sites-{claim}", f"{claim.capitalize()}, site by site.", titles, lines)


def _site_cells(row: Row) -> list[str]:
    return [
        _with_interval(row, "size_mm"),
        f"{_n(row['along_mm'])} / {_n(row['across_mm'])}",
        f"{_n(row['major_mm'])} × {_n(row['minor_mm'])}",
    ]


def _common(rows: Sequence[Row]) -> Table:
    lines = [
        [
            str(row["claim"]),
            str(row["part"]),
            str(row["unit"]),
            str(row["n_people"]),
            _with_interval(row, "mean"),
            _n(row["sd"]),
            _n(row["mean_se"]),
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
    return _table("common", "Turn and slide that the marks of a set share.", titles, lines)


def _repeats(rows: Sequence[Row]) -> Table:
    lines = []
    keys = sorted({tuple(str(row[k]) for k in ("repeated_over", "frame", "axis")) for row in rows})
    for key in keys:
        some = [
            row
            for row in rows
            if tuple(str(row[k]) for k in ("repeated_over", "frame", "axis")) == key
        ]
        figures = [
            _n(_middle([row[name] for row in some]), 2)
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
    return _table("repeats", "Repeats: the middle site.", titles, lines)


def _middle(values: Sequence[object]) -> float | None:
    known = [float(v) for v in values if isinstance(v, int | float) and np.isfinite(v)]
    return float(np.median(known)) if known else None


def _groups(rows: Sequence[Row]) -> Table:
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
    return _table("groups", "Mean distance of the marks from their sites.", titles, lines)


def _outliers(rows: Sequence[Row]) -> Table:
    lines = [[str(row["person"]), str(row["frame"]), str(row["reason"])] for row in rows]
    return _table(
        "outliers", _some(lines, "outlier"), ["Person", "Frame", "Why"], lines[:_MOST_LISTED]
    )


def _left_out(rows: Sequence[Row]) -> Table:
    lines = [
        [str(row.get(k) or "") for k in ("person", "session", "what", "reason")] for row in rows
    ]
    return _table(
        "exclusions",
        _some(lines, "exclusion"),
        ["Person", "Session", "What", "Why"],
        lines[:_MOST_LISTED],
    )


def _some(lines: Sequence[object], word: str) -> str:
    if len(lines) > _MOST_LISTED:
        return f"The first {_MOST_LISTED} of {len(lines)}; all are in the tables."
    return f"{len(lines)} {word}{'' if len(lines) == 1 else 's'}."


def _power(rows: Sequence[Row]) -> Table:
    lines = [
        [
            str(row["frame"]),
            str(row["measure"]),
            _n(row["difference_mm"]),
            _n(row["sd_mm"], 2),
            _n(row["people_each_of_two_groups"], 0),
            _n(row["people_measured_twice"], 0),
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
    return _table(
        "power", "People needed for a power of 0.8 at 0.05, two-sided t test.", titles, lines
    )


def person_page(row: PersonRow, cohort: Cohort) -> str:
    """The page of one person, from the row alone.

    The map shows the marks on a template head; the head of the person itself is not kept.
    """
    about = [("Head from", row.get("head_from", "") or "no head"), ("Sex", row["sex"] or "")]
    about.append(("Age", "" if row["age"] is None else f"{row['age']:g} years"))
    if row["child"]:
        about.append(("Child", "head model illustrative only"))
    if row["invented"]:
        about.append(("Invented", "no real person"))
    if cohort.in_prior:
        about.append(("In the shape prior", cohort.in_prior))
    facts = tuple((word, text) for word, text in about if text)
    said = [row["problem"]] if row["problem"] else []
    repeat = row.get("repeat", {})
    said += [f"Over the sessions: {text}." for text in repeat.get("sentences", ())]
    said += [text for text in (repeat.get("problem", ""), *repeat.get("doubts", ())) if text]
    sections = [Section("Person", (*said, *row.get("sentences", ())), facts=facts)]
    for unit in row["units"]:
        name = (
            " ".join(
                filter(
                    None,
                    [
                        unit["session"] and f"session {unit['session']}",
                        unit["run"] and f"run {unit['run']}",
                    ],
                )
            )
            or "Marks"
        )
        if "names" not in unit:
            sections.append(Section(f"{name}: {unit['file']}", (unit["problem"],)))
            continue
        sections.append(
            Section(
                f"{name}: {unit['file']}",
                (unit["verdict"], *(f"Doubt: {text}." for text in unit["doubts"].values())),
                (_marks(unit),),
                _map_of(unit, row["person"]),
            )
        )
    return plain_page(f"{row['person']} of {cohort.name}", sections, __version__)


def _marks(unit: PersonRow) -> Table:
    lines = []
    for i in np.argsort([-_size(unit, k, "own_") for k in range(len(unit["names"]))]).tolist():
        site = unit["names"][i]
        note = "name mixed up?" if site in unit["mixed_up"] else ""
        note = note or ("stands out" if site in unit["stands_out"] else "")
        lines.append([site, _n(_size(unit, i, "")), _n(_size(unit, i, "own_")), note])
    return _table(
        "marks",
        "The farthest first.",
        ["Site", "By the landmarks|mm", "Own part|mm", "Note"],
        lines,
    )


def _size(unit: PersonRow, i: int, part: str) -> float:
    along, across = unit[f"{part}along_mm"][i], unit[f"{part}across_mm"][i]
    return float("nan") if along is None else float(np.hypot(along, across))


def _map_of(unit: PersonRow, label: str) -> str:
    errors = [
        SiteError(site, along, across)
        for site, along, across in zip(
            unit["names"], unit["own_along_mm"], unit["own_across_mm"], strict=True
        )
        if not isinstance(TABLE[site], BesideEar)
    ]
    drawing = error_map(load_template(), errors, 120.0, 130.0)
    return as_svg(drawing, f"{label}: marks around their sites, own part, on a template head")
