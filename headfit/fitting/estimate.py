"""What a fit found of the parameters, from which readings, and how each cause of error counts."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from headfit.fitting.leftover import LEFTOVER_SAFE
from headfit.fitting.shape import parameter_kinds
from headfit.geometry.mesh import Floats
from headfit.nouns import Noun

# A sheet with no more values than there are scales has nothing to contradict it: its values are met
# exactly (this share of their spread). With more, each is met within its spread.
_EXACT_SHARE = 0.02
_FEWEST_TO_CONTRADICT = 3


@dataclass(frozen=True, eq=False)
class Estimate(Noun):
    """Parameters, the slopes around them, and what they were estimated from.

    Attributes
    ----------
    parameters : (K,) float64
    names : tuple of str
        Of the m readings.
    slopes : (m, K) float64
    spreads_mm : (m,) float64
        Standard deviations of the readings.
    leftover : (m, h) float64
        What each leftover mode does to the readings, mm.
    prior_covariance : (K, K) float64
    """

    parameters: Floats
    names: tuple[str, ...]
    slopes: Floats
    spreads_mm: Floats
    leftover: Floats
    prior_covariance: Floats

    def __repr__(self) -> str:
        return f"Estimate({len(self.parameters)} parameters from {len(self.names)} measurements)"

    @cached_property
    def gain(self) -> Floats:
        """(K, m) how much each parameter follows each reading."""
        weighted = precision(self.spreads_mm, self.leftover) @ self.slopes
        information = self.slopes.T @ weighted + np.linalg.inv(self.prior_covariance)
        return np.asarray(np.linalg.solve(information, weighted.T), dtype=np.float64)

    @cached_property
    def kept(self) -> Floats:
        """(K, K) the share of a prior error that stays."""
        return np.eye(len(self.parameters)) - self.gain @ self.slopes

    @cached_property
    def leftover_errors(self) -> Floats:
        """(K, h) the error that each leftover mode makes in the parameters."""
        return np.asarray(self.gain @ self.leftover)

    def error_parts(self) -> dict[str, Floats]:
        """Covariances (K, K) of the parameter errors by origin; with "leftover" the whole.

        "tape": readings. "landmarks": where the landmarks lie and were placed. "shape": the rest of
        the head, with what shape and landmarks share.
        """
        marks = np.array([kind == "landmark" for kind in parameter_kinds()])
        of_marks = np.where(np.outer(marks, marks), self.prior_covariance, 0.0)
        of_shape = self.prior_covariance - of_marks
        return {
            "shape": self.kept @ of_shape @ self.kept.T,
            "tape": (self.gain * self.spreads_mm**2) @ self.gain.T,
            "landmarks": self.kept @ of_marks @ self.kept.T,
        }

    @cached_property
    def covariance(self) -> Floats:
        """(K, K) covariance of the parameter errors."""
        of_leftover = self.leftover_errors @ self.leftover_errors.T
        return np.asarray(sum(self.error_parts().values()) + of_leftover)

    def unseen(self, slopes: Floats, leftover: Floats) -> Floats:
        """(..., K + m + h) what something is off by for one standard deviation of each cause.

        Parameters
        ----------
        slopes : (..., K) float64
            How it moves with the parameters.
        leftover : (..., h) float64
            What each leftover mode does to it.
        """
        root = np.linalg.cholesky(self.prior_covariance)
        of_gain = slopes @ self.gain
        return np.concatenate(
            [
                slopes @ self.kept @ root,
                of_gain * self.spreads_mm,
                leftover - of_gain @ self.leftover,
            ],
            axis=-1,
        )


def precision(spreads_mm: Floats, leftover: Floats) -> Floats:
    """(m, m) inverse covariance of the readings, given the shape, as the fit takes it.

    The fit weighs readings by the leftover as it was seen; how sure it is, by the safe size.
    """
    covariance = np.diag(spreads_mm**2) + leftover @ leftover.T / LEFTOVER_SAFE**2
    exact = _EXACT_SHARE if len(spreads_mm) <= _FEWEST_TO_CONTRADICT else 1.0
    return np.asarray(np.linalg.inv(exact**2 * covariance), dtype=np.float64)
