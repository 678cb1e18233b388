"""The set-up card of the sheet: skin, fixing, cable and impedance of every site, and cautions."""

from __future__ import annotations

from dataclasses import dataclass

from headfit.anatomy.sites import Sites
from headfit.output.sheet_room import GUTTER_MM, TICK_MM, Page, Room
from headfit.output.typesetting import line_height_mm, wrapped
from headfit.planning.displacement import Displacement
from headfit.planning.preparation import CAUTIONS, Preparation, preparation

# Room to write an impedance with a gloved hand; taller where the page allows.
LEAST_ROW_MM, MOST_ROW_MM = 7.4, 10.5
HEAD_MM = 6.0
CAUTION_SIZE = 9.0
TO_FILL_IN = (
    "Doubtful landmark:   □ nasion   □ inion   □ left ear   □ right ear",
    "Scars, defects, skin before:",
    "Skin after removal:",
)


@dataclass(frozen=True)
class _Line:
    """One cup: where it stands, why there, and how it is fixed."""

    place: str
    why: str
    how: Preparation


def card_pages(room: Room, sites: Sites, displacement: Displacement | None) -> list[Page]:
    """The card; a second page when there are more sites than fit."""
    lines = _lines(sites, displacement)
    top = room.top_mm + 8.0
    cautions_mm = _cautions_height_mm(room)
    pages: list[Page] = []
    while lines or not pages:
        room_mm = room.bottom_mm - top - HEAD_MM - (0.0 if pages else cautions_mm)
        per_column = min(int(room_mm / LEAST_ROW_MM), (len(lines) + 1) // 2)
        row_mm = min(MOST_ROW_MM, room_mm / max(per_column, 1))
        columns = lines[:per_column], lines[per_column : 2 * per_column]
        lines = lines[2 * per_column :]
        pages.append(_page(room, columns, top, row_mm, first=not pages))
    return pages


def _lines(sites: Sites, displacement: Displacement | None) -> list[_Line]:
    moves = {move.site: move for move in displacement.moves} if displacement else {}
    left_out = displacement.left_out if displacement else {}
    lines = []
    for name in sites.names:
        if name in left_out:
            continue
        move = moves.get(name)
        if move is None:
            lines.append(_Line(name, "", preparation(name)))
        elif move.named:
            lines.append(_Line(move.toward, f"for {name}", preparation(move.toward)))
        else:
            lines.append(_Line(name, "moved", preparation(name)))
    return lines


def _page(
    room: Room, columns: tuple[list[_Line], list[_Line]], top: float, row_mm: float, *, first: bool
) -> Page:
    def draw() -> None:
        room.title("3  Set-up card" + ("" if first else ", continued"))
        for side, lines in enumerate(columns):
            x = room.left_mm + side * (room.column_mm + GUTTER_MM)
            if lines:
                for at, words in ((8, "site"), (38, "skin, fixing"), (60, "cable"), (73, "kΩ")):
                    room.paper.text(x + at, top + 4.0, words, 8.0, bold=True)
            for k, line in enumerate(lines):
                _draw_line(room, x, top + HEAD_MM + k * row_mm, row_mm, line)
        if first:
            _draw_cautions(room)

    return draw


def _draw_line(room: Room, x: float, y: float, row_mm: float, line: _Line) -> None:
    paper, base = room.paper, y + row_mm / 2 + 1.5
    paper.box(x + 0.5, y + (row_mm - TICK_MM) / 2, TICK_MM, TICK_MM)
    paper.text(x + 8.0, base, line.place, 12.0, bold=True)
    paper.text(x + 28.0, base, line.why, 7.0)
    paper.text(x + 38.0, base - 2.3, line.how.skin, 8.5)
    paper.text(x + 38.0, base + 1.1, line.how.fixing, 8.5)
    paper.text(x + 60.0, base, line.how.tail.replace(" or ", "/"), 8.5)
    paper.line(x + 73.0, base + 0.8, x + room.column_mm, base + 0.8, 0.25)
    paper.line(x, y + row_mm, x + room.column_mm, y + row_mm, 0.1)


def _caution_lines(room: Room) -> list[tuple[str, bool]]:
    """Each line, and whether a caution begins with it."""
    return [
        (line, k == 0)
        for words in CAUTIONS
        for k, line in enumerate(wrapped(words, CAUTION_SIZE, room.width_mm - 12.0))
    ]


def _cautions_height_mm(room: Room) -> float:
    return 35.0 + len(_caution_lines(room)) * line_height_mm(CAUTION_SIZE)


def _draw_cautions(room: Room) -> None:
    paper, x, width = room.paper, room.left_mm, room.width_mm
    height = _cautions_height_mm(room) - 3.0
    y = room.bottom_mm - height
    paper.box(x, y, width, height, pen=0.6)
    paper.text(x + 3.0, y + 5.5, "Cautions", 11.0, bold=True)
    paper.text(x + width - 3.0, y + 5.5, "Not a medical device.", 9.0, bold=True, align="right")
    y += 10.5
    for line, begins in _caution_lines(room):
        if begins:
            paper.text(x + 3.0, y, "•", CAUTION_SIZE)
        paper.text(x + 7.0, y, line, CAUTION_SIZE)
        y += line_height_mm(CAUTION_SIZE)
    y += 3.0
    for words in TO_FILL_IN:
        paper.text(x + 3.0, y, words, 9.0)
        if words.endswith(":"):
            paper.line(x + 55.0, y + 0.6, x + width - 3.0, y + 0.6)
        y += 6.4
