"""By which tolerance a mark is judged, and what can be said by it. Millimetres.

The limits of a comparison are widened by how sure the site itself is. A mark beyond the first limit
that only this widening brings back is not good: where its site lies *cannot be told* so well.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

from headfit.comparing.comparison import Comparison, Deviation

Judgement = Literal["within", "cannot be told", "off", "far off"]

JUDGEMENTS: tuple[Judgement, ...] = ("within", "cannot be told", "off", "far off")


def judged(deviation: Deviation, bands_mm: tuple[float, float]) -> Judgement:
    """What can be said of a mark.

    Parameters
    ----------
    deviation : Deviation
    bands_mm : (float, float)
        The limits of the comparison, not widened.
    """
    if deviation.band:
        return "off" if deviation.band == 1 else "far off"
    return "within" if deviation.over_scalp_mm <= bands_mm[0] else "cannot be told"


def tolerance_mm(deviation: Deviation, bands_mm: tuple[float, float]) -> float:
    """How far the mark may lie from the site before it is called off."""
    return bands_mm[0] + deviation.uncertainty_mm


def tolerance_words(deviation: Deviation, bands_mm: tuple[float, float]) -> str:
    """The tolerance of a mark, and why it is that wide.

    >>> from types import SimpleNamespace
    >>> tolerance_words(SimpleNamespace(uncertainty_mm=7.2), (5.0, 10.0))
    '12 = 5 + 7 site unsure'
    """
    whole = tolerance_mm(deviation, bands_mm)
    if not deviation.uncertainty_mm:
        return f"{whole:.0f}"
    return f"{whole:.0f} = {bands_mm[0]:g} + {deviation.uncertainty_mm:.0f} site unsure"


def counts(comparison: Comparison) -> dict[Judgement, int]:
    """How many marks there are of each judgement."""
    found = [judged(d, comparison.bands_mm) for d in comparison.deviations]
    return {each: found.count(each) for each in JUDGEMENTS}


def untold_sentence(comparison: Comparison) -> str:
    """Names the marks of which nothing can be told, and what would help; empty without any."""
    names = [
        d.site for d in comparison.deviations if judged(d, comparison.bands_mm) == "cannot be told"
    ]
    if not names:
        return ""
    near, one = comparison.bands_mm[0], len(names) == 1
    return (
        f"{_some(names)} more than {near:g} mm off, but the "
        f"{'site itself is' if one else 'sites are'} less sure than that: whether "
        f"{'it is' if one else 'they are'} right cannot be told "
        "without more measurements."
    )


def _some(names: Iterable[str]) -> str:
    listed = list(names)
    shown = ", ".join(listed[:6]) + (f" and {len(listed) - 6} more" if len(listed) > 6 else "")
    return f"{shown} {'lies' if len(listed) == 1 else 'lie'}"
