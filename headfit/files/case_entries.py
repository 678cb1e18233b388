"""Single entries of a case file: each is what it must be, or one sentence says what is wrong."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from headfit.errors import InputError, sentence
from headfit.errors import unknown_name as unknown
from headfit.fitting.hand_set_shape import checked_mode_mm
from headfit.units import to_mm


def wrong_entry(what: str, must: str, got: object, hint: str = "") -> InputError:
    """The error for an entry, with what was found cut short."""
    shown = repr(got)
    if len(shown) > 60:
        shown = f"{shown[:60]}..."
    return InputError(sentence(what, must, shown, hint), code="case-entry", entry=what)


def table_of(found: Mapping[str, Any], name: str) -> dict[str, Any]:
    """The table of a name, empty when it is not there."""
    table = found.get(name, {})
    if not isinstance(table, dict):
        raise wrong_entry(
            f"[{name}]", "be a table of entries", table, f"write [{name}] on its own line"
        )
    return table


def check_names(kind: str, table: Mapping[str, Any], known: tuple[str, ...]) -> None:
    """Refuse a name nobody declared: a misspelt entry would be ignored in silence."""
    for name in table:
        if name not in known:
            raise unknown(kind, name[:60], known)


def text_of(value: object, name: str) -> str:
    """Text on one line; a TOML date or time as text."""
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    if not isinstance(value, str) or len(value) > 2000:
        raise wrong_entry(name, 'be text in quotes, such as "..."', value)
    # Control characters could steer the terminal on which the text is shown.
    return " ".join("".join(c if c.isprintable() else " " for c in value).split())


def truth_of(value: object, name: str) -> bool:
    """True or False."""
    if not isinstance(value, bool):
        raise wrong_entry(name, "be true or false", value)
    return value


def choice_of(kind: str, value: object, known: Mapping[str, Any] | tuple[str, ...]) -> str | None:
    """One of the known names, or None when nothing is given."""
    if value is None:
        return None
    if value not in tuple(known):
        raise unknown(kind, value, known)
    return str(value)


def point_of(value: object, name: str) -> tuple[float, float, float]:
    """Three coordinates in mm."""
    if not isinstance(value, list) or len(value) != 3:
        raise wrong_entry(name, "be three numbers [x, y, z] in mm", value)
    x, y, z = (to_mm(number, "mm", name) for number in value)
    return x, y, z


def bands_of(value: object, name: str) -> tuple[float, float]:
    """Two rising limits in mm."""
    numbers = value if isinstance(value, list) else []
    if len(numbers) == 2:
        near, far = (to_mm(number, "mm", name) for number in numbers)
        if 0.0 < near < far < 100.0:
            return near, far
    raise wrong_entry(name, "be two rising numbers of mm", value, "such as [5, 10]")


def shape_of(table: Mapping[str, Any]) -> dict[str, float]:
    """Shape modes set by hand, in mm."""
    return {name: checked_mode_mm(name, value) for name, value in table.items()}
