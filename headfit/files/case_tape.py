"""The [tape] table of a case file: values and spreads in the unit the person wrote."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.errors import SheetError, UnitError, sentence
from headfit.errors import unknown_name as unknown
from headfit.files.case_entries import check_names, table_of, wrong_entry
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.tape import Tape
from headfit.units import MM_PER_UNIT, to_mm

TAPE_UNITS = ("cm", "mm", "inch")


def tape_of_table(
    table: Mapping[str, Any], *, measured: bool = True
) -> tuple[Tape | None, str, tuple[str, ...]]:
    """The sheet in mm, the unit it was read in, and the doubtful landmarks.

    The sheet is None when it holds no reading; that is refused unless `measured` is False.
    """
    if not table:
        raise SheetError(
            sentence(
                "a case file",
                "hold a [tape] table",
                "none",
                'write [tape], then unit = "cm", then nasion_inion = 36.0 and so on',
            ),
            code="sheet-empty",
        )
    unit = table.get("unit")
    if unit is None:
        raise UnitError(
            sentence("[tape]", "name its unit", "none", 'write unit = "cm", "mm" or "inch"'),
            code="unit-missing",
        )
    if unit not in TAPE_UNITS:
        raise UnitError(
            sentence("unit of [tape]", 'be "cm", "mm" or "inch"', repr(unit)), code="unit-unknown"
        )
    doubtful = _doubtful(table.get("doubtful", []))
    spread = table_of(table, "spread")
    readings = {k: v for k, v in table.items() if k not in ("unit", "doubtful", "spread")}
    check_names("measurement", readings, tuple(MEASUREMENTS))
    check_names("measurement", spread, tuple(MEASUREMENTS))
    values = {f"{k}_mm": _in_mm(v, unit, MEASUREMENTS[k].title) for k, v in readings.items()}
    spreads = {k: _in_mm(v, unit, f"spread of {MEASUREMENTS[k].title}") for k, v in spread.items()}
    for name, value in spreads.items():
        if isinstance(value, list):
            raise wrong_entry(
                f"spread of {MEASUREMENTS[name].title}", "be one number", spread[name]
            )
    if not values and not measured:
        return None, unit, doubtful
    try:
        return Tape(**values, spreads_mm=spreads), unit, doubtful
    except SheetError as error:
        raise _in_the_unit_written(error, unit) from None


def _doubtful(given: object) -> tuple[str, ...]:
    if not isinstance(given, list):
        raise wrong_entry("doubtful", 'be a list of landmarks, such as ["inion"]', given)
    for name in given:
        if name not in LANDMARK_NAMES:
            raise unknown("landmark in doubtful", name, LANDMARK_NAMES)
    return tuple(given)


def _in_mm(value: Any, unit: str, what: str) -> Any:
    """One reading or a list of readings in mm, without the dust of binary multiplication."""
    if isinstance(value, list):
        return [round(to_mm(reading, unit, what), 9) for reading in value]
    return round(to_mm(value, unit, what), 9)


def _in_the_unit_written(error: SheetError, unit: str) -> SheetError:
    """The sentence about a value out of range, in the unit of the file and guessing at the unit."""
    if error.code != "tape-range" or unit == "mm":
        return error
    kind = MEASUREMENTS[str(error.facts["measurement"])]
    value_mm = error.facts["value_mm"]
    assert isinstance(value_mm, float)
    factor = MM_PER_UNIT[unit]
    written = value_mm / factor
    hint = "measure it again"
    for other in TAPE_UNITS:
        if kind.lowest_mm <= written * MM_PER_UNIT[other] <= kind.highest_mm:
            hint = f'should it say unit = "{other}"?'
            break
    else:
        if kind.lowest_mm <= value_mm / 10 <= kind.highest_mm:
            hint = "is a decimal point missing?"
        elif kind.lowest_mm <= value_mm * 10 <= kind.highest_mm:
            hint = "is there a digit missing?"
    return SheetError(
        sentence(
            kind.title,
            f"lie in {kind.lowest_mm / factor:.0f} to {kind.highest_mm / factor:.0f} {unit}",
            f"{written:g} {unit}",
            hint,
        ),
        code=error.code,
        **error.facts,
    )


def table_of_tape(tape: Tape | None, unit: str, doubtful: tuple[str, ...]) -> dict[str, Any]:
    """The [tape] table as it is written to a file, in `unit`."""
    factor = MM_PER_UNIT[unit]
    table: dict[str, Any] = {"unit": unit}
    for name, readings in (tape.readings_mm if tape is not None else {}).items():
        written = [round(reading / factor, 9) for reading in readings]
        table[name] = written if len(written) > 1 else written[0]
    if doubtful:
        table["doubtful"] = list(doubtful)
    if tape is not None and tape.spreads_mm:
        spreads = tape.spreads_mm.items()
        table["spread"] = {name: round(value / factor, 9) for name, value in spreads}
    return table
