"""The chair as one file: every step with its number as plain HTML, one at a time with JavaScript.

It opens from a file on any tablet or phone, asks for nothing and sends nothing: its own content
policy forbids every request. Any text in it may be hostile: all of it is escaped.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from html import escape
from itertools import groupby
from pathlib import Path
from typing import Any

from headfit import __version__
from headfit.anatomy.arcs import mirrored
from headfit.anatomy.landmarks import FLAT_INION
from headfit.case.impedances import LEAST_FOR_MIDDLE, balance_words, limit_words
from headfit.case.solved import SolvedCase
from headfit.files.case_record import table_of_record
from headfit.files.whole import write_whole
from headfit.fitting.arc_readings import known_lengths
from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.chair import PARTS, Chair, ChairStep
from headfit.output.chair_steps import chair_of
from headfit.output.page import script_text
from headfit.output.report import CONTENT_POLICY, built_file
from headfit.reminders import NOT_MEDICAL
from headfit.units import in_unit, number_in

_PART_TITLES = {
    "landmarks": "Landmarks",
    "measure": "Measure",
    "mark": "Mark",
    "prepare": "Prepare",
    "apply": "Apply",
    "check": "Check",
}


def write_chair(solved: SolvedCase, path: str | Path) -> Path:
    """The path, after the steps at the chair stand there as one HTML file.

    Parameters
    ----------
    solved : SolvedCase
    path : path

    Raises
    ------
    InputError
        Nothing is measured, or the file cannot be written.
    """
    solved.check_measured()
    return write_whole(path, chair_html(chair_of(solved)))


def chair_data(chair: Chair) -> dict[str, Any]:
    """All that the page must know; viewer/src/chair/data.ts declares the same shape."""
    solved = chair.solved
    case, fitted, record = solved.case, solved.fitted, solved.case.record
    lengths = None
    if fitted is not None:
        known = known_lengths(
            fitted, solved.sites, tuple(MEASUREMENTS), [arc.name for arc in chair.arcs]
        )
        lengths = {
            "names": list(known.names),
            "values_mm": [round(value, 3) for value in known.values_mm.tolist()],
            "covariance_mm2": [
                [round(value, 4) for value in row] for row in known.covariance_mm2.tolist()
            ],
            "reading_spreads_mm": [round(v, 3) for v in known.reading_spreads_mm.tolist()],
        }
    moved = solved.displacement
    names = [step.name for step in chair.steps if step.kind == "electrode"]
    return {
        "label": case.label,
        "checksum": chair.checksum,
        "version": __version__,
        "unit": case.unit,
        "warnings": list(chair.warnings),
        "reminder": NOT_MEDICAL,
        "steps": [asdict(step) for step in chair.steps],
        "arcs": [asdict(arc) for arc in chair.arcs],
        "lengths": lengths,
        "tape": {} if case.tape is None else dict(case.tape.values_mm),
        "measurements": {
            name: {"title": kind.title, "lowest_mm": kind.lowest_mm, "highest_mm": kind.highest_mm}
            for name, kind in MEASUREMENTS.items()
        },
        "doubtful": list(case.doubtful),
        "record": table_of_record(record),
        "changes": []
        if moved is None
        else [*(move.words for move in moved.moves), *moved.left_out.values()],
        "mirrored": {name: mirrored(name) for name in names},
        "limit_kohm": record.limit_kohm,
        "balance_kohm": record.balance_kohm,
        "limit_words": limit_words(record),
        "balance_words": balance_words(record),
        "least_for_middle": LEAST_FOR_MIDDLE,
    }


def chair_html(chair: Chair) -> str:
    """The whole file.

    Raises
    ------
    FileFormatError
        The built files of the page are missing from this installation.
    """
    case = chair.solved.case
    title = f"At the chair: {case.label}"
    script = built_file("chair.js").replace("</script", r"<\/script")
    said = "".join(f'<p class="doubt">? {escape(words)}</p>' for words in chair.warnings)
    parts = "".join(_part(chair, part) for part in PARTS)
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1, viewport-fit=cover">
<meta http-equiv="Content-Security-Policy" content="{CONTENT_POLICY}">
<link rel="icon" href="data:,">
<title>{escape(title)}</title><style>{built_file("chair.css")}</style></head>
<body class="chair-list"><main id="list"><h1>{escape(title)}</h1>
<p>Every step with its number. With JavaScript this page shows one step at a time.</p>{said}
{parts}<p>{escape(NOT_MEDICAL)} Made by headfit {escape(__version__)}.</p></main>
<script type="application/json" id="headfit-chair">{script_text(chair_data(chair))}</script>
<script type="module">{script}</script>
</body></html>
"""


def _part(chair: Chair, part: str) -> str:
    steps = chair.of_part(part)
    if not steps:
        return ""
    shown: set[str] = set()
    titled = "".join(
        _titled(chair, title, list(group), shown)
        for title, group in groupby(steps, key=lambda step: step.title)
    )
    extra = ""
    if part == "landmarks":
        words = f"<h3>Flat inion</h3><p>{escape(FLAT_INION)}</p>"
        extra = f"<article>{_figure(chair, 'flat inion')}{words}</article>"
    heading = f"<h2>{_PART_TITLES[part]}</h2>"
    return f"<section>{heading}{titled}{extra}</section>"


def _titled(chair: Chair, title: str, steps: list[ChairStep], shown: set[str]) -> str:
    """Steps that belong together, with their drawing where it was not shown above."""
    first = steps[0]
    figure = "" if first.drawing in shown else _figure(chair, first.drawing)
    shown.add(first.drawing)
    lines = dict.fromkeys(step.line for step in steps)
    warnings = dict.fromkeys(words for step in steps for words in step.warnings)
    unit = chair.solved.case.unit
    rows = "".join(_row(step, unit) for step in steps)
    return (
        f"<article>{figure}<h3>{escape(title)}</h3>"
        f"{_paragraphs(lines)}{_paragraphs(warnings, 'free')}<table>{rows}</table></article>"
    )


def _paragraphs(said: Iterable[str], kind: str = "") -> str:
    look = f' class="{kind}"' if kind else ""
    return "".join(f"<p{look}>{escape(words)}</p>" for words in said)


def _row(step: ChairStep, unit: str) -> str:
    number = step.words
    if step.number_mm is not None:
        sign = "" if step.own else "≈ "
        number = f"{sign}{in_unit(step.number_mm, unit)}"
    if step.tolerance_mm is not None:
        number += f" ± {number_in(step.tolerance_mm, unit)}"
    tick = "⇣" if step.kind == "pass" else "☐"
    said = ", ".join(word for word in (step.detail, step.source) if word)
    return (
        f'<tr class="{"own" if step.own else "light"}"><td>{tick}</td>'
        f'<th scope="row">{escape(step.name)}</th><td class="number">{escape(number)}</td>'
        f"<td>{escape(said)}</td></tr>"
    )


def _figure(chair: Chair, key: str) -> str:
    drawing = chair.drawings.get(key)
    if drawing is None:
        return ""
    return (
        f'<figure data-drawing="{escape(key, quote=True)}">{drawing.svg}'
        f"<figcaption>{escape(drawing.words)}</figcaption></figure>"
    )
