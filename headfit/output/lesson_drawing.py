"""A step of a lesson as a drawing: without WebGL, in a notebook, on paper, as a still.

Parallel projection from where the camera of the step stands; millimetres on the head, right and
down of the middle of the picture.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from headfit.geometry.mesh import Floats
from headfit.output.drawing import Projection, Skyline, chains, contour_edges
from headfit.teaching.numbers import in_one
from headfit.teaching.stage import Profile, StagedStep
from headfit.units import tape_length, tape_number, told_in

_SEEN = -0.12  # from the side the midline lies on the outline
_SHORTEST_MM = 6.0
CROWDED = 45  # with more sites arrows and names crowd
PRINTED_TRY = 0  # of a mix-up, where it cannot be played
_UP = (0.0, 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class Stroke:
    """A line (k, 2) of a kind: "contour", "tape", "other", "thin", "plane", "tape behind", ...

    Closed when it is an outline.
    """

    points: Floats
    kind: str
    closed: bool = False


@dataclass(frozen=True)
class Mark:
    """A place with its name, or without one."""

    x: float
    y: float
    kind: str
    name: str = ""


@dataclass(frozen=True, eq=False)
class StepDrawing:
    """What is seen of a step as it begins.

    Attributes
    ----------
    height_mm : float
        Of the picture, on the head.
    strokes : tuple of Stroke
    marks : tuple of Mark
    """

    height_mm: float
    strokes: tuple[Stroke, ...]
    marks: tuple[Mark, ...]


def projection_of(step: StagedStep) -> Projection:
    """That of the camera of a step."""
    return Projection.toward(tuple(step.toward.tolist()), _UP)


def contours(step: StagedStep) -> tuple[Floats, ...]:
    """Contours of the head, (k, 2) each, right and down of the middle of the picture."""
    project = projection_of(step)
    flat = project(step.head.vertices_mm)
    ends = contour_edges(step.head.surface, project, Skyline(flat, step.head.faces))
    middle = project(step.focus_mm[None])[0, :2]
    lines = [flat[chain, :2] - middle for chain in chains(ends)]
    return tuple(line for line in lines if _length(line) > _SHORTEST_MM)


def _length(line: Floats) -> float:
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def draw_step(step: StagedStep) -> StepDrawing:
    """The drawing of a step as it begins."""
    project = projection_of(step)
    middle = project(step.focus_mm[None])[0, :2]
    near = project.axes[2]

    at = step.begun

    def flat(points: Floats) -> Floats:
        return np.asarray(project(points)[:, :2] - middle)

    strokes = [Stroke(line, "contour") for line in contours(step)]
    for outline in step.outlines:
        for points, normals in zip(at(outline.points_mm), at(outline.normals), strict=True):
            if (normals @ near > _SEEN).mean() > 0.6:
                strokes.append(Stroke(flat(points), outline.look, closed=True))
    for tape in step.tapes:
        points, seen = at(tape.points_mm), at(tape.normals) @ near > _SEEN
        behind = f"{'tape' if tape.look == 'thin' else tape.look} behind"
        strokes += [Stroke(flat(points[run]), behind) for run in _runs(~seen)]
        strokes += [Stroke(flat(points[run]), tape.look) for run in _runs(seen)]
    marks: list[Mark] = []
    for dots in step.dots:
        shown = at(dots.shown) & (at(dots.normals) @ near > _SEEN)
        places = flat(at(dots.points_mm))
        if dots.own_mm is not None and shown.sum() < CROWDED:
            own = flat(dots.own_mm)
            strokes += [
                Stroke(np.array([own[k], places[k]]), "slip")
                for k in np.flatnonzero(shown)
                if np.linalg.norm(own[k] - places[k]) > 1.0
            ]
            marks += [_mark(own[k], "own") for k in np.flatnonzero(shown)]
        marks += [
            _mark(places[k], dots.look, step.called(dots.names[k]) if dots.named else "")
            for k in np.flatnonzero(shown)
        ]
    return StepDrawing(step.height_mm, tuple(strokes), tuple(marks))


def _mark(place: Floats, kind: str, name: str = "") -> Mark:
    return Mark(float(place[0]), float(place[1]), kind, name)


def _runs(kept: NDArray[np.bool_]) -> Iterable[NDArray[np.int64]]:
    """Rows that stand together, each run with the row behind it, so that no gap is left."""
    edges = np.flatnonzero(np.diff(kept.astype(int))) + 1
    for rows in np.split(np.arange(len(kept)), edges):
        if kept[rows[0]]:
            after = rows[-1:] + 1 if rows[-1] + 1 < len(kept) else rows[:0]
            run = np.concatenate([rows, after])
            if len(run) > 1:
                yield run


def path_text(line: Floats) -> str:
    """A line (k, 2) as the data of an SVG path."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line.tolist())


_LOOKS = {
    "contour": 'stroke="#222" stroke-width="0.9"',
    "tape": 'stroke="#0b5cad" stroke-width="2.6"',
    "other": 'stroke="#15191d" stroke-width="2.6"',
    "thin": 'stroke="#0b5cad" stroke-width="0.9"',
    "plane": 'stroke="#7a4600" stroke-width="1" stroke-dasharray="3 2"',
    "tape behind": 'stroke="#0b5cad" stroke-width="0.7" stroke-dasharray="2.4 2"',
    "other behind": 'stroke="#15191d" stroke-width="0.7" stroke-dasharray="2.4 2"',
    "plane behind": 'stroke="#7a4600" stroke-width="0.5" stroke-dasharray="2.4 2"',
    "ring": 'stroke="#66737f" stroke-width="0.6"',
    "place": 'stroke="#a3161a" stroke-width="1" stroke-dasharray="2.4 1.6"',
    "slip": 'stroke="#7a4600" stroke-width="1.6"',
}


def step_drawing(step: StagedStep) -> str:
    """The step as HTML for a notebook: its drawing, its caption, its numbers."""
    drawn = draw_step(step) if step.profile is None else _drawn_profile(step.profile)
    half = drawn.height_mm / 2
    parts = [
        f'<path d="{path_text(stroke.points)}{"Z" * stroke.closed}" {_LOOKS[stroke.kind]}/>'
        for stroke in drawn.strokes
    ]
    for mark in drawn.marks:
        fill = {"own": "none", "guess": "#7a4600", "landmark": "#111"}.get(mark.kind, "#fff")
        parts.append(
            f'<circle cx="{mark.x:.1f}" cy="{mark.y:.1f}" r="2" fill="{fill}" stroke="#111" '
            'stroke-width="0.7"/>'
        )
        if mark.name and len(drawn.marks) < CROWDED:
            parts.append(
                f'<text x="{mark.x + 3.2:.1f}" y="{mark.y - 2.4:.1f}" fill="#111">'
                f"{escape(mark.name)}</text>"
            )
    size = (
        f'viewBox="{-half:.1f} {-half:.1f} {2 * half:.1f} {2 * half:.1f}" width="360" height="360"'
    )
    look = 'fill="none" font-family="sans-serif" font-size="7" font-weight="600"'
    numbers = "; ".join(told_numbers(step))
    said = escape(in_one(step.caption))
    more = f"<br><small>{escape(numbers)}</small>" if numbers else ""
    drawing = f'<svg {size} {look} style="background:#fff">{"".join(parts)}</svg>'
    return f"<figure>{drawing}<figcaption>{said}{more}</figcaption></figure>"


def _drawn_profile(profile: Profile) -> StepDrawing:
    """The schematic profile instead of a head: it is nobody's."""
    points = profile.points - (profile.points.min(axis=0) + profile.points.max(axis=0)) / 2
    height = 1.2 * float(np.ptp(points, axis=0).max())
    return StepDrawing(height, (Stroke(points, "contour"),), ())


def told_numbers(step: StagedStep) -> list[str]:
    """What is told beside the head as the step begins: numbers with name and unit, sentences."""
    with told_in(step.unit):
        return _told_numbers(step)


def _told_numbers(step: StagedStep) -> list[str]:
    found = []
    for each in step.readings:
        value = float(step.begun(each.values))
        number = f"{value:.{each.n_digits}f} {each.unit}"
        label = step.called(each.label)
        found.append(f"{label} {tape_length(10 * value) if each.unit == 'cm' else number}")
    for balance in step.balances:
        pairs = zip(balance.labels, (balance.first_cm, balance.second_cm), strict=True)
        found += [f"{label} {tape_length(10 * values[step.start])}" for label, values in pairs]
    if step.exchange is not None:
        rows = step.exchange.taped(PRINTED_TRY)
        found += [
            f"{step.called(a)} to {step.called(b)}: taped {tape_number(10 * taped)}, "
            f"due {tape_length(10 * due)}"
            for a, b, taped, due in rows
        ]
    return [*found, *step.step.beside, *step.cautions]
