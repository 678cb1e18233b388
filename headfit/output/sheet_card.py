"""The set-up card of the sheet: skin, fixing, cable and impedance of every site, and the record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from headfit.geometry.mesh import Floats
from headfit.output.sheet_room import GUTTER_MM, Page, Room
from headfit.output.typesetting import line_height_mm, width_mm, wrapped
from headfit.planning.displacement import Displacement
from headfit.planning.preparation import CAUTIONS, Preparation, preparation
from headfit.reminders import NOT_MEDICAL
from headfit.units import tape_unit

# Room to write an impedance with a gloved hand; taller where the page allows.
LEAST_ROW_MM, MOST_ROW_MM = 6.2, 8.6
HEAD_MM = 5.0
TITLE_MM = 8.0
SIZE = 9.0
RECORD_ROW_MM = 6.8
RECORD = (
    ("Reference", "Ground"),
    ("Other leads", "Moved, and where to: "),
    ("Left out, and why", "Doubtful landmark  □ nasion  □ inion  □ left ear  □ right ear"),
    ("Skin before", "Skin after removal"),
    ("Applied by, at", "Removed by, at"),
)


@dataclass(frozen=True)
class CardLine:
    """One cup: what it is called, where it stands, how it is fixed, how long its cable lies."""

    site: str
    place: str
    how: Preparation
    cable_mm: float


def card_lines(
    names: Sequence[str], displacement: Displacement | None, cables_mm: Mapping[str, float]
) -> list[CardLine]:
    """A line for each cup in the order of the sites; none for one that is left out."""
    moves = {move.site: move for move in displacement.moves} if displacement else {}
    left_out = displacement.left_out if displacement else {}
    lines = []
    for name in names:
        if name in left_out:
            continue
        move = moves.get(name)
        place = "" if move is None else move.toward if move.named else "moved"
        at = move.toward if move is not None and move.named else name
        lines.append(CardLine(name, place, preparation(at), cables_mm[name]))
    return lines


def cups_of(
    names: Sequence[str], points_mm: Floats, displacement: Displacement | None
) -> dict[str, Floats]:
    """Where each cup stands, by its site; nothing for one that is left out."""
    cups: dict[str, Floats | None] = dict(zip(names, points_mm, strict=True))
    cups |= displacement.points_mm if displacement else {}
    return {name: at for name, at in cups.items() if at is not None}


def draw_card(
    room: Room, columns: tuple[list[CardLine], list[CardLine]], top: float, row_mm: float
) -> None:
    """Two columns of lines under their headings."""
    heads = ((32, "skin, fixing"), (58, f"tail, cable {tape_unit()}"), (80, "kΩ"))
    for side, lines in enumerate(columns):
        x = room.left_mm + side * (room.column_mm + GUTTER_MM)
        for at, words in heads if lines else ():
            room.paper.text(x + at, top + 3.6, words, 8.5)
        for k, line in enumerate(lines):
            _draw_line(room, x, top + HEAD_MM + k * row_mm, row_mm, line)


def _draw_line(room: Room, x: float, y: float, row_mm: float, line: CardLine) -> None:
    paper, base = room.paper, y + row_mm / 2 + 1.6
    paper.box(x + 0.5, y + (row_mm - 4.6) / 2, 4.6, 4.6)
    paper.text(x + 7.5, base, line.site, 13.0, bold=True)
    beside = room.old_of(line.site)
    beside += f" → {line.place}" if line.place else ""
    at = x + 8.7 + width_mm(line.site, 13.0, bold=True)
    paper.text(at, base, beside, 9.0 if width_mm(beside, 9.0) < x + 31.5 - at else 7.5)
    look = "look" in line.how.skin  # the fixing follows from what is seen
    how = line.how.skin + ("" if look else f" · {line.how.fixing.replace(' square', '')}")
    size = SIZE if width_mm(how, SIZE) < 26.0 else 7.5
    for k, part in enumerate(lines := wrapped(how, size, 26.0)):
        paper.text(x + 32.0, base + (k - (len(lines) - 1) / 2) * 3.1, part, size)
    paper.text(x + 58.5, base, line.how.tail.replace(" or ", "/"), SIZE)
    paper.text(x + 78.0, base, _cable(line.cable_mm), SIZE, align="right")
    paper.line(x + 79.5, y, x + 79.5, y + row_mm, 0.2)
    paper.line(x, y + row_mm, x + room.column_mm, y + row_mm, 0.1)


def _cable(length_mm: float) -> str:
    """To the centimetre or the inch: a cable is laid out by eye."""
    inches = tape_unit() == "inch"
    return f"{length_mm / (25.4 if inches else 1.0 if tape_unit() == 'mm' else 10.0):.0f}"


def card_pages(room: Room, lines: Sequence[CardLine], record: Page, record_mm: float) -> list[Page]:
    """The card on pages of its own, with the cautions and the record at its end.

    Parameters
    ----------
    room : Room
    lines : sequence of CardLine
    record : callable
        Draws the record at the foot of the first page.
    record_mm : float
        Its height.
    """
    waiting = list(lines)
    top = room.top_mm + TITLE_MM
    pages: list[Page] = []
    while waiting or not pages:
        first = not pages
        room_mm = room.bottom_mm - top - HEAD_MM - (record_mm if first else 0.0)
        per_column = max(1, min(int(room_mm / LEAST_ROW_MM), (len(waiting) + 1) // 2))
        row_mm = min(MOST_ROW_MM, room_mm / per_column)
        columns = waiting[:per_column], waiting[per_column : 2 * per_column]
        waiting = waiting[2 * per_column :]
        pages.append(_card_page(room, columns, top, row_mm, record if first else None))
    return pages


def _card_page(
    room: Room,
    columns: tuple[list[CardLine], list[CardLine]],
    top: float,
    row_mm: float,
    record: Page | None,
) -> Page:
    def draw() -> None:
        room.title("Set-up" + ("" if record else ", continued"))
        draw_card(room, columns, top, row_mm)
        if record:
            record()

    return draw


def cautions_box(
    room: Room, x: float, y: float, width: float, size: float = 8.5
) -> tuple[float, Page]:
    """The cautions in a frame: where it ends, and its drawing."""
    lines = wrapped(" ".join(CAUTIONS), size, width - 5.0)
    step = line_height_mm(size)
    height = (len(lines) + 1) * step + 4.5

    def draw() -> None:
        paper, at = room.paper, y + step + 1.0
        paper.box(x, y, width, height, pen=0.5)
        paper.text(x + 2.5, at, "Skin first", size + 1.0, bold=True)
        paper.text(x + width - 2.5, at, NOT_MEDICAL, size, bold=True, align="right")
        for line in lines:
            at += step
            paper.text(x + 2.5, at + 0.6, line, size)

    return y + height, draw


def record_height_mm() -> float:
    """Of the record with its title."""
    return TITLE_MM + len(RECORD) * RECORD_ROW_MM


def draw_record(room: Room, y: float, displacement: Displacement | None) -> None:
    """Lines to write what was done."""
    paper, left, right = room.paper, room.left_mm, room.left_mm + room.width_mm
    middle = left + 0.42 * room.width_mm
    paper.text(left, y + 5.0, "Record of what was done", 12.5, bold=True)
    paper.line(left, y + 6.6, right, y + 6.6, 0.35)
    y += TITLE_MM
    moves = displacement.moves if displacement else ()
    moved = ", ".join(
        f"{m.site} → {m.toward}" if m.named else f"{m.site} toward {m.toward}" for m in moves
    )
    for pair in RECORD:
        for words, x, end in zip(pair, (left, middle), (middle - 5.0, right), strict=True):
            said = words + (moved if words.startswith("Moved") else "")
            lines = wrapped(said, SIZE, end - x)[:1]
            paper.text(x, y + 5.0, lines[0], SIZE)
            start = x + 2.0 + width_mm(lines[0], SIZE)
            if start < end - 8.0:
                paper.line(start, y + 5.4, end, y + 5.4, 0.2)
        y += RECORD_ROW_MM
