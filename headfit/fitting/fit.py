"""From a measurement sheet to a head: the most probable shape, and how sure it is.

The parameters of the shape model are found by maximum a posteriori: Gauss-Newton steps from the
prior mean, halved while they do not lower the cost, with exact derivatives of every measurement.
What nothing measured sees stays at the prior and shows as uncertainty. Head frame, millimetres.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headfit.anatomy.arcs import ArcTracer, Rules, mirrored
from headfit.anatomy.head import Head
from headfit.anatomy.sites import Sites, sites_on
from headfit.errors import HeadfitError
from headfit.fitting.estimate import Estimate, precision
from headfit.fitting.judgement import judged, no_such_head
from headfit.fitting.leftover import LeftoverEffects, leftover_effects, reading_noise
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.measures import HeadMeasures
from headfit.fitting.model_measures import at_pose, at_prior_mean, measures_at
from headfit.fitting.shape import ShapeModel, opposed_parameters, parameter_names, shape_model
from headfit.fitting.spreads import SiteSpreads, evened, site_spreads, tangent_rates
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats, frozen
from headfit.geometry.taperun import Length
from headfit.hooks import hook
from headfit.nouns import Noun

_MAX_ROUNDS = 12
_SETTLED = 1e-3  # the fit ends when the next step promises to lower the cost by less
_NEAR_SD = 1.0  # or when shorter steps no longer help: the edges of the mesh make it zigzag
_REFRESH_SD = 0.2  # the slopes of the last step serve again below this


@dataclass(frozen=True, eq=False)
class FittedHead(Noun):
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

    def __getstate__(self) -> dict[str, Any]:
        # The model is megabytes, and all of it but the prior follows from the fields.
        return super().__getstate__() | {"model": self.model.prior}

    def __setstate__(self, state: dict[str, Any]) -> None:
        doubtful = tuple(sorted(set(state["doubtful"])))
        standard = shape_model(state["age"], state["sex"], doubtful)
        super().__setstate__(state | {"model": replace(standard, prior=state["model"])})

    def __repr__(self) -> str:
        n = len(self.residuals_mm)
        worst = max(self.residuals_mm.values(), key=abs)
        who = f"{self.age}, {self.sex}" if self.sex else f"{self.age}"
        return (
            f"FittedHead({who}, {n} measurement{'s' if n > 1 else ''} met within "
            f"{abs(worst):.1f} mm, {len(self.flags)} flags)"
        )

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
        return measures_at(self.model, self.parameters)

    @cached_property
    def predicted_mm(self) -> dict[str, float]:
        """Every measurement of the sheet on the fitted head."""
        values = self.measures.values_mm(tuple(MEASUREMENTS)).tolist()
        return dict(zip(MEASUREMENTS, values, strict=True))

    @cached_property
    def measurement_slopes(self) -> dict[str, Floats]:
        """(K,) derivative of every measurement."""
        return dict(zip(MEASUREMENTS, self.measures.rates(tuple(MEASUREMENTS)), strict=True))

    @cached_property
    def predicted_spread_mm(self) -> dict[str, float]:
        """Standard deviation of every predicted measurement."""
        slopes = np.array(list(self.measurement_slopes.values()))
        leftover = self.leftover_effects.on_measurements(tuple(MEASUREMENTS))
        spread = np.linalg.norm(self.estimate.unseen(slopes, leftover), axis=1)
        return dict(zip(MEASUREMENTS, spread.tolist(), strict=True))

    @property
    def leftover_effects(self) -> LeftoverEffects:
        """What no parameter draws does to heads of this age."""
        return leftover_effects(self.model)

    @cached_property
    def _tracers(self) -> dict[Length, ArcTracer]:
        return {Rules().length: self.measures.tracer}

    def _local(self, sites: Sites, names: tuple[str, ...] | None = None) -> tuple[Sites, ArcTracer]:
        """The same sites, or those of other names, on the model, whose motion is known."""
        tracer = self.model_tracer(sites.rules)
        rules = replace(sites.rules, curve="plane")
        return sites_on(tracer, names or sites.names, sites.system, rules), tracer

    def model_tracer(self, rules: Rules) -> ArcTracer:
        """The arcs on the model, whose motion is known; plane arcs stand in for shortest paths."""
        if rules.length not in self._tracers:  # the other rules move no arc
            plane = replace(rules, curve="plane")
            self._tracers[rules.length] = at_pose(self.model, self.parameters, plane)
        return self._tracers[rules.length]

    def spreads(self, sites: Sites) -> SiteSpreads:
        """How sure each site is, in the frame of the four landmarks.

        Parameters
        ----------
        sites : Sites
            Placed on `self.head`; under the shortest-path rule the plane arcs stand in.
        """
        even = not self.parameters[opposed_parameters()].any()
        homologues = tuple(mirrored(name) for name in sites.names) if even else ()
        local, tracer = self._local(sites, tuple(dict.fromkeys((*sites.names, *homologues))))
        leftover = self.leftover_effects.on_sites(local.names, local.rules)
        found = site_spreads(
            local, self.estimate.error_parts(), tracer, leftover, self.estimate.leftover_errors
        )
        return evened(found, sites.names) if even else found

    def estimate_with(self, name: str) -> Estimate:
        """How sure the head would be with one more measurement, whatever it reads."""
        had, names = self.estimate, (*self.estimate.names, name)
        spread = reading_noise(np.array([self.tape.spread_mm(name)]), [name])
        return replace(
            had,
            names=names,
            slopes=np.vstack([had.slopes, self.measurement_slopes[name]]),
            spreads_mm=np.concatenate([had.spreads_mm, spread]),
            leftover=self.leftover_effects.on_measurements(names),
        )

    def _repr_html_(self) -> str:
        """A small drawing, in a notebook."""
        return str(hook("small_drawing")(self))

    def to_frame(self) -> Any:
        """A `pandas.DataFrame` with a row a measurement of the sheet: as measured, as fitted, mm.

        Raises
        ------
        InputError
            The optional extra `pandas` is not installed.
        """
        return hook("measurements_to_frame")(self)

    def site_slopes(self, sites: Sites) -> Floats:
        """(n, 2, K) how each site moves along and across its arc with the parameters."""
        return tangent_rates(*self._local(sites))


def fit_head(
    tape: Tape,
    age: str | float = "adult",
    *,
    sex: str | None = None,
    doubtful: Sequence[str] = (),
    fixed: Mapping[str, float] | None = None,
) -> FittedHead:
    """The most probable head for a measurement sheet.

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
    fixed : mapping of str to float, optional
        Shape parameters set by hand, by name: what the eye sees and no tape does, such as the back
        of the head flat on one side ("vault_2_m2") or a keel from front to back ("vault_3_2");
        mm, scales as logarithms. `headfit measurements` lists them.

    Raises
    ------
    SheetError
        No head is shaped like this; the sentence names the reading that fits least.
    UnknownNameError
        No such age, sex or landmark.

    >>> fitted = fit_head(Tape(nasion_inion_mm=360, preauricular_arc_mm=355, ring_mm=570))
    >>> max(abs(residual) for residual in fitted.residuals_mm.values()) < 0.1
    True
    """
    model = shape_model(age, sex, tuple(sorted(set(doubtful))))
    if fixed:
        model = replace(model, prior=model.prior.given(fixed))
    return fit_model(model, tape, age, sex=sex, doubtful=doubtful)


def fit_model(
    model: ShapeModel,
    tape: Tape,
    age: str | float = "adult",
    *,
    sex: str | None = None,
    doubtful: Sequence[str] = (),
) -> FittedHead:
    """The head of a shape model that a measurement sheet speaks of; all else as `fit_head`."""
    names = tuple(tape.values_mm)
    readings = np.array(list(tape.values_mm.values()))
    spreads = reading_noise(np.array([tape.spread_mm(name) for name in names]), names)
    leftover = leftover_effects(model).on_measurements(names)
    weights = precision(spreads, leftover)
    parameters, slopes, fitted = _most_probable(model, tape, weights, age)
    estimate = Estimate(
        frozen(parameters), names, frozen(slopes), spreads, leftover, model.prior.covariance
    )
    head = model.head(parameters, model.template.label).in_own_frame()
    residuals = dict(zip(names, (fitted - readings).tolist(), strict=True))
    flags = judged(model, estimate, tape, age)
    return FittedHead(head, tape, age, sex, tuple(doubtful), residuals, estimate, flags, model)


@dataclass(frozen=True, eq=False)
class _Place:
    """Where the search is: parameters (K,), measurements there, their values (m,), the cost."""

    parameters: Floats
    measures: HeadMeasures
    values: Floats
    cost: float


def _most_probable(
    model: ShapeModel, tape: Tape, weights: Floats, age: str | float
) -> tuple[Floats, Floats, Floats]:
    """Parameters (K,), slopes (m, K) and fitted values (m,) at the top of the posterior."""
    prior = model.prior
    names = tuple(tape.values_mm)
    readings = np.array(list(tape.values_mm.values()))

    def place(parameters: Floats, measures: HeadMeasures, values: Floats) -> _Place:
        misfit, away = values - readings, parameters - prior.mean
        cost = float(misfit @ weights @ misfit + away @ prior.information @ away)
        return _Place(parameters, measures, values, cost)

    def place_at(parameters: Floats) -> _Place:
        measures = measures_at(model, parameters)
        return place(parameters, measures, measures.values_mm(names))

    seen, first = _seen(model, names), at_prior_mean(model)
    values, slopes = first.at(names)
    here = place(prior.mean, first.measures, values)
    slopes, fresh, mixed = slopes * seen, True, False
    for _ in range(_MAX_ROUNDS):
        weighted = weights @ slopes
        uphill = weighted.T @ (here.values - readings)
        uphill += prior.information @ (here.parameters - prior.mean)
        step = -np.linalg.solve(slopes.T @ weighted + prior.information, uphill)
        if -step @ uphill < _SETTLED:
            return here.parameters, slopes, here.values
        length = float(np.max(np.abs(step) / prior.spread))
        share, there = _towards(place_at, here, step)
        if there is not None and there.cost < here.cost:
            here = there
            fresh = mixed or share * length > _REFRESH_SD
            if fresh:
                slopes, mixed = here.measures.rates(names) * seen, False
        # No lower place: the slopes are those of an earlier place, or the way leads over an edge of
        # the mesh where they change, and the mean of both sides leads along it.
        elif not fresh:
            slopes, fresh = here.measures.rates(names) * seen, True
        elif there is not None and not mixed:
            slopes, mixed = (slopes + there.measures.rates(names) * seen) / 2, True
        else:
            break
    if length < _NEAR_SD:
        return here.parameters, slopes, here.values
    raise no_such_head(model, tape, age, "values that no such head has together")


def _towards(
    place: Callable[[Floats], _Place], here: _Place, step: Floats
) -> tuple[float, _Place | None]:
    """The first place along a step, shortened by halves, that is lower than here, and its share.

    When none is lower the last that could be measured, or None.
    """
    there = None
    for share in (1.0, 0.5, 0.25, 0.125):
        try:
            there = place(here.parameters + share * step)
        except HeadfitError:  # the step left the range in which a head can be measured
            continue
        if there.cost < here.cost:
            break
    return share, there


def _seen(model: ShapeModel, names: Sequence[str]) -> NDArray[np.bool_]:
    """(K,) which parameters some measurements can change.

    On a head alike on both sides, what does not tell left from right has no slope in a parameter
    that opposes them, though a mesh shows the slope of one side of its midline.
    """
    opposed = opposed_parameters()
    told = any(name.startswith(("left", "right")) for name in names)
    return ~opposed | told | bool(model.prior.mean[opposed].any())
