"""The tables of the site that are made from the code, as Markdown; a page names one by a marker."""

from __future__ import annotations

import json
import re
import textwrap
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from functools import cache
from pathlib import Path
from typing import Any

from site_reference import TITLES, public_names

from headfit.anatomy.arcs import ARCS, ArcTracer, Rules
from headfit.anatomy.site_table import (
    NEAREST,
    OLD_NAMES,
    SCALP_SITES,
    SYSTEMS,
    TABLE,
    BesideEar,
    BeyondRow,
    Place,
)
from headfit.anatomy.template import load_template
from headfit.cli import COMMANDS, build_parser
from headfit.files import case_file, case_record
from headfit.files.formats import FORMATS
from headfit.fitting.hand_set_shape import HAND_MODES
from headfit.fitting.measurements import GROUPS, MEASUREMENTS
from headfit.output.measuring_drawings import MeasuringDrawings, figures
from headfit.output.measuring_page import landmark_section, measurement_words

ROOT = Path(__file__).resolve().parents[1]
# What each extra of pyproject.toml brings.
EXTRAS = {
    "mne": "sites and marks as an `mne` montage",
    "pandas": "tables as data frames",
    "study": "`headfit study`",
    "surfaces": "surfaces in GIfTI",
}


def table(header: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """A table of Markdown; a bar in a cell would begin a new one."""
    lines = [header, ["---"] * len(header), *rows]
    return "\n".join(
        "| " + " | ".join(str(cell).replace("|", "\\|") for cell in line) + " |" for line in lines
    )


def rules() -> str:
    """The choices on which definitions differ, with what `Rules` says of each."""
    from numpydoc.docscrape import NumpyDocString

    told = {each.name: each for each in NumpyDocString(Rules.__doc__ or "")["Parameters"]}
    rows = []
    for field in fields(Rules):
        choices = told[field.name].type.strip("{}").replace('"', "`")
        words = " ".join(line.strip() for line in told[field.name].desc)
        rows.append((f"`{field.name}`", choices, f"`{field.default}`", words))
    return table(("rule", "choices", "unless said", "what each means"), rows)


def arcs() -> str:
    """Every arc that sites are placed on."""
    return table(
        ("arc", "from", "over", "to"),
        ((arc.name, arc.start, arc.via, arc.end) for arc in ARCS.values()),
    )


def systems() -> str:
    """The systems of names, with how many sites each has."""
    return table(
        ("system", "sites", "names"),
        (
            (f"`{name}`", len(sites), " ".join(sites) if len(sites) < 100 else "all of the table")
            for name, sites in SYSTEMS.items()
        ),
    )


def _place_words(place: Place) -> str:
    if isinstance(place, BeyondRow):
        end = "right" if place.at_end else "left"
        return (
            f"{place.arc} carried on at its {end} end by {100 * place.coronal_share:g} % of the "
            f"coronal arc; in 10-5 {100 * place.contour:g} % of the contour"
        )
    if isinstance(place, BesideEar):
        outward, front, up = place.offset_mm
        side = "left" if place.left else "right"
        return (
            f"nearest skin to a place beside the {side} preauricular point: outward {outward:g}, "
            f"front {front:g}, up {up:g} mm"
        )
    return f"{100 * place.fraction:g} % of {place.arc}"


def sites() -> str:
    """Every site, its place and the source of its place."""
    rows = []
    for name, place in TABLE.items():
        of = [system for system, names in SYSTEMS.items() if name in names and system != "10-5"]
        rows.append(
            (
                f"{name} ({OLD_NAMES[name]})" if name in OLD_NAMES else name,
                _place_words(place),
                ", ".join(of) or "10-5",
                place.source,
            )
        )
    return table(("site", "where", "in", "source of the place"), rows)


def site_sources() -> str:
    """How many sites rest on which source."""
    counts = Counter(place.source for place in TABLE.values())
    return table(("source", "sites"), counts.most_common())


def no_sites() -> str:
    """Names in use that are no site here."""
    return table(
        ("name", "nearest site", "what it means"),
        ((name, site, meaning) for name, (site, meaning) in NEAREST.items()),
    )


def scalp_sites() -> str:
    """The 19 sites of 10-20 that stand on the scalp."""
    return ", ".join(SCALP_SITES)


@cache
def _drawings() -> MeasuringDrawings:
    head = load_template()
    return MeasuringDrawings(head, ArcTracer(head.scalp, head.landmarks, Rules()))


def landmarks() -> str:
    """How the four landmarks are felt, drawn."""
    return landmark_section(_drawings()).drawing


def measurements() -> str:
    """Every measurement, in the groups in which a form asks for them, drawn and in a table."""
    parts = []
    for title, names in GROUPS.items():
        rows, drawn = [], {}
        for name in names:
            kind = MEASUREMENTS[name]
            drawn[kind.title] = (_drawings().measurement(name), measurement_words(name))
            rows.append(
                (
                    f"`{name}`",
                    kind.how,
                    kind.tool,
                    f"± {kind.spread_mm:g} mm",
                    f"{kind.lowest_mm:g} to {kind.highest_mm:g} mm",
                )
            )
        header = ("name", "how it is taken", "tool", "one reading", "heads lie in")
        parts.append(f"## {title}\n\n{figures(drawn)}\n\n{table(header, rows)}\n")
    return "\n".join(parts)


def shape_modes() -> str:
    """What is set by hand."""
    return table(
        ("name", "what it is", "below 0", "above 0"),
        ((f"`{name}`", mode.title, mode.below, mode.above) for name, mode in HAND_MODES.items()),
    )


def formats() -> str:
    """Every file format that is read or written."""
    rows = []
    for each in FORMATS:
        ends = ", ".join(f"`{end}`" for end in each.extensions)
        rows.append((each.kind, ends, "read and written" if each.writer else "read"))
    return table(("what it holds", "files end in", ""), rows)


def commands() -> str:
    """What each command says of itself with --help."""
    parser = build_parser()
    parts = []
    actions = [a for a in parser._actions if a.dest == "command"]
    found = actions[0].choices
    assert found is not None
    for name in COMMANDS:
        told = found[name].format_help().rstrip()
        parts.append(f"## headfit {name}\n\n```text\n{told}\n```\n")
    return "\n".join(parts)


def extras() -> str:
    """The optional parts, with what they bring.

    Raises
    ------
    KeyError
        An extra that is not told here.
    """
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    names = project["optional-dependencies"]
    return table(("extra", "brings"), ((f"`headfit[{name}]`", EXTRAS[name]) for name in names))


def accuracy_rows() -> list[list[str]]:
    """The table of README.md, its cells in rows, the header first."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    lines = re.findall(r"^\| (.+) \|$", readme.partition("## How far to trust it")[2], re.MULTILINE)
    return [[cell.strip() for cell in line.split(" | ")] for line in lines]


def accuracy() -> str:
    """What README.md says of it: how it was tested, the table, what it does not cover."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    section = readme.partition("## How far to trust it\n")[2].rpartition("\nNot a medical device")[
        0
    ]
    return section.strip()


@cache
def bench_fit() -> dict[str, Any]:
    """What `scripts/bench_fit --from-prior N --write` kept."""
    text = (ROOT / "docs/reference/bench_fit.json").read_text(encoding="utf-8")
    found: dict[str, Any] = json.loads(text)
    return found


def drawn_heads() -> str:
    """How well drawn heads are found from each sheet, and what the figures were made from."""
    found = bench_fit()
    said = (
        f"{found['heads']}, fitted from the sheet alone; {found['date']}, commit "
        f"`{found['commit']}`, `{found['made_by'].partition(' --write')[0]}`. Errors of the 19 "
        f"scalp sites of 10-20; noise is {found['noise_mm']:g} mm on every reading."
    )
    header = ("sheet", "readings", "mean error, exact tape", "with noise", "largest",
              "sites in their 95 % ring", "heads with all 19 in")  # fmt: skip
    rows = [
        (
            each["sheet"],
            each["n_readings"],
            f"{each['mean']:.1f} mm",
            f"{each['noisy']:.1f} mm",
            f"{each['largest']:.0f} mm",
            f"{100 * each['in_95']:.0f} %",
            f"{100 * each['all_in']:.0f} %",
        )
        for each in found["sheets"]
    ]
    return f"{said}\n\n{table(header, rows)}"


def api_contents() -> str:
    """The pages of the public names."""
    rooms = sorted(public_names(), key=list(TITLES).index)
    return "\n".join(["```{toctree}", *(f"api/{room}" for room in rooms), "```"])


def _example_of(documentation: str | None) -> str:
    """The literal block of a docstring as TOML."""
    block = (documentation or "").partition("::\n\n")[2]
    return f"```toml\n{textwrap.dedent(block).strip()}\n```"


def case_example() -> str:
    """A whole case file."""
    return _example_of(case_file.__doc__)


def record_example() -> str:
    """A whole set-up record."""
    return _example_of(case_record.__doc__)


TABLES: dict[str, Callable[[], str]] = {
    made.__name__: made
    for made in (
        accuracy,
        drawn_heads,
        api_contents,
        arcs,
        case_example,
        commands,
        extras,
        formats,
        landmarks,
        measurements,
        no_sites,
        record_example,
        rules,
        scalp_sites,
        shape_modes,
        site_sources,
        sites,
        systems,
    )
}
