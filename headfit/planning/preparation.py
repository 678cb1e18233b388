"""How each site is prepared and how its cup is fixed. Common practice, no source.

Local policy and licensed practice decide. Whether a site bears hair is given as it usually is; the
person at the chair sees how it is.
"""

from __future__ import annotations

from dataclasses import dataclass

from headfit.anatomy.sites import TABLE, BesideEar

# Forehead, root of the nose, temple below the hairline.
_BARE_STEMS = frozenset({"N", "NFp", "Fp", "AFp"})
_BARE_SITES = frozenset({"AF9", "AF10", "F9", "F10"})


@dataclass(frozen=True)
class Preparation:
    """What the person at the chair does at one site.

    Attributes
    ----------
    site : str
    skin : str
        "bare skin" or "hair".
    fixing : str
    tail : str
        Direction of the cable.
    """

    site: str
    skin: str
    fixing: str
    tail: str


def preparation(site: str) -> Preparation:
    """The usual preparation of a declared site.

    >>> preparation("Fp1").fixing, preparation("C3").fixing, preparation("A1").tail
    ('tape', 'gauze square', 'up or back')
    """
    beside_ear = isinstance(TABLE[site], BesideEar)
    bare = beside_ear or site in _BARE_SITES or site.rstrip("0123456789hz") in _BARE_STEMS
    return Preparation(
        site,
        "bare skin" if bare else "hair",
        "tape" if bare else "gauze square",
        "up or back" if beside_ear else "back",
    )


# Common practice, no source. Older texts ask for 5 kΩ or less.
LIMIT_KOHM = 10.0
# Balance is common practice; its figure, half of the limit, is a design choice without a source.
BALANCE_KOHM = 5.0

BROKEN_SKIN = (
    "Look at the skin first. Never abrade or press on broken, inflamed or healing skin; chart it."
)
LONG_RECORDINGS = "Long recordings injure skin: look again at the intervals local policy sets."

CAUTIONS: tuple[str, ...] = (
    "Local policy and licensed practice decide; this card only reminds.",
    BROKEN_SKIN,
    "Clean hands; single-use or disinfected tape, comb, cups and applicators; fresh skin marker.",
    "Hair: part it and lay the gauze square over the cup. Bare skin: tape.",
    "Cable tails to the back; at the ears up or back, never down.",
    "Little paste: too much spreads, bridges sites and makes the sides unequal.",
    f"Impedance {LIMIT_KOHM:.0f} kΩ or less and balanced, unless local policy sets another limit.",
    LONG_RECORDINGS,
    "Chart who measured, doubtful landmarks, scars and defects, moved sites, impedances.",
)
