"""The first side of the sheet: what to mark, arc by arc, and the rule that checks the print.

What is in doubt and what must stay free stands boxed on top. Large type and boxes for a gloved
hand; tape lengths as the tape is read.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial

from headfit.output.sheet_arcs import ArcDrawing, arc_blocks
from headfit.output.sheet_checks import CHECK_ROW_MM, HOW, check_rows
from headfit.output.sheet_columns import GAP_MM, Block
from headfit.output.sheet_room import GUTTER_MM, Page, Room
from headfit.output.typesetting import clean, line_height_mm, wrapped
from headfit.planning.displacement import Displacement
from headfit.planning.marking import MarkingPlan
from headfit.units import tape_unit

# The tallest rows that need no more pages than lower ones would.
MARK_ROWS_MM = (8.4, 7.7, 7.2, 6.8)
RULE_MM = 100.0
RULE_ROOM_MM = 16.0
LEGEND_SIZE = 9.0

_UNITS = {"inch": "Inches"}
LEGEND = (
    " from the zero of each arc, and % of its reading. ■ bold number: own reading. ≈ light "
    "number: nobody taped it, so write your reading and mark its %. Bold name: a cup comes here. "
    "× the arc along which the second stroke goes. Slide Cz until it halves midline and ear-to-ear "
    "arc."
)


@dataclass(frozen=True)
class MarkNotes:
    """What is said before the first arc: what is in doubt, boxed; and plain notes."""

    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Marks:
    """All that the pages say, to be laid out with rows of some height."""

    room: Room
    plan: MarkingPlan
    displacement: Displacement | None
    said: MarkNotes
    drawing: ArcDrawing | None

    @cached_property
    def boxes(self) -> tuple[float, list[Page]]:
        """Where the boxes on top end, and their drawings."""
        room, drawings = self.room, []
        y = room.top_mm
        if self.said.warnings:
            y, draw = room.boxed(y, "", self.said.warnings, hatched=False)
            drawings.append(draw)
            y += 2.0
        for title, sentences in self._free():
            y, draw = room.boxed(y, title, sentences, hatched=True)
            drawings.append(draw)
            y += 2.0
        return y, drawings

    def _free(self) -> list[tuple[str, list[str]]]:
        found = self.displacement
        if found is None or not found.obstacles:
            return []
        titles = "; ".join(
            clean(obstacle.title, "reason of a place that must stay free")
            for obstacle in found.obstacles
        )
        said = [move.words for move in found.moves]
        said += [*found.left_out.values(), *found.notes]
        return [(f"Must stay free: {titles}", [" ".join(said)])]

    @cached_property
    def legend(self) -> list[str]:
        """Lines before the first arc."""
        words = (" ".join((*self.said.notes, f"{_UNITS.get(tape_unit(), tape_unit())}{LEGEND}")),)
        return [line for each in words for line in wrapped(each, LEGEND_SIZE, self.room.width_mm)]

    def top_mm(self, page: int) -> float:
        """Where the columns of a page begin."""
        if page:
            return self.room.top_mm + 8.0
        return self.boxes[0] + len(self.legend) * line_height_mm(LEGEND_SIZE) + 3.0

    def bottom_mm(self, page: int) -> float:
        """Where they end: above the check rule on the first page."""
        return self.room.bottom_mm - (RULE_ROOM_MM if page == 0 else 0.0)

    @cached_property
    def moved(self) -> dict[str, str]:
        """What a moved cup is called on the head: its own name and an arrow, by its place."""
        moves = self.displacement.moves if self.displacement else ()
        return {move.toward if move.named else move.site: f"{move.site}→" for move in moves}

    def laid_out(self, row_mm: float) -> list[list[Page]]:
        """Drawings of each page: columns of arcs, then the checks over the whole width."""
        room = self.room
        blocks: list[Block] = arc_blocks(room, self.plan, row_mm, self.drawing)
        rows = check_rows(room, self.plan, self.moved)
        last_of = partial(room.two_columns, tops_mm=self.top_mm, bottoms_mm=self.bottom_mm)
        columns = last_of(room.evened(blocks, self.top_mm(0), self.bottom_mm(0)))
        if not rows:
            return columns.pages
        half = (len(rows) + 1) // 2
        heading = room.heading("Check before paste", tape_unit(), HOW, width_mm=room.width_mm)
        height = heading.height_mm + half * CHECK_ROW_MM
        y = columns.end_mm + GAP_MM
        last = len(columns.pages) - 1
        if y + height > self.bottom_mm(last):
            flowed = last_of([*blocks, room.block("Check before paste", rows, tape_unit(), HOW)])
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

    def page(self, number: int, drawings: Sequence[Page]) -> Page:
        """One page."""

        def draw() -> None:
            room = self.room
            if number == 0:
                y, boxes = self.boxes
                for box in boxes:
                    box()
                for line in self.legend:
                    y += line_height_mm(LEGEND_SIZE)
                    room.paper.text(room.left_mm, y - 1.0, line, LEGEND_SIZE)
                check_rule(room)
            else:
                room.title("Marks, continued")
            for drawing in drawings:
                drawing()

        return draw


def mark_pages(
    room: Room,
    plan: MarkingPlan,
    displacement: Displacement | None,
    said: MarkNotes,
    drawing: ArcDrawing | None = None,
) -> list[Page]:
    """What to mark, in the order it is measured, with the check rule on the first page."""
    marks = _Marks(room, plan, displacement, said, drawing)
    pages = min((marks.laid_out(row_mm) for row_mm in MARK_ROWS_MM), key=len)
    return [marks.page(number, drawings) for number, drawings in enumerate(pages)]


def check_rule(room: Room) -> None:
    """A line of 100 mm with a tick each millimetre, centre of tick to centre of tick."""
    paper, x, y = room.paper, room.left_mm + 2.0, room.bottom_mm - 3.0
    paper.line(x, y, x + RULE_MM, y, 0.2)
    for step in range(int(RULE_MM) + 1):
        tall = 5.0 if step % 10 == 0 else 3.4 if step % 5 == 0 else 2.0
        paper.line(x + step, y, x + step, y - tall, 0.2 if step % 10 == 0 else 0.12)
        if step % 50 == 0:
            words = f"{step} mm" if step == RULE_MM else str(step)
            paper.text(x + step, y - 6.0, words, 8.5, align="middle")
    paper.paragraph(
        x + RULE_MM + 10.0,
        y - 4.5,
        "Print at 100 %, not “fit to page”. Lay a tape or ruler on this rule: if it is not 100 mm, "
        "do not use this print.",
        room.width_mm - RULE_MM - 14.0,
        8.5,
        bold=True,
    )
