"""Which reading of a sheet was mistyped, and what was meant. Millimetres.

Each reading is held against what the others predict. That it was mistyped explains it by a value
that fits the others and a slip that turns this value into what stands there, or by anything at all;
that it is right, by chance alone. What is likelier by far is told, one sentence for one reading.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from headfit.fitting.measurements import MEASUREMENTS, Measurement
from headfit.fitting.model_measures import at_prior_mean
from headfit.fitting.outlying_readings import Disagreement, disagreements, standing
from headfit.fitting.shape import ShapeModel
from headfit.fitting.tape import Tape
from headfit.units import tape_length, tape_number

# One reading in fifty is mistyped, and each kind of slip is as frequent as the others: a judgement,
# no source. A third of slips are of none of the kinds.
_SLIPPED, _KIND, _ANY = 0.02, 0.11, 0.34
# Told from even odds on; a second reading when it is at least a third as likely.
_TOLD_ODDS, _SECOND_SHARE = 1.0, 1 / 3
# What is proposed fits the others, and is at least so likely beside the best of the proposals.
_FITS_SD, _PROPOSED_SHARE, _MOST_PROPOSED = 3.0, 0.02, 2
# Keys beside and above each other on a keyboard's row and on the pads of keyboard and telephone.
_NEIGHBOURS = {
    "0": "98712",
    "1": "204",
    "2": "1350",
    "3": "246",
    "4": "3517",
    "5": "4628",
    "6": "5739",
    "7": "6841",
    "8": "79520",
    "9": "8063",
}
_INCH = 2.54


@dataclass(frozen=True)
class Proposal:
    """A value that may have been meant.

    Attributes
    ----------
    value_mm : float
    slip : str
        What turned it into the reading, such as "two digits exchanged".
    weight : float
        How likely, against the other proposals of the same reading.
    """

    value_mm: float
    slip: str
    weight: float


@dataclass(frozen=True)
class Slip:
    """A reading that was probably mistyped.

    Attributes
    ----------
    found : Disagreement
        The reading against what the others predict.
    proposals : tuple of Proposal
        At most two, the likelier first; none when no usual slip explains it.
    odds : float
        Of a slip against chance.
    """

    found: Disagreement
    proposals: tuple[Proposal, ...]
    odds: float

    @property
    def values(self) -> str:
        """The values that fit, in cm."""
        return " or ".join(dict.fromkeys(tape_number(each.value_mm) for each in self.proposals))

    @property
    def sentence(self) -> str:
        """One sentence with the numbers."""
        title = MEASUREMENTS[self.found.name].title
        if not self.proposals:
            return self.found.sentence
        slips = " or ".join(dict.fromkeys(each.slip for each in self.proposals))
        return (
            f"Look at the {title} again: is it {self.values} cm ({slips})? "
            f"{_upper(self.found.finding)}"
        )


def _upper(words: str) -> str:
    return words[0].upper() + words[1:]


def meant(name: str, reading_mm: float) -> Iterator[tuple[float, str, float]]:
    """Values from which a slip makes the reading: value, slip, share of that slip.

    Digits are those of the reading in cm with one decimal. Values no head has are left out.

    >>> [(value, slip) for value, slip, _ in meant("ring", 659.0) if slip.startswith("two")]
    [(569.0, 'two digits exchanged'), (695.0, 'two digits exchanged')]
    """
    kind = MEASUREMENTS[name]
    for value, slip, share in _undone(f"{reading_mm:.0f}", reading_mm):
        if kind.lowest_mm <= value <= kind.highest_mm and abs(value - reading_mm) > 0.5:
            yield value, slip, share


def _undone(digits: str, reading_mm: float) -> Iterator[tuple[float, str, float]]:
    n = len(digits)
    for i in range(n - 1):
        if digits[i] != digits[i + 1]:
            swapped = digits[:i] + digits[i + 1] + digits[i] + digits[i + 2 :]
            yield float(swapped), "two digits exchanged", 1 / 2
        else:
            yield float(digits[:i] + digits[i + 1 :]), "a digit doubled", 1 / 3
    for i, digit in enumerate(digits):
        for other in sorted(set(_NEIGHBOURS[digit])):
            changed = digits[:i] + other + digits[i + 1 :]
            yield float(changed), "a neighbouring key", 1 / (3 * len(_NEIGHBOURS[other]))
    for i in range(n + 1):
        for digit in "0123456789":
            # A last digit is missed in millimetres only: 36 for 36.4 cm is no large slip.
            share = 1 / 30 if i == n else 1 / 3
            yield float(digits[:i] + digit + digits[i:]), "a digit missing", share
    yield round(reading_mm * _INCH), "inches", 1.0
    yield round(reading_mm / _INCH), "centimetres, not inches", 1.0


def proposals(
    name: str, reading_mm: float, predicted_mm: float, spread_mm: float
) -> tuple[Proposal, ...]:
    """Values that may have been meant and that fit what the other readings predict; likelier first.

    Parameters
    ----------
    name : str
        Of the measurement.
    reading_mm : float
        As it was typed; it may lie beyond what any head has.
    predicted_mm, spread_mm : float
        By the other readings, with its standard deviation.

    >>> [each.value_mm for each in proposals("ring", 464.0, 561.0, 17.0)]
    [564.0]
    """
    found: dict[float, Proposal] = {}
    for value, slip, share in meant(name, reading_mm):
        away = (value - predicted_mm) / spread_mm
        weight = share * float(np.exp(-0.5 * away**2))
        if abs(away) <= _FITS_SD and (value not in found or weight > found[value].weight):
            found[value] = Proposal(value, slip, weight)
    ordered = sorted(found.values(), key=lambda each: -each.weight)
    likely = [each for each in ordered if each.weight >= _PROPOSED_SHARE * ordered[0].weight]
    return tuple(likely[:_MOST_PROPOSED])


def expected(model: ShapeModel, tape: Tape, name: str) -> tuple[float, float]:
    """What the other readings of a sheet predict for one measurement, and its standard deviation.

    Parameters
    ----------
    model : ShapeModel
    tape : Tape
        The reading of `name` itself is passed over; another one must be there.
    name : str
    """
    others = {other: value for other, value in tape.values_mm.items() if other != name}
    start = float(at_prior_mean(model).at((name,))[0][0])
    names, readings = (*others, name), np.array([*others.values(), start])
    gap, precision = standing(model, tape, names, readings)
    off = float(precision[-1] @ gap / precision[-1, -1])
    predicted = start * float(np.exp(-off))
    return predicted, predicted / float(np.sqrt(precision[-1, -1]))


def likely_slips(model: ShapeModel, tape: Tape) -> tuple[Slip, ...]:
    """The reading that was probably mistyped, and a second one that is about as likely; or none.

    Parameters
    ----------
    model : ShapeModel
    tape : Tape
    """
    found = sorted((_weighed(each) for each in disagreements(model, tape)), key=lambda s: -s.odds)
    if not found or found[0].odds < _TOLD_ODDS:
        return ()
    return tuple(slip for slip in found[:2] if slip.odds >= _SECOND_SHARE * found[0].odds)


def _weighed(found: Disagreement) -> Slip:
    """How likely a slip is, as the sum over all that it may have been."""
    kind: Measurement = MEASUREMENTS[found.name]
    spread = found.spread_mm
    anything = _ANY * spread * np.sqrt(2 * np.pi) / (kind.highest_mm - kind.lowest_mm)
    named = _KIND * sum(
        share * float(np.exp(-0.5 * ((value - found.predicted_mm) / spread) ** 2))
        for value, _, share in meant(found.name, found.measured_mm)
    )
    by_chance = float(np.exp(-0.5 * min(found.sds**2, 1000.0)))
    odds = _SLIPPED * (anything + named) / by_chance
    told = proposals(found.name, found.measured_mm, found.predicted_mm, spread)
    return Slip(found, told, float(odds))


def slip_sentence(slips: tuple[Slip, ...], off_limits: Mapping[str, str] | None = None) -> str:
    """One sentence on the reading, or on the two of which one is off; empty without any.

    Parameters
    ----------
    slips : tuple of Slip
    off_limits : mapping of str to str, optional
        Measurements that would touch a place that must stay free, and which one.
    """
    if not slips:
        return ""
    forbidden = [slip.found.name for slip in slips if slip.found.name in (off_limits or {})]
    if forbidden and off_limits:
        title = MEASUREMENTS[forbidden[0]].title
        only = (
            f"look at what was written, and do not tape the {title} again: it would touch what "
            f"must stay free ({off_limits[forbidden[0]]})"
        )
        return f"{slip_sentence(slips).rstrip('.').replace(', take both again', '')}; {only}."
    if len(slips) == 1:
        return slips[0].sentence
    parts = [
        f"the {MEASUREMENTS[slip.found.name].title} of {tape_length(slip.found.measured_mm)} "
        f"(the others predict {tape_length(slip.found.predicted_mm)}"
        + (f"; {slip.values} would fit)" if slip.proposals else ")")
        for slip in slips
    ]
    return f"One of these two is off, take both again: {parts[0]} or {parts[1]}."


def exchanged(model: ShapeModel, tape: Tape) -> tuple[str, float]:
    """The likeliest exchange of two tapes, as a question, and its odds: sides, or the two rings."""
    values = tape.values_mm
    if len(values) < 2:
        return "", 0.0
    now = _surprise(model, tape, values)
    gains = [(now - _surprise(model, tape, other), said) for said, other in _exchanges(values)]
    gain, said = max(gains, default=(0.0, ""))
    return said, _SLIPPED * _KIND * float(np.exp(min(gain / 2, 500.0)))


_PAIRED = tuple(
    (name, name.replace("left", "right", 1)) for name in MEASUREMENTS if name.startswith("left")
)


def _exchanges(values: Mapping[str, float]) -> Iterator[tuple[str, dict[str, float]]]:
    """Possible exchanges: a question, and the readings if it were so."""
    for one, other in (("ring", "largest_circumference"), ("largest_circumference", "ring")):
        if one in values and other not in values:
            renamed = {other if n == one else n: v for n, v in values.items()}
            titles = MEASUREMENTS[other].title, MEASUREMENTS[one].title
            yield f"Is {tape_length(values[one])} the {titles[0]}, not the {titles[1]}?", renamed
    for a, b in _PAIRED:
        if a in values and b in values:
            titles = MEASUREMENTS[a].title, MEASUREMENTS[b].title
            question = f"Were left and right exchanged in {titles[0]} and {titles[1]}?"
            yield question, {**values, a: values[b], b: values[a]}


def _surprise(model: ShapeModel, tape: Tape, readings_mm: Mapping[str, float]) -> float:
    """Squared Mahalanobis distance of some readings from the prior; lower is more probable."""
    names = tuple(readings_mm)
    gap, precision = standing(model, tape, names, np.array(list(readings_mm.values())))
    # The size of the covariance counts too, since a slip may change which tape is meant.
    return float(gap @ precision @ gap - np.linalg.slogdet(precision)[1])


def slip_sentences(
    model: ShapeModel, tape: Tape, off_limits: Mapping[str, str] | None = None
) -> tuple[str, ...]:
    """The one sentence on slips of a sheet, or none: of a reading, of two, or an exchange."""
    slips = likely_slips(model, tape)
    question, odds = exchanged(model, tape)
    if odds >= _TOLD_ODDS and (not slips or odds > slips[0].odds):
        return (question,)
    said = slip_sentence(slips, off_limits)
    return (said,) if said else ()
