"""Rows of the printed set-up record: one electrode, one field to fill in. Millimetres."""

from __future__ import annotations

from dataclasses import dataclass

from headfit.output.sheet_columns import Row
from headfit.output.sheet_room import Room
from headfit.output.typesetting import clean, line_height_mm, tallest_that_fits, width_mm, wrapped

BOX_MM = 4.4
# Across a column, from its left edge.
_NAME_MM, _PLACE_MM, _KOHM_MM, _UNIT_MM, _FLAG_MM = 7.5, 32.0, 59.0, 70.0, 74.8
_SIZE = 8.5
_SIZES = (_SIZE, 7.0, 6.0)
_NAME_SIZES = (12.0, 10.0, 8.0, 7.0)
_NAME_ROOM_MM = _PLACE_MM - _NAME_MM - 1.0
_PLACE_ROOM_MM = _KOHM_MM - _PLACE_MM - 1.5
# From one line to be filled in by hand to the next.
_HAND_MM = 7.0


@dataclass(frozen=True)
class ElectrodeLine:
    """What a row says of an electrode.

    Attributes
    ----------
    name : str
        Empty where another lead can be written by hand.
    applied : bool or None
    where : str
        Where it stands, or why it does not; a line to write on when empty.
    kohm : str
        A line to write on when empty.
    flags : tuple of str
        Beside the impedance, one below the other.
    """

    name: str
    applied: bool | None = None
    where: str = ""
    kohm: str = ""
    flags: tuple[str, ...] = ()


def electrode_row(room: Room, line: ElectrodeLine, height_mm: float) -> Row:
    """A tick, the name, where it stands, its impedance and what to see there."""
    paper = room.paper
    sign = {True: "✓", False: "✗", None: ""}[line.applied]
    name_size, names = tallest_that_fits(line.name, _NAME_ROOM_MM, _NAME_SIZES, 1, bold=True)
    size = next((s for s in _SIZES if _fits(line.where, s, height_mm)), _SIZES[-1])
    where = wrapped(line.where, size, _PLACE_ROOM_MM)
    flag_size = _SIZES[1] if height_mm >= 2 * line_height_mm(_SIZES[1]) else _SIZES[-1]

    def draw(x: float, y: float, width: float) -> None:
        base = y + height_mm / 2 + 1.5
        paper.box(x + 0.5, y + (height_mm - BOX_MM) / 2, BOX_MM, BOX_MM)
        paper.text(x + 0.5 + BOX_MM / 2, base + 0.2, sign, 13.0, bold=True, align="middle")
        for name in names:
            paper.text(x + _NAME_MM, base, name, name_size, bold=True)
        if not names:
            paper.line(x + _NAME_MM, base + 0.8, x + _PLACE_MM - 1.5, base + 0.8)
        for k, words in enumerate(where):
            shift = (k - (len(where) - 1) / 2) * line_height_mm(size)
            paper.text(x + _PLACE_MM, base - 0.4 + shift, words, size)
        if not where and line.applied is None:
            paper.line(x + _PLACE_MM, base + 0.8, x + _KOHM_MM - 1.5, base + 0.8)
        if line.kohm:
            paper.text(x + _UNIT_MM - 1.0, base, line.kohm, 12.0, bold=True, align="right")
        elif line.applied is not False:
            paper.line(x + _KOHM_MM, base + 0.8, x + _UNIT_MM - 1.0, base + 0.8)
        if line.applied is not False:
            paper.text(x + _UNIT_MM, base, "kΩ", 7.5)
        for k, words in enumerate(line.flags):
            shift = (k - (len(line.flags) - 1) / 2) * line_height_mm(flag_size)
            paper.text(x + _FLAG_MM, base - 0.4 + shift, words, flag_size, bold=True)
        paper.line(x, y + height_mm, x + width, y + height_mm, 0.1)

    return Row(height_mm, draw)


def holds(line: ElectrodeLine, height_mm: float) -> bool:
    """Whether all words of a line can be read in a row of a height."""
    named = width_mm(line.name, _NAME_SIZES[-1], bold=True) <= _NAME_ROOM_MM
    return named and _fits(line.where, _SIZES[-1], height_mm)


def _fits(words: str, size: float, height_mm: float) -> bool:
    return len(wrapped(words, size, _PLACE_ROOM_MM)) * line_height_mm(size) <= height_mm


def field_rows(room: Room, title: str, words: str, n_lines: int = 1) -> list[Row]:
    """What was charted under a title, or lines to write it on."""
    if words:
        return room.sentences([f"{title}: {clean(words, title)}"], _SIZE)
    return [_hand_row(room, title if k == 0 else "") for k in range(n_lines)]


def _hand_row(room: Room, title: str) -> Row:
    words = f"{title}:" if title else ""

    def draw(x: float, y: float, width: float) -> None:
        base = y + _HAND_MM - 1.2
        room.paper.text(x + 1.5, base, words, _SIZE)
        start = x + 1.5 + (width_mm(words, _SIZE) + 1.5 if words else 0.0)
        room.paper.line(start, base + 0.6, x + width, base + 0.6)

    return Row(_HAND_MM, draw)


def head_lines(words: str, room_mm: float) -> list[str]:
    """A small line of the head, wrapped."""
    return wrapped(clean(words, "a line of the head"), 8.0, room_mm)
