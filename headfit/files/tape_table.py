"""Tape readings of many people as one table: a line a person, a column a measurement and its unit.

Columns are named as the measurements of a case file, with the unit behind: ``nasion_inion_cm``,
``ring_mm``, ``head_breadth_inch``. A person measured twice has two lines; both readings count.
"""

from __future__ import annotations

import os
from collections.abc import Iterable
from pathlib import Path

from headfit.errors import HeadfitError, SheetError, sentence
from headfit.files.row_table import Row, read_rows
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.tape import Tape
from headfit.units import to_mm

COLUMNS = {f"{name}_{unit}": (name, unit) for name in MEASUREMENTS for unit in ("cm", "mm", "inch")}


def read_tape_table(path: str | os.PathLike[str]) -> dict[str, Tape | HeadfitError]:
    """The sheet of every person of a table, or why there is none.

    Raises
    ------
    FileFormatError
        The table cannot be read.
    SheetError
        It has no column ``participant_id``, or none of a measurement.
    """
    source = Path(path)
    rows = read_rows(source)
    titles = {title for row in rows for title in row}
    if "participant_id" not in titles or not titles & COLUMNS.keys():
        near = [t for t in titles if any(t.startswith(name) for name in MEASUREMENTS)]
        raise SheetError(
            sentence(
                source.name,
                "have the column participant_id and one a measurement, such as ring_cm",
                ", ".join(sorted(titles)) or "no line",
                f"{near[0]} needs its unit behind it"
                if near
                else "headfit measurements lists them",
            ),
            code="tape-table-columns",
        )
    by_person: dict[str, list[Row]] = {}
    for row in rows:
        label = row.get("participant_id", "")
        by_person.setdefault(label if label.startswith("sub-") else f"sub-{label}", []).append(row)
    found: dict[str, Tape | HeadfitError] = {}
    for label, lines in by_person.items():
        try:
            sheet = tape_of_rows(lines)
        except HeadfitError as error:
            found[label] = error
            continue
        if sheet is not None:
            found[label] = sheet
    return found


def tape_of_rows(rows: Iterable[Row]) -> Tape | None:
    """The sheet of one person from their lines; None without a reading.

    Raises
    ------
    SheetError
        A cell is no number, or no head has such a value.

    >>> tape_of_rows([{"ring_cm": "56.4"}, {"ring_cm": "56.6", "age": "31"}]).readings_mm["ring"]
    (564.0, 566.0)
    """
    readings: dict[str, list[float]] = {}
    for row in rows:
        for title in sorted(row.keys() & COLUMNS.keys()):
            name, unit = COLUMNS[title]
            readings.setdefault(f"{name}_mm", []).append(_in_mm(row[title], unit, title))
    return Tape(**readings) if readings else None  # type: ignore[arg-type]


def _in_mm(cell: str, unit: str, title: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        raise SheetError(
            sentence(f"a cell of {title}", "be a number with a decimal point", repr(cell)),
            code="tape-table-cell",
        ) from None
    return round(to_mm(value, unit, title), 9)
