"""The blocks of the sheet that tell an arc: what is marked on it, from where, and by which reading.

Own readings are bold and carry a square; what nobody taped is light and carries ≈ and its spread.
Left and right of an arc share a row with two boxes to tick.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from headfit.anatomy.arc_tapes import ArcTape
from headfit.anatomy.arcs import mirrored
from headfit.output.sheet_columns import Block, Row
from headfit.output.sheet_room import Room
from headfit.output.typesetting import line_height_mm, width_mm, wrapped
from headfit.planning.arc_steps import ArcStep, BeyondMark
from headfit.planning.checks import Bearing
from headfit.planning.marking import MarkingPlan, floor_mm
from headfit.planning.walks import PlannedMark, Walk
from headfit.units import between_numbers, tape_number, tape_numbers

NAME_SIZE, OWN_SIZE, LIGHT_SIZE, LEAST_SIZE, WORDS_SIZE = 12.5, 17.0, 15.0, 14.0, 8.5
BOX_MM = 4.6
# Left and right that differ by less share one number: no tape tells them apart.
ALIKE_MM = 0.95
SUB_ROW_MM, WRITE_ROW_MM, BEARING_ROW_MM = 5.2, 7.4, 13.0
# From the left edge of a column: name, right edge of the number, right edge of the percentage.
NAME_MM, NUMBER_MM, PERCENT_MM, AFTER_MM = (7.6, 13.2), 52.0, 62.0, 63.5
DRAWING_MM = 15.0  # as `output.arc_drawings.SIZE_MM`

# Draws an arc on a small head at (x, y), in a square of `DRAWING_MM`.
ArcDrawing = Callable[[Sequence[str], float, float], None]

_TITLES = {"coronal": "Ear to ear", "midline": "Midline"}
_LOWER = {"coronal": "ear to ear"}


@dataclass(frozen=True)
class _Cell:
    """A mark, or a left and a right one that share a row."""

    marks: tuple[PlannedMark, ...]
    own: bool
    via: str


def arc_blocks(
    room: Room, plan: MarkingPlan, row_mm: float, drawing: ArcDrawing | None
) -> list[Block]:
    """A block for each arc, both sides of one together, then what two short tapes find."""
    blocks: list[Block] = []
    number = 0
    waiting = list(plan.steps)
    while waiting:
        step = waiting.pop(0)
        pair = [step]
        if waiting and _mirrored_steps(step, waiting[0]):
            pair.append(waiting.pop(0))
        number += 1
        blocks.append(_arc_block(room, number, pair, row_mm, drawing))
    if plan.bearings:
        rows = [_bearing_row(room, found) for found in plan.bearings]
        blocks.append(
            room.block(
                f"{number + 1} By two short tapes", rows, under="the mark lies where both end"
            )
        )
    if plan.by_eye:
        said = [f"{site}: no clear tape reaches its place; set it by eye." for site in plan.by_eye]
        blocks.append(room.block("By eye", room.sentences(said)))
    if plan.beside_ears:
        row = _ears_row(room, plan.beside_ears, row_mm)
        blocks.append(room.block("Ears", [row], under=EARS))
    return blocks


EARS = "no tape: A1 A2 on the ear lobe, M1 M2 on the bone behind the ear, both sides alike"


def _mirrored_steps(one: ArcStep, other: ArcStep) -> bool:
    """Whether two arcs are the left and the right one, marked alike."""
    sides = one.arc.split()[0], other.arc.split()[0]
    if sides != ("left", "right") or one.arc.split()[1:] != other.arc.split()[1:]:
        return False
    return len(one.walks) == len(other.walks) and all(map(_alike, one.walks, other.walks))


def _alike(one: Walk, other: Walk) -> bool:
    """Whether two walks are mirrored, mark by mark, and end alike."""
    names = [mark.name for mark in other.marks]
    if [_mirror(mark.name) for mark in one.marks] != names:
        return False
    if one.stop_mm is None or other.stop_mm is None:
        return one.stop_mm is other.stop_mm
    return abs(one.stop_mm - other.stop_mm) < ALIKE_MM


def _mirror(name: str) -> str:
    return {"10 % left": "10 % right"}.get(name) or mirrored(name)


def _arc_block(
    room: Room, number: int, steps: list[ArcStep], row_mm: float, drawing: ArcDrawing | None
) -> Block:
    step, tapes = steps[0], [each.tape for each in steps]
    rows: list[Row] = []
    walks = [walk for each in steps for walk in each.walks]
    while walks:
        walk = walks.pop(0)
        twin = next((other for other in walks if _alike(walk, other)), None)
        pairs: list[tuple[PlannedMark, ...]] = [(mark,) for mark in walk.marks]
        if twin is not None:
            walks.remove(twin)
            pairs = list(zip(walk.marks, twin.marks, strict=True))
        standard = _standard(step, walk) and (twin is not None or not step.held)
        if not standard or walk.stop_mm is not None:
            rows.append(_from_row(room, [walk] if twin is None else [walk, twin]))
        rows += [_mark_row(room, _Cell(cell, step.tape.own, step.via), row_mm) for cell in pairs]
        if not step.tape.own:
            rows.append(_write_row(room, [walk] if twin is None else [walk, twin]))
    rows += _beyond_rows(room, step, row_mm)
    half = step.held
    title = _title(step, paired=len(steps) == 2)
    heading = _heading(
        room,
        f"{number} {title}",
        _way(step, len(steps) == 2),
        tapes,
        half,
        drawn=drawing is not None,
    )
    drawn = _with_drawing(room, heading, [each.arc for each in steps], drawing)
    return Block(drawn, tuple(rows), room.heading(f"{number} {title}, continued"))


def _standard(step: ArcStep, walk: Walk) -> bool:
    return walk.zero in (step.start, step.end if step.held else step.start) and (
        walk.stop_mm is None
    )


def _title(step: ArcStep, *, paired: bool) -> str:
    name = _TITLES.get(step.arc, step.arc)
    if paired:
        name = f"{' '.join(step.arc.split()[1:])}, each side"
    return name[0].upper() + name[1:]


def _way(step: ArcStep, paired: bool) -> str:
    start, via, end = (_short(name) for name in (step.start, step.via, step.end))
    if step.held:
        return f"each side to {via}: zero at {start} and {end}"
    via = f"{via} or {_mirror(via)}" if paired and _mirror(via) != via else via
    start = f"{start} or {_mirror(start)}" if paired and _mirror(start) != start else start
    end = f"{end} or {_mirror(end)}" if paired and _mirror(end) != end else end
    return f"zero at {start}, over {via}, to {end}"


def _short(name: str) -> str:
    return name.replace(" preauricular point", " ear")


def numbers(lengths_mm: Sequence[float]) -> str:
    """One number where all are alike, otherwise all, left first."""
    if max(lengths_mm) - min(lengths_mm) < ALIKE_MM:
        return tape_number(sum(lengths_mm) / len(lengths_mm))
    return tape_numbers(lengths_mm)


def _heading(
    room: Room, title: str, way: str, tapes: list[ArcTape], half: bool, *, drawn: bool
) -> Row:
    own = tapes[0].own
    if half:
        lengths = [tapes[0].via_mm, tapes[0].length_mm - tapes[0].via_mm]
    else:
        lengths = [tape.length_mm for tape in tapes]
    figure = numbers(lengths)
    said = " / ".join(dict.fromkeys(tape.words for tape in tapes))
    if own:
        said = f"■ {said}" + (", each side" if half else "")
        if any(tape.fit_differs for tape in tapes):
            said += f"; fit {numbers([tape.fitted_mm[-1] for tape in tapes])}"
    elif tapes[0].spread_mm is not None:
        said = f"≈ {tapes[0].told}"
    else:
        said = "≈ computed on this head"
    figure = figure if own else f"≈ {figure}"
    room_mm = DRAWING_MM + 2.0 if drawn else 0.0
    return room.arc_heading(title, way, figure, said, bold=own, room_mm=room_mm)


def _with_drawing(room: Room, heading: Row, arcs: Sequence[str], drawing: ArcDrawing | None) -> Row:
    if drawing is None:
        return heading
    height = max(heading.height_mm, DRAWING_MM + 1.0)

    def draw(x: float, y: float, width: float) -> None:
        drawing(arcs, x, y)
        shift = DRAWING_MM + 2.0
        heading.draw(x + shift, y + height - heading.height_mm, width - shift)
        room.paper.line(x, y + height - 0.2, x + width, y + height - 0.2, 0.35)

    return Row(height, draw)


def _from_row(room: Room, walks: Sequence[Walk]) -> Row:
    """From where walks go, and where their tape must end."""
    zeros = " and ".join(dict.fromkeys(_short(walk.zero) for walk in walks))
    said = f"from {zeros}, toward {_short(walks[0].toward)}"
    stops = [walk.stop_mm for walk in walks if walk.stop_mm is not None]
    stop = f"tape ends at {tape_number(floor_mm(min(stops)))}" if stops else ""

    def draw(x: float, y: float, width: float) -> None:
        room.paper.text(x + 1.0, y + 3.8, said, 9.0)
        if stop:
            room.paper.text(x + width - 0.5, y + 3.8, stop, 10.0, bold=True, align="right")
        room.paper.line(x, y + SUB_ROW_MM, x + width, y + SUB_ROW_MM, 0.1)

    return Row(SUB_ROW_MM, draw)


def _words(cell: _Cell) -> str:
    mark = cell.marks[0]
    if mark.kind == "meets":
        return "must lie here" if mark.name == "Cz" else "tape passes here"
    other = mark.other
    if len(cell.marks) == 2 or mirrored(mark.name) == mark.name:
        other = other.removeprefix("left ").removeprefix("right ")
    stroke = f"× {_LOWER.get(other, other)}"
    if mark.kind == "construction":
        return f"no cup; {stroke}"
    if mark.stands_for:
        return f"for {' '.join(m.stands_for for m in cell.marks)}; {stroke}"
    return stroke


def _mark_row(room: Room, cell: _Cell, row_mm: float) -> Row:
    mark = cell.marks[0]
    cup = mark.kind == "cup"
    names = " ".join(m.name for m in cell.marks)
    number = numbers([m.distance_mm for m in cell.marks])
    percent = f"{100 * mark.share:.0f} %" if mark.kind != "meets" else ""
    signs = ["⇣"] if mark.kind == "meets" else ["□"] * len(cell.marks)
    return _row(
        room,
        row_mm,
        signs,
        names,
        number if cell.own else f"≈ {number}",
        percent,
        _words(cell),
        bold_name=cup,
        bold_number=cup and cell.own,
        old=" ".join(filter(None, (room.old_of(m.name) for m in cell.marks))),
    )


def _row(
    room: Room,
    row_mm: float,
    signs: Sequence[str],
    name: str,
    number: str,
    percent: str,
    words: str,
    *,
    bold_name: bool,
    bold_number: bool,
    old: str = "",
) -> Row:
    """Boxes to tick, a name, a number, its share and words; taller where the words need it."""
    unlike = between_numbers() in number  # two numbers take the place of the percentage too
    if unlike:
        words, percent = f"{percent} {words}".strip(), ""
    size = LEAST_SIZE if unlike else NUMBER_SIZES[bold_number]
    end = PERCENT_MM if unlike else NUMBER_MM
    start_mm = NAME_MM[len(signs) > 1]
    room_mm = end - width_mm(number, size, bold=bold_number) - start_mm - 1.0
    long = width_mm(name, NAME_SIZE, bold=bold_name)
    name_size = NAME_SIZE * min(1.0, max(0.6, room_mm / long))
    beside = width_mm(name, name_size, bold=bold_name) + 1.5 + width_mm(old, 8.0) <= room_mm
    if old and not beside:
        words = f"({old}) {words}"
    lines = wrapped(words, WORDS_SIZE, room.column_mm - AFTER_MM)
    step = line_height_mm(WORDS_SIZE)
    height = max(row_mm, len(lines) * step + 0.6)

    def draw(x: float, y: float, width: float) -> None:
        paper, base = room.paper, y + height / 2 + 2.1
        for k, sign in enumerate(signs):
            if sign == "□":
                paper.box(x + 0.4 + 5.6 * k, y + (height - BOX_MM) / 2, BOX_MM, BOX_MM)
            else:
                paper.text(x + 1.4, base, sign, NAME_SIZE)
        start = x + start_mm
        paper.text(start, base, name, name_size, bold=bold_name)
        if beside:
            paper.text(start + width_mm(name, name_size, bold=bold_name) + 1.0, base, old, 8.0)
        paper.text(x + end, base, number, size, bold=bold_number, align="right")
        paper.text(x + PERCENT_MM, base, percent, 8.5, align="right")
        for k, line in enumerate(lines):
            place = y + (height - len(lines) * step) / 2 + (k + 0.75) * step
            paper.text(x + AFTER_MM, place, line, WORDS_SIZE)
        paper.line(x, y + height, x + width, y + height, 0.1)

    return Row(height, draw)


NUMBER_SIZES = {True: OWN_SIZE, False: LIGHT_SIZE}


def _write_row(room: Room, walks: Sequence[Walk]) -> Row:
    """Lines to write what the tape says of what nobody taped."""
    ways = [(walk, _short(walk.zero), _short(walk.toward)) for walk in walks]
    alike = len({way[1:] for way in ways}) < len(ways)  # both sides of the ring
    whole = [
        f"over {_passed(walk)}" if alike else f"{zero} to {toward}"
        for walk, zero, toward in ways
        if walk.stop_mm is None
    ]

    def draw(x: float, y: float, width: float) -> None:
        paper, each = room.paper, width / max(len(whole), 1)
        for k, words in enumerate(whole):
            at = x + k * each
            paper.text(at + 1.0, y + 5.2, words, 9.0)
            paper.line(at + 3.0 + width_mm(words, 9.0), y + 5.8, at + each - 3.0, y + 5.8, 0.2)
        paper.line(x, y + WRITE_ROW_MM, x + width, y + WRITE_ROW_MM, 0.1)

    return Row(WRITE_ROW_MM if whole else 0.0, draw if whole else _nothing)


def _passed(walk: Walk) -> str:
    """The mark on the way that tells left from right."""
    passed = [mark.name for mark in walk.marks if mark.kind == "meets"]
    return (passed or [mark.name for mark in walk.marks])[0]


def _nothing(_x: float, _y: float, _width: float) -> None:
    """A row that is not there."""


def _beyond_rows(room: Room, step: ArcStep, row_mm: float) -> list[Row]:
    waiting, rows = list(step.beyond), []
    while waiting:
        mark = waiting.pop(0)
        twin = next((other for other in waiting if other.name == mirrored(mark.name)), None)
        if twin is not None:
            waiting.remove(twin)
        marks = [mark] if twin is None else [mark, twin]
        rows.append(_beyond_row(room, marks, row_mm))
    return rows


def _beyond_row(room: Room, marks: Sequence[BeyondMark], row_mm: float) -> Row:
    own, number = marks[0].own, numbers([mark.distance_mm for mark in marks])
    says = f"beyond {' and '.join(mark.beyond for mark in marks)}, on in line"
    moved = " ".join(mark.stands_for for mark in marks if mark.stands_for)
    return _row(
        room,
        row_mm,
        ["□"] * len(marks),
        " ".join(mark.name for mark in marks),
        number if own else f"≈ {number}",
        "",
        f"for {moved}; {says}" if moved else says,
        bold_name=True,
        bold_number=own,
    )


def _bearing_row(room: Room, found: Bearing) -> Row:
    def draw(x: float, y: float, width: float) -> None:
        paper = room.paper
        paper.box(x + 0.4, y + 0.9, BOX_MM, BOX_MM)
        paper.text(x + NAME_MM[0], y + 4.8, found.title, NAME_SIZE, bold=True)
        paper.text(x + width - 1.0, y + 4.8, f"toward {found.side}", 9.0, align="right")
        told = [
            (f"≈ {tape_number(check.length_mm)}", f"from {_short(check.first)}{more}")
            for check, more in ((found.first, " and"), (found.second, ""))
        ]
        beside = sum(width_mm(after, 9.0) + 4.0 for _, after in told)
        wide = sum(width_mm(words, LIGHT_SIZE) for words, _ in told)
        size = LIGHT_SIZE * min(1.0, (width - NAME_MM[0] - beside) / wide)  # fractions are wide
        at = x + NAME_MM[0]
        for words, after in told:
            paper.text(at, y + 11.2, words, size)
            at += width_mm(words, size) + 1.5
            paper.text(at, y + 11.2, after, 9.0)
            at += width_mm(after, 9.0) + 2.5
        paper.line(x, y + BEARING_ROW_MM, x + width, y + BEARING_ROW_MM, 0.1)

    return Row(BEARING_ROW_MM, draw)


def _ears_row(room: Room, names: Iterable[str], row_mm: float) -> Row:
    listed = list(names)

    def draw(x: float, y: float, width: float) -> None:
        each = width / max(len(listed), 2)
        for k, name in enumerate(listed):
            room.paper.box(x + 0.4 + k * each, y + (row_mm - BOX_MM) / 2, BOX_MM, BOX_MM)
            room.paper.text(x + 7.0 + k * each, y + row_mm / 2 + 2.0, name, NAME_SIZE, bold=True)
        room.paper.line(x, y + row_mm, x + width, y + row_mm, 0.1)

    return Row(row_mm, draw)
