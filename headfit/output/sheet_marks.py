"""The first page of the sheet: what to mark, arc by arc, and the rule that checks the print.

Large type and boxes for a gloved hand; tape lengths in cm to the nearest millimetre.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, partial

from headfit.anatomy.arcs import mirrored
from headfit.output.sheet_columns import GAP_MM, Block, Row
from headfit.output.sheet_room import GUTTER_MM, TICK_MM, Page, Room
from headfit.output.typesetting import clean, line_height_mm, wrapped
from headfit.planning.displacement import Displacement
from headfit.planning.marking import ArcStep, BeyondMark, Check, MarkingPlan, PlannedMark
from headfit.units import cm, in_cm

# The tallest rows that need no more pages than lower ones would.
MARK_ROWS_MM = (8.8, 8.2, 7.6, 7.0)
MOVED_ROW_MM = 8.2
CHECK_ROW_MM = 6.0
RULE_MM = 100.0
RULE_ROOM_MM = 17.0

HOW_TO_MARK = (
    "Distances in cm from the start of each arc; + is the step from the mark before. One stroke "
    "along the tape, one across: × names the arc that makes the other stroke. Slide Cz until it "
    "halves both the midline and the coronal arc."
)

EARS = "No arc: ear lobe or bone behind the ear, both sides alike."
CHECKS = "Tape from mark to mark. 0.5 cm off: measure that arc again before paste is on."


@dataclass(frozen=True)
class _Marks:
    """All that the pages say, to be laid out with rows of some height."""

    room: Room
    plan: MarkingPlan
    displacement: Displacement | None
    notes: tuple[str, ...]
    arc_notes: Mapping[str, str]

    @cached_property
    def intro(self) -> list[str]:
        """Lines before the first arc."""
        words = (*self.notes, HOW_TO_MARK)
        return [line for each in words for line in wrapped(each, 8.5, self.room.width_mm)]

    def top_mm(self, page: int) -> float:
        """Where the columns of a page begin."""
        intro_mm = len(self.intro) * line_height_mm(8.5) + 2.0
        return self.room.top_mm + 8.0 + (intro_mm if page == 0 else 0.0)

    def bottom_mm(self, page: int) -> float:
        """Where they end: above the check rule on the first page."""
        return self.room.bottom_mm - (RULE_ROOM_MM if page == 0 else 0.0)

    def blocks(self, row_mm: float) -> list[Block]:
        """All but the checks."""
        room, plan = self.room, self.plan
        blocks = []
        if self.displacement and self.displacement.obstacles:
            blocks.append(_free_block(room, self.displacement))
        blocks += [
            _arc_block(room, number, step, self.arc_notes.get(step.arc, ""), row_mm)
            for number, step in enumerate(plan.steps, 1)
        ]
        if plan.moved:
            rows = [_moved_row(room, move.site, move.words) for move in plan.moved]
            blocks.append(room.block("Moved sites", rows))
        if plan.beside_ears:
            row = _tick_row(room, "   ".join(plan.beside_ears), "", row_mm)
            blocks.append(room.block("Ears", [row], under=EARS))
        return blocks

    def laid_out(self, row_mm: float) -> list[list[Page]]:
        """Drawings of each page: columns of arcs, then the checks over the whole width."""
        room = self.room
        blocks = self.blocks(row_mm)
        columns = room.two_columns(blocks, self.top_mm, self.bottom_mm)
        rows = [_check_row(room, left, right) for left, right in self.plan.checks]
        if not rows:
            return columns.pages
        half = (len(rows) + 1) // 2
        heading = room.heading("Check before paste", "cm", CHECKS, width_mm=room.width_mm)
        height = heading.height_mm + half * CHECK_ROW_MM
        y = columns.end_mm + GAP_MM
        last = len(columns.pages) - 1
        if y + height > self.bottom_mm(last):
            blocks.append(room.block("Check before paste", rows, "cm", CHECKS))
            flowed = room.two_columns(blocks, self.top_mm, self.bottom_mm)
            y = self.top_mm(last + 1)
            if len(flowed.pages) == last + 1 or y + height > self.bottom_mm(last + 1):
                return flowed.pages
            columns.pages.append([])
        drawings = [partial(heading.draw, room.left_mm, y, room.width_mm)]
        for k, row in enumerate(rows):
            side, line = divmod(k, half)
            x = room.left_mm + side * (room.column_mm + GUTTER_MM)
            place = y + heading.height_mm + line * CHECK_ROW_MM
            drawings.append(partial(row.draw, x, place, room.column_mm))
        columns.pages[-1] += drawings
        return columns.pages

    def page(self, number: int, drawings: list[Page]) -> Page:
        """One page with its title."""

        def draw() -> None:
            room = self.room
            y = room.title("1  What to mark" + ("" if number == 0 else ", continued"))
            if number == 0:
                for line in self.intro:
                    room.paper.text(room.left_mm, y + 1.5, line, 8.5)
                    y += line_height_mm(8.5)
                check_rule(room)
            for drawing in drawings:
                drawing()

        return draw


def mark_pages(
    room: Room,
    plan: MarkingPlan,
    displacement: Displacement | None,
    notes: tuple[str, ...],
    arc_notes: Mapping[str, str],
) -> list[Page]:
    """What to mark, in the order it is measured, with the check rule on the first page."""
    marks = _Marks(room, plan, displacement, notes, arc_notes)
    pages = min((marks.laid_out(row_mm) for row_mm in MARK_ROWS_MM), key=len)
    return [marks.page(number, drawings) for number, drawings in enumerate(pages)]


def _free_block(room: Room, displacement: Displacement) -> Block:
    titles = [
        clean(obstacle.title, "reason of a place that must stay free")
        for obstacle in displacement.obstacles
    ]
    rows = room.sentences(titles, bold=True)
    # Moves without a name have a box to tick further down.
    named = [move.words for move in displacement.moves if move.named]
    says = [*named, *displacement.left_out.values(), *displacement.notes]
    return room.block("Must stay free", rows + room.sentences(says))


def _arc_block(room: Room, number: int, step: ArcStep, note: str, row_mm: float) -> Block:
    way = f"{step.start} → {step.via} → {step.end}"
    if step.held:
        way += f", held at {step.via}"
    rows = [_mark_row(room, mark, row_mm) for mark in step.marks]
    rows += [_beyond_row(room, mark, row_mm) for mark in step.beyond]
    title = f"{number}  {step.arc[0].upper()}{step.arc[1:]}"
    return room.block(title, rows, in_cm(step.length_mm), f"{way}. {note}".rstrip())


def _tick_row(
    room: Room,
    name: str,
    distance: str,
    height: float,
    after: str = "",
    words: str = "",
    *,
    tick: bool = True,
    bold: bool = True,
) -> Row:
    """A box to tick, a name, a distance, a step and words; taller when the words need it."""
    beside = room.column_mm - 56.5
    lines, size = wrapped(words, 8.0, beside), 8.0
    if len(lines) > 1:
        lines, size = wrapped(words, 7.0, beside), 7.0
    step = line_height_mm(size)
    height = max(height, len(lines) * step + 0.6)

    def draw(x: float, y: float, width: float) -> None:
        paper, base = room.paper, y + height / 2 + 0.18 * MARK_ROWS_MM[-1]
        if tick:
            paper.box(x + 0.5, y + (height - TICK_MM) / 2, TICK_MM, TICK_MM)
        paper.text(x + 8.0, base, name, 13.0, bold=bold)
        if distance:
            paper.text(x + 41.0, base, distance, 14.0, bold=bold, align="right")
        if after:
            paper.text(x + 54.0, base, after, 9.5, align="right")
        for k, line in enumerate(lines):
            place = y + (height - len(lines) * step) / 2 + (k + 0.75) * step
            paper.text(x + 56.5, place, line, size)
        paper.line(x, y + height, x + width, y + height, 0.1)

    return Row(height, draw)


def _mark_row(room: Room, mark: PlannedMark, row_mm: float) -> Row:
    other = mark.other
    if mirrored(mark.name) == mark.name:
        other = other.removeprefix("left ")  # both rings and contours meet on the midline
    stroke = f"× {other}"
    words = {"cup": stroke, "construction": f"{stroke}; line only", "meets": "tape passes here"}
    says = words[mark.kind]
    if mark.stands_for:
        says = f"instead of {mark.stands_for}; {stroke}"
    if mark.blocked:
        says = "MUST STAY FREE: do not mark"
    return _tick_row(
        room,
        mark.name,
        cm(mark.distance_mm),
        row_mm,
        f"+{cm(mark.step_mm)}",
        says,
        tick=mark.kind != "meets" and not mark.blocked,
        bold=mark.kind == "cup",
    )


def _beyond_row(room: Room, mark: BeyondMark, row_mm: float) -> Row:
    says = f"beyond {mark.beyond}, on in line"
    if mark.stands_for:
        says = f"instead of {mark.stands_for}; {says}"
    if mark.kind == "construction":
        says += "; line only"
    return _tick_row(
        room, mark.name, cm(mark.distance_mm), row_mm, "", says, bold=mark.kind == "cup"
    )


def _moved_row(room: Room, site: str, words: str) -> Row:
    height = max(MOVED_ROW_MM, 3.0 + line_height_mm(9.0) * len(_beside(room, words)))

    def draw(x: float, y: float, _width: float) -> None:
        room.paper.box(x + 0.5, y + 1.4, TICK_MM, TICK_MM)
        room.paper.text(x + 8.0, y + 5.4, site, 13.0, bold=True)
        for k, line in enumerate(_beside(room, words)):
            room.paper.text(x + 26.0, y + 5.0 + k * line_height_mm(9.0), line, 9.0)

    return Row(height, draw)


def _beside(room: Room, words: str) -> list[str]:
    return wrapped(words, 9.0, room.column_mm - 27.0)


def _check_row(room: Room, left: Check, right: Check | None) -> Row:
    def draw(x: float, y: float, width: float) -> None:
        base = y + 0.72 * CHECK_ROW_MM
        for check, start in ((left, x), (right, x + width / 2)):
            if check is None:
                continue
            room.paper.box(start + 0.5, y + 1.2, 4.0, 4.0)
            room.paper.text(start + 6.0, base, f"{check.first}–{check.second}", 9.5)
            room.paper.text(
                start + width / 2 - 3.0, base, cm(check.length_mm), 11.0, bold=True, align="right"
            )

    return Row(CHECK_ROW_MM, draw)


def check_rule(room: Room) -> None:
    """A line of 100 mm with a tick each millimetre, centre of tick to centre of tick."""
    paper, x, y = room.paper, room.left_mm + 2.0, room.bottom_mm - 4.0
    paper.line(x, y, x + RULE_MM, y, 0.2)
    for step in range(int(RULE_MM) + 1):
        tall = 5.0 if step % 10 == 0 else 3.4 if step % 5 == 0 else 2.0
        paper.line(x + step, y, x + step, y - tall, 0.2 if step % 10 == 0 else 0.12)
        if step % 50 == 0:
            words = f"{step} mm" if step == RULE_MM else str(step)
            paper.text(x + step, y - 6.0, words, 8.0, align="middle")
    paper.paragraph(
        x + RULE_MM + 10.0,
        y - 4.5,
        "Print at 100 %, not “fit to page”. Lay a tape or ruler on this rule: if it is not 100 mm, "
        "do not use this print.",
        room.width_mm - RULE_MM - 14.0,
        8.0,
        bold=True,
    )
