"""What was done and typed on the chair's one page, carried back into a case: a small JSON text.

::

    {"headfit_chair": 1, "label": "...", "checksum": "...",
     "tape": {"nasion_inion": "36.2 cm"},    readings, each with its unit
     "arcs": {"row FC": "35.2 cm"},          of arcs that are the length of no measurement
     "doubtful": ["inion"],                  landmarks that were hard to find
     "record": {...}}                        the [record] table of a case file
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.case.case import Case
from headfit.errors import FileFormatError, InputError, sentence, unknown_name
from headfit.files.case_entries import check_names, text_of, wrong_entry
from headfit.files.case_record import record_of_table
from headfit.files.whole import about, read_text
from headfit.fitting.measurements import MEASUREMENTS, measurement
from headfit.fitting.tape import Tape
from headfit.units import parse_length

KEY = "headfit_chair"
VERSION = 1
_ENTRIES = (KEY, "label", "checksum", "tape", "arcs", "doubtful", "record")


def with_chair_notes(case: Case, path: str | Path) -> Case:
    """A case with what was done at the chair: readings, doubtful landmarks, and the record.

    A reading takes the place of the one before it; what the case said of the tape otherwise stays.

    Raises
    ------
    FileFormatError
        The file is missing or no notes of the chair.
    InputError
        The notes are of another case, or an entry is none; the sentence names it.
    """
    with about(path):
        return case_with(case, read_text(path))


def case_with(case: Case, text: str) -> Case:
    """The same from the text of such a file; raises as `with_chair_notes`."""
    notes = _notes(text)
    if notes.get("label") != case.label:
        raise InputError(
            sentence(
                "notes of the chair",
                f"be of the case {case.label!r}",
                repr(str(notes.get("label"))[:60]),
                "take the case file from which the page was made",
            ),
            code="chair-other-case",
        )
    record = record_of_table(_object(notes, "record"))
    arcs = [
        f"{_short(arc, 'arc')} read as {_short(said, 'arc')}."
        for arc, said in _object(notes, "arcs").items()
    ]
    new = [words for words in arcs if words not in record.note]
    return replace(
        case,
        tape=_tape(case.tape, _object(notes, "tape")),
        doubtful=_doubtful(notes.get("doubtful", [])),
        record=replace(record, note=" ".join(filter(None, [record.note, *new]))),
    )


def _notes(text: str) -> Mapping[str, Any]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        found = None
    if not isinstance(found, Mapping) or found.get(KEY) != VERSION:
        raise FileFormatError(
            sentence(
                "the file",
                f'be notes of the chair, which begin with {{"{KEY}": {VERSION}',
                repr(text[:40]),
                "carry them back from the page once more",
            ),
            code="chair-notes",
        )
    check_names("entry of the notes", found, _ENTRIES)
    return found


def _object(notes: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = notes.get(name, {})
    if not isinstance(found, Mapping):
        raise wrong_entry(f"{name} of the notes", "be an object", found)
    return found


def _short(value: object, what: str) -> str:
    return text_of(value, f"{what} of the notes")[:80]


def _tape(tape: Tape | None, typed: Mapping[str, Any]) -> Tape | None:
    if not typed:
        return tape
    readings: dict[str, Any] = {} if tape is None else dict(tape.readings_mm)
    for name, said in typed.items():
        kind = measurement(str(name))
        readings[kind.name] = [parse_length(text_of(said, kind.title), kind.title)]
    ordered = {name: readings[name] for name in MEASUREMENTS if name in readings}
    if tape is not None:
        return tape.with_values(ordered)
    return Tape(**{f"{name}_mm": taken for name, taken in ordered.items()})


def _doubtful(given: object) -> tuple[str, ...]:
    if not isinstance(given, list):
        raise wrong_entry("doubtful of the notes", 'be a list, such as ["inion"]', given)
    for name in given:
        if name not in LANDMARK_NAMES:
            raise unknown_name("landmark in doubtful", str(name)[:60], LANDMARK_NAMES)
    return tuple(dict.fromkeys(given))
