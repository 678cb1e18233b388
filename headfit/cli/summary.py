"""The one-screen summary of a fitted case: measured and fitted, how sure, what to do next."""

from __future__ import annotations

from typing import TYPE_CHECKING

from headfit.anatomy.landmarks import TITLES
from headfit.fitting.hand_set_shape import hand_words
from headfit.fitting.how_sure import how_sure
from headfit.fitting.measurements import MEASUREMENTS
from headfit.units import tape_length, told_in

if TYPE_CHECKING:
    from headfit.case.solved import SolvedCase
    from headfit.cli.screen import Screen


def show_summary(solved: SolvedCase, screen: Screen) -> None:
    """Print the summary."""
    with told_in(solved.case.unit):
        _show(solved, screen)


def _show(solved: SolvedCase, screen: Screen) -> None:
    case, fitted, advice = solved.case, solved.tape_fit, solved.advice
    assert solved.spreads is not None  # what is measured has spreads and advice
    assert advice is not None
    screen.say(case.label + (" (invented data)" if case.invented else ""), style="bold")
    about = [fitted.head.label, case.sex or "", f"{len(solved.sites)} sites of {case.array_title}"]
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
                tape_length(measured),
                f"± {fitted.tape.spread_mm(name):.2g} mm",
                tape_length(fitted.predicted_mm[name]),
                _signed(fitted.residuals_mm[name]),
            ]
            for name, measured in fitted.tape.values_mm.items()
        ],
    )
    screen.say()
    screen.say(how_sure(solved.spreads))
    said = solved.advice_sentences
    more = [*advice.shape, *advice.norms]
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
