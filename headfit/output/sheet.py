"""The sheet for the chair: what to mark; head map, set-up card and record; derivations.

Two sides of one sheet of paper for 10-20, black and white, at 100 % on A4 or US Letter. Every page
carries the case label, the measurements as they were taken, room for who and when, the version and
the rules.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from headfit.anatomy.arcs import Rules
from headfit.anatomy.head import Head
from headfit.anatomy.sites import Sites
from headfit.errors import unknown_name
from headfit.output.arc_drawings import ArcDrawings
from headfit.output.sheet_maps import derivation_pages
from headfit.output.sheet_marks import MarkNotes, mark_pages
from headfit.output.sheet_room import Page, Room
from headfit.output.sheet_second import second_pages
from headfit.output.typesetting import (
    MM_PER_PT,
    PAPERS,
    Paper,
    clean,
    line_height_mm,
    tallest_that_fits,
    wrapped,
)
from headfit.planning.derivations import MeasuredMontage
from headfit.planning.displacement import Displacement
from headfit.planning.marking import MarkingPlan, plan_marking
from headfit.units import tape_unit, told_in

PaperName = Literal["A4", "letter"]

MARGIN_MM = 11.0
FOOT_MM = 12.0
_AGAIN = (
    "Nothing is marked from readings that contradict each other. Take these again, write them here "
    "and into the case, then print the sheet anew:"
)
_READINGS = 4  # lines to write on


@dataclass(frozen=True, eq=False)
class SheetContent:
    """All that the sheet says.

    Attributes
    ----------
    label : str
        Of the case, chosen by the user; no name of a person is needed.
    sites : Sites
    version : str
        Of the program.
    measurements : tuple of str
        As they were taken, such as "nasion-inion arc 36.2 cm".
    notes : tuple of str
        Said before the first arc, such as "Template: newborn, illustrative, norm-scaled".
    warnings : tuple of str
        Boxed on top of the first page: what to take again, what is in doubt.
    plan : MarkingPlan, optional
        By default that of the sites themselves, which nobody taped.
    displacement : Displacement, optional
    montages : tuple of MeasuredMontage
        One page each.
    head : Head, optional
        Drawn small beside each arc, the tape on it.
    unit : {"cm", "mm", "inch"}
        In which the tape is read.
    old_names : bool
        T3 beside T7, and so on.
    """

    label: str
    sites: Sites
    version: str
    measurements: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    plan: MarkingPlan | None = None
    displacement: Displacement | None = None
    montages: tuple[MeasuredMontage, ...] = ()
    head: Head | None = None
    old_names: bool = True
    unit: str = "cm"


def sheet_pdf(content: SheetContent, paper: PaperName = "A4") -> bytes:
    """The sheet as a PDF, the same bytes each time.

    Raises
    ------
    UnknownNameError
        No such paper.
    InputError
        A letter of the label or a note that cannot be printed.
    MeshError
        The surface is broken between two sites.

    >>> from headfit import load_template, place_sites
    >>> content = SheetContent("demo", place_sites(load_template()), "0.1.0")
    >>> sheet_pdf(content)[:5]
    b'%PDF-'
    """
    with told_in(content.unit):
        return _sheet_pdf(content, paper)


def _sheet_pdf(content: SheetContent, paper: PaperName) -> bytes:
    foot = f"headfit {content.version} · {rules_words(content.sites.rules)}"
    sheet, frame = _begun(content.label, content.measurements, foot, paper)
    plan = content.plan or plan_marking(content.sites, content.displacement)
    bottom_mm = sheet.height_mm - FOOT_MM
    room = Room(sheet, MARGIN_MM, frame.top_mm, bottom_mm, content.old_names)
    said = MarkNotes(
        tuple(clean(words, "a warning") for words in content.warnings),
        tuple(clean(note, "a note") for note in content.notes),
    )
    moved, tracer = content.displacement, content.sites.tracer
    drawing = None if content.head is None else ArcDrawings(sheet, content.head, tracer)
    pages: list[Page] = [
        *mark_pages(room, plan, moved, said, drawing),
        *second_pages(room, content.sites, moved),
        *derivation_pages(room, content.sites, moved, content.montages),
    ]
    for number, page in enumerate(pages, 1):
        frame.draw(number, len(pages))
        page()
        sheet.end_page()
    return sheet.pdf()


def refused_pdf(label: str, refusal: str, version: str, paper: PaperName = "A4") -> bytes:
    """One page in the place of the sheet, when what was measured describes no head.

    What is wrong stands in a box, below it a line for each new reading; no site is marked.

    Raises
    ------
    UnknownNameError
        No such paper.
    """
    sheet, frame = _begun(label, ("nothing that can be used",), f"headfit {version}", paper)
    room = Room(sheet, MARGIN_MM, frame.top_mm, sheet.height_mm - FOOT_MM)
    frame.draw(1, 1)
    y, box = room.boxed(
        room.top_mm, "No marks: this sheet cannot be right", (refusal,), hatched=True
    )
    box()
    y += 6.0
    for line in wrapped(_AGAIN, 10.5, room.width_mm):
        sheet.text(room.left_mm, y, line, 10.5)
        y += line_height_mm(10.5)
    for _ in range(_READINGS):
        y += 11.0
        sheet.line(room.left_mm, y, room.left_mm + 90.0, y)
        sheet.line(room.left_mm + 96.0, y, room.left_mm + 126.0, y)
        sheet.text(room.left_mm + 128.0, y, tape_unit(), 10.5)
    sheet.end_page()
    return sheet.pdf()


def _begun(
    label: str, measurements: Sequence[str], foot: str, paper: PaperName
) -> tuple[Paper, _Frame]:
    """The paper, and what stands on every page of it."""
    if paper not in PAPERS:
        raise unknown_name("paper", paper, PAPERS)
    label = clean(label, "case label") or "no label"
    sheet = Paper(PAPERS[paper], f"{label} - mark sheet", foot.partition(" · ")[0])
    taken = " · ".join(clean(each, "a measurement") for each in measurements) or "none"
    return sheet, _Frame(sheet, label, f"Taken: {taken}", foot)


def rules_words(rules: Rules) -> str:
    """The declared choices in one line."""
    words = {
        "plane": "arcs are plane sections",
        "shortest": "arcs are shortest paths",
        "row": "F3 F4 P3 P4 a quarter of the row",
        "parasagittal": "F3 F4 P3 P4 a quarter of the parasagittal arc",
        "crossing": "F3 F4 P3 P4 where row and parasagittal plane cross",
        "coronal": "T7 T8 at 10 % of the coronal arc",
        "ring": "T7 T8 in the middle of the half ring",
        "taut": "taut tape",
        "skin": "tape along the skin",
    }
    inferior = {
        "system": "sites 9/10 as their system has them",
        "row": "sites 9/10 by going on along the row",
        "contour": "sites 9/10 in tenths of the contour nasion-ear-inion",
    }
    chosen = [words[rules.curve], words[rules.length], words[rules.inner], words[rules.temporal]]
    return "Rules: " + "; ".join([*chosen, inferior[rules.inferior]])


class _Frame:
    """What stands on every page, and how much room it takes."""

    def __init__(self, paper: Paper, label: str, taken: str, foot: str) -> None:
        self.paper = paper
        self.foot = foot
        room = paper.width_mm - 2 * MARGIN_MM
        self.label_size, self.label_lines = tallest_that_fits(
            label, room - 34.0, (16, 14, 12, 10), 3, bold=True
        )
        self.taken_lines = wrapped(taken, 9.0, room)
        self.foot_lines = wrapped(foot, 8.0, room)
        self.label_bottom_mm = 9.0 + len(self.label_lines) * line_height_mm(self.label_size)
        self.top_mm = self.label_bottom_mm + 9.0 + len(self.taken_lines) * line_height_mm(9.0)

    def draw(self, number: int, n_pages: int) -> None:
        """Head and foot of a page."""
        paper, left, right = self.paper, MARGIN_MM, self.paper.width_mm - MARGIN_MM
        y = 8.0 + self.label_size * MM_PER_PT * 0.75
        for line in self.label_lines:
            paper.text(left, y, line, self.label_size, bold=True)
            y += line_height_mm(self.label_size)
        paper.text(right, 12.5, f"side {number} of {n_pages}", 10.0, align="right")
        y = self.label_bottom_mm + 2.5
        middle = left + 0.58 * (right - left)
        for x, end, words in ((left, middle - 5, "Done by"), (middle, right, "Date, time")):
            paper.text(x, y, words, 9.0)
            paper.line(x + (15.0 if words == "Done by" else 19.0), y + 0.6, end, y + 0.6)
        y += 5.0
        for line in self.taken_lines:
            paper.text(left, y, line, 9.0)
            y += line_height_mm(9.0)
        paper.line(left, y - 1.8, right, y - 1.8, 0.6)
        y = paper.height_mm - 4.5 - (len(self.foot_lines) - 1) * line_height_mm(8.0)
        for line in self.foot_lines:
            paper.text(left, y, line, 8.0)
            y += line_height_mm(8.0)
