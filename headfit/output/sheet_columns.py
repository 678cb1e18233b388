"""Blocks of rows that flow down the columns of a page and on to the next page.

A block is a heading and rows. It goes to the next column whole when it fits there, and breaks only
when it is longer than a column; its heading is then said again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

GAP_MM = 3.0

# Draws at (x, y), the top left corner of its room, in a width; all mm.
Draw = Callable[[float, float, float], None]


@dataclass(frozen=True)
class Row:
    """Something drawn across a column."""

    height_mm: float
    draw: Draw


@dataclass(frozen=True)
class Block:
    """A heading with its rows. `again` is the heading where the block goes on after a break.

    `breaks` begins a new column whatever room is left.
    """

    heading: Row
    rows: tuple[Row, ...]
    again: Row
    breaks: bool = False

    @property
    def height_mm(self) -> float:
        """Of the unbroken block."""
        return self.heading.height_mm + sum(row.height_mm for row in self.rows)


@dataclass(frozen=True)
class Placed:
    """A row and where it goes: number of the column counted over all pages, and y in it."""

    row: Row
    column: int
    y_mm: float

    @property
    def end_mm(self) -> float:
        """Where the next row of the column would begin."""
        return self.y_mm + self.row.height_mm


def flow(
    blocks: Iterable[Block], column_height_mm: Callable[[int], float], gap_mm: float = GAP_MM
) -> list[Placed]:
    """Where every row goes.

    Parameters
    ----------
    blocks : iterable of Block
    column_height_mm : callable
        Height of a column, by its number; columns of all pages are counted through.
    gap_mm : float
        Between blocks.
    """
    placed: list[Placed] = []
    column, y = 0, 0.0
    for block in blocks:
        left = column_height_mm(column) - y
        if y and block.breaks:
            column, y = column + 1, 0.0
        elif y and block.height_mm > left:
            whole = block.height_mm <= column_height_mm(column + 1)
            stub = block.heading.height_mm + sum(row.height_mm for row in block.rows[:3])
            if whole or stub > left:
                column, y = column + 1, 0.0
        placed.append(Placed(block.heading, column, y))
        y += block.heading.height_mm
        for row in block.rows:
            if y + row.height_mm > column_height_mm(column) + 1e-6:
                column, y = column + 1, 0.0
                placed.append(Placed(block.again, column, y))
                y += block.again.height_mm
            placed.append(Placed(row, column, y))
            y += row.height_mm
        y += gap_mm
    return placed


def even_height_mm(blocks: Sequence[Block], n_columns: int = 2) -> float:
    """The least height at which the blocks stand in some columns, to a millimetre."""
    height = (sum(block.height_mm for block in blocks) + GAP_MM * len(blocks)) / n_columns
    while _n_columns(blocks, height) > n_columns:
        height += 1.0
    return height


def _n_columns(blocks: Sequence[Block], height_mm: float) -> int:
    return max((placed.column + 1 for placed in flow(blocks, lambda _: height_mm)), default=0)
