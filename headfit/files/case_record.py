"""The [record] table of a case file: what was really done at the chair. Impedances in kΩ.

::

    [record]
    done_by = "..."                  # all entries are optional
    done_on = 2024-05-07T07:40:00    # free text or a date
    type = "cup"                     # of the electrodes; one that differs has its own
    material = "gold"
    limit_kohm = 10                  # highest impedance; common practice when not given
    balance_kohm = 5                 # largest difference of impedances
    skin_before = "whole"
    skin_after = "..."
    note = "..."
    reference = { place = "CPz", impedance_kohm = 3 }
    ground = { place = "AFz", impedance_kohm = 4 }
    sites = [
        { name = "F3", impedance_kohm = 4.5 },
        { name = "P4", impedance_kohm = 5, place = "PPO4h", note = "wound" },
        { name = "O1", applied = false, skin_before = "graze", note = "left alone" },
    ]
    other_leads = [{ name = "ECG", place = "left wrist", impedance_kohm = 8 }]
    ticked = ["landmark nasion", "mark Fz"]   # steps at the chair that are done
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from headfit.case.record import ELECTRODE_ENTRIES, TEXTS, ChartedElectrode, SetUpRecord
from headfit.files.case_entries import check_names, text_of, truth_of, wrong_entry

# Of the largest array with all its checks there are fewer.
MOST_TICKED = 4000
_LIMITS = ("limit_kohm", "balance_kohm")
_ENTRIES = (*TEXTS, *_LIMITS, "reference", "ground", "sites", "other_leads", "ticked")
_ELECTRODE_TEXTS = tuple(
    name for name in ELECTRODE_ENTRIES if name not in ("applied", "impedance_kohm")
)


def record_of_table(table: Mapping[str, Any]) -> SetUpRecord:
    """The set-up record of a [record] table.

    Raises
    ------
    InputError
        An entry that is none; the sentence names it.

    >>> record_of_table({"sites": [{"name": "C3", "impedance_kohm": 4}]})
    SetUpRecord(1 applied, 0 left out)
    """
    check_names("entry of [record]", table, _ENTRIES)
    told: dict[str, Any] = {
        name: text_of(_to_the_minute(table[name]), f"{name} of [record]")
        for name in TEXTS
        if name in table
    }
    for name in ("reference", "ground"):
        if name in table:
            told[name] = _electrode(table[name], f"{name} of [record]", named=False)
    for name in ("sites", "other_leads"):
        if name in table:
            what = f"{name} of [record]"
            if not isinstance(table[name], list):
                raise wrong_entry(what, "be a list of electrodes", table[name])
            told[name] = tuple(_electrode(each, what, named=True) for each in table[name])
    if "ticked" in table:
        told["ticked"] = _ticked(table["ticked"])
    limits = {name: table[name] for name in _LIMITS if name in table}
    return SetUpRecord(**told, **limits)


def _ticked(given: object) -> tuple[str, ...]:
    if not isinstance(given, list) or len(given) > MOST_TICKED:
        raise wrong_entry("ticked of [record]", f"be a list of at most {MOST_TICKED} steps", given)
    return tuple(dict.fromkeys(text_of(each, "a step in ticked of [record]") for each in given))


def _to_the_minute(value: object) -> object:
    """A TOML date with its time as people write it; all else as it is."""
    return value.isoformat(" ", "minutes") if isinstance(value, dt.datetime) else value


def _electrode(given: object, what: str, *, named: bool) -> ChartedElectrode:
    if not isinstance(given, Mapping):
        example = '{ name = "C3", impedance_kohm = 4 }' if named else '{ place = "CPz" }'
        raise wrong_entry(what, f"be entries in braces, such as {example}", given)
    known = ELECTRODE_ENTRIES if named else ELECTRODE_ENTRIES[1:]
    check_names(f"entry of {what}", given, known)
    if named and "name" not in given:
        raise wrong_entry(f"each of {what}", "have a name", dict(given))
    told: dict[str, Any] = {
        name: text_of(given[name], f"{name} of {what}")
        for name in _ELECTRODE_TEXTS
        if name in given
    }
    if "applied" in given:
        told["applied"] = truth_of(given["applied"], f"applied of {what}")
    return ChartedElectrode(**({"name": ""} | told), impedance_kohm=given.get("impedance_kohm"))


def table_of_record(record: SetUpRecord) -> dict[str, Any]:
    """The [record] table as it is written to a file; `record_of_table` gives the same record back.

    >>> table_of_record(SetUpRecord((ChartedElectrode("C3", impedance_kohm=4),)))
    {'sites': [{'name': 'C3', 'impedance_kohm': 4.0}]}
    """
    table: dict[str, Any] = {}
    usual = SetUpRecord()
    for name in _ENTRIES:
        value = getattr(record, name)
        if value == getattr(usual, name):
            continue
        if name == "ticked":
            value = list(value)
        elif isinstance(value, tuple):
            value = [_table(each) for each in value]
        elif isinstance(value, ChartedElectrode):
            value = {k: v for k, v in _table(value).items() if k != "name"}
        table[name] = value
    return table


def _table(one: ChartedElectrode) -> dict[str, Any]:
    told = {name: value for name, value in asdict(one).items() if value not in ("", None)}
    if one.place or one.impedance_kohm is not None:
        del told["applied"]  # they tell
    return told
