"""The set-up record in a BIDS electrodes.tsv, written and read back.

`type`, `material` and `impedance` (in kOhm) are columns of the standard (BIDS 1.11, "Electrodes
description"); the others are headfit's own, described in electrodes.json, which also holds what was
charted of the set-up as a whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from headfit.case.record import GROUND, REFERENCE, ChartedElectrode, SetUpRecord
from headfit.case.record_findings import site_at
from headfit.errors import FileFormatError, sentence, unknown_name
from headfit.files.case_record import record_of_table, table_of_record
from headfit.files.landmark_files import read_json
from headfit.files.tables import FORMULA_SIGNS, MISSING, Cell
from headfit.files.whole import about, read_text

RECORD_HEADER = (
    "type",
    "material",
    "impedance",
    "role",
    "charted",
    "stands_at",
    "skin_before",
    "skin_after",
    "note",
)
RECORD_KEY = "SetUpRecord"
MOST_LINES = 10_000

_ROLES = ("site", "reference", "ground", "other")
_CHARTED = {"applied": True, "left_out": False}
# Column of the table -> entry of an electrode in the [record] table of a case file.
_TEXTS = {
    "type": "type",
    "material": "material",
    "stands_at": "place",
    "skin_before": "skin_before",
    "skin_after": "skin_after",
    "note": "note",
}


def record_columns(record: SetUpRecord) -> dict[str, Any]:
    """What electrodes.json says of these columns, and the record of the set-up as a whole."""
    whole = table_of_record(record)
    for name in ("sites", "reference", "ground", "other_leads"):
        whole.pop(name, None)
    return {
        "type": {"Description": "Kind of electrode, as charted."},
        "material": {"Description": "Material of the electrode, as charted."},
        "impedance": {"Description": "Impedance, as charted.", "Units": "kOhm"},
        "role": {
            "Description": "What the electrode is for.",
            "Levels": {
                "site": "A site of the recording.",
                "reference": "The reference of the recording.",
                "ground": "The ground of the amplifier.",
                "other": "Another lead, such as ECG.",
            },
        },
        "charted": {
            "Description": "What was really done; n/a where nobody charted it.",
            "Levels": {"applied": "It was applied.", "left_out": "It was left out."},
        },
        "stands_at": {
            "Description": "Where it was applied when not at its planned place: a site, or words."
        },
        "skin_before": {"Description": "Skin before the electrode was applied, as charted."},
        "skin_after": {"Description": "Skin after the electrode was taken off, as charted."},
        "note": {"Description": "Further words, as charted."},
        RECORD_KEY: {
            "Description": "What was charted of the set-up as a whole; limits in kOhm. Names of "
            "persons, dates and words on the skin are personal data: look before you share.",
            **whole,
        },
    }


def record_cells(record: SetUpRecord, one: ChartedElectrode, role: str) -> list[Cell]:
    """The cells of `RECORD_HEADER` for an electrode."""
    usual = record if one.applied else ChartedElectrode("")
    return [
        one.type or usual.type or None,
        one.material or usual.material or None,
        None if one.impedance_kohm is None else f"{one.impedance_kohm:g}",
        role,
        next((word for word, applied in _CHARTED.items() if applied is one.applied), None),
        one.place or None,
        one.skin_before or None,
        one.skin_after or None,
        one.note or None,
    ]


def leads_of(record: SetUpRecord) -> Iterator[tuple[str, ChartedElectrode]]:
    """Reference, ground and other leads, each after its role."""
    for role, one in (("reference", record.reference), ("ground", record.ground)):
        if one is not None:
            yield role, one
    yield from (("other", one) for one in record.other_leads)


def read_record(path: str | Path) -> SetUpRecord:
    """The set-up record in an electrodes.tsv, with what its electrodes.json adds.

    Any table of the standard will do: a row named REF or GND is reference or ground, one that bears
    the name of a site is that site, any other is another lead.

    Raises
    ------
    FileFormatError
        The file is missing, empty, no such table, or charts nothing.
    InputError
        An entry that is none; the sentence names it.
    """
    path = Path(path)
    text = read_text(path)
    with about(path):
        table = _table_of_rows(list(_rows(text)))
        found = record_of_table(table)
    beside = path.with_suffix(".json")
    if path.suffix != ".tsv" or not beside.is_file():
        return found
    whole = read_json(beside).get(RECORD_KEY)
    if not isinstance(whole, Mapping):
        return found
    with about(beside):
        return record_of_table({k: v for k, v in whole.items() if k != "Description"} | table)


def _rows(text: str) -> Iterator[dict[str, str]]:
    """Each line as column -> what stands there; what is missing is left out."""
    lines = text.split("\n")
    header = [title.strip() for title in lines[0].split("\t")]
    if header.count("name") != 1 or not set(header) & set(RECORD_HEADER):
        raise FileFormatError(
            sentence(
                "the first line",
                "name the columns name and impedance, or others of a set-up record",
                ", ".join(header[:6])[:80],
                "part the columns by tabs",
            ),
            code="record-header",
        )
    if len(lines) > MOST_LINES:
        raise FileFormatError(
            sentence("the table", f"hold at most {MOST_LINES} lines", f"{len(lines)}"),
            code="table-too-long",
        )
    for number, line in enumerate(lines[1:], 2):
        cells = line.split("\t")
        if not line.strip():
            continue
        if len(cells) != len(header):
            raise FileFormatError(
                sentence(
                    f"line {number}",
                    f"have {len(header)} cells",
                    f"{len(cells)}",
                    "is the file cut short?",
                ),
                code="table-short-line",
                line=number,
            )
        told = {title: _plain(cell) for title, cell in zip(header, cells, strict=True)}
        yield {title: cell for title, cell in told.items() if cell}


def _plain(cell: str) -> str:
    """The words of a cell, without the apostrophe that keeps a spreadsheet from running them."""
    words = cell.strip()
    if words[:1] == "'" and words[1:].startswith(FORMULA_SIGNS):
        words = words[1:]
    return "" if words == MISSING else words


def _table_of_rows(rows: list[dict[str, str]]) -> dict[str, Any]:
    """The [record] table that a case file would hold."""
    table: dict[str, Any] = {"sites": [], "other_leads": []}
    for row in rows:
        name = row.get("name", "")
        role = row.get("role") or _role_of(name)
        if role not in _ROLES:
            raise unknown_name("role", role[:60], _ROLES)
        entry: dict[str, Any] = {
            entry: row[column] for column, entry in _TEXTS.items() if column in row
        }
        if "charted" in row:
            if row["charted"] not in _CHARTED:
                raise unknown_name("word for what was charted", row["charted"][:60], _CHARTED)
            entry["applied"] = _CHARTED[row["charted"]]
        if "impedance" in row:
            entry["impedance_kohm"] = _number(row["impedance"])
        if role in ("site", "other"):
            table["sites" if role == "site" else "other_leads"].append({"name": name, **entry})
        elif role in table:
            raise FileFormatError(
                sentence(f"the {role}", "stand in one row", "two"), code="record-twice"
            )
        else:
            table[role] = entry
    return table


def _role_of(name: str) -> str:
    if name in (REFERENCE, GROUND):
        return "reference" if name == REFERENCE else "ground"
    return "site" if site_at(name) else "other"


def _number(cell: str) -> object:
    """The number in a cell; where it holds none the cell itself, which is then refused."""
    try:
        return float(cell)
    except ValueError:
        return cell
