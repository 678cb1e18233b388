"""A lesson on paper: each step as a still, and a handout of them all. Millimetres.

Shapes are those of `output.headmap`, so that PNG and PDF draw the same, in the colours of the page;
a printer without colours leaves form to tell them apart: one tape carries ticks, the other is
plain, a slip ends in a tip, a place to keep free is hatched. What moves is drawn as the step
begins.
"""

from __future__ import annotations

import numpy as np

from headfit import __version__
from headfit.geometry.mesh import Floats
from headfit.output.headmap import PENS, Circle, HeadMap, Line, Shape, Text, hatch
from headfit.output.lesson_drawing import CROWDED, PRINTED_TRY, Mark, draw_step, told_numbers
from headfit.output.raster import drawing_png
from headfit.output.typesetting import (
    MM_PER_PT,
    PAPERS,
    Paper,
    clean,
    line_height_mm,
    width_mm,
    wrapped,
)
from headfit.reminders import NOT_MEDICAL, PREDICTED
from headfit.teaching.numbers import in_one
from headfit.teaching.stage import StagedLesson, StagedStep

# A screen of a projector, at 200 dots an inch 1890 x 1063.
STILL_MM = (240.0, 135.0)
_CAPTION_PT, _NUMBER_PT, _NAME_MM = 20.0, 13.0, 4.0
_PENS = {
    "tape": "tape",
    "other": "other tape",
    "thin": "thin tape",
    "plane": "plane",
    "tape behind": "tape behind",
    "other behind": "other behind",
    "plane behind": "plane behind",
    "contour": "contour",
    "slip": "slip",
    "ring": "spread",
    "place": "kept free",
}
_MARKS = {"site": "site", "guess": "guess", "landmark": "dot", "stroke": "cross", "own": "own"}
_TICKS_MM = 4.0
_TIP_MM = 2.6


def still_png(step: StagedStep) -> bytes:
    """The step as it begins, as a PNG of 1890 x 1063 dots."""
    width, height = STILL_MM
    lines = _lines(in_one(step.caption), _CAPTION_PT, width - 20.0)
    leading = line_height_mm(_CAPTION_PT)
    shapes: list[Shape] = [
        Text(width / 2, 9.0 + k * leading, line, _CAPTION_PT * MM_PER_PT)
        for k, line in enumerate(lines)
    ]
    numbers = told_numbers(step)
    asked = step.asked
    if asked is not None:
        numbers += [
            in_one(asked.text),
            *(f"{_letter(k)}  {o}" for k, o in enumerate(asked.options)),
        ]
    top = 8.0 + 2 * leading
    room = width - 85.0 if numbers else width
    shapes += drawn(step, room, height - top - 3.0, top)
    at = top + 20.0
    for number in numbers:
        for line in _lines(number, _NUMBER_PT, 80.0):
            shapes.append(Text(width - 45.0, at, line, _NUMBER_PT * MM_PER_PT))
            at += line_height_mm(_NUMBER_PT)
        at += 2.0
    return drawing_png(HeadMap(width, height, 1.0, tuple(shapes)))


def _lines(words: str, size: float, room_mm: float) -> list[str]:
    return wrapped(clean(words, "a lesson"), size, room_mm)


def _letter(k: int) -> str:
    return chr(ord("A") + k)


def drawn(step: StagedStep, width: float, height: float, top: float = 0.0) -> list[Shape]:
    """The head and what stands on it, in a room of paper below `top`."""
    if step.profile is not None:
        return _profile(step, width, height, top)
    drawing = draw_step(step)
    scale = min(width, height) / drawing.height_mm
    middle = np.array([width / 2, top + height / 2])
    room = (0.0, top, width, top + height)
    shapes: list[Shape] = []
    for stroke in drawing.strokes:
        for piece in _inside(stroke.points * scale + middle, room):
            shapes += _stroke(piece, stroke.kind, closed=stroke.closed)
    marks = [mark for mark in drawing.marks if _holds(room, _place(mark, scale, middle))]
    for mark in marks:
        x, y = _place(mark, scale, middle)
        pen = _MARKS[mark.kind]
        if mark.kind == "stroke":
            shapes += [Line(((x - 2, y), (x + 2, y)), pen), Line(((x, y - 2), (x, y + 2)), pen)]
        else:
            shapes.append(Circle(x, y, 0.7 if mark.kind == "guess" else 1.2, pen))
    if len(marks) < CROWDED:
        shapes += _names([(m.name, *_place(m, scale, middle)) for m in marks if m.name], room)
    return shapes


def _stroke(line: Floats, kind: str, *, closed: bool) -> list[Shape]:
    """A line (k, 2) on paper, with what tells its kind without colours."""
    pen = _PENS[kind]
    if kind == "slip":
        return _slip(line)
    shapes: list[Shape] = []
    if kind == "place":
        shapes += [Line(ends, "kept free hatch") for ends in hatch(line)]
    # Dashes as long as they are meant to be, however near the points lie.
    if (dash := PENS[pen].dash_mm) and (long := _along(line, closed=closed)[-1]) > 0:
        n = max(2, round(2 * long / sum(dash)))
        line = _evenly(line, n + n % 2, closed=closed)
        closed = False
    shapes.append(Line(_points(line), pen, closed))
    if kind == "tape":
        shapes += _ticks(line)
    return shapes


def _along(line: Floats, *, closed: bool = False) -> Floats:
    """(k,) how far along it each point of a line (k, 2) lies, and the way round to its start."""
    ends = np.concatenate([line, line[:1]]) if closed else line
    steps = np.linalg.norm(np.diff(ends, axis=0), axis=1)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _evenly(line: Floats, n_points: int, *, closed: bool) -> Floats:
    ends = np.concatenate([line, line[:1]]) if closed else line
    reached = _along(line, closed=closed)
    at = np.linspace(0.0, reached[-1], n_points)
    return np.column_stack([np.interp(at, reached, ends[:, k]) for k in range(2)])


def _ticks(line: Floats) -> list[Shape]:
    """White ticks over a tape, as on its page."""
    reached = _along(line)
    found: list[Shape] = []
    for at in np.arange(_TICKS_MM / 2, reached[-1], _TICKS_MM).tolist():
        before, here, after = (
            np.array([np.interp(at + by, reached, line[:, k]) for k in range(2)])
            for by in (-0.3, 0.0, 0.3)
        )
        way = after - before
        if not (length := float(np.linalg.norm(way))):
            continue
        across = 0.5 * np.array([-way[1], way[0]]) / length
        found.append(Line(_points(np.array([here - across, here + across])), "tick"))
    return found


def _slip(line: Floats) -> list[Shape]:
    """An arrow from where a site belongs to where it went."""
    start, end = line[0], line[-1]
    length = float(np.linalg.norm(end - start))
    way = (end - start) / length
    back = end - min(_TIP_MM, 0.7 * length) * way
    across = 0.3 * min(_TIP_MM, length) * np.array([-way[1], way[0]])
    tip = np.array([end, back + across, back - across])
    return [
        Line(_points(np.array([start, back])), "slip"),
        Line(_points(tip), "slip tip", closed=True),
    ]


def _place(mark: Mark, scale: float, middle: Floats) -> tuple[float, float]:
    return float(mark.x * scale + middle[0]), float(mark.y * scale + middle[1])


Room = tuple[float, float, float, float]


def _holds(room: Room, place: tuple[float, float]) -> bool:
    return room[0] <= place[0] <= room[2] and room[1] <= place[1] <= room[3]


def _inside(points: Floats, room: Room) -> list[Floats]:
    """The pieces of a line that lie in a room of paper."""
    inside = np.array([_holds(room, (float(x), float(y))) for x, y in points])
    edges = np.flatnonzero(np.diff(inside.astype(int))) + 1
    pieces = np.split(np.arange(len(points)), edges)
    return [points[rows] for rows in pieces if inside[rows[0]] and len(rows) > 1]


def _points(line: Floats) -> tuple[tuple[float, float], ...]:
    return tuple((float(x), float(y)) for x, y in line)


def _names(places: list[tuple[str, float, float]], room: Room) -> list[Shape]:
    """Names beside their places, each on white, none over another."""
    taken: list[Room] = []
    shapes: list[Shape] = []
    for both, x, y in places:
        today = both.split(" (")[0]  # where both names find no room
        for name, dx, dy in (at for word in dict.fromkeys((both, today)) for at in _beside(word)):
            wide = width_mm(name, _NAME_MM / MM_PER_PT, bold=True)
            left, middle = x + dx - wide / 2, y + dy
            box = (left, middle - 1.8, left + wide, middle + 1.8)
            free = all(
                box[0] > t[2] or box[2] < t[0] or box[1] > t[3] or box[3] < t[1] for t in taken
            )
            if free and _holds(room, box[:2]) and _holds(room, box[2:]):
                taken.append(box)
                corners = ((box[0], box[1]), (box[2], box[1]), (box[2], box[3]), (box[0], box[3]))
                shapes.append(Line(corners, "paper", closed=True))
                shapes.append(Text(x + dx, middle, name, _NAME_MM, bold=True))
                break
    return shapes


def _beside(name: str) -> list[tuple[str, float, float]]:
    """A name with the ways to it from its place, right first."""
    half = width_mm(name, _NAME_MM / MM_PER_PT, bold=True) / 2 + 2
    return [(name, half, 0.0), (name, -half, 0.0), (name, 0.0, -3.8), (name, 0.0, 3.8)]


def _profile(step: StagedStep, width: float, height: float, top: float) -> list[Shape]:
    """The schematic profile, and what is felt along it."""
    assert step.profile is not None
    points = step.profile.points
    low, span = points.min(axis=0), np.ptp(points, axis=0)
    scale = 0.8 * height / span[1]
    left = 0.12 * width
    line = (points - low) * scale + np.array([left, top + 0.1 * height])
    shapes: list[Shape] = [Line(_points(line), "head")]
    said = ""
    for (x, y), felt in zip(_points(line), step.profile.feels, strict=True):
        if felt != said:
            shapes.append(Circle(x, y, 1.0, "dot"))
            half = width_mm(felt, 9.0) / 2
            shapes.append(Text(left + scale * span[0] + 4 + half, y, felt, 9.0 * MM_PER_PT))
            said = felt
    return shapes


def handout_pdf(staged: StagedLesson, paper: str = "A4") -> bytes:
    """The lesson as a handout: two steps a page, answers at the end; the same bytes each time.

    Raises
    ------
    InputError
        A letter that cannot be printed.
    """
    lesson = staged.lesson
    size = PAPERS[paper]
    page = Paper(size, clean(lesson.title), f"headfit {__version__}", "lesson")
    margin, half = 16.0, (size[1] - 34.0) / 2
    answers = []
    for k, step in enumerate(staged.steps):
        y = 22.0 + (k % 2) * half
        if k % 2 == 0:
            if k:
                page.end_page()
            page.text(margin, 13.0, clean(lesson.title), 13.0, bold=True)
            whose = clean(staged.head_label, "label")
            page.text(size[0] - margin, 13.0, whose, 9.0, align="right", grey=0.3)
        room = size[0] - 2 * margin
        page.text(margin, y + 3.0, f"{k + 1}  {clean(step.step.title)}", 12.0, bold=True)
        below = page.paragraph(margin, y + 9.5, clean(in_one(step.caption)), room, 11.0)
        height = half - (below - y) - 26.0
        shapes = HeadMap(110.0, height, 1.0, tuple(drawn(step, 110.0, height)))
        page.map(margin, below - 2.0, shapes)
        beside = below + 4.0
        for line in told_numbers(step):
            beside = page.paragraph(margin + 114.0, beside, clean(line), room - 114.0, 9.5) + 1.0
        if step.asked is not None:
            asked = step.asked
            beside = page.paragraph(
                margin + 114.0, beside, clean(in_one(asked.text)), room - 114.0, 11.0, bold=True
            )
            for n, option in enumerate(asked.options):
                line = f"{_letter(n)}  {clean(option)}"
                beside = page.paragraph(margin + 114.0, beside + 2.0, line, room - 114.0, 11.0)
            answers.append(f"{k + 1}: {_letter(asked.right)}. {asked.why}")
        if step.exchange is not None:
            pair = [step.exchange.names[n] for n in step.exchange.exchanged[PRINTED_TRY]]
            answers.append(f"{k + 1}: {' and '.join(pair)} carry each other's names.")
        page.paragraph(margin, y + half - 20.0, clean(step.notes), room, 9.0)
    page.end_page()
    y = 22.0
    page.text(margin, 13.0, "Answers and sources", 13.0, bold=True)
    for line in (*answers, lesson.about, *lesson.sources, *staged.cautions, PREDICTED, NOT_MEDICAL):
        y = page.paragraph(margin, y, clean(line), size[0] - 2 * margin, 10.0) + 2.0
    page.end_page()
    return page.pdf()
