"""A comparison on one screen, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from headfit.anatomy.landmarks import TITLES
from headfit.comparing.alignment_kinds import ALIGNMENT_TITLES
from headfit.comparing.common_shift import SetMotion
from headfit.comparing.comparison import Comparison
from headfit.comparing.directions import slide_in_words, turn_in_words
from headfit.comparing.repeatability import Repeatability
from headfit.comparing.tolerance import counts, untold_sentence
from headfit.marks.marks import Marks
from headfit.marks.remarks import listed

# Slides and turns are named from 1 mm and half a degree on, and from twice their standard error on.
_LEAST_MM, _LEAST_DEGREES, _SURE = 1.0, 0.5, 2.0
# What is worth a word though it is not sure: enough to matter, and its own standard error.
_MATTERS_MM, _MATTERS_DEGREES, _POSSIBLE = 3.0, 2.0, 1.0
_MOST_LINES = 8


def common_in_words(common: SetMotion) -> str:
    """The slip of the whole set in words, with how sure it is; empty when there is none to tell."""
    slide, turn = _slip(common, _LEAST_MM, _LEAST_DEGREES, _SURE)
    if slide or turn:
        both = ", and is " if slide and turn else ("is " if turn else "")
        return f"The whole set {f'sits {slide}' if slide else ''}{both}{turn}"
    slide, turn = _slip(common, _MATTERS_MM, _MATTERS_DEGREES, _POSSIBLE)
    if not slide and not turn:
        return ""
    both = ", and be " if slide and turn else ("be " if turn else "")
    return (
        f"The whole set may {f'sit {slide}' if slide else ''}{both}{turn}, but errors of the "
        "landmarks could look the same"
    )


def _slip(
    common: SetMotion, least_mm: float, least_degrees: float, errors: float
) -> tuple[str, str]:
    """Slide and turn in words, of what exceeds a least size and so many standard errors."""
    slide = slide_in_words(common.slide_mm, np.maximum(least_mm, errors * common.slide_spread_mm))
    turn = turn_in_words(
        common.turn_degrees, np.maximum(least_degrees, errors * common.turn_spread_degrees)
    )
    return slide, turn


def verdict(comparison: Comparison) -> str:
    """One sentence that tells a slip of the set from single marks that are off.

    >>> from headfit import load_template, place_sites
    >>> from headfit.comparing.compare import compare_marks
    >>> from headfit.marks.marks import Marks
    >>> head = load_template()
    >>> sites = place_sites(head, "10-20")
    >>> landmarks = dict(zip(TITLES, head.landmarks))
    >>> print(verdict(compare_marks(sites, Marks(sites.names, sites.points_mm, landmarks))))
    The set sits where it should, and no mark stands out.
    """
    doubts = comparison.doubts_on_set
    if doubts:
        return f"Doubt on the whole set: {doubts[0].sentence}. {_told(comparison)}"
    return _told(comparison)


def _told(comparison: Comparison) -> str:
    """Slip and single marks in one sentence."""
    slip = common_in_words(comparison.common) if comparison.common is not None else ""
    off = comparison.stands_out
    mixed = any(d.mixed_up for d in comparison.deviations)
    names = "names that look mixed up" if mixed else ""
    single = f"{listed(off)} {'is' if len(off) == 1 else 'are'} off" if off else ""
    if comparison.common is None:
        if comparison.aligned_by == "landmarks":  # fewer marks than fix a set
            far = sum(d.band == 2 for d in comparison.deviations)
            rest = f"{far} of {len(comparison)} lie beyond {comparison.bands_mm[1]:g} mm"
            return f"Too few marks to tell a slip of the set from single marks; {rest}."
        found = " and ".join(part for part in (single, names) if part)
        return f"After the fit {'only ' if off else ''}{found or 'no mark stands out'}."
    if not slip:
        if not off:
            rest = "no mark stands out" if not mixed else "but names look mixed up"
            return f"The set sits where it should, {'' if mixed else 'and '}{rest}."
        return f"The set sits where it should; only {single}{', beside ' + names if names else ''}."
    if not off:
        rest = "what is left are names that look mixed up" if mixed else "no mark stands out"
        return f"{slip}; after that {rest}."
    return f"{slip}; after that only {single}{', beside ' + names if names else ''}."


def summary(comparison: Comparison) -> list[str]:
    """The comparison in lines for one screen, the main thing first.

    Parameters
    ----------
    comparison : Comparison
    """
    lines = [verdict(comparison), _bands(comparison), "", *_alignments(comparison)]
    guessed = head_in_words(comparison)
    if guessed:
        lines.insert(0, guessed)
    if comparison.common is not None:
        lines += _common(comparison.common)
        feigned = landmarks_that_would_feign(comparison)
        if feigned:
            lines.append(f"Landmarks set down elsewhere would look the same: {feigned}.")
    if comparison.judged_by:
        lines.append(f"Single marks are judged by their neighbours and by {comparison.judged_by}.")
    if comparison.mixups:
        lines += ["", "Names to check:"]
        lines += [f"  {mixup.sentence}." for mixup in comparison.mixups[:_MOST_LINES]]
    lines += _moves(comparison)
    pairs = [p for p in comparison.pairs if p.difference_mm > comparison.bands_mm[0]]
    if pairs:
        lines += ["", "Left against right, largest differences:"]
        lines += [
            f"  {pair.sentence} (the head itself {pair.expected_mm:.0f} mm)" for pair in pairs[:3]
        ]
    told = [r for r in comparison.remarks if r.kind != "note"]
    if told:
        lines += ["", "About the file:"]
        lines += [f"  {remark.kind}: {remark.sentence}" for remark in told]
    return lines


def head_in_words(comparison: Comparison) -> str:
    """What a head guessed from the marks cannot tell, and what would; empty with another head."""
    common, under = comparison.common, comparison.under
    if under is None or under.tape is not None or common is None:
        return ""
    hidden = 2.0 * common.slide_spread_mm
    way = int(hidden.argmax())
    named = ("to the side", "to the front", "up")[way]
    return (
        f"No tape, no scan: the head is guessed from these marks; a slide {named} of up to "
        f"{hidden[way]:.0f} mm could not be told from its shape and from errors of the landmarks. "
        "A scan settles the head; three tapes (nasion to inion, ear to ear, ring) help, and so "
        "does a second reading of each landmark."
    )


def landmarks_that_would_feign(comparison: Comparison) -> str:
    """How far landmarks would have to lie elsewhere for the slip to be theirs, in words."""
    common = comparison.common
    if common is None or not common_in_words(common):
        return ""
    to_head = comparison.targets.to_head.rotation
    said = []
    for name in ("nasion", "left_preauricular", "right_preauricular"):
        place = comparison.targets.landmarks[name]
        moved = to_head @ (common.motion.inverse.on(place) - place)
        words = slide_in_words(moved, np.full(3, _MATTERS_MM))
        if words:
            said.append(f"{TITLES[name]} {words}")
    return "; ".join(said)


def comparison_sentences(comparison: Comparison) -> tuple[str, ...]:
    """What was found, the main thing first, and before it what a guessed head cannot tell."""
    guessed = head_in_words(comparison)
    told = verdict(comparison)
    said = [guessed, told] if guessed else [told]
    said += [f"{mixup.sentence}." for mixup in comparison.mixups]
    if comparison.common is not None:
        common = common_in_words(comparison.common)
        if common not in told:  # the verdict tells it mostly
            said.append(f"Common part: {common}.")
    untold = untold_sentence(comparison)
    if untold:
        said.append(untold)
    medians = (
        f"{found.median_mm:.0f} mm lined up {ALIGNMENT_TITLES[kind]}"
        for kind, found in comparison.alignments.items()
    )
    said.append(f"Middle distance of a mark from its site: {', '.join(medians)}.")
    return tuple(said)


def file_sentences(comparison: Comparison) -> tuple[str, ...]:
    """What was corrected, is doubtful or was set aside in the marks."""
    return tuple(
        f"{remark.kind.capitalize()}: {remark.sentence}."
        for remark in comparison.remarks
        if remark.kind != "note" or remark.code in ("set-aside", "head-from-marks")
    )


def sessions_summary(found: Repeatability, sessions: Sequence[Marks]) -> list[str]:
    """Test and retest in lines for one screen.

    Parameters
    ----------
    found : Repeatability
    sessions : sequence of Marks
        Those that were compared.
    """
    said = found.sentence
    lines = [f"Over {len(sessions)} sessions {said}."]
    if found.slips is not None:
        lines += [f"{found.slips.sentence}.", "", "The set of each session on one head for all:"]
        for number, slip in enumerate(found.slips.slips):
            lines.append(f"  {number + 1}, {slip.source}: {_motions(slip.slip)}")
    lines += ["", "Sites that come back worst:"]
    for site in found.sites[:_MOST_LINES]:
        by_landmarks = (
            ""
            if site.by_landmarks_mm is None
            else f", {site.by_landmarks_mm:.1f} mm by the landmarks"
        )
        lines.append(f"  {site.site}: {site.by_fit_mm:.1f} mm after a best fit{by_landmarks}")
    told = [(marks.source, r) for marks in sessions for r in marks.remarks if r.kind != "note"]
    told += [("all", r) for r in found.remarks]
    if told:
        lines += ["", "About the files:"]
        lines += [f"  {source}, {r.kind}: {r.sentence}" for source, r in told]
    return lines


def _bands(comparison: Comparison) -> str:
    found = counts(comparison)
    near, far = comparison.bands_mm
    sure = any(d.uncertainty_mm for d in comparison.deviations)
    widened = ", the limits of each widened by how unsure its site is" if sure else ""
    untold = f"{found['cannot be told']} of which it cannot be told, " if sure else ""
    return (
        f"{len(comparison)} marks {ALIGNMENT_TITLES[comparison.aligned_by]}: "
        f"{found['within']} within {near:g} mm, {untold}"
        f"{found['off']} from {near:g} to {far:g} mm, "
        f"{found['far off']} beyond {far:g} mm{widened}."
    )


def _alignments(comparison: Comparison) -> list[str]:
    title = (
        "Distance from the sites over the scalp, median (root mean square), height taken out; "
        "straight with it; landmarks left over:"
    )
    lines = [title]
    for kind, found in comparison.alignments.items():
        left = ", ".join(
            f"{TITLES[name]} {size:.1f}" for name, size in found.landmark_residuals_mm.items()
        )
        lines.append(
            f"  {ALIGNMENT_TITLES[kind]:<17} {found.median_mm:5.1f} ({found.rms_mm:.1f}) mm, "
            f"straight {found.straight_median_mm:.1f} mm, "
            f"{_height(found.height_mm)} the scalp" + (f"; {left} mm" if left else "")
        )
    return lines


def _common(common: SetMotion) -> list[str]:
    return [f"The whole set: {_motions(common)}"]


def _motions(common: SetMotion) -> str:
    """Turn and slide with their standard errors."""
    turn, slide = common.turn_degrees, common.slide_mm
    turn_sd, slide_sd = common.turn_spread_degrees, common.slide_spread_mm
    turns = ", ".join(
        f"{name} {_signed(turn[k])} ±{turn_sd[k]:.1f}"
        for k, name in enumerate(("pitch", "roll", "yaw"))
    )
    slides = ", ".join(
        f"{name} {_signed(slide[k])} ±{slide_sd[k]:.1f}"
        for k, name in enumerate(("right", "front", "up"))
    )
    return f"{turns} degrees; {slides} mm."


def _height(height_mm: float) -> str:
    return f"{abs(height_mm):.0f} mm {'over' if height_mm > -0.5 else 'under'}"


def _signed(value: float) -> str:
    return f"{round(float(value), 1) + 0.0:+.1f}"  # never -0.0


def _moves(comparison: Comparison) -> list[str]:
    own = comparison.common is not None and bool(common_in_words(comparison.common))
    moves = comparison.own_moves if own else comparison.moves
    if not moves:
        return []
    title = "Moves, after the whole set was put back:" if own else "Moves, the largest first:"
    rest = len(moves) - _MOST_LINES
    lines = ["", title, *(f"  {move.sentence}" for move in moves[:_MOST_LINES])]
    return [*lines, f"  and {rest} more in the table"] if rest > 0 else lines
