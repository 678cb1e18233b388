"""A table of marks as CSV or TSV: a header with name, x, y, z, one mark a line.

Only what is written is read here; what it means is settled in `headfit.marks`.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from headfit.errors import FileFormatError, sentence
from headfit.files.formats import extensions
from headfit.files.marks_text import shown
from headfit.marks.as_written import GivenMarks
from headfit.marks.remarks import Remark, correction, listed, note

MOST_ROWS = 10_000

# Of four columns.
_MOST_WRONG = 2

_NAME_TITLES = {
    "name",
    "names",
    "label",
    "labels",
    "site",
    "channel",
    "channel_name",
    "ch_name",
    "electrode",
}
_AXIS_TITLE = re.compile(r"(?P<axis>[xyz])(?:[ _]*[(\[]?(?P<unit>mm|cm|m|inch|in)[)\]]?)?")
_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+(?:[eE][+-]?\d+)?")
_NOTHING = {"", "na", "nan", "none", "null", "-", "--", "n.a.", "#n/a"}
_LINE_END = re.compile(r"\r\n|\n|\r")


def parse_table(text: str, name: str) -> GivenMarks:
    r"""The marks of a table.

    Parameters
    ----------
    text : str
    name : str
        Of the file, for sentences.

    Raises
    ------
    FileFormatError
        No header that names the columns, a line with too few cells, a cell that is no number, or
        too many lines.

    >>> parse_table("name,x_cm,y_cm,z_cm\nCz,0,1,13\n", "a.csv").unit
    'cm'
    """
    n_lines = max(text.count("\n"), text.count("\r"))
    if n_lines > MOST_ROWS + 1:
        raise FileFormatError(
            sentence(name, f"hold at most {MOST_ROWS} marks", f"{n_lines} lines"),
            code="table-too-long",
            n_lines=n_lines,
        )
    remarks: list[Remark] = []
    if "\r\n" in text:
        remarks.append(note("line-ends", f"lines of {name} end in CR LF"))
    lines = _LINE_END.split(text)
    numbered = [(i + 1, line) for i, line in enumerate(lines) if line.strip()]
    if lines[-1].strip():
        remarks.append(
            note("last-line-open", f"the last line of {name} has no line end; it may be cut short")
        )
    number, header = numbered[0]
    separator = _separator(header)
    titles = [cell.strip() for cell in _cells(header, separator, name, number)]
    columns, unit = _columns(titles, name)
    extra = [t for i, t in enumerate(titles) if i not in columns and t]
    if extra:
        remarks.append(
            note(
                "columns-extra",
                f"columns that are not needed are ignored: {listed(extra)}",
                columns=extra,
            )
        )
    reader = _Cells(name)
    names, places = [], []
    for number, line in numbered[1:]:
        cells = _cells(line, separator, name, number)
        if len(cells) <= max(columns):
            raise FileFormatError(
                sentence(
                    f"line {number} of {name}",
                    f"have {len(titles)} cells",
                    f"{len(cells)}",
                    "is the file cut short?",
                ),
                code="table-short-line",
                line=number,
            )
        names.append(cells[columns[0]])
        places.append([reader.number(cells[column], number) for column in columns[1:]])
    found = np.array(places, np.float64)
    return GivenMarks(name, tuple(names), found, unit, remarks=(*remarks, *reader.remarks()))


def _separator(header: str) -> str:
    """Tab, semicolon or comma: the first that parts the header into four."""
    return next((s for s in "\t;," if header.count(s) >= 3), "\t")


def _cells(line: str, separator: str, name: str, number: int) -> list[str]:
    """The cells of one line; quotes are text in a TSV (BIDS) and quotes in a CSV."""
    if separator == "\t":
        return line.split("\t")
    try:
        return next(csv.reader([line], delimiter=separator, strict=True))
    except (csv.Error, StopIteration) as error:
        raise FileFormatError(
            sentence(f"line {number} of {name}", "have its quotes closed", shown(line)),
            code="table-quotes",
            line=number,
        ) from error


def _columns(titles: Sequence[str], name: str) -> tuple[list[int], str | None]:
    """Numbers of the columns name, x, y, z, and the unit the header gives."""
    found: dict[str, list[int]] = {"name": [], "x": [], "y": [], "z": []}
    units = set()
    for i, title in enumerate(titles):
        folded = title.strip("\"'").strip().casefold()
        axis = _AXIS_TITLE.fullmatch(folded)
        if folded in _NAME_TITLES:
            found["name"].append(i)
        elif axis:
            found[axis["axis"]].append(i)
            units.add(axis["unit"])
    wrong = [title for title, places in found.items() if len(places) != 1]
    if wrong or len(units) != 1:
        said = shown(", ".join(titles[:6]) + (", ..." if len(titles) > 6 else ""), 80)
        if len(wrong) > _MOST_WRONG:  # no marks: what such a file holds is nobody's to be told
            said = "others"
        raise FileFormatError(
            sentence(
                f"the first line of {name}",
                "name the columns name, x, y and z once each, all in one unit",
                said,
                _advice(titles, name),
            ),
            code="table-header",
            missing=tuple(wrong),
        )
    return [places[0] for places in found.values()], units.pop()


def _advice(titles: Sequence[str], name: str) -> str:
    """What to do with a table that is none."""
    ending = Path(name).suffix.casefold()
    if ending and ending not in extensions("marks"):
        return "files of other endings: in Python, headfit.marks_from_mne takes what mne can read"
    return "part the columns by tabs, semicolons or commas" if len(titles) == 1 else ""


class _Cells:
    """Reads numbers and remembers which spellings it met."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.commas: list[int] = []
        self.nothings: dict[str, list[int]] = {}

    def number(self, cell: str, line: int) -> float:
        """The number in a cell; NaN where it says there is none."""
        plain = cell.strip().strip("\"'").strip()
        if _NUMBER.fullmatch(plain):
            return float(plain)
        folded = plain.casefold()
        if folded == "n/a":
            return math.nan
        if folded in _NOTHING:
            self.nothings.setdefault(plain, []).append(line)
            return math.nan
        if _DECIMAL_COMMA.fullmatch(plain):
            self.commas.append(line)
            return float(plain.replace(",", "."))
        raise FileFormatError(
            sentence(
                f"a coordinate in line {line} of {self.name}", "be a number or n/a", shown(cell)
            ),
            code="table-not-a-number",
            line=line,
        )

    def remarks(self) -> list[Remark]:
        """What the cells were read as."""
        made = []
        if self.commas:
            made.append(
                correction(
                    "decimal-comma",
                    f"decimal commas of {self.name} are read as points",
                    lines=sorted(set(self.commas)),
                )
            )
        if self.nothings:
            spelled = listed(repr(spelling) for spelling in self.nothings)
            lines = sorted({line for rows in self.nothings.values() for line in rows})
            made.append(
                correction(
                    "missing-spelled",
                    f"cells with {spelled} are read as n/a, the standard's word for missing",
                    lines=lines,
                )
            )
        return made
