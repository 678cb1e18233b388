"""How a comparison was made, in sentences for the methods of a paper, with all numbers."""

from __future__ import annotations

import dataclasses

from headfit import __version__
from headfit.anatomy.landmarks import TITLES
from headfit.comparing.alignment import LANDMARK_SPREAD_MM
from headfit.comparing.alignment_kinds import ALIGNMENT_TITLES
from headfit.comparing.comparison import Comparison
from headfit.comparing.head_and_slip import (
    HEIGHT_MM,
    HEIGHT_SPREAD_MM,
    OWN_MM,
    SHARED_MM,
    SHARED_OVER_MM,
    SLIP_DEGREES,
    SLIP_MM,
)
from headfit.marks.remarks import listed


def methods(comparison: Comparison) -> str:
    """How the comparison was made, in a paragraph.

    Parameters
    ----------
    comparison : Comparison
    """
    found = comparison.alignments[comparison.aligned_by]
    rules = dataclasses.asdict(comparison.targets.sites.rules)
    chosen = ", ".join(f"{name} {choice}" for name, choice in rules.items())
    counted = (
        f"{len(comparison)} digitised marks were compared with the sites of their names by headfit "
        f"{__version__}; sites by the rules {chosen}."
    )
    laid = (
        f"Marks were laid on the head {ALIGNMENT_TITLES[comparison.aligned_by]}; they stood "
        f"{found.height_mm:.1f} mm over the scalp in the median, and {found.median_mm:.1f} mm "
        f"(root mean square {found.rms_mm:.1f}) from their sites over the scalp, "
        f"{found.straight_median_mm:.1f} mm straight with their height."
    )
    said = [counted, _head_sentence(comparison), laid]
    if found.landmark_residuals_mm:
        left = listed(
            f"{TITLES[name]} {gap:.1f} mm (taken as sure to {LANDMARK_SPREAD_MM[name]:g})"
            for name, gap in found.landmark_residuals_mm.items()
        )
        said.append(f"Landmarks were left over by {left}.")
    if comparison.common is not None:
        said.append(_common_sentence(comparison))
    if comparison.judged_by:
        off = listed(comparison.stands_out) or "none"
        said.append(
            "Each mark was held against what all others foresee, with the errors of clean sets and "
            f"{comparison.judged_by}; off: {off}."
        )
    mixed = sum(len(mixup.names) for mixup in comparison.mixups)
    said.append(f"{mixed} names seemed mixed up and were not changed.")
    return " ".join(said)


def _head_sentence(comparison: Comparison) -> str:
    under = comparison.under
    if under is None:
        return "The head was given beforehand."
    sheet = "a measurement sheet, " if under.tape is not None else ""
    return (
        f"Head and slip were found together from {sheet}landmarks and marks: "
        f"{under.model.n_parameters} shape parameters with their prior (the head lies "
        f"{under.shape_sd:.1f} SD from its mean), a slip along the skin "
        f"({SLIP_DEGREES:g} degrees, {SLIP_MM:g} mm per axis beforehand), a common height "
        f"({HEIGHT_MM:g} ± {HEIGHT_SPREAD_MM:g} mm), and errors of marks along the skin of "
        f"{OWN_MM:g} mm each and {SHARED_MM:g} mm shared over {SHARED_OVER_MM:g} mm. What caps do "
        "by habit and a bias of the prior cannot be told apart: in three open data sets the mean "
        "slip came out 1 to 5 degrees down in front and 3 to 8 mm up."
    )


def _common_sentence(comparison: Comparison) -> str:
    common = comparison.common
    assert common is not None
    turns = ", ".join(
        f"{name} {value:+.1f} ± {spread:.1f}"
        for name, value, spread in zip(
            ("pitch", "roll", "yaw"), common.turn_degrees, common.turn_spread_degrees, strict=True
        )
    )
    slides = ", ".join(
        f"{name} {value:+.1f} ± {spread:.1f}"
        for name, value, spread in zip(
            ("right", "front", "up"), common.slide_mm, common.slide_spread_mm, strict=True
        )
    )
    return (
        f"The whole set was turned by {turns} degrees and slid by {slides} mm (± one standard "
        "error, with those of landmarks and head)."
    )
