"""A staged lesson as one HTML file that asks for nothing, and as the data of its page.

Everything a drag can show was computed by Python; the page goes straight between the stops. Read by
viewer/src/lesson/data.ts. Any text in it may be hostile: the page writes text as text.
"""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any

import numpy as np

from headfit.anatomy.head import SCALP
from headfit.files.whole import write_whole
from headfit.geometry.mesh import Floats
from headfit.output.cameras import VIEW_ANGLE_DEGREES
from headfit.output.lesson_drawing import contours, path_text
from headfit.output.page import head_data, packed, script_text
from headfit.output.report import CONTENT_POLICY, built_file
from headfit.output.scene import Surface
from headfit.reminders import NOT_MEDICAL, PREDICTED
from headfit.teaching.stage import Axis, StagedLesson, StagedStep

# Vertices go by whole steps of this from their own place: two bytes a number.
_VERTEX_STEP_MM = 0.005


def lesson_data(staged: StagedLesson) -> dict[str, Any]:
    """All that the page of a lesson needs."""
    head = staged.steps[0].head
    part = head.part if head.part is not None else np.full(len(head.vertices_mm), SCALP)
    return {
        "name": staged.lesson.name,
        "title": staged.lesson.title,
        "about": staged.lesson.about,
        "sources": list(staged.lesson.sources),
        "head_label": staged.head_label,
        "reminders": [PREDICTED, NOT_MEDICAL],
        "view_angle_degrees": VIEW_ANGLE_DEGREES,
        "head": head_data(Surface(head.vertices_mm, head.faces, part)),
        "steps": [_step(step) for step in staged.steps],
    }


def _track(states: Floats) -> dict[str, Any]:
    return {"states": len(states), "values": packed(states)}


def _rounded(values: Floats) -> list[float]:
    return [round(float(value), 4) for value in values]


def _axis(axis: Axis) -> dict[str, Any]:
    return {
        "title": axis.title,
        "unit": axis.unit,
        "stops": list(axis.stops),
        "start": axis.start,
        "words": list(axis.words),
    }


def _figures(step: StagedStep) -> dict[str, Any]:
    return {
        "contours": "".join(path_text(line) for line in contours(step)),
        "tapes": [
            {
                "name": tape.name,
                "look": tape.look,
                "grows": tape.grows,
                "points": _track(tape.points_mm),
                "normals": _track(tape.normals),
            }
            for tape in step.tapes
        ],
        "dots": [
            {
                "look": dots.look,
                "names": list(dots.names),
                "told": list(dots.told),
                "named": dots.named,
                "points": _track(dots.points_mm),
                "normals": _track(dots.normals),
                "shown": ["".join("1" if seen else "0" for seen in row) for row in dots.shown],
                "own": None if dots.own_mm is None else _track(dots.own_mm[None]),
            }
            for dots in step.dots
        ],
        "outlines": [
            {
                "look": outline.look,
                "names": list(outline.names),
                "n_points": outline.points_mm.shape[2],
                "points": _track(outline.points_mm),
                "normals": _track(outline.normals),
            }
            for outline in step.outlines
        ],
    }


def _numbers(step: StagedStep) -> dict[str, Any]:
    return {
        "readings": [
            {
                "label": reading.label,
                "unit": reading.unit,
                "look": reading.look,
                "digits": reading.n_digits,
                "values": _rounded(reading.values),
            }
            for reading in step.readings
        ],
        "balances": [
            {
                "labels": list(balance.labels),
                "longer": list(balance.longer),
                "first_cm": _rounded(balance.first_cm),
                "second_cm": _rounded(balance.second_cm),
            }
            for balance in step.balances
        ],
        "said": list(step.said),
        "beside": list(step.step.beside),
        "cards": [list(card) for card in step.step.cards],
    }


def _step(step: StagedStep) -> dict[str, Any]:
    dial, asked, exchange, profile = step.dial, step.asked, step.exchange, step.profile
    return {
        "name": step.step.name,
        "title": step.step.title,
        "caption": [list(piece) for piece in step.caption],
        "notes": step.notes,
        "toward": _rounded(step.toward),
        "focus_mm": _rounded(step.focus_mm),
        "height_mm": round(step.height_mm, 2),
        **_figures(step),
        **_numbers(step),
        "dial": dial
        and {
            "kind": dial.kind,
            "axes": [_axis(axis) for axis in dial.axes],
            "handle": None if dial.handle_mm is None else _track(dial.handle_mm),
            "handle_normals": None if dial.handle_normals is None else _track(dial.handle_normals),
            "handle_title": dial.handle_title,
        },
        "vertices": _moves(step),
        "asked": asked
        and {
            "text": [list(piece) for piece in asked.text],
            "options": list(asked.options),
            "right": asked.right,
            "why": asked.why,
            "again": asked.again,
        },
        "exchange": exchange
        and {
            "names": list(exchange.names),
            "apart_cm": [_rounded(row) for row in exchange.apart_cm],
            "neighbours": [list(pair) for pair in exchange.neighbours],
            "exchanged": [list(pair) for pair in exchange.exchanged],
        },
        "profile": profile
        and {"points": [_rounded(point) for point in profile.points], "knob": profile.knob},
    }


def _moves(step: StagedStep) -> dict[str, Any] | None:
    """How the vertices of the head go from their own place in each state."""
    if step.vertices_mm is None:
        return None
    moves = (step.vertices_mm - step.head.vertices_mm) / _VERTEX_STEP_MM
    return {
        "states": len(moves),
        "step_mm": _VERTEX_STEP_MM,
        "moves": packed(np.rint(moves), "<i2"),
    }


def lesson_html(staged: StagedLesson) -> str:
    """The lesson as one file: opened from a disk or a mail it shows all its steps, offline.

    Raises
    ------
    FileFormatError
        The page's files are missing from this installation.
    """
    title = escape(staged.lesson.title)
    script = built_file("lesson.js").replace("</script", r"<\/script")
    steps = "".join(
        f"<li>{escape(''.join(words for words, _ in step.caption))}</li>" for step in staged.steps
    )
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{CONTENT_POLICY}">
<link rel="icon" href="data:,">
<title>{title}</title><style>{built_file("lesson.css")}</style></head>
<body class="stage"><noscript><h1>{title}</h1><ol>{steps}</ol></noscript>
<script type="application/json" id="headfit-lesson">{script_text(lesson_data(staged))}</script>
<script type="module">{script}</script>
</body></html>
"""


def write_lesson(staged: StagedLesson, path: str | Path) -> Path:
    """The path, after the lesson stands there as one HTML file.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    return write_whole(path, lesson_html(staged))
