"""The report of a study: one page with the head, tables and figures, and a page a person."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from html import escape

from headfit import __version__
from headfit.anatomy.sites import place_sites
from headfit.anatomy.template import load_template
from headfit.cohort.columns import FRAMES
from headfit.cohort.figures import Figure, errors_of
from headfit.cohort.people import Cohort
from headfit.cohort.report_tables import (
    common_table,
    exclusions_table,
    groups_table,
    outliers_table,
    power_table,
    repeats_table,
    site_tables,
    sizes_table,
)
from headfit.cohort.statistics import Row
from headfit.cohort.words import Counts
from headfit.output.report import Section, report_html
from headfit.output.scene import Scene, make_scene
from headfit.output.site_map import error_scene


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
    rows = story.rows
    drawn = {figure.name: figure for figure in figures}
    sections = [Section("What was found", tuple(story.said), (sizes_table(story.counts),))]
    for name, figure in drawn.items():
        if name.startswith("map_"):
            sections.append(Section(figure.title, (_MAP_KEY,), drawing=figure.svg))
    sections.append(Section("Sites", (_SITES_SAID,), tuple(site_tables(rows["sites"]))))
    sections += [
        Section(figure.title, drawing=figure.svg)
        for name, figure in drawn.items()
        if name.startswith(("distribution", "common"))
    ]
    sections.append(Section("Common part of the sets", (), (common_table(rows["common"]),)))
    if rows["repeats"]:
        sections.append(Section("Repeats", (_REPEATS_SAID,), (repeats_table(rows["repeats"]),)))
        sections += [
            Section(figure.title, drawing=figure.svg)
            for name, figure in drawn.items()
            if name.startswith("repeats")
        ]
    if rows["groups"]:
        sections.append(Section(f"By {story.cohort.by}", (), (groups_table(rows["groups"]),)))
    sections.append(Section("Outliers, which are kept", (), (outliers_table(rows["outliers"]),)))
    sections.append(
        Section("What takes no part, and doubts", (), (exclusions_table(rows["exclusions"]),))
    )
    if rows["power"]:
        sections.append(Section("The next study", (), (power_table(rows["power"]),)))
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
    "mark with 95 % probability. The flat map shortens lengths towards the vertex by up to a "
    "third. From above, nose up."
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
