"""The set-up record on paper: what was really done; what was not charted is a line to write on.

One page for the arrays of every day, A4 or US Letter, black and white.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from headfit import __version__
from headfit.anatomy.landmarks import TITLES
from headfit.case.impedances import LEAD_TITLES, above_limit, balance_words, imbalances, limit_words
from headfit.case.record import GROUND, REFERENCE, ChartedElectrode
from headfit.case.record_findings import site_at
from headfit.case.solved import SolvedCase
from headfit.errors import unknown_name
from headfit.files.whole import write_whole
from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.record_rows import ElectrodeLine, electrode_row, field_rows, head_lines, holds
from headfit.output.sheet_columns import Block, Row
from headfit.output.sheet_room import Columns, Room
from headfit.output.typesetting import (
    MM_PER_PT,
    PAPERS,
    Paper,
    clean,
    line_height_mm,
    tallest_that_fits,
    width_mm,
)
from headfit.planning.displacement import Displacement, Move
from headfit.planning.preparation import BROKEN_SKIN, LONG_RECORDINGS
from headfit.reminders import NOT_MEDICAL
from headfit.units import tape_numbers, tape_unit, told_in

MARGIN_MM, FOOT_MM = 15.0, 12.0
# The first with the fewest pages is taken; below the last nobody writes by hand.
ROWS_MM = (8.0, 7.4, 6.8, 6.2, 5.6)
_SMALL = 8.0
# Of the fields "done by" and "date and time", on the narrower paper.
_HEAD_ROOM_MM = 54.0
SEE_WORDS = "(see words)"

CAUTIONS = (
    BROKEN_SKIN,
    LONG_RECORDINGS,
    f"Local policy and licensed practice decide. {NOT_MEDICAL}",
)


def write_record(solved: SolvedCase, path: str | Path, paper: str = "A4") -> Path:
    """The path, after the set-up record of a case stands there as a PDF.

    Parameters
    ----------
    solved : SolvedCase
    path : path
    paper : {"A4", "letter"}

    Raises
    ------
    UnknownNameError
        No such paper.
    InputError
        A letter cannot be printed, or the file cannot be written.
    """
    return write_whole(path, record_pdf(solved, paper))


def record_pdf(solved: SolvedCase, paper: str = "A4") -> bytes:
    """The set-up record as a PDF, the same bytes each time.

    Raises
    ------
    UnknownNameError
        No such paper.
    InputError
        A letter cannot be printed.
    """
    if paper not in PAPERS:
        raise unknown_name("paper", paper, PAPERS)
    with told_in(solved.case.unit):
        return _pdf(solved, paper)


def _pdf(solved: SolvedCase, paper: str) -> bytes:
    label = clean(solved.case.label, "case label") or "no label"
    program = f"headfit {__version__}"
    sheet = Paper(PAPERS[paper], f"{label} - set-up record", program, "EEG set-up record")
    draw_head, top_mm = _head(sheet, solved, label)
    room = Room(sheet, MARGIN_MM, top_mm, sheet.height_mm - FOOT_MM)
    tried = (_laid_out(room, _blocks(room, solved, row_mm)) for row_mm in ROWS_MM)
    columns = min(tried, key=lambda each: len(each.pages))
    for number, page in enumerate(columns.pages, 1):
        draw_head(number, len(columns.pages))
        for draw in page:
            draw()
        sheet.text(MARGIN_MM, sheet.height_mm - 6.0, program, 7.0)
        sheet.end_page()
    return sheet.pdf()


def _laid_out(room: Room, blocks: Sequence[Block]) -> Columns:
    return room.two_columns(blocks, lambda _: room.top_mm, lambda _: room.bottom_mm)


def _head(paper: Paper, solved: SolvedCase, label: str) -> tuple[Callable[[int, int], None], float]:
    """What draws the head of a page, given its number and how many there are; where it ends."""
    left = MARGIN_MM
    right = paper.width_mm - MARGIN_MM
    size, label_lines = tallest_that_fits(
        label, right - left - 28.0, (17, 14, 12, 10), 3, bold=True
    )
    small = [line for words in _about(solved) for line in head_lines(words, right - left)]
    middle = left + 0.55 * (right - left)
    who, when = _who_and_when(solved)
    filled = ((left, middle - 5.0, "Done by", who), (middle, right, "Date and time", when))
    title_mm = 11.0 + len(label_lines) * line_height_mm(size) + 4.5
    done_mm = title_mm + 7.5
    end_mm = done_mm + 3.0 + len(small) * line_height_mm(_SMALL)

    def draw(number: int, n_pages: int) -> None:
        for k, line in enumerate(label_lines):
            base = 11.0 + size * MM_PER_PT * 0.75 + k * line_height_mm(size)
            paper.text(left, base, line, size, bold=True)
        paper.text(right, 15.0, f"page {number} of {n_pages}", 9.0, align="right")
        paper.text(left, title_mm, "Set-up record: what was done", 13.0, bold=True)
        for x, end, words, value in filled:
            paper.text(x, done_mm, words, 9.0)
            start = x + width_mm(words, 9.0) + 2.0
            shown = value if _stands_in_head(value) else SEE_WORDS
            value_size = tallest_that_fits(shown, _HEAD_ROOM_MM, (10, 8), 1, bold=True)[0]
            paper.text(start, done_mm, shown, value_size, bold=True)
            if not value:
                paper.line(start, done_mm + 0.6, end, done_mm + 0.6)
        for k, line in enumerate(small):
            paper.text(left, done_mm + 5.0 + k * line_height_mm(_SMALL), line, _SMALL)
        paper.line(left, end_mm + 0.6, right, end_mm + 0.6, 0.5)

    return draw, end_mm + 3.0


def _who_and_when(solved: SolvedCase) -> tuple[str, str]:
    record = solved.case.record
    return clean(record.done_by, "done_by"), clean(record.done_on, "done_on")


def _stands_in_head(words: str) -> bool:
    return width_mm(words, 8.0, bold=True) <= _HEAD_ROOM_MM


def _about(solved: SolvedCase) -> list[str]:
    """Small lines of the head: what was measured and by whom, and what to know of it."""
    case = solved.case
    readings = {} if case.tape is None else case.tape.readings_mm
    taken = [
        f"{MEASUREMENTS[name].title} {tape_numbers(values)} {tape_unit()}"
        for name, values in readings.items()
    ]
    said = [f"Measured: {' · '.join(taken)}." if taken else ""]
    who = " on ".join(filter(None, (case.measured_by, case.measured_on)))
    said += [f"Measured by {who}." if who else ""]
    hard = ", ".join(TITLES[name] for name in case.doubtful)
    said += [f"Hard to find: {hard}." if hard else ""]
    said += ["Invented data, no person." if case.invented else ""]
    return [" ".join(filter(None, said))]


def _blocks(room: Room, solved: SolvedCase, row_mm: float) -> list[Block]:
    record = solved.case.record
    sites, leads = _site_lines(solved), _lead_lines(solved)
    blocks = [
        room.block(
            f"Sites of {clean(solved.case.array_title)}",
            _rows(room, sites, row_mm),
            under="✓ applied, ✗ left out; write where it stands when not at its mark",
        ),
        room.block("Reference, ground, other leads", _rows(room, leads, row_mm)),
    ]
    words = [f"Done: {each}" for each in _who_and_when(solved) if not _stands_in_head(each)]
    words += [f"{line.name}: {line.where}" for line in (*sites, *leads) if not holds(line, row_mm)]
    if words:
        blocks.append(room.block("Words", room.sentences(words, 8.5)))
    if not record.blank and solved.record_sentences:
        said = [clean(sentence, "a sentence") for sentence in solved.record_sentences]
        blocks.append(room.block("Findings", room.sentences(said)))
    limits = (
        f"Impedance at most {limit_words(record)}.",
        f"Apart by at most {balance_words(record)}.",
    )
    skin = [
        f"{LEAD_TITLES.get(one.name, one.name)} {when}: {clean(words, 'skin')}"
        for one in record.electrodes
        for when, words in (("before", one.skin_before), ("after", one.skin_after))
        if words
    ]
    blocks += [
        room.block("Cautions", room.sentences(CAUTIONS, 8.5)),
        room.block(
            "Skin",
            [
                *field_rows(room, "Before", record.skin_before, 2),
                *field_rows(room, "After removal", record.skin_after, 2),
                *(room.sentences(skin, 8.5) or field_rows(room, "At single sites", "", 2)),
            ],
        ),
        room.block(
            "Electrodes and limits",
            [
                *field_rows(room, "Type", record.type),
                *field_rows(room, "Material", record.material),
                *room.sentences(limits, 8.5),
                *field_rows(room, "Note", record.note, 2),
            ],
        ),
    ]
    return blocks


def _rows(room: Room, lines: Sequence[ElectrodeLine], row_mm: float) -> list[Row]:
    """A row each; words that it cannot hold stand in a block of their own."""
    return [
        electrode_row(room, line if holds(line, row_mm) else replace(line, where=SEE_WORDS), row_mm)
        for line in lines
    ]


def _site_lines(solved: SolvedCase) -> list[ElectrodeLine]:
    """Sites of the array, then what else was charted as a site."""
    record, displacement = solved.case.record, solved.displacement
    names = dict.fromkeys([*solved.sites.names, *(one.name for one in record.sites)])
    return [_line(solved, record.site(name), name, _planned(displacement, name)) for name in names]


def _planned(displacement: Displacement | None, name: str) -> str:
    """What the plan does with a site that does not stay in its place."""
    if displacement is None:
        return ""
    moves = {move.site: move for move in displacement.moves}
    if name in moves:
        return f"plan: {_short(moves[name])}"
    return "plan: left out" if name in displacement.left_out else ""


def _short(move: Move) -> str:
    return move.toward if move.named else f"{move.moved_mm:.0f} mm toward {move.toward}"


def _lead_lines(solved: SolvedCase) -> list[ElectrodeLine]:
    record = solved.case.record
    own = (
        record.reference or ChartedElectrode(REFERENCE),
        record.ground or ChartedElectrode(GROUND),
        *record.other_leads,
    )
    lines = [_line(solved, one, LEAD_TITLES.get(one.name, one.name), "") for one in own]
    return lines + [ElectrodeLine("")] * (0 if record.other_leads else 2)


def _line(solved: SolvedCase, one: ChartedElectrode, title: str, planned: str) -> ElectrodeLine:
    record = solved.case.record
    place = f"at {site_at(one.place) or one.place}" if one.place else planned
    differs = ", ".join(filter(None, (one.type, one.material)))
    kohm = "" if one.impedance_kohm is None else f"{one.impedance_kohm:g}"
    flags = ["above"] if one in above_limit(record) else []
    flags += ["uneven"] if any(one.name in each.names for each in imbalances(record)) else []
    where = clean("; ".join(filter(None, (place, one.note, differs))), "words to an electrode")
    return ElectrodeLine(clean(title, "a lead"), one.applied, where, kohm, tuple(flags))
