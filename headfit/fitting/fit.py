"""From a measurement sheet to a head: the most probable shape, and how sure it is.

The parameters of the shape model are found by maximum a posteriori: Gauss-Newton steps from the prior
mean, halved while they do not lower the cost, with exact derivatives of every measurement. What
nothing measured sees stays at the prior and shows as uncertainty. Head frame, millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache, cached_property

import numpy as np

from headfit.anatomy.arcs import ArcTracer, Rules
from headfit.anatomy.head import Head
from headfit.anatomy.sites import Sites, sites_on
from headfit.anatomy.template import age_in_months, template_set
from headfit.errors import ConvergenceError, HeadfitError, MeshError, SheetError, sentence
from headfit.fitting.measures import HeadMeasures
from headfit.fitting.shape import (
    ShapeModel,
    parameter_kinds,
    parameter_names,
    parameter_titles,
    shape_model,
)
from headfit.fitting.spreads import SiteSpreads, site_spreads, tangent_rates
from headfit.fitting.tape import MEASUREMENTS, Tape
from headfit.geometry.mesh import Floats, frozen

# A sheet with no more values than there are scales has nothing to contradict it: its values are met
# exactly (this share of their spread). With more, each is met within its spread.
_EXACT_SHARE = 0.02
_MAX_ROUNDS = 12
_SETTLED = 1e-3  # the fit ends when the next step promises to lower the cost by less
_REFRESH_SD = 0.35  # the slopes of the last step serve again below this
FLAG_SD, REFUSE_SD = 4.0, 8.0

# The vault of a real head lies 0.8 mm (root mean square) from the best head of the basis. A caliper
# across the vault meets that at both ends, a height at one; along a tape it averages out.
_FLOOR_MM = 0.8
_VAULT_ENDS = {
    "head_length": 2, "head_breadth": 2, "left_diagonal": 2, "right_diagonal": 2, "cz_height": 1,
}  # fmt: skip


def unmodelled_mm(name: str) -> float:
    """Standard deviation of what a measurement sees and the shape basis cannot follow, mm."""
    return float(_FLOOR_MM * np.sqrt(_VAULT_ENDS.get(name, 0)))


@dataclass(frozen=True, eq=False)
class Estimate:
    """Parameters, the slopes around them, and what they were estimated from."""

    parameters: Floats
    names: tuple[str, ...]
    slopes: Floats
    used_spreads_mm: Floats
    spreads_mm: Floats
    prior_covariance: Floats

    @cached_property
    def gain(self) -> Floats:
        """(K, m) how much each parameter follows each reading."""
        weighted = self.slopes / self.used_spreads_mm[:, None] ** 2
        information = self.slopes.T @ weighted + np.linalg.inv(self.prior_covariance)
        return np.linalg.solve(information, weighted.T)

    @cached_property
    def kept(self) -> Floats:
        """(K, K) the share of a prior error that stays."""
        return np.eye(len(self.parameters)) - self.gain @ self.slopes

    def error_parts(self) -> dict[str, Floats]:
        """Covariances (K, K) of the parameter errors by origin; they add up to the whole.

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
        return np.asarray(sum(self.error_parts().values()))


@dataclass(frozen=True, eq=False)
class FittedHead:
    """A head fitted to a sheet.

    Attributes
    ----------
    head : Head
        In the head frame, ears included.
    tape : Tape
    age : str or float
    sex : str or None
    residuals_mm : dict
        Fitted minus measured, by measurement name.
    estimate : Estimate
    flags : tuple of str
        Sentences on what is unusual about the fit.
    """

    head: Head
    tape: Tape
    age: str | float
    sex: str | None
    doubtful: tuple[str, ...]
    residuals_mm: Mapping[str, float]
    estimate: Estimate
    flags: tuple[str, ...]
    model: ShapeModel = field(repr=False)

    @property
    def parameter_names(self) -> tuple[str, ...]:
        """Names of the shape parameters."""
        return parameter_names()

    @property
    def parameters(self) -> Floats:
        """(K,) shape parameters."""
        return self.estimate.parameters

    @property
    def covariance(self) -> Floats:
        """(K, K) covariance of the parameter errors."""
        return self.estimate.covariance

    @cached_property
    def measures(self) -> HeadMeasures:
        """The measurements on the fitted head, with their rates; in the frame of the model."""
        return _measures(self.model, self.parameters)

    @cached_property
    def predicted_mm(self) -> dict[str, float]:
        """Every measurement of the sheet on the fitted head."""
        return {name: self.measures.value_mm(name) for name in MEASUREMENTS}

    @cached_property
    def measurement_slopes(self) -> dict[str, Floats]:
        """(K,) derivative of every measurement."""
        return {name: self.measures.rate(name) for name in MEASUREMENTS}

    @cached_property
    def predicted_spread_mm(self) -> dict[str, float]:
        """Standard deviation of every predicted measurement."""
        return {
            name: float(np.sqrt(slope @ self.covariance @ slope))
            for name, slope in self.measurement_slopes.items()
        }

    @cached_property
    def _tracers(self) -> dict[Rules, ArcTracer]:
        return {Rules(): self.measures.tracer}

    def _local(self, sites: Sites) -> tuple[Sites, ArcTracer]:
        """The same sites on the model, whose motion is known."""
        rules = replace(sites.rules, curve="plane")
        if rules not in self._tracers:
            self._tracers[rules] = at_pose(self.model, self.parameters, rules)
        tracer = self._tracers[rules]
        return sites_on(tracer, sites.names, sites.system), tracer

    def spreads(self, sites: Sites) -> SiteSpreads:
        """How sure each site is, in the frame of the four landmarks.

        Parameters
        ----------
        sites : Sites
            Placed on `self.head`; under the shortest-path rule the plane arcs stand in.
        """
        local, tracer = self._local(sites)
        return site_spreads(local, self.estimate.error_parts(), tracer)

    def site_slopes(self, sites: Sites) -> Floats:
        """(n, 2, K) how each site moves along and across its arc with the parameters."""
        return tangent_rates(*self._local(sites))


def at_pose(model: ShapeModel, parameters: Floats, rules: Rules | None = None) -> ArcTracer:
    """The arcs of the model at some parameters, with their motion."""
    pose = model.pose(parameters, rates=True)
    return ArcTracer(pose.mesh, pose.landmarks, rules or Rules(), pose.motion)


def _measures(model: ShapeModel, parameters: Floats) -> HeadMeasures:
    return HeadMeasures(at_pose(model, parameters))


class _Linearised:
    """Measurements and slopes at the prior mean, computed once for each model."""

    def __init__(self, model: ShapeModel) -> None:
        self.measures = _measures(model, model.prior.mean)
        self._values: dict[str, float] = {}
        self._slopes: dict[str, Floats] = {}

    def at(self, names: Sequence[str]) -> tuple[Floats, Floats]:
        """Values (m,) and slopes (m, K) of some measurements."""
        for name in names:
            if name not in self._values:
                self._values[name] = self.measures.value_mm(name)
                self._slopes[name] = self.measures.rate(name)
        return (
            np.array([self._values[name] for name in names]),
            np.array([self._slopes[name] for name in names]),
        )


@cache
def at_prior_mean(model: ShapeModel) -> _Linearised:
    """The linearisation every fit of a model starts from."""
    return _Linearised(model)


def fit_head(
    tape: Tape, age: str | float = "adult", *, sex: str | None = None,
    doubtful: Sequence[str] = (),
) -> FittedHead:  # fmt: skip
    """The head that a measurement sheet speaks of.

    Parameters
    ----------
    tape : Tape
        Any subset of measurements. Up to three values are met exactly; more are met within their
        spreads.
    age : str or float
        "adult", "newborn", "m06", "m12", "y05", "y10", or years.
    sex : {"female", "male"}, optional
        Sharpens the prior of an adult.
    doubtful : sequence of str
        Landmarks that were hard to find: "nasion", "inion", "left_preauricular",
        "right_preauricular"; their place is taken as less sure.

    Raises
    ------
    SheetError
        No head is shaped like this; the sentence names the reading that fits least.
    UnknownNameError
        No such age, sex or landmark.
    ConvergenceError
        The fit did not settle.

    >>> fitted = fit_head(Tape(nasion_inion_mm=360, preauricular_arc_mm=355, ring_mm=570))
    >>> max(abs(residual) for residual in fitted.residuals_mm.values()) < 0.1
    True
    """
    model = shape_model(age, sex, tuple(sorted(set(doubtful))))
    names = tuple(tape.values_mm)
    readings = np.array(list(tape.values_mm.values()))
    spreads = np.array([np.hypot(tape.spread_mm(n), unmodelled_mm(n)) for n in names])
    used = spreads * (_EXACT_SHARE if len(names) <= 3 else 1.0)
    parameters, slopes, fitted = _most_probable(model, names, readings, used, age)
    estimate = Estimate(
        frozen(parameters), names, frozen(slopes), used, spreads, model.prior.covariance
    )
    head = model.head(parameters, model.template.label).in_own_frame()
    residuals = dict(zip(names, (fitted - readings).tolist(), strict=True))
    flags = _judged(model, estimate, residuals, tape)
    return FittedHead(
        head, tape, age, sex, tuple(doubtful), residuals, estimate, flags, model
    )


def _most_probable(
    model: ShapeModel, names: tuple[str, ...], readings: Floats, spreads: Floats,
    age: str | float,
) -> tuple[Floats, Floats, Floats]:  # fmt: skip
    """Parameters (K,), slopes (m, K) and fitted values (m,) at the top of the posterior."""
    prior = model.prior

    def cost(parameters: Floats, values: Floats) -> float:
        misfit, away = (values - readings) / spreads, parameters - prior.mean
        return float(misfit @ misfit + away @ prior.information @ away)

    parameters = prior.mean
    values, slopes = at_prior_mean(model).at(names)
    best = cost(parameters, values)
    for _ in range(_MAX_ROUNDS):
        weighted = slopes / spreads[:, None] ** 2
        uphill = weighted.T @ (values - readings) + prior.information @ (parameters - prior.mean)
        step = -np.linalg.solve(slopes.T @ weighted + prior.information, uphill)
        if -step @ uphill < _SETTLED:
            return parameters, slopes, values
        length = float(np.max(np.abs(step) / prior.spread))
        for share in (1.0, 0.5, 0.25, 0.125):
            tried = parameters + share * step
            try:
                measures = _measures(model, tried)
                tried_values = np.array([measures.value_mm(name) for name in names])
            except HeadfitError:  # the step left the range in which a head can be measured
                continue
            tried_cost = cost(tried, tried_values)
            if tried_cost < best:
                break
        else:
            if length < 1.0:  # rounding of a fit that is as good as it gets
                return parameters, slopes, values
            raise _no_such_head(model, age, names, readings)
        parameters, values, best = tried, tried_values, tried_cost
        if share * length > _REFRESH_SD:
            slopes = np.array([measures.rate(name) for name in names])
    raise ConvergenceError(
        f"the fit must settle within {_MAX_ROUNDS} steps, got a step of {length:.2g} prior standard "
        "deviations at the end (is one reading far off, or the age wrong?)",
        code="fit-not-settled", step_sd=length,
    )  # fmt: skip


def _no_such_head(
    model: ShapeModel, age: str | float, names: tuple[str, ...], readings: Floats
) -> SheetError:
    """The error for values no head of the age has, with the age whose size they have."""
    size = float(np.median(readings / at_prior_mean(model).at(names)[0]))
    ages = template_set().ages
    around = float(np.interp(age_in_months(age), *zip(*[(m, c) for m, _, c in
                   sorted(ages.values())], strict=True)))  # fmt: skip
    nearest_age = min(ages, key=lambda key: abs(ages[key][2] - size * around))
    hint = (
        f"values of this size belong to {ages[nearest_age][1].split(',')[0]}: is the age right?"
        if ages[nearest_age][0] != age_in_months(age)
        else "one value or more must be far off: take them again"
    )
    return SheetError(
        sentence("a measurement sheet", f"describe a head of the age given ({age})",
                 "values that no such head has together", hint),
        code="sheet-no-head",
    )  # fmt: skip


def _judged(
    model: ShapeModel, estimate: Estimate, residuals: Mapping[str, float], tape: Tape
) -> tuple[str, ...]:
    """Sentences on a shape far from every head that is known; refuses one beyond belief."""
    away = (estimate.parameters - model.prior.mean) / model.prior.spread
    worst = int(np.abs(away).argmax())
    if abs(away[worst]) <= FLAG_SD:
        return ()
    name, titles = parameter_names()[worst], parameter_titles()
    farthest = max(residuals, key=lambda n: abs(residuals[n]) / tape.spread_mm(n))
    finding = (
        f"{titles[worst]} lies {abs(away[worst]):.1f} standard deviations from the mean of "
        f"{'children' if name and model.template.label != 'adult' else 'adults'}"
    )
    if abs(away[worst]) > REFUSE_SD:
        raise SheetError(
            sentence("a measurement sheet", f"describe a head of the age given ({model.template.label})",
                     f"one whose {finding}",
                     f"check age and unit, and take the {MEASUREMENTS[farthest].title} again"),
            code="sheet-no-head", parameter=name, away_sd=float(away[worst]),
        )  # fmt: skip
    return (
        f"Unusual head: {finding}. Take the {MEASUREMENTS[farthest].title} again before you rely "
        "on this.",
    )
