"""Room on a page of the sheet, with titles, headings and two columns of rows. Millimetres."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from headfit.output.sheet_columns import Block, Placed, Row, flow
from headfit.output.typesetting import Paper, line_height_mm, wrapped

Page = Callable[[], None]

GUTTER_MM = 8.0
TICK_MM = 5.2
HEADING_GREY = 0.88


@dataclass(frozen=True)
class Columns:
    """Drawings of each page, and where the longest column of the last page ends."""

    pages: list[list[Page]]
    end_mm: float


@dataclass(frozen=True)
class Room:
    """The paper and the room between head and foot of a page."""

    paper: Paper
    left_mm: float
    top_mm: float
    bottom_mm: float

    @property
    def width_mm(self) -> float:
        """Between the margins."""
        return self.paper.width_mm - 2 * self.left_mm

    @property
    def column_mm(self) -> float:
        """Width of one of two columns."""
        return (self.width_mm - GUTTER_MM) / 2

    def title(self, words: str) -> float:
        """The title of a page; returns where the page goes on."""
        self.paper.text(self.left_mm, self.top_mm + 4.0, words, 13.0, bold=True)
        return self.top_mm + 8.0

    def two_columns(
        self,
        blocks: Iterable[Block],
        tops_mm: Callable[[int], float],
        bottoms_mm: Callable[[int], float],
    ) -> Columns:
        """What to draw on each page; tops and bottoms are given by the number of the page."""
        placed = flow(blocks, lambda column: bottoms_mm(column // 2) - tops_mm(column // 2))
        pages: list[list[Page]] = [[]]
        for item in placed:
            page, side = divmod(item.column, 2)
            pages += [[] for _ in range(page + 1 - len(pages))]
            x = self.left_mm + side * (self.column_mm + GUTTER_MM)
            pages[page].append(self._drawing(item, x, tops_mm(page)))
        last = len(pages) - 1
        ends = [item.end_mm for item in placed if item.column // 2 == last]
        return Columns(pages, tops_mm(last) + max(ends, default=0.0))

    def _drawing(self, item: Placed, x: float, top: float) -> Page:
        return lambda: item.row.draw(x, top + item.y_mm, self.column_mm)

    def heading(
        self, words: str, right: str = "", under: str = "", width_mm: float | None = None
    ) -> Row:
        """A grey bar with a heading, a figure at its right end, and a smaller line under it."""
        size = 11.0
        lines = wrapped(under, 8.0, (width_mm or self.column_mm) - 3.0)
        height = 7.0 + len(lines) * line_height_mm(8.0) + 1.0

        def draw(x: float, y: float, width: float) -> None:
            self.paper.box(x, y, width, 6.0, pen=0.0, fill_grey=HEADING_GREY)
            self.paper.text(x + 1.5, y + 4.4, words, size, bold=True)
            if right:
                self.paper.text(x + width - 1.5, y + 4.4, right, size, bold=True, align="right")
            for k, line in enumerate(lines):
                self.paper.text(x + 1.5, y + 9.4 + k * line_height_mm(8.0), line, 8.0)

        return Row(height, draw)

    def block(self, words: str, rows: Iterable[Row], right: str = "", under: str = "") -> Block:
        """A heading and its rows."""
        return Block(
            self.heading(words, right, under), tuple(rows), self.heading(f"{words}, continued")
        )

    def sentences(
        self, words: Iterable[str], size: float = 9.0, *, bold: bool = False
    ) -> list[Row]:
        """Rows of wrapped text, one for each line, with a little room before each sentence."""
        return [
            self._text_row(line, size, 1.2 if k == 0 else 0.0, bold=bold)
            for sentence in words
            for k, line in enumerate(wrapped(sentence, size, self.column_mm - 3.0, bold=bold))
        ]

    def _text_row(self, line: str, size: float, before_mm: float, *, bold: bool) -> Row:
        height = line_height_mm(size)

        def draw(x: float, y: float, _width: float) -> None:
            self.paper.text(x + 1.5, y + before_mm + 0.8 * height, line, size, bold=bold)

        return Row(before_mm + height, draw)
