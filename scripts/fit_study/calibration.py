"""Simulation-based calibration: whether the truth ranks evenly among draws of what stays open.

A head is drawn from the prior, with bumps and dents that no parameter draws, its sheet is read with
noise, the fit gives a distribution of every parameter and of every site, and the truth takes its
rank among draws of that. When the spreads are right all ranks are equally likely (Talts et al.
2018, arXiv 1804.06788). Heaps at both ends mean spreads too small, a hill in the middle too large.

Bumps may act as the fit believes, by slopes, or be put on the skin and measured with it. The fit
does not know that a tape over bumps is longer than over a smooth skin, by up to 0.7 mm round the
head, and that a caliper finds the widest bump: on skins with bumps ranks lean to one side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from prior_study.left_out import head_with
from scipy.stats import binom

from fit_study.scores import SITES, carried
from headfit import Head, HeadfitError, Tape, fit_head, place_sites
from headfit.anatomy.arcs import Rules
from headfit.fitting.leftover import LEFTOVER_SAFE, leftover_effects, leftover_fields
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.measures import measures_of
from headfit.fitting.shape import parameter_names, shape_model

N_BINS, N_DRAWS = 10, 99
BAND = 0.99  # of all bins of all quantities at once, for ranks that are even


@dataclass(frozen=True, eq=False)
class Calibration:
    """Rank histograms.

    Attributes
    ----------
    names : tuple of str
        Parameters, then sites along and across.
    counts : (q, 10) int64
        Heads whose truth ranks in each tenth.
    """

    names: tuple[str, ...]
    counts: np.ndarray

    @property
    def band(self) -> tuple[int, int]:
        """Counts between which every bin of a quantity lies with 99 % when ranks are even."""
        heads = int(self.counts[0].sum())
        each = (1 - BAND) / N_BINS / 2
        low, high = binom.ppf([each, 1 - each], heads, 1 / N_BINS)
        return int(low), int(high)

    @property
    def outside(self) -> dict[str, list[int]]:
        """The histograms that leave the band."""
        low, high = self.band
        bad = ((self.counts < low) | (self.counts > high)).any(axis=1)
        return {self.names[i]: self.counts[i].tolist() for i in np.flatnonzero(bad)}


def calibrated(
    n_heads: int, sheet: Sequence[str], generator: np.random.Generator, *, on_skin: bool
) -> Calibration:
    """Ranks of drawn heads fitted from a sheet read with the noise that readings have.

    Without a measurement that tells left from right the parameters that oppose them stay at the
    prior by construction, and their ranks with them; they are counted all the same.

    Parameters
    ----------
    n_heads : int
    sheet : sequence of str
    generator : numpy Generator
    on_skin : bool
        Put the bumps on the skin, instead of what their slopes say on readings and sites.
    """
    model, fields = shape_model(), LEFTOVER_SAFE * leftover_fields()
    effects = leftover_effects(model)
    on_readings, on_sites = effects.on_measurements(sheet), effects.on_sites(SITES, Rules())
    root = np.linalg.cholesky(model.prior.covariance)
    ranks = []
    for _ in range(n_heads):
        parameters = model.prior.mean + root @ generator.normal(size=model.n_parameters)
        bumps = generator.normal(size=len(fields))
        by_slopes = np.zeros_like(bumps) if on_skin else bumps
        try:
            head = head_with(parameters, (bumps - by_slopes) @ fields)
            readings = measures_of(head).values_mm(sheet) + on_readings @ by_slopes
            ranks.append(
                _ranks(parameters, head, dict(zip(sheet, readings, strict=True)),
                       on_sites @ by_slopes, generator)
            )  # fmt: skip
        except HeadfitError as error:
            print(f"a drawn head is left out: {error}")
    ways = [f"{site} {way}" for site in SITES for way in ("along", "across")]
    bins = np.array(ranks) * N_BINS // (N_DRAWS + 1)
    counts = np.array([np.bincount(column, minlength=N_BINS) for column in bins.T])
    return Calibration((*parameter_names(), *ways), counts)


def _ranks(
    parameters: np.ndarray,
    head: Head,
    readings: dict[str, float],
    shifted: np.ndarray,
    generator: np.random.Generator,
) -> np.ndarray:
    """(q,) how many of the draws lie below the truth; sites are `shifted` (19, 2) on the skin."""
    noise = generator.normal(0, [MEASUREMENTS[name].spread_mm for name in readings])
    noisy = {f"{n}_mm": v + e for (n, v), e in zip(readings.items(), noise, strict=True)}
    fitted = fit_head(Tape(**noisy))
    sites = place_sites(fitted.head, SITES)
    spreads = fitted.spreads(sites)
    own = fitted.head.landmarks.points_mm
    true = place_sites(head, SITES).points_mm
    off = carried(true, head.landmarks.points_mm, own) - sites.points_mm
    plane = np.stack([(off * spreads.along).sum(1), (off * spreads.across).sum(1)], axis=1)
    variance = np.diagonal(spreads.covariance_mm2, axis1=1, axis2=2)
    away = np.concatenate([parameters - fitted.parameters, (plane + shifted).ravel()])
    spread = np.sqrt(np.concatenate([np.diag(fitted.covariance), variance.ravel()]))
    draws = spread * generator.normal(size=(N_DRAWS, len(spread)))
    return np.asarray((draws < away).sum(axis=0))
