"""Shape modes a person may set by hand: what the eye sees and no tape does, in plain words.

A value is in mm: the root mean square of the move over the vault, so that the scalp moves by up to
two or three times as much at one place. What each mode does was read off renders of both signs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from headfit.errors import InputError, sentence, unknown_name
from headfit.units import to_mm

# About ten standard deviations; 5 mm flatten the back of one side by 10 mm.
MOST_MM = 6.0


@dataclass(frozen=True)
class HandMode:
    """A shape mode in words.

    Attributes
    ----------
    title : str
    below, above : str
        What a value below and above 0 means.
    common : bool
        Offered as a slider from the start; the others once a case file sets them.
    """

    title: str
    below: str
    above: str
    common: bool = False


HAND_MODES: dict[str, HandMode] = {
    "vault_2_m2": HandMode("back of the head flat on one side", "left", "right", common=True),
    "vault_2_m1": HandMode("one side higher", "left", "right", common=True),
    "vault_3_m2": HandMode("forehead fuller on one side, high up", "left", "right", common=True),
    "vault_3_m1": HandMode("crown to one side", "left", "right", common=True),
    "vault_3_0": HandMode("crown", "flat", "pointed", common=True),
    "vault_3_2": HandMode("keel from front to back", "hollow", "ridge", common=True),
    "vault_3_3": HandMode("forehead seen from above", "broad", "narrow", common=True),
    "vault_4_4": HandMode("outline seen from above", "square", "diamond", common=True),
    "vault_2_1": HandMode("higher in front or behind", "behind", "in front"),
    "vault_3_1": HandMode("highest before or behind the crown", "behind", "before"),
    "vault_4_m1": HandMode("bump beside the crown", "left", "right"),
    "vault_4_0": HandMode("knob on the crown", "dip", "knob"),
    "vault_4_1": HandMode("step along the crown", "step up to the back", "step down to the back"),
    "vault_4_2": HandMode("crown hollow on both sides", "full", "hollow"),
    "vault_4_3": HandMode("upper outline from above", "narrow behind", "narrow in front"),
}


def checked_mode_mm(name: str, value: object) -> float:
    """The value of a mode in mm.

    Raises
    ------
    UnknownNameError
        No such mode.
    InputError
        Not a number, or beyond what any head has.

    >>> checked_mode_mm("vault_3_2", 2)
    2.0
    >>> checked_mode_mm("vault_32", 2)
    Traceback (most recent call last):
        ...
    headfit.errors.UnknownNameError: unknown shape mode 'vault_32': did you mean 'vault_3_2'?
    """
    if name not in HAND_MODES:
        raise unknown_name("shape mode", name[:60], HAND_MODES)
    what = f"{name} of [shape] ({HAND_MODES[name].title})"
    value_mm = to_mm(value, "mm", what)  # type: ignore[arg-type]  # which checks that it is a number
    if abs(value_mm) > MOST_MM:
        raise InputError(
            sentence(
                what,
                f"lie in -{MOST_MM:g} to {MOST_MM:g} mm",
                f"{value_mm:g} mm",
                "1 mm moves the scalp by 2 to 3 mm where it moves most",
            ),
            code="case-entry",
            entry=name,
        )
    return value_mm


def hand_words(shape: Mapping[str, float]) -> str:
    """What was set by hand, as one sentence, or nothing.

    >>> hand_words({"vault_2_m2": 3.0, "vault_3_2": -1.5})
    'Set by hand, not measured: back of the head flat on one side (right) 3.0 mm; keel from front to
    back (hollow) 1.5 mm.'
    >>> hand_words({})
    ''
    """
    said = [_in_words(HAND_MODES[name], shape[name]) for name in HAND_MODES if name in shape]
    return f"Set by hand, not measured: {'; '.join(said)}." if said else ""


def _in_words(mode: HandMode, value_mm: float) -> str:
    if not round(value_mm, 1):
        return f"{mode.title} 0 mm"
    return f"{mode.title} ({mode.above if value_mm > 0 else mode.below}) {abs(value_mm):.1f} mm"
