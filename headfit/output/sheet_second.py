"""The second side of the sheet: head map, set-up card, cautions and record on one page.

Where there are more cups than one page holds, the map and the card have pages of their own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from headfit.anatomy.sites import Sites
from headfit.output.headmap import head_map
from headfit.output.sheet_card import (
    HEAD_MM,
    LEAST_ROW_MM,
    MOST_ROW_MM,
    TITLE_MM,
    CardLine,
    card_lines,
    card_pages,
    cautions_box,
    cups_of,
    draw_card,
    draw_record,
    record_height_mm,
)
from headfit.output.sheet_maps import map_page
from headfit.output.sheet_room import Page, Room
from headfit.output.typesetting import line_height_mm, wrapped
from headfit.planning.displacement import Displacement
from headfit.planning.preparation import NAPE_MM, cable_lengths_mm, tray

# What one side holds: a map of 100 mm and two columns of lines.
MOST_ON_ONE_SIDE = 26
MAP_WIDTH_MM, LEAST_MAP_MM = 112.0, 96.0


def _map_width_mm(map_mm: float) -> float:
    """As wide as a head of that height needs."""
    return min(MAP_WIDTH_MM, map_mm)


@dataclass(frozen=True)
class _Second:
    room: Room
    sites: Sites
    displacement: Displacement | None
    lines: list[CardLine]

    @property
    def beside_map(self) -> list[tuple[str, list[str]]]:
        """Titles and lines beside the map."""
        words = [("Left is left, nose up", ["Thin line: the ring in its true shape."])]
        if self.displacement and self.displacement.obstacles:
            words[0][1].append(
                "Hatched: must stay free. Crossed: own place of a moved site. Black: its new place."
            )
        old = [f"{n} = {self.room.old_of(n)}" for n in self.sites.names if self.room.old_of(n)]
        if old:
            words.append(("Old names", [" · ".join(old)]))
        ready = tray(line.how.site for line in self.lines)
        gathered = f"cables: along the scalp to the nape, {NAPE_MM / 10:.0f} cm below the inion"
        words.append(("For the tray", [*ready.lines, gathered]))
        return words

    def draw(self) -> None:
        """The whole side."""
        room, n = self.room, (len(self.lines) + 1) // 2
        record_mm = record_height_mm()
        row_mm = LEAST_ROW_MM
        spare = room.bottom_mm - room.top_mm - record_mm - TITLE_MM - HEAD_MM - n * row_mm - 4.0
        # The map takes what the words beside it need, the lines of the card the rest.
        least = LEAST_MAP_MM
        while least < spare and self._beside_mm(self._beside_width_mm(least)) > least:
            least += 1.0
        row_mm = min(MOST_ROW_MM, row_mm + max(0.0, spare - least) / n)
        card_mm = TITLE_MM + HEAD_MM + n * row_mm
        map_mm = room.bottom_mm - room.top_mm - record_mm - card_mm - 4.0
        top = room.top_mm
        map_width = _map_width_mm(map_mm)
        drawn = head_map(self.sites, map_width, map_mm, displacement=self.displacement)
        room.paper.map(room.left_mm, top, drawn)
        self._draw_beside(room.left_mm + map_width + 4.0, top + 1.0)
        y = top + map_mm + 2.0
        room.paper.text(room.left_mm, y + 5.0, "Set-up", 12.5, bold=True)
        room.paper.text(
            room.left_mm + 20.0,
            y + 5.0,
            "tick when on; write the impedance; strike what was left out",
            9.0,
        )
        room.paper.line(room.left_mm, y + 6.6, room.left_mm + room.width_mm, y + 6.6, 0.35)
        columns = self.lines[:n], self.lines[n:]
        draw_card(room, columns, y + TITLE_MM - 1.0, row_mm)
        draw_record(room, room.bottom_mm - record_mm, self.displacement)

    def _beside_width_mm(self, map_mm: float) -> float:
        return self.room.width_mm - _map_width_mm(map_mm) - 4.0

    def _words_mm(self, width: float) -> float:
        lines = [w for _, each in self.beside_map for one in each for w in wrapped(one, 9.0, width)]
        titles = len(self.beside_map)
        return titles * (line_height_mm(10.0) + 2.0) + len(lines) * line_height_mm(9.0)

    def _beside_mm(self, width: float) -> float:
        end, _ = cautions_box(self.room, 0.0, self._words_mm(width) + 2.0, width, 8.0)
        return end

    def _draw_beside(self, x: float, y: float) -> None:
        room = self.room
        width = room.left_mm + room.width_mm - x
        _, draw = cautions_box(room, x, y + self._words_mm(width) + 1.0, width, 8.0)
        draw()
        for title, lines in self.beside_map:
            y += line_height_mm(10.0)
            room.paper.text(x, y, title, 10.0, bold=True)
            for line in (part for each in lines for part in wrapped(each, 9.0, width)):
                y += line_height_mm(9.0)
                room.paper.text(x, y, line, 9.0)
            y += 2.0


def second_pages(room: Room, sites: Sites, displacement: Displacement | None) -> list[Page]:
    """Map and card: one page where they fit on one."""
    cups = cups_of(sites.names, sites.points_mm, displacement)
    lines = card_lines(sites.names, displacement, cable_lengths_mm(sites, cups))
    if len(lines) <= MOST_ON_ONE_SIDE:
        return [_Second(room, sites, displacement, lines).draw]
    return [map_page(room, sites, displacement), *_own_pages(room, displacement, lines)]


def _own_pages(
    room: Room, displacement: Displacement | None, lines: Sequence[CardLine]
) -> list[Page]:
    record_mm = record_height_mm()
    height, _ = cautions_box(room, room.left_mm, 0.0, room.width_mm)
    top = room.bottom_mm - record_mm - height - 3.0
    _, cautions = cautions_box(room, room.left_mm, top, room.width_mm)
    ready = " · ".join(tray(line.how.site for line in lines).lines)

    def foot() -> None:
        room.paper.text(room.left_mm, top - 2.0, f"For the tray: {ready}", 9.0)
        cautions()
        draw_record(room, room.bottom_mm - record_mm, displacement)

    return card_pages(room, lines, foot, room.bottom_mm - top + 7.0)
