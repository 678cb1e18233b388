"""Tables as tab-separated text that a spreadsheet opens safely.

A cell that a spreadsheet would run as a formula is written with a leading apostrophe; tabs and
line ends inside a cell become spaces; what is missing is ``n/a``, as BIDS has it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from headfit.anatomy.arc_tapes import TapeOn, as_computed
from headfit.anatomy.arcs import ARCS
from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import Sites, is_beside_ear
from headfit.fitting.spreads import SiteSpreads
from headfit.planning.displacement import Displacement
from headfit.planning.marking import MarkingPlan, plan_marking

MISSING = "n/a"
FORMULA_SIGNS = ("=", "+", "-", "@", "|", "%")

Cell = str | float | None


def cell(value: Cell, decimals: int) -> str:
    """One cell: a number with so many decimals, text made harmless, or ``n/a``.

    >>> cell(-1.26, 1), cell(None, 1), cell("=HYPERLINK(1)", 1), cell(-0.001, 1)
    ('-1.3', 'n/a', "'=HYPERLINK(1)", '0.0')
    """
    if value is None:
        return MISSING
    if isinstance(value, str):
        text = " ".join("".join(c if c.isprintable() else " " for c in value).split())
        return f"'{text}" if text.startswith(FORMULA_SIGNS) else text or MISSING
    if not math.isfinite(value):
        return MISSING
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if not float(text) else text


def tsv(header: Sequence[str], rows: Iterable[Sequence[Cell]], decimals: int = 2) -> str:
    r"""The text of a table.

    >>> tsv(["name", "x"], [["Cz", 1.0]])
    'name\tx\nCz\t1.00\n'
    """
    lines = ["\t".join(header)]
    lines += ["\t".join(cell(value, decimals) for value in row) for row in rows]
    return "\n".join([*lines, ""])


MARKS_HEADER = "arc start end arc_cm taken site zero from_zero_cm fraction note".split()


def marks_tsv(
    sites: Sites,
    moved: Displacement | None = None,
    *,
    plan: MarkingPlan | None = None,
    tape_on: TapeOn | None = None,
) -> str:
    r"""For every arc its tape length, and where on the tape each site is marked, in cm.

    A site that lies in a place that must stay free, or that no tape along its arc reaches, has no
    distance, and the note tells where it is.

    Parameters
    ----------
    sites : Sites
    moved : Displacement, optional
    plan : MarkingPlan, optional
        Of these sites; by default that of the head itself.
    tape_on : callable, optional
        The tape on an arc, as for the plan.

    >>> from headfit import load_template, place_sites
    >>> table = marks_tsv(place_sites(load_template(), ["Fpz", "Cz"]))
    >>> print(table.splitlines()[0].replace("\t", " "))
    arc start end arc_cm taken site zero from_zero_cm fraction note
    """
    plan = plan or plan_marking(sites, moved, tape_on)
    lines = ["\t".join(MARKS_HEADER)]
    instead = {way.site: way.words for way in plan.bearings}
    if moved is not None:
        instead |= {move.site: move.words for move in moved.moves} | moved.left_out
    for name, marks in sites.arc_marks.items():
        arc = ARCS[name]
        ends = [TITLES.get(end, end) for end in (arc.start, arc.end)]
        run = sites.tracer.run(name)
        tape = as_computed(run) if tape_on is None else tape_on(name)
        about = [cell(tape.length_mm / 10, 1), cell(tape.told, 0)]
        for mark in marks:
            note, found = instead.get(mark.site), plan.found.get(mark.site)
            place = [MISSING, MISSING, MISSING, cell(note, 0)]
            if note is None and found is not None:
                distance = cell(found.distance_mm / 10, 1)
                place = [found.zero, distance, cell(mark.fraction, 3), MISSING]
            lines.append("\t".join([name, *ends, *about, mark.site, *place]))
    return "\n".join([*lines, ""])


SITES_HEADER = ("name", "x", "y", "z", "arc", "fraction", "from_start_mm")
SURE_HEADER = ("sure_major_mm", "sure_minor_mm")


def site_rows(
    sites: Sites, spreads: SiteSpreads | None = None, tape_on: TapeOn | None = None
) -> list[list[Cell]]:
    """A row for each site: `SITES_HEADER`, then `SURE_HEADER` when spreads are given.

    Parameters
    ----------
    sites : Sites
    spreads : SiteSpreads, optional
        Of the same sites in the same order.
    tape_on : callable, optional
        The tape on an arc, as it was read or is predicted; by default that of the head itself.
    """
    rows: list[list[Cell]] = []
    for i, name in enumerate(sites.names):
        found = sites.arc_of(name)
        place: list[Cell] = [None, None, None]
        if found is not None:
            distance = sites.tracer.run(found[0]).distance_mm(found[1])
            place = [*found, distance if tape_on is None else tape_on(found[0]).at(distance)]
        sure: list[Cell] = []
        if spreads is not None:
            known = not is_beside_ear(name)
            sure = [*map(float, spreads.ellipses_mm[i, :2])] if known else [None, None]
        rows.append([name, *map(float, sites.points_mm[i]), *place, *sure])
    return rows


def sites_tsv(sites: Sites) -> str:
    """The sites in mm, the arc that marks each, and where on its tape."""
    return tsv(SITES_HEADER, site_rows(sites), decimals=3)
