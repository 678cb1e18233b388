"""Tables as plain data: one wording and rounding for the report, the app and the terminal.

A length that is marked with a tape is told as the tape is read; a small one in whole mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from html import escape
from typing import Any

from headfit.anatomy.arcs import ARCS
from headfit.anatomy.landmarks import TITLES as LANDMARK_TITLES
from headfit.anatomy.site_table import OLD_NAMES, both_names
from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.scene import STATES, DrawnSite, Scene
from headfit.planning.derivations import MeasuredMontage
from headfit.units import tape_length, tape_number, tape_numbers, tape_unit


@dataclass(frozen=True)
class Column:
    """Heading of a column; `number` aligns its cells to the right."""

    title: str
    unit: str = ""
    number: bool = False


@dataclass(frozen=True)
class Row:
    """Cells as text, and the site of the head that the row speaks of, if any.

    A heading is one cell over all columns. The state is shown by weight and colour beside the sign
    among the cells: "own", "predicted", "doubtful", or "stroke", where no cup comes.
    """

    cells: tuple[str, ...]
    site: str = ""
    heading: bool = False
    state: str = ""


@dataclass(frozen=True)
class Table:
    """A table with a caption that says what it holds."""

    name: str
    caption: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]

    def as_data(self) -> dict[str, Any]:
        """For JSON."""
        return asdict(self)


def mm(length_mm: float | None) -> str:
    """Whole millimetres, or nothing.

    >>> mm(3.6), mm(-0.2)
    ('4', '0')
    """
    return "" if length_mm is None else f"{length_mm:.0f}".replace("-0", "0")


@dataclass(frozen=True)
class StrokeOnly:
    """A place on an arc that takes a stroke and no cup: Fpz, from which the ring is laid."""

    name: str
    arc: str
    distance_mm: float
    taped: bool
    words: str


def site_table(
    scene: Scene,
    *,
    measured: bool = True,
    old_names: bool = True,
    strokes: Iterable[StrokeOnly] = (),
) -> Table:
    """Every site under its arc, in the order in which arcs are measured, with where to mark it.

    While nothing is `measured` no place on the tape is told: it would be that of the template head.
    `old_names` puts T3 beside T7 and so on; `strokes` stand among the sites of their arc.
    """
    compared = any(site.deviation_mm is not None for site in scene.sites)
    sure = any(site.sure_mm is not None for site in scene.sites)
    columns = [Column("Site")]
    if measured:
        columns.append(Column("Mark at", tape_unit(), number=True))
    if sure:
        columns.append(Column("Sure to ±", "mm", number=True))
    if compared:
        columns.append(Column("Off by", "mm", number=True))
    columns.append(Column("Note"))
    rows = []
    arcs = [arc for arc in ARCS if any(site.arc == arc for site in scene.sites)]
    for arc in [*arcs, ""]:
        of_arc = [site for site in scene.sites if site.arc == arc]
        if of_arc:
            said = _arc_heading(scene, arc, measured=measured)
            taped = measured and any(line.taped for line in scene.arcs if line.name == arc)
            rows.append(Row((said,), heading=True, state=_state(arc, taped, measured=measured)))
        among: list[tuple[float, DrawnSite | StrokeOnly]] = [
            (_place_on_tape(site), site) for site in of_arc
        ]
        among += [(s.distance_mm, s) for s in strokes if s.arc == arc and of_arc and measured]
        for _, site in sorted(among, key=lambda each: each[0]):
            if isinstance(site, StrokeOnly):
                at = (
                    tape_number(site.distance_mm)
                    if site.taped
                    else f"≈ {tape_number(site.distance_mm)}"
                )
                cells = [site.name, at, *[""] * (sure + compared), site.words]
                rows.append(Row(tuple(cells), state="stroke"))
                continue
            name = both_names(site.name) if old_names else site.name
            cells = [name, *([_on_tape(site)] if measured else [])]
            if sure:
                cells.append(mm(site.sure_mm))
            if compared:
                cells.append(mm(site.deviation_mm))
            state = STATES[site.state]
            # What is as it should be needs no words: its sign says it.
            usual = {"planned": "", "near": state.sign}.get(site.state)
            said = f"{state.sign} {site.note or state.words}" if usual is None else usual
            state_ = (
                "" if site.from_start_mm is None else _state(arc, site.taped, measured=measured)
            )
            rows.append(Row((*cells, said), site.name, state=state_))
    caption = (
        "Where each site is marked on the tape laid along its arc."
        if measured
        else "Nothing is measured yet: where to mark each site is told after the first measurement."
    )
    return Table("sites", caption, tuple(columns), tuple(rows))


def _state(arc: str, taped: bool, *, measured: bool) -> str:
    return "" if not arc or not measured else "own" if taped else "predicted"


def _on_tape(site: DrawnSite) -> str:
    """Where it is marked; with ≈ where nobody taped the arc."""
    if site.from_start_mm is None:
        return ""
    return tape_number(site.from_start_mm) if site.taped else f"≈ {tape_number(site.from_start_mm)}"


def _place_on_tape(site: DrawnSite) -> float:
    return float("inf") if site.from_start_mm is None else round(site.from_start_mm, 1)


def _arc_heading(scene: Scene, arc: str, *, measured: bool) -> str:
    if not arc:
        return "Beside the arcs"
    if not measured:
        return f"{arc[0].upper()}{arc[1:]}"
    line = next(line for line in scene.arcs if line.name == arc)
    start, end = (LANDMARK_TITLES.get(name, name) for name in (ARCS[arc].start, ARCS[arc].end))
    sign = "■" if line.taped else "≈"
    said = f"{sign} {tape_length(line.length_mm)} {line.words}".rstrip()
    zeros = dict.fromkeys(site.start for site in scene.sites if site.arc == arc and site.start)
    ends = f"; zero at {' and '.join(zeros)}" if list(zeros) not in ([], [start]) else ""
    return f"{arc[0].upper()}{arc[1:]}: {said}, from {start} to {end}{ends}"


def sheet_table(
    readings_mm: Mapping[str, Iterable[float]],
    fitted_mm: Mapping[str, float],
    doubted: Iterable[str] = (),
) -> Table:
    """What was measured, how it is taken, and what the fitted head has.

    Readings that are `doubted` are marked as such: a small difference from the fit says little, for
    the fit follows a wrong reading.
    """
    rows, doubtful = [], set(doubted)
    for name, readings in readings_mm.items():
        kind = MEASUREMENTS[name]
        taken = list(readings)
        mean = sum(taken) / len(taken)
        rows.append(
            Row(
                (
                    kind.title,
                    kind.how,
                    tape_numbers(taken),
                    tape_number(fitted_mm[name]),
                    "? doubtful" if name in doubtful else mm(fitted_mm[name] - mean),
                ),
                state="doubtful" if name in doubtful else "",
            )
        )
    return Table(
        "sheet",
        "The measurement sheet, and the same taken on the fitted head.",
        (
            Column("Measurement"),
            Column("How it is taken"),
            Column("Measured", tape_unit(), number=True),
            Column("Fitted", tape_unit(), number=True),
            Column("Difference", "mm", number=True),
        ),
        tuple(rows),
    )


def derivation_table(measured: MeasuredMontage, *, old_names: bool = True) -> Table:
    """Every derivation of a montage with its length along the scalp, chain by chain."""
    moved = any(each.before_mm is not None for each in measured.derivations)
    columns = [Column("Derivation"), Column("Length", "mm", number=True)]
    if moved:
        columns.append(Column("Longer by moving", "mm", number=True))
    rows = []
    for found in measured.chains:
        rows.append(Row((f"Chain: {found.chain.name}",), heading=True))
        for each in found.derivations:
            change = [] if not moved else [f"{each.change_mm:+.0f}" if each.change_mm else ""]
            pair = each.derivation.sites
            old = "–".join(OLD_NAMES.get(site, site) for site in pair)
            told = old_names and any(site in OLD_NAMES for site in pair)
            name = f"{each.name} ({old})" if told else each.name
            rows.append(Row((name, mm(each.length_mm), *change)))
    caption = f"{measured.montage.title}: length of each derivation along the scalp."
    return Table("derivations", caption, tuple(columns), tuple(rows))


def table_html(table: Table) -> str:
    """The table as HTML; every cell is escaped."""
    heads = "".join(
        f'<th scope="col"{_number(column)}>{escape(column.title)}'
        + (f' <span class="unit">{escape(column.unit)}</span>' if column.unit else "")
        + "</th>"
        for column in table.columns
    )
    rows: list[str] = []
    for row in table.rows:
        first, *rest = row.cells
        if row.heading:
            wide = f'<th scope="rowgroup" colspan="{len(table.columns)}">{escape(first)}</th>'
            # A body of its own for each heading: printed, none is left alone at the end of a page.
            body = "</tbody><tbody>" if rows else ""
            rows.append(f'{body}<tr class="{f"heading {row.state}".strip()}">{wide}</tr>')
            continue
        cells = "".join(
            f"<td{_number(column)}>{escape(cell)}</td>"
            for column, cell in zip(table.columns[1:], rest, strict=True)
        )
        site = f' data-site="{escape(row.site)}"' if row.site else ""
        state = f' class="{row.state}"' if row.state else ""
        rows.append(f'<tr{site}{state}><th scope="row">{escape(first)}</th>{cells}</tr>')
    return (
        f'<table id="table-{escape(table.name)}"><caption>{escape(table.caption)}</caption>'
        f"<thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
    )


def _number(column: Column) -> str:
    return ' class="number"' if column.number else ""
