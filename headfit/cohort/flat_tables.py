"""From the rows of people to the tidy tables: what counts, what does not, and why.

Written in the order of the labels, one person at a time, so that neither the order in which people
were solved nor their number matters to the bytes or to memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from headfit.cohort.columns import COMMON_UNITS, FRAMES, TABLES
from headfit.cohort.people import Cohort
from headfit.cohort.person_row import SPOILT, PersonRow, copy_of
from headfit.files.bids_dataset import LeftOut
from headfit.files.parquet import TableWriter, Value, table_writer, write_table

# A set that slid farther than caps do, or whose landmarks look wrong, stays in and is named: to
# leave out what came out badly would make every study look good.
_ABOUT_THE_SET = "set-"
_KEPT = "nothing: a doubt, kept"
_FLAT = ("people", "sets", "marks", "positions", "truth")
Row = Mapping[str, Value]


@dataclass
class _Counts:
    """What is gathered on the way."""

    seen: dict[str, str] = field(default_factory=dict)
    left_out: list[dict[str, Value]] = field(default_factory=list)


def write_flat_tables(cohort: Cohort, rows: Iterable[PersonRow], folder: Path) -> None:
    """Write people, sets, marks, positions and exclusions, and the truth of invented people.

    Parameters
    ----------
    cohort : Cohort
    rows : iterable of PersonRow
        In the order of the people.
    folder : Path

    Raises
    ------
    InputError
        A table cannot be written.
    """
    gathered = _Counts(left_out=[_left_out(each) for each in cohort.left_out])
    invented = any(person.invented for person in cohort.people[:1])
    names = [name for name in _FLAT if invented or name != "truth"]
    with ExitStack() as stack:
        into = {
            name: stack.enter_context(table_writer(folder / name, TABLES[name])) for name in names
        }
        for row in rows:
            _add_person(row, into, gathered, in_prior=bool(cohort.in_prior))
    write_table(folder / "exclusions", TABLES["exclusions"], gathered.left_out)


def _add_person(
    row: PersonRow, into: dict[str, TableWriter], gathered: _Counts, *, in_prior: bool
) -> None:
    label, head_from = row["person"], row.get("head_from", "")
    claim = {"": "", "marks": "consistency"}.get(head_from, "accuracy")
    if row["problem"]:
        _exclude(gathered, row, {}, "person", row["problem"])
    n_used = 0
    for unit in row["units"]:
        n_used += _add_set(row, unit, claim, into, gathered)
        if "truth" in unit:
            into["truth"].add(_truth(label, unit["truth"]))
    repeat = row.get("repeat", {})
    for doubt in repeat.get("doubts", ()):
        _exclude(gathered, row, {}, _KEPT, doubt)
    into["people"].add(
        {
            **{key: row[key] for key in ("person", "age", "sex", "child", "invented", "problem")},
            "in_prior": in_prior,
            "head_from": head_from,
            "claim": claim,
            "n_measurements": len(row.get("measured_mm", {})),
            "n_sets": n_used,
            "repeat_landmarks_mm": repeat.get("by_landmarks_mm"),
            "repeat_fit_mm": repeat.get("by_fit_mm"),
        }
    )
    for site, point, sure in zip(
        row.get("sites", ()), row.get("points_mm", ()), row.get("sure_mm", ()), strict=True
    ):
        x, y, z = point
        into["positions"].add(
            {"person": label, "site": site, "x_mm": x, "y_mm": y, "z_mm": z, "sure_mm": sure}
        )


def _add_set(
    row: PersonRow, unit: PersonRow, claim: str, into: dict[str, TableWriter], gathered: _Counts
) -> bool:
    """Whether the set counts, after it and its marks were written."""
    about = {key: unit[key] for key in ("session", "run", "acquisition", "level")}
    about |= {"person": row["person"], "claim": claim}
    reason = _why_not(row, unit, gathered)
    if reason:
        _exclude(gathered, row, unit, unit["file"], reason)
    used = not reason
    if "names" not in unit:
        into["sets"].add({**about, "file": unit["file"], "used": False})
        return False
    marks = list(_marks(unit))
    kept = [mark for mark in marks if not mark["mixed_up"]]
    for mark in marks:
        into["marks"].add({**about, **mark, "used": used and not mark["mixed_up"]})
    for code, doubt in unit["doubts"].items():
        if used and code.startswith(_ABOUT_THE_SET):
            _exclude(gathered, row, unit, _KEPT, doubt)
    if used and unit["mixed_up"]:
        names = ", ".join(unit["mixed_up"])
        _exclude(gathered, row, unit, "marks", f"names look mixed up: {names}")
    parts = zip(
        COMMON_UNITS,
        unit["turn_degrees"] + unit["slide_mm"],
        unit["turn_spread_degrees"] + unit["slide_spread_mm"],
        strict=True,
    )
    common = {
        key: value
        for name, middle, se in parts
        for key, value in ((name, middle), (f"{name}_se", se))
    }
    into["sets"].add(
        {
            **about,
            **common,
            **{f"{frame}_mm": _mean_size(kept, frame) for frame in FRAMES},
            "file": unit["file"],
            "aligned_by": unit["aligned_by"],
            "n_marks": len(kept),
            "n_stands_out": len(unit["stands_out"]),
            "n_mixed_up": len(unit["mixed_up"]),
            "used": used,
            "verdict": unit["verdict"],
            "doubts": "; ".join(unit["doubts"].values()),
        }
    )
    return used


def _why_not(row: PersonRow, unit: PersonRow, gathered: _Counts) -> str:
    """Why a set of marks does not count; empty when it does."""
    where = f"{row['person']} {unit['file']}"
    places = unit["places"]
    first = gathered.seen.setdefault(places, where) if places else where
    if unit["problem"]:
        return str(unit["problem"])
    if row["problem"]:
        return "the person has no head"
    if first != where:
        return copy_of(first)
    spoilt = [unit["doubts"][code] for code in SPOILT if code in unit.get("doubts", {})]
    return str(spoilt[0]) if spoilt else ""


def _marks(unit: PersonRow) -> Iterator[dict[str, Any]]:
    columns = ("names", "along_mm", "across_mm", "own_along_mm", "own_across_mm", "uncertainty_mm")
    for site, along, across, own_along, own_across, unsure in zip(
        *(unit[column] for column in columns), strict=True
    ):
        yield {
            "site": site,
            "landmarks_along_mm": along,
            "landmarks_across_mm": across,
            "fit_along_mm": own_along,
            "fit_across_mm": own_across,
            "uncertainty_mm": unsure,
            "stands_out": site in unit["stands_out"],
            "mixed_up": site in unit["mixed_up"],
        }


def _mean_size(marks: list[dict[str, Any]], frame: str) -> float | None:
    sizes = [
        math.hypot(mark[f"{frame}_along_mm"], mark[f"{frame}_across_mm"])
        for mark in marks
        if mark[f"{frame}_along_mm"] is not None
    ]
    return math.fsum(sizes) / len(sizes) if sizes else None


def _truth(label: str, truth: Mapping[str, Any]) -> Row:
    parts = truth["turn_degrees"] + truth["slide_mm"]
    return {
        "person": label,
        **dict(zip(COMMON_UNITS, parts, strict=True)),
        "off": truth["off"],
        "exchanged": ", ".join(truth["exchanged"]),
    }


def _exclude(gathered: _Counts, row: PersonRow, unit: PersonRow, what: str, reason: str) -> None:
    where = {key: unit.get(key, "") for key in ("session", "run")}
    gathered.left_out.append({"person": row["person"], **where, "what": what, "reason": reason})


def _left_out(each: LeftOut) -> dict[str, Value]:
    return {"person": each.person, "what": each.what, "reason": each.reason}
