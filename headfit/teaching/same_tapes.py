"""Heads that have the same tapes: what three numbers leave open. Head frame, millimetres.

The tapes of a case fix a few of the 29 shape parameters; along the others a head may change while
every tape stays as it is. Walked is the one way along which the sites wander farthest, from two
standard deviations on one side to two on the other.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from headfit.anatomy.head import Head
from headfit.anatomy.sites import SYSTEMS, Sites, place_sites
from headfit.case.solved import SolvedCase, solve_case
from headfit.fitting.fit import FittedHead
from headfit.fitting.measures import measure_head
from headfit.fitting.model_measures import measures_at
from headfit.fitting.spreads import SiteSpreads
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats
from headfit.nouns import Noun

STEPS_SD = tuple(float(step) for step in np.linspace(-2.0, 2.0, 9))
# Taken on the head where the case has no tape: the three of every sheet.
THREE = ("nasion_inion", "preauricular_arc", "ring")
_ROUNDS = 4
_SAME_MM = 0.05  # nobody reads a tape so well


@dataclass(frozen=True, eq=False, repr=False)
class SameTapes(Noun):
    """Heads of the same tapes.

    Attributes
    ----------
    names : tuple of str
        Of the measurements that stay.
    values_mm : (m,) float64
    heads : tuple of Head
        One for each of `STEPS_SD`.
    sites : tuple of Sites
        Of 10-20 on each.
    spreads : SiteSpreads
        How sure each site is from these tapes.
    """

    names: tuple[str, ...]
    values_mm: Floats
    heads: tuple[Head, ...]
    sites: tuple[Sites, ...]
    spreads: SiteSpreads

    def __repr__(self) -> str:
        return f"SameTapes({len(self.heads)} heads with the same {len(self.names)} tapes)"

    @property
    def own(self) -> int:
        """Which of the heads is the most probable one."""
        return STEPS_SD.index(0.0)


def by_its_tapes(solved: SolvedCase) -> SolvedCase:
    """The case itself, or of a scan or a template the head that has its three tapes.

    Raises
    ------
    SheetError
        No head of the model has such tapes.
    """
    if solved.fitted is not None:
        return solved
    taken = measure_head(solved.head).values_mm
    tape = Tape(**{f"{name}_mm": taken[name] for name in THREE})  # type: ignore[arg-type]
    return solve_case(replace(solved.case, tape=tape, scan=None, shape={}))


def heads_of_same_tapes(solved: SolvedCase) -> SameTapes:
    """The heads that have the tapes of a case."""
    fitted = solved.tape_fit
    names = fitted.estimate.names
    sites = place_sites(fitted.head, SYSTEMS["10-20"], solved.case.rules)
    way = _widest_way(fitted, sites)
    values = measures_at(fitted.model, fitted.parameters).values_mm(names)
    heads = [_head(fitted, names, values, step * way) for step in STEPS_SD]
    placed = tuple(place_sites(head, SYSTEMS["10-20"], solved.case.rules) for head in heads)
    return SameTapes(names, values, tuple(heads), placed, fitted.spreads(sites))


def _widest_way(fitted: FittedHead, sites: Sites) -> Floats:
    """(K,) one standard deviation along the way on which sites wander farthest, tapes unchanged."""
    prior = fitted.model.prior.covariance
    slopes = fitted.estimate.slopes
    gain = np.linalg.solve(slopes @ prior @ slopes.T, slopes @ prior).T
    left = prior - gain @ slopes @ prior
    moves = fitted.site_slopes(sites).reshape(-1, len(left))
    root = np.linalg.cholesky(left + 1e-12 * np.diag(np.diag(prior)))
    _, _, rows = np.linalg.svd(moves @ root)
    way = root @ rows[0]
    return np.asarray(way if way[np.abs(way).argmax()] > 0 else -way)


def _head(fitted: FittedHead, names: tuple[str, ...], values: Floats, away: Floats) -> Head:
    """The head away from the fitted one, brought back to its tapes by the least change."""
    prior = fitted.model.prior.covariance
    parameters = fitted.parameters + away
    for _ in range(_ROUNDS):
        measures = measures_at(fitted.model, parameters)
        off = measures.values_mm(names) - values
        if np.abs(off).max() < _SAME_MM:
            break
        slopes = measures.rates(names)
        gain = prior @ slopes.T @ np.linalg.inv(slopes @ prior @ slopes.T)
        parameters = parameters - gain @ off
    return fitted.model.head(parameters, fitted.head.label).in_own_frame()
