"""What to do next with a sheet: which measurement to take, which to take again, what looks odd.

Everything is said with its numbers; nothing is a diagnosis. Lengths in sentences are in cm, as on
the tape.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from headfit.anatomy.norms import ADULT_FROM_MONTHS, norm_of
from headfit.anatomy.sites import SYSTEMS, place_sites
from headfit.anatomy.template import age_in_months
from headfit.fitting.estimate import Estimate
from headfit.fitting.fit import FittedHead
from headfit.fitting.how_sure import counted_sites
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.outlying_readings import Disagreement, likeliest_slips
from headfit.fitting.slips import likely_slips, slip_sentences
from headfit.units import tape_length

# A reading this many standard deviations from what the others predict is named. At 2.3 about one
# clean sheet of six values in ten is asked for one more reading.
DISAGREES_SD = 2.3
# Below that the reading that fits least is still named, when it is off by more than the spread of a
# reading and so many others predict it: an error of 1 cm seldom stands out, but mostly fits least.
FITS_LEAST_MM = 2.0
_FEWEST_OTHERS = 3
# Two promises nearer than this are the same to whoever measures.
_NO_MATTER_MM = 0.02
# A measurement that promises less is optional.
WORTH_MM = 0.5

_PAIRED = tuple(
    (name, name.replace("left", "right", 1)) for name in MEASUREMENTS if name.startswith("left")
)


@dataclass(frozen=True)
class Advice:
    """What a sheet and its fit suggest.

    Attributes
    ----------
    next : tuple of (name, drop in mm)
        Measurements not taken yet and by how much each would lower the mean site uncertainty,
        best first.
    doubts : tuple of Disagreement
        The reading that is likeliest to be wrong, and another that is about as likely.
    slips, norms, shape : tuple of str
        Sentences on likely slips, on published norms, on the shape of the head.
    off_limits : mapping of str to str
        Measurements that would touch a place that must stay free, and which: none is asked for.
    """

    next: tuple[tuple[str, float], ...]
    doubts: tuple[Disagreement, ...]
    slips: tuple[str, ...]
    norms: tuple[str, ...]
    shape: tuple[str, ...]
    off_limits: Mapping[str, str] = field(default_factory=dict)

    def __repr__(self) -> str:
        following = f"next {self.next[0][0]}" if self.next else "nothing left to measure"
        again = [doubt.name for doubt in self.doubts]
        doubted = f", doubts {' and '.join(again)}" if again else ""
        return f"Advice({following}{doubted}, {len(self.slips)} slips)"

    @property
    def disagrees(self) -> Disagreement | None:
        """The reading to take again, when it stands out."""
        return next((d for d in self.doubts[:1] if abs(d.sds) >= DISAGREES_SD), None)

    @property
    def urgent(self) -> tuple[str, ...]:
        """The one reading that stands out, in one sentence; nothing when none does."""
        if self.slips:
            return self.slips
        return () if self.disagrees is None else (self._again(self.disagrees),)

    def _again(self, found: Disagreement) -> str:
        title = MEASUREMENTS[found.name].title
        if found.name not in self.off_limits:
            return found.sentence + self._as_likely
        instead = ""
        if self.next:
            instead = f"; the {MEASUREMENTS[self.next[0][0]].title} is clear, measure it instead"
        return (
            f"Do not take the {title} again, it would touch what must stay free "
            f"({self.off_limits[found.name]}){instead}: {found.finding}"
        )

    def sentences(self) -> list[str]:
        """What a person should read first, most urgent first."""
        said = list(self.urgent)
        if self.next and self.next[0][1] >= 0.05:
            name, drop = self.next[0]
            kind = MEASUREMENTS[name]
            if drop >= WORTH_MM:
                said.append(
                    f"Next, measure the {kind.title} ({kind.how}): it would lower the mean site "
                    f"uncertainty by {drop:.1f} mm."
                )
            else:
                said.append(
                    f"Optional: the {kind.title} ({kind.how}) would lower the mean site "
                    f"uncertainty by {drop:.1f} mm."
                )
        if self.slips:  # one culprit at a time
            return said
        for least in self.doubts[:1]:
            told = abs(least.gap_mm) >= FITS_LEAST_MM and least.n_others >= _FEWEST_OTHERS
            if told and self.disagrees is None and least.name not in self.off_limits:
                again = f"If you take one reading again, take the {MEASUREMENTS[least.name].title}"
                said.append(f"{again}: {least.finding}{self._as_likely}")
        return said

    @property
    def _as_likely(self) -> str:
        titles = [MEASUREMENTS[doubt.name].title for doubt in self.doubts[1:]]
        return f" The {titles[0]} is about as likely to be off." if titles else ""


def advise(
    fitted: FittedHead,
    off_limits: Mapping[str, str] | None = None,
    array: str | Sequence[str] = "10-20",
) -> Advice:
    """Advice on a fitted sheet.

    Parameters
    ----------
    fitted : FittedHead
    off_limits : mapping of str to str, optional
        Measurements that would touch a place that must stay free, and which one.
    array : str or sequence of str
        A system, or names of sites: those that are to be known better.
    """
    found = findings(fitted, off_limits)
    promised = next_measurements(fitted, array)
    return replace(found, next=tuple(p for p in promised if p[0] not in found.off_limits))


def findings(fitted: FittedHead, off_limits: Mapping[str, str] | None = None) -> Advice:
    """As `advise`, but for what to measure next: that takes nine tenths of its time."""
    off_limits = off_limits or {}
    slipped = tuple(slip.found for slip in likely_slips(fitted.model, fitted.tape))
    return Advice(
        (),
        slipped or likeliest_slips(fitted.model, fitted.tape),  # one culprit, everywhere
        slip_sentences(fitted.model, fitted.tape, off_limits),
        tuple(against_norms(fitted)),
        tuple(head_shape(fitted)),
        off_limits,
    )


def next_measurements(
    fitted: FittedHead, array: str | Sequence[str] = "10-20"
) -> tuple[tuple[str, float], ...]:
    """How much each measurement not taken would lower the mean site uncertainty, best first.

    The uncertainty of a site is its root mean square error in the tangent plane, in mm; the mean is
    over those of the array that count (`counted_sites`); nothing is promised for an array of sites
    beside the ears alone.
    """
    counted = counted_sites(SYSTEMS[array] if isinstance(array, str) else array)
    if not counted:
        return ()
    sites = place_sites(fitted.head, counted)
    slopes, effects = fitted.site_slopes(sites), fitted.leftover_effects
    leftover = effects.on_sites(sites.names, sites.rules)
    effects.on_measurements(tuple(MEASUREMENTS))  # all arcs in one go

    def mean_spread(estimate: Estimate) -> float:
        off = estimate.unseen(slopes, leftover)
        return float(np.sqrt(np.einsum("nic,nic->n", off, off)).mean())

    now = mean_spread(fitted.estimate)
    drops = {
        name: now - mean_spread(fitted.estimate_with(name))
        for name in MEASUREMENTS
        if name not in fitted.tape.values_mm
    }
    # Left and right promise the same on an even head, but a mesh has the slope of one side of its
    # midline, and rounding picks which: on every machine the sheet must suggest the same one.
    for left, right in _PAIRED:
        if left in drops and right in drops and abs(drops[left] - drops[right]) < _NO_MATTER_MM:
            drops[left] = drops[right] = (drops[left] + drops[right]) / 2
    return tuple(sorted(drops.items(), key=lambda item: -item[1]))


def against_norms(fitted: FittedHead) -> list[str]:
    """Percentiles of what was measured, each with the name of its norm."""
    months = age_in_months(fitted.age)
    said = []
    for name, value in fitted.tape.values_mm.items():
        norm = norm_of(name, months, fitted.sex)
        if norm is None:
            continue
        percentile = norm.percentile(value)
        place = (
            "below the 1st percentile"
            if percentile < 1.0
            else "above the 99th percentile"
            if percentile > 99.0
            else f"percentile {percentile:.0f}"
        )
        note = f"; {norm.note}" if norm.note else ""
        said.append(f"{_title(name)} {tape_length(value)}: {place} of {norm.source}{note}.")
    return said


# Bands of the cephalic index: below 75 long, 75 to 80 middle, above 80 broad; they are of adult
# skulls and depend on population (anthropometry, common practice). Asymmetry is told from 3.5 % on,
# where the usual scheme begins; sources differ on the denominator, so the formula is printed.
def head_shape(fitted: FittedHead) -> list[str]:
    """Cephalic index, diagonals, and left-right differences, in words and without diagnosis."""
    measured = fitted.tape.values_mm
    predicted, spread = fitted.predicted_mm, fitted.predicted_spread_mm

    def best(name: str) -> tuple[float, str]:
        return (measured[name], "measured") if name in measured else (predicted[name], "fitted")

    length, how_length = best("head_length")
    breadth, how_breadth = best("head_breadth")
    index = 100.0 * breadth / length
    how = how_length if how_length == how_breadth else f"{how_breadth} breadth, {how_length} length"
    over = f"breadth {tape_length(breadth)} over length {tape_length(length)}, {how}"
    said = []
    if age_in_months(fitted.age) >= ADULT_FROM_MONTHS:
        band = "long" if index < 75 else "middle" if index <= 80 else "broad"
        said.append(f"Cephalic index {index:.0f} ({band}; {over}; bands depend on population).")
    elif how == "measured":  # the proportions of a fitted child are those of the template
        said.append(f"Cephalic index {index:.0f} ({over}; the usual bands are of adult skulls).")
    sides = [(a, b) for a, b in _PAIRED if a in measured and b in measured and "diagonal" not in a]
    for a, b in sides:
        gap = measured[a] - measured[b]
        if abs(gap) >= 3.0:
            side = "left" if gap > 0 else "right"
            what = MEASUREMENTS[a].title.removeprefix("left ").split(" Fp")[0]
            said.append(f"The {what} is {tape_length(abs(gap))} longer on the {side}.")
    seen = bool(sides) or ("left_diagonal" in measured and "right_diagonal" in measured)
    if not seen:
        unsure = 1.96 * float(np.hypot(spread["left_diagonal"], spread["right_diagonal"]))
        said.append(
            "Nothing measured tells left from right: an asymmetry of the diagonals up to "
            f"{tape_length(unsure)} would not be seen. Measure both diagonals or both halves "
            "of the ring."
        )
        return said
    left, how_left = best("left_diagonal")
    right, _ = best("right_diagonal")
    longer, shorter = max(left, right), min(left, right)
    asymmetry = 100.0 * (longer - shorter) / longer
    text = (
        f"Diagonals at 30 degrees, {how_left}: left front to right back {tape_length(left)}, "
        f"right front to left back {tape_length(right)}; asymmetry (longer - shorter) / longer = "
        f"{asymmetry:.1f} %."
    )
    if asymmetry >= 3.5:
        text += (
            f" The head is shorter on the {'left' if left < right else 'right'} front to "
            f"{'right' if left < right else 'left'} back diagonal; homologous sites need not "
            "mirror each other."
        )
    said.append(text)
    return said


def _title(name: str) -> str:
    title = MEASUREMENTS[name].title
    return title[0].upper() + title[1:]
