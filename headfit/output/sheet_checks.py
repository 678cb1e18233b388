"""The rows of the sheet that check the marks before paste: distance, tolerance, both sides."""

from __future__ import annotations

from collections.abc import Mapping

from headfit.output.sheet_arcs import numbers
from headfit.output.sheet_columns import Row
from headfit.output.sheet_room import Room
from headfit.output.typesetting import wrapped
from headfit.planning.checks import Check
from headfit.planning.marking import MarkingPlan
from headfit.units import tape_number

CHECK_ROW_MM = 5.9
HOW = (
    "Mark to mark, predicted. Outside its ±: measure that mark again. Left and right unlike by "
    "more than the ±: measure both again."
)
_NUMBER_MM = 72.0


def check_rows(room: Room, plan: MarkingPlan, moved: Mapping[str, str]) -> list[Row]:
    """A row for each pair of neighbours, left beside right.

    Parameters
    ----------
    room : Room
    plan : MarkingPlan
    moved : mapping of str to str
        What a cup is called on the head where its place is another declared site.
    """
    rows = [_check_row(room, left, right, moved) for left, right in plan.checks]
    if plan.forbidden_checks:
        pairs = [
            "–".join(moved.get(name, name) for name in pair.split("–"))
            for pair in plan.forbidden_checks
        ]
        lines = wrapped(f"no tape: {', '.join(pairs)}", 9.0, room.column_mm - 8.0)
        rows += [_forbidden_row(room, line, first=k == 0) for k, line in enumerate(lines)]
    return rows


def _called(first: str, second: str, moved: Mapping[str, str]) -> str:
    return f"{moved.get(first, first)}–{moved.get(second, second)}"


def _check_row(room: Room, left: Check, right: Check | None, moved: Mapping[str, str]) -> Row:
    checks = [left] if right is None else [left, right]
    tolerances = [check.tolerance_mm for check in checks if check.tolerance_mm is not None]

    def draw(x: float, y: float, width: float) -> None:
        paper, base = room.paper, y + 0.76 * CHECK_ROW_MM
        for k, check in enumerate(checks):
            at = x + 27.0 * k
            paper.box(at + 0.5, y + 0.9, 4.0, 4.0)
            paper.text(at + 5.4, base, _called(check.first, check.second, moved), 9.0)
        number = numbers([check.length_mm for check in checks])
        paper.text(x + _NUMBER_MM, y + 4.9, number, 14.0, align="right")
        if tolerances:
            paper.text(
                x + width - 1.0, base, f"± {tape_number(max(tolerances))}", 10.0, align="right"
            )
        paper.line(x, y + CHECK_ROW_MM, x + width, y + CHECK_ROW_MM, 0.1)

    return Row(CHECK_ROW_MM, draw)


def _forbidden_row(room: Room, line: str, *, first: bool) -> Row:
    def draw(x: float, y: float, _width: float) -> None:
        if first:
            room.paper.box(x + 0.5, y + 0.9, 4.0, 4.0)
            room.paper.hatch(x + 0.5, y + 0.9, 4.0, 4.0, 1.0)
        room.paper.text(x + 5.4, y + 0.76 * CHECK_ROW_MM, line, 9.0)

    return Row(CHECK_ROW_MM, draw)
