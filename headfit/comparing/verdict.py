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
_MOST_LINES = 8


def common_in_words(common: SetMotion) -> str:
    """The slip of the whole set in words; empty when it is too small to matter."""
    slide = slide_in_words(common.slide_mm, np.maximum(_LEAST_MM, _SURE * common.slide_spread_mm))
    turn = turn_in_words(
        common.turn_degrees, np.maximum(_LEAST_DEGREES, _SURE * common.turn_spread_degrees)
    )
    both = ", and is " if slide and turn else ("is " if turn else "")
    moved = f"sits {slide}" if slide else ""
    return f"The whole set {moved}{both}{turn}" if slide or turn else ""


def verdict(comparison: Comparison) -> str:
    """One sentence that tells a slip of the set from single marks that are off.

        >>> from headfit import load_template, place_sites
        >>> from headfit.comparing.compare import compare_marks
        >>> from headfit.comparing.tolerance import counts, untold_sentence
    from headfit.marks.marks import Marks
        >>> head = load_template()
        >>> sites = place_sites(head, "10-20")
        >>> landmarks = dict(zip(TITLES, head.landmarks))
        >>> print(verdict(compare_marks(sites, Marks(sites.names, sites.points_mm, landmarks))))
        The set sits where it should, and no mark stands out.
    """
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
    if comparison.common is not None:
        lines += _common(comparison.common)
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


def comparison_sentences(comparison: Comparison) -> tuple[str, ...]:
    """What was found, the main thing first."""
    said = [verdict(comparison)]
    said += [f"{mixup.sentence}." for mixup in comparison.mixups]
    if comparison.common is not None:
        common = common_in_words(comparison.common)
        if common not in said[0]:  # the verdict tells it mostly
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
    lines = [f"Over {len(sessions)} sessions {said}.", "", "Sites that come back worst:"]
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
    lines = ["Distance from the sites, median (root mean square), and landmarks left over:"]
    for kind, found in comparison.alignments.items():
        left = ", ".join(
            f"{TITLES[name]} {size:.1f}" for name, size in found.landmark_residuals_mm.items()
        )
        lines.append(
            f"  {ALIGNMENT_TITLES[kind]:<17} {found.median_mm:5.1f} ({found.rms_mm:.1f}) mm, "
            f"{_height(found.height_mm)} the scalp" + (f"; {left} mm" if left else "")
        )
    return lines


def _common(common: SetMotion) -> list[str]:
    turn, slide = common.turn_degrees, common.slide_mm
    turn_sd, slide_sd = common.turn_spread_degrees, common.slide_spread_mm
    return [
        "The whole set: "
        + ", ".join(
            f"{name} {_signed(turn[k])} ±{turn_sd[k]:.1f}"
            for k, name in enumerate(("pitch", "roll", "yaw"))
        )
        + " degrees; "
        + ", ".join(
            f"{name} {_signed(slide[k])} ±{slide_sd[k]:.1f}"
            for k, name in enumerate(("right", "front", "up"))
        )
        + " mm."
    ]


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
