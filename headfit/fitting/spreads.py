"""How sure each site is: a 2x2 covariance in the tangent plane of the scalp, and its origin.

Errors are relative to the frame of the four landmarks, as the technologist sees them: what moves
landmarks and site together is no error. A ring is about the place along the skin; how high the skin
lies there is no part of it. It is made for one site: 19 rings of 95 % hold all 19 sites at once in
three heads of four (`scripts/build_prior --left-out`). Millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from headfit.anatomy.arcs import ArcTracer, mirrored
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import TABLE, BesideEar, BeyondRow, OnArc, Sites
from headfit.geometry.mesh import Floats
from headfit.geometry.rates import skew
from headfit.nouns import Noun

# 95 % of a two-dimensional Gaussian: chi-square quantile of 2 degrees of freedom, -2 ln 0.05.
CHI2_95 = float(-2.0 * np.log(0.05))


@dataclass(frozen=True, eq=False)
class SiteSpreads(Noun):
    """Uncertainty of some sites.

    Attributes
    ----------
    names : tuple of str
    along, across : (n, 3) float64
        Unit tangents in the head frame: in the direction of the arc of the site, away from its
        start; and to the left of it seen from outside.
    parts_mm2 : dict of str to (n, 2, 2) float64
        Covariance along and across by origin: "shape", "tape", "landmarks", "leftover".
    rates, landmark_rates : (n, 3, K) and (4, 3, K) float64
        How sites and landmarks move with the parameters of the head and with what no parameter
        draws, all in one frame that has the axes of the head frame; K is 0 where that is not known.
    parameter_covariance : (K, K) float64
    """

    names: tuple[str, ...]
    along: Floats
    across: Floats
    parts_mm2: Mapping[str, Floats]
    rates: Floats = field(default_factory=lambda: np.zeros((0, 3, 0)), repr=False)
    landmark_rates: Floats = field(default_factory=lambda: np.zeros((4, 3, 0)), repr=False)
    parameter_covariance: Floats = field(default_factory=lambda: np.zeros((0, 0)), repr=False)

    def __post_init__(self) -> None:
        if not len(self.rates):
            object.__setattr__(self, "rates", np.zeros((len(self.names), 3, 0)))

    def __repr__(self) -> str:
        return f"SiteSpreads({len(self.names)} sites, mean {self.mean_spread_mm:.1f} mm)"

    @cached_property
    def covariance_mm2(self) -> Floats:
        """(n, 2, 2) the sum of the parts."""
        return np.asarray(sum(self.parts_mm2.values()))

    @cached_property
    def ellipses_mm(self) -> Floats:
        """(n, 3) semi-axes a >= b of the 95 % ellipse, and the angle of a from along, in rad."""
        values, vectors = np.linalg.eigh(self.covariance_mm2)
        axes = np.sqrt(CHI2_95 * np.maximum(values[:, ::-1], 0.0))
        longest = vectors[:, :, 1]
        return np.column_stack([axes, np.arctan2(longest[:, 1], longest[:, 0])])

    @cached_property
    def spread_mm(self) -> Floats:
        """(n,) root mean square error in the tangent plane, one number a site."""
        return np.asarray(np.sqrt(np.trace(self.covariance_mm2, axis1=1, axis2=2)))

    @property
    def mean_spread_mm(self) -> float:
        """Mean over the sites of their root mean square error."""
        return float(self.spread_mm.mean())


def place_rates(sites: Sites, tracer: ArcTracer) -> Floats:
    """(n, 3, K) how the sites move in the parameters, in the frame of the model.

    A site beside an ear moves with its preauricular point.
    """
    assert tracer.motion is not None
    rates = np.empty((len(sites), 3, tracer.motion.n_parameters))
    for i, name in enumerate(sites.names):
        place = TABLE[name]
        found = sites.arc_of(name)
        if found is not None:
            rates[i] = tracer.rate_on(*found)
        elif isinstance(place, BeyondRow):
            rates[i] = tracer.rate_beyond(place.arc, place.coronal_share, at_end=place.at_end)
        else:
            assert isinstance(place, BesideEar)
            rates[i] = tracer.point_rate(f"{'left' if place.left else 'right'}_preauricular")
    return rates


def site_rates(sites: Sites, tracer: ArcTracer) -> Floats:
    """(n, 3, K) how the sites move in the parameters, relative to the frame of the landmarks."""
    return _past_landmarks(place_rates(sites, tracer), sites, tracer)


def _past_landmarks(rates: Floats, sites: Sites, tracer: ArcTracer) -> Floats:
    """Rates of the sites less what follows the landmarks as one body."""
    points = np.array([tracer.point(name) for name in LANDMARK_NAMES])
    moves = np.array([tracer.point_rate(name) for name in LANDMARK_NAMES])
    centre = points.mean(axis=0)
    # The small rotation and shift that best follows the four landmarks.
    lever = np.concatenate([np.hstack([np.eye(3), -skew(p - centre)]) for p in points])
    follow = np.linalg.pinv(lever) @ moves.reshape(12, -1)
    carried = np.stack([np.hstack([np.eye(3), -skew(p - centre)]) for p in sites.points_mm])
    return np.asarray(rates - carried @ follow)


def site_axes(sites: Sites) -> tuple[Floats, Floats]:
    """Unit tangents (n, 3) along the arc of each site and across it, in the frame of the sites."""
    along = np.empty((len(sites), 3))
    for i, name in enumerate(sites.names):
        place = TABLE[name]
        found = sites.arc_of(name)
        if found is None and isinstance(place, BeyondRow | OnArc):
            found = (place.arc, 1.0 if isinstance(place, BeyondRow) and place.at_end else 0.0)
        if found is None:
            found = ("coronal", 0.0 if isinstance(place, BesideEar) and place.left else 1.0)
        arc, fraction = found
        low, high = max(fraction - 0.02, 0.0), min(fraction + 0.02, 1.0)
        before, after = sites.tracer.run(arc).points_mm([low, high])
        along[i] = after - before
    normals = sites.normals
    along -= np.einsum("ij,ij->i", along, normals)[:, None] * normals
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    return along, np.cross(normals, along)


def tangent_rates(sites: Sites, tracer: ArcTracer) -> Floats:
    """(n, 2, K) rates of the sites along and across their arcs."""
    axes = np.stack(site_axes(sites), axis=1)
    return np.asarray(np.einsum("nij,njk->nik", axes, site_rates(sites, tracer)))


def site_spreads(
    sites: Sites,
    error_parts: Mapping[str, Floats],
    tracer: ArcTracer,
    leftover: Floats,
    leftover_errors: Floats,
) -> SiteSpreads:
    """Uncertainty of sites from that of the parameters and from what no parameter draws.

    Parameters
    ----------
    sites : Sites
        Placed by `tracer`, in the frame of the model.
    error_parts : mapping of str to (K, K) float64
    tracer : ArcTracer
        With the motion of the model.
    leftover : (n, 2, h) float64
        What each leftover mode does to the sites.
    leftover_errors : (K, h) float64
        The error it makes in the parameters by way of the readings.
    """
    along, across = site_axes(sites)
    axes, moves = np.stack([along, across], axis=1), place_rates(sites, tracer)
    flat = np.einsum("nij,njk->nik", axes, _past_landmarks(moves, sites, tracer))
    parts = {
        origin: np.einsum("nik,kl,njl->nij", flat, covariance, flat, optimize=True)
        for origin, covariance in error_parts.items()
    }
    # One bump moves a site and the arc that was measured: what the fit makes of it counts against.
    off = leftover - flat @ leftover_errors
    parts["leftover"] = off @ off.transpose(0, 2, 1)
    left, right, nasion = (
        tracer.point(name) for name in ("left_preauricular", "right_preauricular", "nasion")
    )
    x = (right - left) / np.linalg.norm(right - left)
    y = nasion - (left + right) / 2
    y = y - (y @ x) * x
    y = y / np.linalg.norm(y)
    to_head = np.array([x, y, np.cross(x, y)])
    marks = np.array([tracer.point_rate(name) for name in LANDMARK_NAMES])
    bumps = np.einsum("nai,nac->nic", axes, leftover)
    moves = np.concatenate([moves, bumps - moves @ leftover_errors], axis=2)
    marks = np.concatenate([marks, -marks @ leftover_errors], axis=2)
    k = flat.shape[2]
    whole = np.eye(k + leftover.shape[2])
    whole[:k, :k] = sum(error_parts.values())
    return SiteSpreads(
        sites.names,
        along @ to_head.T,
        across @ to_head.T,
        parts,
        to_head @ moves,
        to_head @ marks,
        whole,
    )


def evened(spreads: SiteSpreads, names: tuple[str, ...]) -> SiteSpreads:
    """The spreads of some sites of an even head, alike on both sides.

    A mesh has the slopes of one side of its midline, and rounding picks which: without this the
    ring of F3 would be a little larger than that of F4 on one machine, and smaller on another.

    Parameters
    ----------
    spreads : SiteSpreads
        Of these sites and of their homologues, in any order.
    names : tuple of str
    """
    row = {name: i for i, name in enumerate(spreads.names)}
    own = [row[name] for name in names]
    other = [row[mirrored(name)] for name in names]
    axes = np.stack([spreads.along, spreads.across], axis=1)
    # (n, 2, 2) from the axes of the homologue, seen in a mirror, to those of the site.
    seen = np.einsum("nai,nbi->nab", axes[own], axes[other] * [-1.0, 1.0, 1.0])
    parts = {
        origin: (of[own] + seen @ of[other] @ seen.transpose(0, 2, 1)) / 2
        for origin, of in spreads.parts_mm2.items()
    }
    return replace(
        spreads,
        names=names,
        along=spreads.along[own],
        across=spreads.across[own],
        parts_mm2=parts,
        rates=spreads.rates[own],
    )
