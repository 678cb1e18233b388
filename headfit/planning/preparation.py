"""How each site is prepared, how its cup is fixed, and what lies ready for it.

Common practice, no source. Local policy and licensed practice decide. Whether a site bears hair is
given as it usually is; along the hairline the person at the chair looks. Millimetres.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from headfit.anatomy.sites import TABLE, BesideEar, Sites
from headfit.errors import MeshError
from headfit.geometry.mesh import Floats
from headfit.planning.scalp_paths import scalp_paths

# Forehead and root of the nose; then what lies on the hairline of forehead, temple and nape, where
# people differ.
_BARE_STEMS = frozenset({"N", "NFp", "Fp", "AFp"})
_BARE_SITES = frozenset({"AF9", "AF10", "F9", "F10"})
_HAIRLINE = frozenset(
    "AF7 AF8 AF9h AF10h F9h F10h AFF9 AFF10 AFF9h AFF10h FFT9 FFT10 FFT9h FFT10h FT9 FT10 "
    "FT9h FT10h FTT9 FTT10 FTT9h FTT10h T9 T10 T9h T10h TTP9 TTP10 TTP9h TTP10h TP9 TP10 Iz I1 I2 "
    "I1h I2h".split()
)

# The cables are gathered at the nape, so far below the inion along the midline.
NAPE_MM = 40.0

# Common practice, no source. Older texts ask for 5 kΩ or less.
LIMIT_KOHM = 10.0
# Balance is common practice; its figure, half of the limit, is a design choice without a source.
BALANCE_KOHM = 5.0

BROKEN_SKIN = (
    "Look at the skin first. Never abrade or press on broken, inflamed or healing skin; chart it."
)
LONG_RECORDINGS = "Long recordings injure skin: look again at the intervals local policy sets."


@dataclass(frozen=True)
class Preparation:
    """What the person at the chair does at one site.

    Attributes
    ----------
    site : str
    skin : {"bare skin", "hair", "hair or skin: look"}
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

    >>> preparation("Fp1").fixing, preparation("C3").fixing, preparation("T9").skin
    ('tape', 'gauze square', 'hair or skin: look')
    """
    beside_ear = isinstance(TABLE[site], BesideEar)
    bare = beside_ear or site in _BARE_SITES or site.rstrip("0123456789hz") in _BARE_STEMS
    hairline = site in _HAIRLINE
    return Preparation(
        site,
        "hair or skin: look" if hairline else "bare skin" if bare else "hair",
        "gauze or tape" if hairline else "tape" if bare else "gauze square",
        "up or back" if beside_ear else "back",
    )


@dataclass(frozen=True)
class Tray:
    """What lies ready: cups, gauze squares, pieces of tape."""

    n_cups: int
    n_gauze: int
    n_tapes: int
    n_either: int

    @property
    def lines(self) -> tuple[str, ...]:
        """One line a thing."""
        either = f" and {self.n_either} that may need either" if self.n_either else ""
        return (
            f"{self.n_cups} cups, reference and ground besides",
            f"{self.n_gauze} gauze squares, {self.n_tapes} tapes{either}",
        )


def tray(sites: Iterable[str]) -> Tray:
    """What lies ready for the cups at some declared sites.

    >>> tray(["Fp1", "C3", "T9"])
    Tray(n_cups=3, n_gauze=1, n_tapes=1, n_either=1)
    """
    fixings = [preparation(site).fixing for site in sites]
    return Tray(
        len(fixings),
        fixings.count("gauze square"),
        fixings.count("tape"),
        fixings.count("gauze or tape"),
    )


def cable_lengths_mm(sites: Sites, cups_mm: Mapping[str, Floats]) -> dict[str, float]:
    """Over the scalp from each cup to where the cables are gathered at the nape.

    Where the surface ends before, as on a scan of a cap, to the inion and so much farther.

    Parameters
    ----------
    sites : Sites
        Of the head.
    cups_mm : mapping of str to (3,)
    """
    run, more = sites.tracer.run("midline"), 0.0
    try:
        nape = np.asarray(run.after_end_mm(NAPE_MM))
    except MeshError:
        nape, more = run.curve.path_mm[-1], NAPE_MM
    far = {name: at for name, at in cups_mm.items() if np.linalg.norm(at - nape) > 1.0}
    runs = scalp_paths(sites.tracer, [(at, nape) for at in far.values()])
    found = dict.fromkeys(cups_mm, more)
    return found | {name: run.length_mm + more for name, run in zip(far, runs, strict=True)}


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
