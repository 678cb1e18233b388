"""Each mark against what all others foresee: single sites that are off. Millimetres.

A cap stretches and sits in ways its neighbouring holders share, so that a set foresees each of its
marks: by the errors that neighbours have in common, over 60 and over 30 mm, with turn and shift of
the whole set free. What is left is told in units of what clean sets show. Caps hold their sites
some millimetres off the construction in ways of their own; where the mean of a cap is stored
(`site_means.json`, from open data) it is taken off first.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from headfit.anatomy.site_table import TABLE, BeyondRow
from headfit.comparing.target_sites import Targets
from headfit.geometry.mesh import Floats
from headfit.geometry.rates import skew

# Errors along the skin in 85 digitised sets (OpenNeuro ds004561, ds005403, ds004024) after the mean
# of their cap: of each mark, shared over 60 mm and over 30 mm.
_OWN_MM = 1.5
_SHARED = ((2.0, 60.0), (1.2, 30.0))
_FREE_MM = 20.0
_LEVER_MM = 80.0
_IZ_MM = 6.0
# Where no mean of the very cap is stored, and where there is none at all: how far caps differ from
# each other, and from the construction. Sites below a row hang on where a cap ends; what they and
# Iz are sure to on a known cap is stored with its means.
_OTHER_CAP_MM, _NO_CAP_MM = 1.4, 2.0
_BELOW_ROW_OTHER_MM, _BELOW_ROW_NO_CAP_MM = 4.0, 2.5
# Of n sites whose squared distance is chi-square of two degrees of freedom, one lies beyond
# 2 ln(80 n) in one set of 80: exp(-x / 2) each. What clean sets show has longer tails, so much
# longer; without the means of the cap its own spread is taken wider already.
_ONE_SET_IN = 80
_TAILS, _NO_CAP_TAILS = 1.35, 0.9
_MEDIAN_OF_TWO = 1.386  # of chi-square with 2 degrees of freedom: 2 ln 2
_LEAST_SCALE = 0.6
_FEWEST = 8
_WILD_MM, _WILD_TIMES = 30.0, 5.0


@dataclass(frozen=True, eq=False)
class Regularity:
    """How far each mark of a set is from what the others foresee.

    Attributes
    ----------
    surprise : (n,) float64
        Squared distance in spreads of clean sets; above `gate` a mark is off for itself.
    judged_by : str
        What the set was held against, in words.
    gate : float
    """

    surprise: Floats
    judged_by: str
    gate: float


@dataclass(frozen=True, eq=False)
class _Expectation:
    """What a set may look like: means and own spreads of its sites, and what to call it."""

    title: str
    means: Floats
    own_mm: Floats
    tails: float


def regularity_of(
    own_mm: Floats, targets: Targets, caps: Mapping[str, Any] | None = None
) -> Regularity | None:
    """Each mark against all others; None with fewer than eight marks.

    Parameters
    ----------
    own_mm : (n, 2) float64
        What is left along and across over the skin, the common part of the set taken off.
    targets : Targets
    caps : mapping, optional
        Known caps by title, as stored in `site_means`; default those.
    """
    size = np.linalg.norm(own_mm, axis=1)
    wild = size > max(_WILD_MM, _WILD_TIMES * float(np.median(size)) if len(size) else 0.0)
    if wild.any():  # they say nothing of the others, nor of the cap
        rows = np.flatnonzero(~wild).tolist()
        rest = regularity_of(own_mm[~wild], targets.taken(rows), caps)
        if rest is None:
            return None
        surprise = (size / _OWN_MM) ** 2
        surprise[~wild] = rest.surprise
        return Regularity(surprise, rest.judged_by, rest.gate)
    if len(targets) < _FEWEST:
        return None
    frame = np.stack([targets.along, targets.across], axis=1)
    shared = _shared(targets, frame)
    likeliest = None
    for expected in _expectations(targets.names, site_means()["caps"] if caps is None else caps):
        kernel = shared + np.diag(np.repeat(expected.own_mm**2, 2))
        weight = np.linalg.inv(kernel)
        left = (own_mm - expected.means).ravel()
        unlikely = float(left @ weight @ left + np.linalg.slogdet(kernel)[1])
        if likeliest is None or unlikely < likeliest[0]:
            likeliest = unlikely, weight, left, expected
    assert likeliest is not None
    _, weight, left, expected = likeliest
    n = len(targets)
    gap = (weight @ left).reshape(n, 2)
    every = np.arange(n)
    inner = weight.reshape(n, 2, n, 2)[every, :, every, :]
    surprise = np.einsum("ni,ni->n", gap, np.linalg.solve(inner, gap[:, :, None])[:, :, 0])
    scale = max(float(np.median(surprise)) / _MEDIAN_OF_TWO, _LEAST_SCALE)
    gate = expected.tails * 2.0 * math.log(_ONE_SET_IN * n)
    return Regularity(surprise / scale, expected.title, gate)


def _shared(targets: Targets, frame: Floats) -> Floats:
    """(2n, 2n) covariance of what marks share: stretch of the cap, turn and shift of the set."""
    n = len(targets)
    gap = targets.points_mm[:, None] - targets.points_mm[None]
    square = np.einsum("ijk,ijk->ij", gap, gap)
    between = sum(size**2 * np.exp(-square / (2.0 * over**2)) for size, over in _SHARED)
    kernel = np.einsum("ab,aik,bjk->aibj", between, frame, frame).reshape(2 * n, 2 * n)
    lever = -skew(targets.points_mm - targets.points_mm.mean(axis=0)) / _LEVER_MM
    moves = np.concatenate([lever, np.tile(np.eye(3), (n, 1, 1))], axis=2)
    free = np.einsum("nij,njk->nik", frame, moves).reshape(2 * n, 6)
    return np.asarray(kernel + _FREE_MM**2 * free @ free.T)


def _expectations(names: tuple[str, ...], known: Mapping[str, Any]) -> list[_Expectation]:
    """The known caps, the mean of all of them, and the bare construction."""
    below = np.array([isinstance(TABLE[name], BeyondRow) for name in names])
    iz = np.array([name == "Iz" for name in names])

    def spread(extra_mm: float, below_mm: float, iz_mm: float) -> Floats:
        return np.sqrt(_OWN_MM**2 + extra_mm**2 + (below * below_mm) ** 2 + (iz * iz_mm) ** 2)

    found = []
    caps = [cap["means_mm"] for cap in known.values()]
    for title, cap in known.items():
        if all(name in cap["means_mm"] for name in names):
            means = np.array([cap["means_mm"][name] for name in names])
            own = spread(0.0, cap["below_row_mm"], cap["iz_mm"])
            found.append(_Expectation(f"clean sets of {title}", means, own, _TAILS))
    of_all = np.array(
        [
            np.mean([cap[name] for cap in caps if name in cap] or [(0.0, 0.0)], axis=0)
            for name in names
        ]
    )
    own = spread(_OTHER_CAP_MM, _BELOW_ROW_OTHER_MM, _IZ_MM)
    found.append(_Expectation("the mean of known caps", of_all, own, _NO_CAP_TAILS))
    own = spread(_NO_CAP_MM, _BELOW_ROW_NO_CAP_MM, _IZ_MM)
    nowhere = np.zeros((len(names), 2))
    found.append(_Expectation("the construction alone", nowhere, own, _NO_CAP_TAILS))
    return found


@cache
def site_means() -> dict[str, Any]:
    """The stored means of sites in clean sets, with where they come from."""
    text = Path(__file__).with_name("site_means.json").read_text(encoding="utf-8")
    return dict(json.loads(text))
