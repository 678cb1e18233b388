"""Changes to a case as the page sends them: values as typed, each accepted or refused and why.

A change is a JSON object with any of the entries of `_CHANGES`. The changed case is written as the
text of a case file and read again, so that everything a case file must satisfy holds here too.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

from headfit.anatomy.arcs import Rules
from headfit.anatomy.template import age_from_text
from headfit.case.case import Case, FreePlace
from headfit.errors import HeadfitError, InputError, SheetError, UnitError, sentence, unknown_name
from headfit.files.case_file import case_of_text, case_text
from headfit.files.case_record import record_of_table
from headfit.files.case_tape import TAPE_UNITS
from headfit.fitting.likely_value import likely_value_mm
from headfit.fitting.measurements import MEASUREMENTS, measurement
from headfit.fitting.shape import shape_model
from headfit.fitting.tape import Tape
from headfit.planning.montages import montage_of
from headfit.units import FRACTION, MM_PER_UNIT, parse_length

MOST_READINGS = 12
# A bar parts readings, but for that of a fraction of an inch.
_BETWEEN = re.compile(r"\s*[;/]\s*")
_BAR = "\N{FRACTION SLASH}"


class RefusedError(InputError):
    """Values of the sheet that were not accepted.

    Attributes
    ----------
    reasons : dict of str to str
        A sentence for each measurement.
    instead : dict of str to str
        What was likely meant, in the unit of the sheet, where a slip of hand explains the value.
    """

    def __init__(self, reasons: Mapping[str, str]) -> None:
        super().__init__(" ".join(reasons.values()), code="refused")
        self.reasons = dict(reasons)
        self.instead: dict[str, str] = {}


def changed_case(
    case: Case,
    change: object,
    folder: Path,
    *,
    quick: bool = False,
    may_read: Callable[[Path], None] = lambda _path: None,
) -> Case:
    """The case after a change.

    Parameters
    ----------
    case : Case
    change : object
        JSON as it came.
    folder : Path
        In which the case file lies.
    quick : bool
        Do not read again the marks that the case names.
    may_read : callable
        Asked before a file that the case names is read.

    Raises
    ------
    RefusedError
        A value of the sheet is not accepted.
    InputError
        Any other entry is not.

    >>> changed_case(Case(), {"tape": {"ring": "56,2; 56.4"}}, Path()).tape.ring_mm
    563.0
    """
    if not isinstance(change, Mapping) or not change:
        raise InputError(
            sentence("a change", "be an object with at least one entry", _short(change)),
            code="change-form",
        )
    for entry in change:
        if entry not in _CHANGES:
            raise unknown_name("entry of a change", entry, _CHANGES)
    new = case
    for entry, value in change.items():
        new = _CHANGES[entry](new, value)
    return _checked(new, folder, quick=quick, may_read=may_read)


def _checked(case: Case, folder: Path, *, quick: bool, may_read: Callable[[Path], None]) -> Case:
    """The case as its own case file would give it."""
    try:
        known = case if quick else None
        return case_of_text(
            case_text(case, folder), folder, known=known, measured=False, may_read=may_read
        )
    except (TypeError, ValueError, AttributeError) as error:
        if isinstance(error, HeadfitError):
            raise
        raise InputError(
            sentence("a change", "hold what a case file can hold", _short(error)),
            code="change-form",
        ) from error


def readings_of(text: object, unit: str, title: str) -> list[float]:
    """Readings in mm from what was typed: numbers in `unit`, or each with its own unit.

    Raises
    ------
    UnitError
        Not numbers, or an unknown unit.

    >>> readings_of("36.2", "cm", "ring"), readings_of("14.2 in / 362 mm", "cm", "ring")
    ([362.0], [360.68, 362.0])
    >>> readings_of("14 1/4; 14,5", "inch", "ring"), readings_of("36/37", "cm", "ring")
    ([361.95, 368.3], [360.0, 370.0])
    """
    if not isinstance(text, str) or len(text) > 200:
        raise UnitError(
            sentence(title, "be text as typed", _short(text)), code="not-a-number", what=title
        )
    told = FRACTION.sub(lambda found: found[0].replace("/", _BAR), text.strip())
    parts = [part.replace(_BAR, "/") for part in _BETWEEN.split(told) if part]
    if not 0 < len(parts) <= MOST_READINGS:
        raise UnitError(
            sentence(title, f"be 1 to {MOST_READINGS} readings", repr(text)),
            code="not-a-number",
            what=title,
        )
    return [
        parse_length(part if part[-1:].isalpha() else f"{part} {unit}", title) for part in parts
    ]


def likely_meant(case: Case, change: object, refused: Mapping[str, str]) -> dict[str, str]:
    """For each refused value that was typed, what was likely meant, in the unit of the sheet."""
    typed = change.get("tape") if isinstance(change, Mapping) else None
    found: dict[str, str] = {}
    for name in refused:
        if not isinstance(typed, Mapping) or name not in MEASUREMENTS:
            continue
        try:
            (wrong,) = readings_of(typed.get(name), case.unit, name)
        except (UnitError, ValueError):
            continue
        model = shape_model(case.age, case.sex, tuple(sorted(set(case.doubtful))))
        meant = likely_value_mm(model, case.tape, name, wrong)
        if not math.isnan(meant):
            digits = {"mm": 0, "cm": 1}.get(case.unit, 2)
            found[name] = f"{meant / MM_PER_UNIT[case.unit]:.{digits}f}"
    return found


def _tape(case: Case, entries: object) -> Case:
    if not isinstance(entries, Mapping):
        raise InputError(
            sentence("tape of a change", "be an object of measurements", _short(entries)),
            code="change-form",
        )
    readings: dict[str, Any] = {} if case.tape is None else dict(case.tape.readings_mm)
    reasons: dict[str, str] = {}
    for name, text in entries.items():
        kind = measurement(str(name))
        if text is None or text == "":
            readings.pop(kind.name, None)
            continue
        try:
            taken = readings_of(text, case.unit, kind.title)
            Tape(**{f"{kind.name}_mm": taken})  # type: ignore[arg-type]
        except (SheetError, UnitError) as error:
            reasons[kind.name] = _in_unit(error, case.unit)
        else:
            readings[kind.name] = taken
    if reasons:
        raise RefusedError(reasons)
    if not readings:
        return replace(case, tape=None)
    ordered = {name: readings[name] for name in MEASUREMENTS if name in readings}
    try:
        sheet = case.tape or Tape(**{f"{name}_mm": taken for name, taken in ordered.items()})
        return replace(case, tape=sheet.with_values(ordered))
    except SheetError as error:  # two values that contradict each other
        raise RefusedError({str(name): str(error) for name in entries}) from error


def _in_unit(error: HeadfitError, unit: str) -> str:
    """The sentence about a value out of range, with both numbers in the unit of the sheet."""
    if error.code != "tape-range":
        return str(error)
    kind = MEASUREMENTS[str(error.facts["measurement"])]
    value = error.facts["value_mm"]
    assert isinstance(value, float)
    factor = MM_PER_UNIT[unit]
    hint = str(error).rpartition("(")[2].rstrip(")")
    for other in ("cm", "mm", "inch"):
        if (
            other != unit
            and kind.lowest_mm <= value / factor * MM_PER_UNIT[other] <= kind.highest_mm
        ):
            hint = f"is it in {other}? then write {value / factor:g} {other}"
            break
    return sentence(
        kind.title,
        f"lie in {kind.lowest_mm / factor:.0f} to {kind.highest_mm / factor:.0f} {unit}",
        f"{value / factor:g} {unit}",
        hint,
    )


def _rules(case: Case, entries: object) -> Case:
    known = [field.name for field in fields(Rules)]
    if not isinstance(entries, Mapping):
        raise InputError(
            sentence("rules of a change", "be an object", _short(entries)), code="change-form"
        )
    for name in entries:
        if name not in known:
            raise unknown_name("rule", name, known)
    chosen: dict[str, Any] = {**vars(case.rules), **entries}
    return replace(case, rules=Rules(**chosen))


def _shape(case: Case, entries: object) -> Case:
    """Shape modes set by hand: a number in mm, or null for what the fit finds."""
    if not isinstance(entries, Mapping):
        raise InputError(
            sentence("shape of a change", "be an object", _short(entries)), code="change-form"
        )
    shape = {**case.shape, **entries}
    return replace(case, shape={k: v for k, v in shape.items() if v is not None})


def _free(case: Case, entries: object) -> Case:
    known = [field.name for field in fields(FreePlace)]
    if not isinstance(entries, list) or not all(isinstance(place, Mapping) for place in entries):
        raise InputError(
            sentence("free of a change", "be a list of places", _short(entries)), code="change-form"
        )
    for place in entries:
        for name in place:
            if name not in known:
                raise unknown_name("entry of a free place", name, known)
    places = tuple(
        FreePlace(**{name: value for name, value in place.items() if value is not None})
        for place in entries
    )
    return replace(case, free=places)


def _unit(case: Case, value: object) -> Case:
    if value not in TAPE_UNITS:
        raise unknown_name("unit of the sheet", value, TAPE_UNITS)
    return replace(case, unit=str(value))


def _doubtful(case: Case, value: object) -> Case:
    if not isinstance(value, list):
        raise InputError(
            sentence("doubtful of a change", "be a list of landmarks", _short(value)),
            code="change-form",
        )
    return replace(case, doubtful=tuple(value))


def _derivations(case: Case, name: object) -> Case:
    if name is None or name == "":
        return case.with_derivations(None)
    return case.with_derivations(montage_of(str(name)).name)


def _marks(case: Case, value: object) -> Case:
    if value is not None:
        raise InputError(
            sentence("marks of a change", "be null, which removes them", _short(value)),
            code="change-form",
        )
    return case.with_marks(None)


def _record(case: Case, value: object) -> Case:
    """What was charted, as the [record] table of a case file; null for nothing."""
    if value is not None and not isinstance(value, Mapping):
        raise InputError(
            sentence("record of a change", "be an object, or null", _short(value)),
            code="change-form",
        )
    return replace(case, record=record_of_table(value or {}))


def _age(case: Case, value: object) -> Case:
    """A template age, years as a number, or an age as typed."""
    given: Any = age_from_text(value) if isinstance(value, str) else value
    return replace(case, age=given)


def _system(case: Case, value: object) -> Case:
    given: dict[str, Any] = {"system": value}
    return case if value == case.system else replace(case, **given, sites=())


def _plain(name: str) -> Callable[[Case, object], Case]:
    def apply(case: Case, value: object) -> Case:
        given: dict[str, Any] = {name: value}
        return replace(case, **given)

    return apply


_CHANGES: dict[str, Callable[[Case, object], Case]] = {
    **{
        name: _plain(name)
        for name in ("label", "sex", "align", "measured_by", "measured_on", "note")
    },
    "age": _age,
    "move_alone": _plain("move_alone"),
    "old_names": _plain("old_names"),
    "system": _system,
    "unit": _unit,
    "doubtful": _doubtful,
    "tape": _tape,
    "shape": _shape,
    "rules": _rules,
    "free": _free,
    "derivations": _derivations,
    "marks": _marks,
    "record": _record,
}


def _short(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:60]}..."
