"""A staged lesson as one HTML file that asks for nothing, and as the data of its page.

Everything a drag can show was computed by Python; the page goes straight between the stops. Read by
viewer/src/lesson/data.ts. Any text in it may be hostile: the page writes text as text.
"""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any

import numpy as np

from headfit.anatomy.head import NECK, SCALP
from headfit.anatomy.site_table import OLD_NAMES
from headfit.files.whole import write_whole
from headfit.geometry.mesh import Floats
from headfit.output.cameras import VIEW_ANGLE_DEGREES
from headfit.output.lesson_drawing import contours, path_text
from headfit.output.page import head_data, packed, script_text
from headfit.output.report import CONTENT_POLICY, built_file
from headfit.output.scene import Surface
from headfit.reminders import NOT_MEDICAL, PREDICTED
from headfit.teaching.numbers import in_one
from headfit.teaching.quiz import Quiz, QuizHead
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
        "cautions": list(staged.cautions),
        "unit": staged.steps[0].unit,
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
        "cautions": list(step.cautions),
        "old_names": OLD_NAMES if step.old_names else {},
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
    return _moved_vertices(step.vertices_mm, step.head.vertices_mm)


def _moved_vertices(states_mm: Floats, base_mm: Floats) -> dict[str, Any]:
    moves = (states_mm - base_mm) / _VERTEX_STEP_MM
    return {
        "states": len(moves),
        "step_mm": _VERTEX_STEP_MM,
        "moves": packed(np.rint(moves), "<i2"),
    }


def quiz_data(quiz: Quiz) -> dict[str, Any]:
    """All that the page of a quiz needs; every head as moves of the vertices of the first."""
    first = quiz.heads[0].head
    part = first.part if first.part is not None else np.full(len(first.vertices_mm), SCALP)
    return {
        "reminders": [PREDICTED, NOT_MEDICAL],
        "unit": quiz.unit,
        "old_names": OLD_NAMES if quiz.old_names else {},
        "view_angle_degrees": VIEW_ANGLE_DEGREES,
        "head": head_data(Surface(first.vertices_mm, first.faces, part)),
        "heads": [_quiz_head(each, first.vertices_mm) for each in quiz.heads],
    }


def _quiz_head(each: QuizHead, base_mm: Floats) -> dict[str, Any]:
    kept = each.head.vertices_mm[each.head.part < NECK] if each.head.part is not None else base_mm
    sheet = each.sheet
    return {
        "label": each.label,
        "focus_mm": _rounded((kept.min(axis=0) + kept.max(axis=0)) / 2),
        "height_mm": round(float(np.ptp(kept, axis=0).max()), 2),
        "vertices": _moved_vertices(each.head.vertices_mm[None], base_mm),
        "names": list(each.names),
        "points": [_rounded(point) for point in each.points_mm],
        "normals": [_rounded(normal) for normal in each.normals],
        "along": [_rounded(way) for way in each.along],
        "across": [_rounded(way) for way in each.across],
        "arcs": list(each.arcs),
        "tapes": {
            arc: {
                "name": arc,
                "look": "tape",
                "grows": False,
                "points": _track(tape[None]),
                "normals": _track(each.tape_normals[arc][None]),
            }
            for arc, tape in each.tapes_mm.items()
        },
        "apart_cm": [[round(float(cm), 2) for cm in row] for row in each.apart_cm],
        "sheet": {
            "titles": list(sheet.titles),
            "readings_cm": [round(cm, 1) for cm in sheet.readings_cm],
            "usual_cm": [round(cm, 1) for cm in sheet.usual_cm],
            "misread": sheet.misread,
            "right_cm": round(sheet.right_cm, 1),
        },
    }


def lesson_html(staged: StagedLesson) -> str:
    """The lesson as one file: opened from a disk or a mail it shows all its steps, offline.

    Raises
    ------
    FileFormatError
        The page's files are missing from this installation.
    """
    steps = "".join(f"<li>{escape(in_one(step.caption))}</li>" for step in staged.steps)
    return _page(staged.lesson.title, f"<ol>{steps}</ol>", "headfit-lesson", lesson_data(staged))


def quiz_html(quiz: Quiz) -> str:
    """The quiz as one file; what is answered stays on the device that shows it.

    Raises
    ------
    FileFormatError
        The page's files are missing from this installation.
    """
    return _page("Quiz", "<p>The quiz needs JavaScript.</p>", "headfit-quiz", quiz_data(quiz))


def _page(title: str, without_script: str, name: str, data: dict[str, Any]) -> str:
    script = built_file("lesson.js").replace("</script", r"<\/script")
    return f"""<!doctype html>
<html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy" content="{CONTENT_POLICY}">
<link rel="icon" href="data:,">
<title>{escape(title)}</title><style>{built_file("lesson.css")}</style></head>
<body class="stage"><noscript><h1>{escape(title)}</h1>{without_script}</noscript>
<script type="application/json" id="{name}">{script_text(data)}</script>
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
