"""Room on a page of the sheet, with titles, headings and two columns of rows. Millimetres."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from headfit.anatomy.site_table import OLD_NAMES
from headfit.output.sheet_columns import GAP_MM, Block, Placed, Row, flow
from headfit.output.typesetting import Paper, line_height_mm, width_mm, wrapped

Page = Callable[[], None]

GUTTER_MM = 7.0


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
    old_names: bool = True  # told beside those that took their place

    def old_of(self, name: str) -> str:
        """The old name of a site, where it has one and old names are wanted."""
        return OLD_NAMES.get(name, "") if self.old_names else ""

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

    def evened(self, blocks: Sequence[Block], top_mm: float, bottom_mm: float) -> list[Block]:
        """The blocks with a break before the one that makes two columns the most alike.

        Nothing is changed where they need more than the page.
        """
        heights = [block.height_mm + GAP_MM for block in blocks]
        splits = range(1, len(blocks))
        fits = [k for k in splits if max(sum(heights[:k]), sum(heights[k:])) <= bottom_mm - top_mm]
        if not fits:
            return list(blocks)
        best = min(fits, key=lambda k: max(sum(heights[:k]), sum(heights[k:])))
        return [replace(b, breaks=k == best) for k, b in enumerate(blocks)]

    def _drawing(self, item: Placed, x: float, top: float) -> Page:
        return lambda: item.row.draw(x, top + item.y_mm, self.column_mm)

    def heading(
        self, words: str, right: str = "", under: str = "", width_mm: float | None = None
    ) -> Row:
        """A heading, a figure at its right end, a smaller line under it, and a stroke below."""
        size = 12.5
        lines = wrapped(under, 8.5, (width_mm or self.column_mm) - 1.0)
        height = 6.6 + len(lines) * line_height_mm(8.5)

        def draw(x: float, y: float, width: float) -> None:
            self.paper.text(x + 0.5, y + 5.0, words, size, bold=True)
            if right:
                self.paper.text(x + width - 0.5, y + 5.0, right, size, bold=True, align="right")
            for k, line in enumerate(lines):
                self.paper.text(x + 0.5, y + 9.0 + k * line_height_mm(8.5), line, 8.5)
            self.paper.line(x, y + height - 0.2, x + width, y + height - 0.2, 0.35)

        return Row(height, draw)

    def arc_heading(
        self, words: str, way: str, figure: str, said: str, *, bold: bool, room_mm: float = 0.0
    ) -> Row:
        """A title with the length of an arc at its right end; under them the way and what it is.

        `room_mm` of the column are kept free before it.
        """
        size = 12.5
        beside_title = self.column_mm - room_mm - width_mm(words, size, bold=True) - 3.0
        figure_size = next(
            (large for large in (16.0, 14.0) if width_mm(figure, large, bold=bold) < beside_title),
            size,
        )
        more = wrapped(said, 8.5, 44.0)
        beside = max(width_mm(line, 8.5) for line in more)
        lines = wrapped(way, 8.5, self.column_mm - room_mm - beside - 3.0)
        height = 6.4 + max(len(lines), len(more)) * line_height_mm(8.5) + 0.8

        def draw(x: float, y: float, width: float) -> None:
            self.paper.text(x + 0.5, y + 5.0, words, size, bold=True)
            self.paper.text(x + width - 0.5, y + 5.2, figure, figure_size, bold=bold, align="right")
            for k, line in enumerate(lines):
                self.paper.text(x + 0.5, y + 9.0 + k * line_height_mm(8.5), line, 8.5)
            for k, line in enumerate(more):
                place = y + 9.0 + k * line_height_mm(8.5)
                self.paper.text(x + width - 0.5, place, line, 8.5, align="right")
            self.paper.line(x, y + height - 0.2, x + width, y + height - 0.2, 0.35)

        return Row(height, draw)

    def boxed(
        self, y: float, title: str, sentences: Sequence[str], *, hatched: bool, size: float = 10.5
    ) -> tuple[float, Page]:
        """A framed box over the whole width: where it ends, and its drawing.

        Hatched at its edge for what must not be done, with a triangle for what is in doubt.
        """
        edge = 7.0
        room_mm = self.width_mm - edge - 4.0
        titles = wrapped(title, size, room_mm, bold=True)
        lines = [
            (line, k == 0)
            for sentence in sentences
            for k, line in enumerate(wrapped(sentence, size, room_mm))
        ]
        step = line_height_mm(size)
        n_lines = len(titles) + len(lines)
        height = 2.6 + n_lines * step + 0.6 * sum(first for _, first in lines)

        def draw() -> None:
            paper, x = self.paper, self.left_mm
            paper.box(x, y, self.width_mm, height, pen=0.6)
            paper.line(x + edge, y, x + edge, y + height, 0.3)
            if hatched:
                paper.hatch(x, y, edge, height)
            else:
                paper.triangle(x + edge / 2, y + height / 2, 4.6)
                paper.text(
                    x + edge / 2,
                    y + height / 2 + 1.6,
                    "?",
                    10.0,
                    bold=True,
                    align="middle",
                    grey=1.0,
                )
            at = y + 1.3
            for line in titles:
                at += step
                paper.text(x + edge + 2.0, at - 0.28 * step, line, size, bold=True)
            for line, first in lines:
                at += step + (0.6 if first else 0.0)
                paper.text(x + edge + 2.0, at - 0.28 * step, line, size)

        return y + height, draw

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
