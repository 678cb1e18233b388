"""Tables of text with a heading line, tab- or comma-separated, as rows of named cells.

For participants.tsv, sessions.tsv, scans.tsv and tables of tape readings. An empty cell and
``n/a`` are missing, and are left out of their row.
"""

from __future__ import annotations

import csv
import os
from collections import Counter
from pathlib import Path

from headfit.errors import FileFormatError, sentence
from headfit.files.tables import MISSING
from headfit.files.whole import read_text

Row = dict[str, str]


def read_rows(path: str | os.PathLike[str]) -> list[Row]:
    """The rows of a table; every row maps the heading of a column to its cell.

    Raises
    ------
    FileFormatError
        No such file, not UTF-8 text, a heading twice, or more cells in a row than headings.
    """
    source = Path(path)
    text = read_text(source)
    first = text.partition("\n")[0]
    try:
        table = list(csv.reader(text.splitlines(), delimiter="\t" if "\t" in first else ","))
    except csv.Error as error:
        raise FileFormatError(
            sentence(source.name, "be a table", str(error)), code="table-broken"
        ) from error
    header = [title.strip() for title in table[0]] if table else []
    twice = [title for title, n in Counter(header).items() if n > 1]
    if not any(header) or twice:
        got = f"{twice[0]!r} twice" if twice else "no heading"
        raise FileFormatError(
            sentence(source.name, "name each of its columns once", got), code="table-broken"
        )
    rows = []
    for number, cells in enumerate(table[1:], start=2):
        if len(cells) > len(header):
            raise FileFormatError(
                sentence(
                    f"line {number} of {source.name}",
                    f"have {len(header)} cells as its heading",
                    f"{len(cells)}",
                ),
                code="table-broken",
            )
        given = {title: value.strip() for title, value in zip(header, cells, strict=False)}
        rows.append({k: v for k, v in given.items() if k and v and v.casefold() != MISSING})
    return [row for row in rows if row]
