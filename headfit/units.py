"""Lengths in millimetres, from the units in which people write them down.

Everything inside headfit is in millimetres. A length that arrives without a unit is refused at
the border: 36 and 360 are both plausible numbers for the same arc.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from decimal import Decimal
from numbers import Real

from headfit.errors import UnitError, sentence

MM_PER_UNIT: dict[str, float] = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "inch": 25.4,  # exact: international yard and pound agreement, 1959
    "inches": 25.4,
    "in": 25.4,
}

_LENGTH = re.compile(r"\s*([+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*([^\W\d].*?)?\s*")
# The parts into which tapes divide an inch: any other bar parts two readings.
FRACTION = re.compile(r"(?:(\d{1,4})\s+)?(\d{1,2})\s*/\s*(2|4|8|16|32|64)(?!\d)")


def to_mm(value: float, unit: str, what: str = "length") -> float:
    """`value` in millimetres.

    Parameters
    ----------
    value : float
        A number in `unit`.
    unit : str
        One of mm, cm, m, inch (in, inches).
    what : str
        Subject of the sentence when something is wrong.

    Raises
    ------
    UnitError
        The unit is unknown or the value is not a finite number.

    >>> to_mm(2.0, "inch")
    50.8
    >>> to_mm(36.0, "ells")
    Traceback (most recent call last):
        ...
    headfit.errors.UnitError: unit of length must be one of mm, cm, m, inch, got 'ells'
    """
    factor = MM_PER_UNIT.get(str(unit).strip().casefold())
    if factor is None:
        raise UnitError(
            sentence(f"unit of {what}", "be one of mm, cm, m, inch", repr(unit)),
            code="unit-unknown",
            what=what,
            unit=unit,
        )
    if not is_finite(value):
        raise UnitError(
            sentence(what, "be a finite number", repr(value)), code="not-a-number", what=what
        )
    return float(value) * factor


def is_finite(value: object) -> bool:
    """Whether a value, as a file may hold any, is a number that floating point can hold.

    >>> is_finite(1), is_finite(True), is_finite("1"), is_finite(float("inf")), is_finite(10**400)
    (True, False, False, False, False)
    """
    if isinstance(value, bool) or not isinstance(value, Real):
        return False
    try:
        return math.isfinite(value)
    except OverflowError:  # a whole number of hundreds of digits
        return False


def cm(length_mm: float | None) -> str:
    """Centimetres to the nearest millimetre, as a tape is read, without their unit; or nothing.

    >>> cm(104.6), cm(None)
    ('10.5', '')
    """
    return "" if length_mm is None else f"{length_mm / 10:.1f}"


INCH_PARTS = 16  # of which a tape in inches is read


def number_in(length_mm: float, unit: str) -> str:
    """A tape length as it is read off a tape in some unit: to the mm, or to 1/16 inch.

    >>> number_in(362.7, "cm"), number_in(362.7, "mm"), number_in(362.7, "inch")
    ('36.3', '363', '14 1/4')
    """
    if unit in ("inch", "inches", "in"):
        whole, parts = divmod(round(length_mm / MM_PER_UNIT["inch"] * INCH_PARTS), INCH_PARTS)
        if not parts:
            return f"{whole}"
        common = math.gcd(parts, INCH_PARTS)
        fraction = f"{parts // common}/{INCH_PARTS // common}"
        return f"{whole} {fraction}" if whole else fraction
    return f"{length_mm:.0f}" if unit == "mm" else cm(length_mm)


def in_unit(length_mm: float, unit: str) -> str:
    """The same with its unit.

    >>> in_unit(360.0, "cm"), in_unit(6.35, "inch")
    ('36.0 cm', '1/4 inch')
    """
    return f"{number_in(length_mm, unit)} {unit}"


# In which unit tape lengths are told to the person whose case it is.
_TOLD_IN: ContextVar[str] = ContextVar("told_in", default="cm")


@contextmanager
def told_in(unit: str) -> Iterator[None]:
    """Tell tape lengths in a unit, that in which the person reads the tape.

    >>> with told_in("inch"):
    ...     tape_length(361.95), tape_unit()
    ('14 1/4 inch', 'inch')
    """
    before = _TOLD_IN.set(unit)
    try:
        yield
    finally:
        _TOLD_IN.reset(before)


def tape_unit() -> str:
    """The unit in which tape lengths are told now."""
    return _TOLD_IN.get()


def tape_number(length_mm: float | None) -> str:
    """A tape length without its unit, as it is told now; or nothing.

    >>> tape_number(104.6), tape_number(None)
    ('10.5', '')
    """
    return "" if length_mm is None else number_in(length_mm, _TOLD_IN.get())


def between_numbers() -> str:
    """What parts two tape lengths: not the bar of a fraction."""
    return "; " if _TOLD_IN.get() == "inch" else " / "


def tape_numbers(lengths_mm: Iterable[float]) -> str:
    """Some tape lengths without their unit, as they are told now.

    >>> tape_numbers([545, 549])
    '54.5 / 54.9'
    """
    return between_numbers().join(map(tape_number, lengths_mm))


def tape_length(length_mm: float) -> str:
    """The same with its unit, as in a sentence.

    >>> tape_length(354.2)
    '35.4 cm'
    """
    return in_unit(length_mm, _TOLD_IN.get())


def parse_length(text: str, what: str = "length") -> float:
    """Millimetres from a number written with its unit, such as ``"36.2 cm"``.

    A decimal comma is read as a point, a fraction as a tape in inches has it. A bare number is
    refused.

    Raises
    ------
    UnitError
        No number, no unit, or an unknown unit.

    >>> parse_length("36,2 cm")
    362.0
    >>> parse_length("14 1/4 inch")
    361.95
    >>> parse_length("36.2", "ring")
    Traceback (most recent call last):
        ...
    headfit.errors.UnitError: ring must carry its unit, got '36.2' (write 36.2 cm, mm or inch)
    """
    text = FRACTION.sub(_decimal, text, count=1)
    match = _LENGTH.fullmatch(text)
    if match is None:
        raise UnitError(
            sentence(what, "be a number with a unit, such as 36.2 cm", repr(text)),
            code="not-a-number",
            what=what,
        )
    number, unit = match.groups()
    if unit is None:
        raise UnitError(
            sentence(what, "carry its unit", repr(text), f"write {number} cm, mm or inch"),
            code="unit-missing",
            what=what,
        )
    return round(to_mm(float(number.replace(",", ".")), unit, what), 9)


def _decimal(fraction: re.Match[str]) -> str:
    """A fraction as a decimal number; as it was where it is none of a tape."""
    whole, above, below = fraction.groups()
    if int(above) >= int(below):
        return fraction[0]
    return str(int(whole or 0) + int(above) / int(below))


def plain(value: float, digits: int = 3) -> str:
    """A number to some significant digits as people write it: never with an exponent.

    >>> plain(3652.1), plain(0.00036521), plain(12.0)
    ('3650', '0.000365', '12')
    """
    return f"{Decimal(f'{value:.{digits}g}'):f}"
