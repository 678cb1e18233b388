"""The one-screen summary of a fitted case: measured and fitted, how sure, what to do next."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import SCALP_SITES
from headfit.fitting.hand_set_shape import hand_words
from headfit.fitting.tape import MEASUREMENTS
from headfit.units import in_cm

if TYPE_CHECKING:
    from headfit.cli.screen import Screen
    from headfit.files.results import CaseResult


def show_summary(result: CaseResult, screen: Screen) -> None:
    """Print the summary."""
    case, fitted = result.case, result.fitted
    screen.say(case.label + (" (invented data)" if case.invented else ""), style="bold")
    about = [fitted.head.label, case.sex or "", f"{len(result.sites)} sites of {case.system}"]
    if case.doubtful:
        about.append(f"hard to find: {', '.join(TITLES[name] for name in case.doubtful)}")
    screen.say(", ".join(part for part in about if part))
    if case.shape:
        screen.say(hand_words(case.shape))
    screen.say()
    screen.table(
        ["measurement", "measured", "spread", "fitted", "difference"],
        [
            [
                MEASUREMENTS[name].title,
                in_cm(measured),
                f"± {fitted.tape.spread_mm(name):.2g} mm",
                in_cm(fitted.predicted_mm[name]),
                _signed(fitted.residuals_mm[name]),
            ]
            for name, measured in fitted.tape.values_mm.items()
        ],
    )
    screen.say()
    screen.say(how_sure(result))
    said = [*fitted.flags, *result.advice.sentences()]
    more = [*result.advice.shape, *result.advice.norms]
    if said:
        screen.say()
        screen.say("What to do", style="bold")
        screen.listed(said)
    if more:
        screen.say()
        screen.say("About this head", style="bold")
        screen.listed(more)


def _signed(length_mm: float) -> str:
    whole = round(length_mm)
    return f"{whole:+d} mm" if whole else "0 mm"


def how_sure(result: CaseResult) -> str:
    """How far from its place a site may lie, at 95 %, and where the doubt comes from."""
    spreads = result.spreads
    # The landmarks and what hangs below the rows are in larger systems only.
    counted = [i for i, name in enumerate(spreads.names) if name in SCALP_SITES]
    reach = spreads.ellipses_mm[counted, 0]
    best, worst = int(reach.argmin()), int(reach.argmax())
    parts = {
        origin: float(np.trace(matrices[counted], axis1=1, axis2=2).mean())
        for origin, matrices in spreads.parts_mm2.items()
    }
    whole = sum(parts.values()) or 1.0
    words = {"shape": "unmeasured shape", "tape": "tape readings", "landmarks": "landmarks"}
    shares = ", ".join(
        f"{words[origin]} {100 * share / whole:.0f} %"
        for origin, share in sorted(parts.items(), key=lambda item: -item[1])
    )
    names = [spreads.names[i] for i in counted]
    return (
        "How sure (95 %, of the 19 scalp sites of 10-20): the surest, "
        f"{names[best]}, lies within {reach[best]:.0f} mm of its place, the middle one within "
        f"{np.median(reach):.0f} mm, the least sure, {names[worst]}, within {reach[worst]:.0f} mm. "
        f"The doubt comes from: {shares}."
    )
