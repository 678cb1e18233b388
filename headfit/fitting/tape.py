"""The measurement sheet: what was measured on a head, each value with its spread. Millimetres.

A sheet holds any subset of `headfit.fitting.measurements`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields

from headfit.errors import SheetError, sentence
from headfit.fitting.measurements import MEASUREMENTS, Measurement, measurement
from headfit.units import is_finite, tape_length

Reading = float | Sequence[float] | None


@dataclass(frozen=True, eq=False)
class Tape:
    """What was measured on one head; every value optional, all in mm.

    A value is one reading or a list of repeated readings; repeated readings give the spread of
    their mean.

    Parameters
    ----------
    nasion_inion_mm, preauricular_arc_mm : float
        The two arcs over the vertex.
    ring_mm, largest_circumference_mm : float
        The 10 % ring through Fpz, T7, Oz, T8; the tape over glabella and occiput.
    frontal_row_mm, parietal_row_mm : float
        F7-Fz-F8, P7-Pz-P8.
    left_parasagittal_mm, right_parasagittal_mm : float
        Fp1-C3-O1, Fp2-C4-O2.
    left_ring_front_mm, left_ring_back_mm, right_ring_front_mm, right_ring_back_mm : float
        Ring quarters Fpz-T7, T7-Oz, Fpz-T8, T8-Oz.
    left_ring_mm, right_ring_mm : float
        Ring halves.
    nasion_cz_mm, cz_inion_mm : float
        Halves of the midline.
    ear_arc_fpz_mm, ear_arc_fz_mm, ear_arc_pz_mm, ear_arc_oz_mm : float
        From one preauricular point over the site to the other.
    head_length_mm, head_breadth_mm, preauricular_width_mm, nasion_inion_chord_mm : float
        By caliper.
    left_preauricular_nasion_chord_mm, right_preauricular_nasion_chord_mm : float
        By caliper from one preauricular point to the nasion.
    left_preauricular_inion_chord_mm, right_preauricular_inion_chord_mm : float
        By caliper from one preauricular point to the inion.
    left_diagonal_mm, right_diagonal_mm : float
        Left front to right back, right front to left back, 30 degrees off the midline.
    cz_height_mm : float
        Cz above the plane of nasion and preauricular points.
    spreads_mm : mapping of str to float
        Own standard deviations of one reading, by measurement name.

    Raises
    ------
    SheetError
        Nothing measured, a value that is no number, out of human range, or two values that
        contradict each other.
    UnknownNameError
        A spread for a measurement nobody declared.

    >>> Tape(nasion_inion_mm=36.0)
    Traceback (most recent call last):
        ...
    headfit.errors.SheetError: nasion-inion arc must lie in 150 to 480 mm, got 36 mm (are these \
centimetres?)
    >>> Tape(ring_mm=[560, 564]).ring_mm
    562.0
    """

    nasion_inion_mm: Reading = None
    preauricular_arc_mm: Reading = None
    ring_mm: Reading = None
    largest_circumference_mm: Reading = None
    frontal_row_mm: Reading = None
    parietal_row_mm: Reading = None
    left_parasagittal_mm: Reading = None
    right_parasagittal_mm: Reading = None
    left_ring_front_mm: Reading = None
    left_ring_back_mm: Reading = None
    right_ring_front_mm: Reading = None
    right_ring_back_mm: Reading = None
    left_ring_mm: Reading = None
    right_ring_mm: Reading = None
    nasion_cz_mm: Reading = None
    cz_inion_mm: Reading = None
    ear_arc_fpz_mm: Reading = None
    ear_arc_fz_mm: Reading = None
    ear_arc_pz_mm: Reading = None
    ear_arc_oz_mm: Reading = None
    head_length_mm: Reading = None
    head_breadth_mm: Reading = None
    preauricular_width_mm: Reading = None
    nasion_inion_chord_mm: Reading = None
    left_preauricular_nasion_chord_mm: Reading = None
    right_preauricular_nasion_chord_mm: Reading = None
    left_preauricular_inion_chord_mm: Reading = None
    right_preauricular_inion_chord_mm: Reading = None
    left_diagonal_mm: Reading = None
    right_diagonal_mm: Reading = None
    cz_height_mm: Reading = None
    spreads_mm: Mapping[str, float] = field(default_factory=dict)
    readings_mm: Mapping[str, tuple[float, ...]] = field(init=False, repr=False)

    def __post_init__(self) -> None:
        readings: dict[str, tuple[float, ...]] = {}
        for name, kind in MEASUREMENTS.items():
            given = getattr(self, f"{name}_mm")
            if given is None:
                continue
            taken = _readings(kind, given)
            readings[name] = taken
            object.__setattr__(self, f"{name}_mm", sum(taken) / len(taken))
        if not readings:
            raise SheetError(
                sentence(
                    "a measurement sheet",
                    "hold at least one value",
                    "none",
                    "start with the nasion-inion arc, the preauricular arc and the ring",
                ),
                code="sheet-empty",
            )
        for name, spread in self.spreads_mm.items():
            title = measurement(name).title
            if not (is_finite(spread) and 0 < spread <= 50):
                raise SheetError(
                    sentence(f"spread of {title}", "lie in 0 to 50 mm", f"{spread} mm"),
                    code="spread-range",
                    measurement=name,
                )
        object.__setattr__(self, "readings_mm", readings)
        object.__setattr__(
            self, "spreads_mm", {k.removesuffix("_mm"): v for k, v in self.spreads_mm.items()}
        )
        _check_contradictions(self.values_mm)

    def __repr__(self) -> str:
        said = [f"{name}_mm={value:g}" for name, value in self.values_mm.items()]
        rest = f", and {len(said) - 5} more" if len(said) > 5 else ""
        return f"Tape({', '.join(said[:5])}{rest})"

    @property
    def values_mm(self) -> dict[str, float]:
        """The mean reading of everything that was measured, in the order of `MEASUREMENTS`."""
        return {name: sum(taken) / len(taken) for name, taken in self.readings_mm.items()}

    def spread_mm(self, name: str) -> float:
        """Standard deviation of the mean reading of a measurement.

        The spread of one reading counts as one more degree of freedom beside the scatter of the
        repeated readings.

        >>> Tape(ring_mm=560).spread_mm("ring")
        3.0
        >>> round(Tape(ring_mm=[560, 564]).spread_mm("ring"), 3)
        2.062
        """
        one = self.spreads_mm.get(name, measurement(name).spread_mm)
        taken = self.readings_mm.get(name, ())
        n = max(len(taken), 1)
        mean = sum(taken) / n
        scatter = sum((reading - mean) ** 2 for reading in taken)
        return math.sqrt((one**2 + scatter) / n / n)

    def without(self, name: str) -> Tape:
        """The same sheet with one measurement left out."""
        return self.with_values({k: v for k, v in self.readings_mm.items() if k != name})

    def with_values(self, readings_mm: Mapping[str, float | Sequence[float]]) -> Tape:
        """A sheet of other readings by measurement name, with the same own spreads."""
        keywords = {f"{measurement(name).name}_mm": value for name, value in readings_mm.items()}
        return Tape(**keywords, spreads_mm=self.spreads_mm)


assert {f"{name}_mm" for name in MEASUREMENTS} == {f.name for f in fields(Tape)} - {
    "spreads_mm",
    "readings_mm",
}, "Tape and MEASUREMENTS must name the same measurements"


def _readings(kind: Measurement, given: Reading) -> tuple[float, ...]:
    """Readings of one measurement, each a number within human range."""
    several = given if isinstance(given, list | tuple) else (given,)
    if not several:
        raise SheetError(
            sentence(kind.title, "be a number of mm", "an empty list"),
            code="not-a-number",
            measurement=kind.name,
        )
    for value in several:
        if not _is_reading(value):
            raise SheetError(
                sentence(
                    kind.title,
                    "be a finite number of mm",
                    repr(value),
                    "leave it out when it was not measured",
                ),
                code="not-a-number",
                measurement=kind.name,
            )
        if not kind.lowest_mm <= value <= kind.highest_mm:
            raise SheetError(
                sentence(
                    kind.title,
                    f"lie in {kind.lowest_mm:g} to {kind.highest_mm:g} mm",
                    f"{value:g} mm",
                    _likely_slip(float(value), kind),
                ),
                code="tape-range",
                measurement=kind.name,
                value_mm=float(value),
            )
    return tuple(float(value) for value in several)


def _is_reading(value: object) -> bool:
    """Whether a value is a finite number, or something like one from another library."""
    number = isinstance(value, int | float) or hasattr(value, "__float__")
    if isinstance(value, bool | str) or not number:
        return False
    try:
        return math.isfinite(float(value))  # type: ignore[arg-type]
    except OverflowError:  # a whole number of hundreds of digits
        return False


def _likely_slip(value: float, kind: Measurement) -> str:
    """The unit or digit slip that would explain a value out of range, as a question."""
    slips = (
        (10.0, "are these centimetres?"),
        (25.4, "are these inches?"),
        (1000.0, "are these metres?"),
        (0.1, "is there one digit too many?"),
    )
    for factor, question in slips:
        if kind.lowest_mm <= value * factor <= kind.highest_mm:
            return question
    return "measure it again"


# (longer, shorter, why): a value that can never be the smaller one of the two.
_NEVER_SHORTER = (
    ("ring", "preauricular_arc", "the ring goes all the way round"),
    ("largest_circumference", "preauricular_arc", "the circumference goes all the way round"),
    ("ring", "nasion_inion", "the ring goes all the way round"),
    ("largest_circumference", "nasion_inion", "the circumference goes all the way round"),
    ("nasion_inion", "nasion_inion_chord", "the arc goes over the head, the chord through it"),
    ("preauricular_arc", "preauricular_width", "the arc goes over the head, the width through it"),
    ("nasion_inion", "nasion_cz", "the half arc is a part of the arc"),
    ("nasion_inion", "cz_inion", "the half arc is a part of the arc"),
    ("ring", "left_ring", "the half ring is a part of the ring"),
    ("ring", "right_ring", "the half ring is a part of the ring"),
)


def _check_contradictions(values: Mapping[str, float]) -> None:
    for longer, shorter, why in _NEVER_SHORTER:
        if longer in values and shorter in values and values[shorter] >= values[longer]:
            raise SheetError(
                sentence(
                    f"{MEASUREMENTS[shorter].title}",
                    f"be shorter than the {MEASUREMENTS[longer].title}",
                    f"{tape_length(values[shorter])} against {tape_length(values[longer])}",
                    f"{why}; were the two exchanged?",
                ),
                code="sheet-contradiction",
                measurements=(longer, shorter),
            )
