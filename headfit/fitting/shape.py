"""The shape basis: how the template head deforms with 29 parameters, and what is known of them.

Three log scales, fifteen harmonics of the vault and eleven landmark modes. `shape_prior.json` holds
mean, spread and correlation with their provenance. Every mode but the scales is linear, so the
vertices are one product and their rates are known exactly. Head frame of the template, millimetres.

Children: the same basis on the head of their age, lengths scaled with the head, spreads half as
wide again: an extrapolation, no child was in the training sets.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property, partial
from math import factorial
from pathlib import Path
from typing import Any

import numpy as np
from numpy.polynomial import Legendre
from numpy.typing import NDArray

from headfit.anatomy.arcs import SurfaceMotion
from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import Landmarks
from headfit.anatomy.norms import SEXES, adult_norms
from headfit.anatomy.template import ADULT_MONTHS, age_in_months, load_template, template_set
from headfit.errors import unknown_name
from headfit.geometry.mesh import Floats, Integers, TriangleMesh
from headfit.geometry.rates import skew
from headfit.geometry.surface import nearest_on_triangles
from headfit.nouns import Noun

# What tells the sexes apart: each scale and the survey that determines it. The pooled prior holds
# when no sex is given.
_SURVEYED = {"scale_x": "head_breadth", "scale_y": "head_length", "scale_z": "tragion_height"}
CHILD_SPREAD = 1.5

# How much wider the place of a landmark is taken when it was hard to find, mm. The inion of one
# person in three is hard to define (Myslobodsky 1989); the sizes are a judgement, no source.
_EARS = {"ears_y": 2.5, "ears_z": 2.5, "ears_y_opposed": 2.5, "ears_z_opposed": 2.5}
DOUBT_MM: dict[str, dict[str, float]] = {
    "nasion": {"nasion_z": 5.0},
    "inion": {"inion_along": 10.0, "inion_x": 5.0},
    "left_preauricular": _EARS,
    "right_preauricular": _EARS,
}

_PATCH_TRIANGLES = 24
_PATCH_MM = 45.0


@dataclass(frozen=True, eq=False)
class Prior(Noun):
    """Gaussian knowledge of the parameters before anything is measured."""

    mean: Floats
    covariance: Floats

    def __repr__(self) -> str:
        return f"Prior({len(self.mean)} parameters)"

    @cached_property
    def information(self) -> Floats:
        """(K, K) inverse covariance."""
        return np.asarray(np.linalg.inv(self.covariance), dtype=np.float64)

    @cached_property
    def spread(self) -> Floats:
        """(K,) standard deviations."""
        return np.sqrt(np.diag(self.covariance))

    def given(self, fixed: Mapping[str, float]) -> Prior:
        """What is known once some parameters are set; what goes with them follows.

        Raises
        ------
        UnknownNameError
            No such parameter.

        >>> prior = shape_model().prior.given({"vault_3_m2": 2.0})
        >>> k = parameter_names().index("vault_3_m2")
        >>> round(float(prior.mean[k]), 3), float(prior.spread[k]) < 0.01
        (2.0, True)
        """
        names = parameter_names()
        for name in fixed:
            if name not in names:
                raise unknown_name("shape parameter", name, names)
        rows = [names.index(name) for name in fixed]
        # A hair of doubt keeps the covariance invertible.
        inner = self.covariance[np.ix_(rows, rows)]
        noise = np.diag(1e-6 * np.diag(inner))
        gain = np.linalg.solve(inner + noise, self.covariance[rows]).T
        mean = self.mean + gain @ (np.array(list(fixed.values())) - self.mean[rows])
        covariance = self.covariance - gain @ self.covariance[rows]
        return Prior(mean, (covariance + covariance.T) / 2)


@cache
def _stored() -> dict[str, Any]:
    text = Path(__file__).with_name("shape_prior.json").read_text(encoding="utf-8")
    return dict(json.loads(text))


def parameter_names() -> tuple[str, ...]:
    """The 29 names, in order.

    >>> parameter_names()[:4]
    ('scale_x', 'scale_y', 'scale_z', 'vault_2_m2')
    """
    return tuple(p["name"] for p in _stored()["parameters"])


def parameter_kinds() -> tuple[str, ...]:
    """Kind of each parameter: scale, vault or landmark."""
    return tuple(p["kind"] for p in _stored()["parameters"])


def opposed_parameters() -> NDArray[np.bool_]:
    """(29,) which parameters change their sign when left and right are exchanged."""
    return np.array([not p["symmetric"] for p in _stored()["parameters"]])


@dataclass(frozen=True, eq=False)
class ShapeModel(Noun):
    """The deformable head of one age.

    Attributes
    ----------
    template : Head
    origin : (3,) float64
        The scales act about this point.
    modes : (n, 3, K) float64
        What one unit of each linear parameter does to each vertex; zero in the scale columns.
    landmark_modes : (4, 3, K) float64
        What it does to the landmarks beside riding on the surface.
    prior : Prior
    leftover_size : float
        How much larger than an adult's the dents and bulges are that no mode draws.
    """

    template: Head
    origin: Floats
    modes: Floats
    landmark_modes: Floats
    prior: Prior
    leftover_size: float = 1.0

    def __repr__(self) -> str:
        return f"ShapeModel({self.template.label!r}, {self.n_parameters} parameters)"

    @property
    def n_parameters(self) -> int:
        """K."""
        return len(self.prior.mean)

    @cached_property
    def _from_origin(self) -> Floats:
        return np.asarray(self.template.bare.vertices_mm - self.origin)

    @cached_property
    def _flat_modes(self) -> Floats:
        return self.modes.reshape(-1, self.n_parameters)

    def vertices_mm(self, parameters: Floats) -> Floats:
        """(n, 3) vertices of the bare head."""
        linear = (self._flat_modes @ parameters).reshape(-1, 3)
        return np.asarray(self.origin + self._from_origin * np.exp(parameters[:3]) + linear)

    def vertex_rates(self, parameters: Floats, rows: Integers) -> Floats:
        """(r, 3, K) rates of some vertices."""
        rates = self.modes[rows]
        for axis in range(3):
            rates[:, axis, axis] = np.exp(parameters[axis]) * self._from_origin[rows, axis]
        return rates

    def _edge_rates(
        self, parameters: Floats, first: Integers, second: Integers, weight: Floats
    ) -> Floats:
        """(r, 3, K) rates of points fixed on edges, weight 0 at the first vertex."""
        share = weight[:, None, None]
        return (1 - share) * self.vertex_rates(parameters, first) + (
            share * self.vertex_rates(parameters, second)
        )

    @cached_property
    def _patches(self) -> list[Integers]:
        """For each landmark the triangles it may slide to: corners (p, 3)."""
        scalp = self.template.scalp
        centres = scalp.triangles_mm.mean(axis=1)
        return [
            scalp.faces[np.linalg.norm(centres - point, axis=1) < _PATCH_MM]
            for point in self.template.landmarks
        ]

    def _laid(self, wanted: Floats, vertices: Floats) -> tuple[Integers, Floats]:
        """Corners (4, 3) of the triangles under the landmarks, and the weights (4, 3) there."""
        near = []
        for point, corners in zip(wanted, self._patches, strict=True):
            a, b, c = vertices[corners.T]
            gap = (a + b + c) / 3 - point
            order = np.argpartition(np.einsum("ij,ij->i", gap, gap), _PATCH_TRIANGLES)
            near.append(corners[order[:_PATCH_TRIANGLES]])
        corners = np.stack(near)
        chosen, weights, _ = nearest_on_triangles(wanted, vertices[corners])
        return corners[np.arange(len(wanted)), chosen], weights

    def pose(self, parameters: Floats, *, rates: bool = False) -> Pose:
        """The head at some parameters, its landmarks laid on the skin.

        Parameters
        ----------
        parameters : (K,) float64
        rates : bool
            Also how surface and landmarks move.
        """
        vertices = self.vertices_mm(parameters)
        mesh = self.template.scalp.moved(vertices)
        marks = template_set().landmarks
        wanted = marks.on(vertices) + self.landmark_modes @ parameters
        corners, weights = self._laid(wanted, vertices)
        triangles = vertices[corners]
        landmarks = Landmarks.from_points(np.einsum("lc,lcj->lj", weights, triangles))
        if not rates:
            return Pose(mesh, landmarks, None)

        def of_points(corners: Integers, weights: Floats) -> Floats:
            moving = self.vertex_rates(parameters, corners.ravel())
            return np.asarray(np.einsum("lc,lcjk->ljk", weights, moving.reshape(4, 3, 3, -1)))

        # A landmark goes with the point it is laid from, less what that moves off the skin; when it
        # stands off the skin, the turning of the triangle shifts its foot too.
        moving = self.vertex_rates(parameters, corners.ravel()).reshape(4, 3, 3, -1)
        skin = np.einsum("lc,lcjk->ljk", weights, moving)
        one, other = triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]
        across = np.cross(one, other)
        size = np.sqrt(np.einsum("lj,lj->l", across, across))[:, None, None]
        normal = across[:, :, None] / size
        tilt = skew(one) @ (moving[:, 2] - moving[:, 0])
        tilt -= skew(other) @ (moving[:, 1] - moving[:, 0])
        tilt -= normal * (normal.transpose(0, 2, 1) @ tilt)
        height = np.einsum("lj,lj->l", normal[:, :, 0], wanted - triangles[:, 0])[:, None, None]
        slide = of_points(marks.corners, marks.weights) + self.landmark_modes - skin
        slide -= height * tilt / size
        motions = skin + slide - normal * (normal.transpose(0, 2, 1) @ slide)

        by_name = dict(zip(LANDMARK_NAMES, motions, strict=True))
        material = partial(self._edge_rates, parameters)
        return Pose(mesh, landmarks, SurfaceMotion(material, by_name, self.n_parameters))

    def head(self, parameters: Floats, label: str) -> Head:
        """The whole head, ears included, in the frame of the model."""
        pose = self.pose(parameters)
        bare = pose.mesh.vertices_mm
        ears = self.template.vertices_mm - self.template.bare.vertices_mm
        return self.template.deformed(
            bare + ears * np.exp(parameters[:3]), bare, pose.landmarks, label
        )


@dataclass(frozen=True, eq=False)
class Pose:
    """The head at some parameters: the mesh of its scalp, landmarks, and how they move."""

    mesh: TriangleMesh
    landmarks: Landmarks
    motion: SurfaceMotion | None


def _smooth_step(t: Floats) -> Floats:
    t = np.clip(t, 0.0, 1.0)
    return np.asarray(t * t * (3 - 2 * t))


def real_harmonic(direction: Floats, degree: int, order: int) -> Floats:
    """(n,) real spherical harmonic of unit mean square on the sphere.

    Parameters
    ----------
    direction : (n, 3) float64
        Unit vectors; the pole is +z, the azimuth runs from +y to +x.
    degree, order : int
        Order below 0: sine, odd from left to right.

    >>> front = np.array([[0.0, 1.0, 0.0]])
    >>> round(float(real_harmonic(front, 1, 1)[0]), 6)  # sqrt(3) y
    1.732051
    """
    m = abs(order)
    azimuth = np.arctan2(direction[:, 0], direction[:, 1])
    size = (2 * degree + 1) * factorial(degree - m) / factorial(degree + m) * (2 if m else 1)
    # The associated Legendre function without the Condon-Shortley phase, as the prior was made.
    up = direction[:, 2]
    legendre = np.sqrt(np.maximum(1 - up**2, 0.0)) ** m * Legendre.basis(degree).deriv(m)(up)
    wave = np.cos(m * azimuth) if order >= 0 else np.sin(m * azimuth)
    return np.asarray(np.sqrt(size) * legendre * wave)


def _basis(template: Head, size: float) -> tuple[Floats, Floats, Floats]:
    """Origin, modes and landmark modes on a template whose lengths are `size` times the adult's.

    The pattern of each mode is that of the adult template: one topology serves all ages.
    """
    stored = _stored()
    formula, parameters = stored["formula"], stored["parameters"]
    adult = load_template("adult").bare.vertices_mm
    vertices = template.bare.vertices_mm
    adult_origin = np.array(formula["centre_mm"])
    origin = adult_origin * size
    out = adult - adult_origin
    pattern_direction = out / np.linalg.norm(out, axis=1, keepdims=True)
    out = vertices - origin
    direction = out / np.linalg.norm(out, axis=1, keepdims=True)
    # Face, ears and nape stay; the vault moves, the occiput carries the inion.
    y, z = adult[:, 1], adult[:, 2]
    window = np.maximum(
        _smooth_step((z + 5) / 35), _smooth_step((z + 45) / 60) * _smooth_step((20 - y) / 60)
    )
    modes = np.zeros((len(vertices), 3, len(parameters)))
    for k, parameter in enumerate(parameters):
        if parameter["kind"] == "vault":
            wave = real_harmonic(pattern_direction, parameter["degree"], parameter["order"])
            modes[:, :, k] = (window * wave)[:, None] * direction
    beside = _landmark_modes(adult, modes)
    return origin, modes, beside


def _landmark_modes(adult: Floats, modes: Floats) -> Floats:
    """Fill in what landmarks pull along on the mesh; (4, 3, K) how they move beside that."""
    formula, names = _stored()["formula"], parameter_names()
    landmarks = template_set().landmarks
    bump: dict[str, Floats] = {}
    for k, point in enumerate(landmarks.on(adult)):
        gap2 = ((adult - point) ** 2).sum(axis=1)
        hill = np.exp(-gap2 / 2 / formula["bump_sigma_mm"] ** 2)
        bump[LANDMARK_NAMES[k]] = hill / (landmarks.weights[k] @ hill[landmarks.corners[k]])
    left, right = bump["left_preauricular"], bump["right_preauricular"]
    modes[:, 0, names.index("ears_out")] = right - left
    modes[:, 0, names.index("ears_x")] = right + left
    beside = np.zeros((4, 3, len(names)))
    for axis, letter in enumerate("xyz"):
        modes[:, axis, names.index(f"nasion_{letter}")] = bump["nasion"]
        if letter != "x":
            beside[2:, axis, names.index(f"ears_{letter}")] = 1.0
            beside[2:, axis, names.index(f"ears_{letter}_opposed")] = -1.0, 1.0
    beside[1, :, names.index("inion_along")] = formula["iz_tangent"]
    beside[1, 0, names.index("inion_x")] = 1.0
    return beside


def _prior(size: float, child: bool, sex: str | None, doubtful: tuple[str, ...]) -> Prior:
    parameters = _stored()["parameters"]
    names = parameter_names()
    mean = np.array([p["mean"] for p in parameters])
    spread = np.array([p["sd"] for p in parameters])
    correlation = np.array(_stored()["correlation"])
    if child:
        spread = spread * CHILD_SPREAD
    elif sex is not None:
        for name, surveyed in _SURVEYED.items():
            k = names.index(name)
            women, men = adult_norms(surveyed)
            chosen = women if sex == "female" else men
            pooled_mm = (women.mean_mm + men.mean_mm) / 2
            mean[k] += np.log(chosen.mean_mm / pooled_mm)
            # The pooled spread holds the gap between the sexes too; keep its extra placement part.
            between = abs(men.mean_mm - women.mean_mm) / 2 / pooled_mm
            own = chosen.spread_mm / chosen.mean_mm
            spread[k] = np.sqrt(max(spread[k] ** 2 - between**2, own**2))
    for k, parameter in enumerate(parameters):
        if parameter["kind"] != "scale":
            mean[k] *= size
            spread[k] *= size
    covariance = correlation * np.outer(spread, spread)
    for landmark in doubtful:
        for name, extra in DOUBT_MM[landmark].items():
            covariance[names.index(name), names.index(name)] += (size * extra) ** 2
    return Prior(mean, covariance)


@cache
def shape_model(
    age: str | float = "adult", sex: str | None = None, doubtful: tuple[str, ...] = ()
) -> ShapeModel:
    """The deformable head of an age.

    Parameters
    ----------
    age : str or float
        As for `load_template`.
    sex : {"female", "male"}, optional
        Adults only; pooled when not given.
    doubtful : tuple of str
        Landmarks whose place was hard to find.

    Raises
    ------
    UnknownNameError
        No such age, sex or landmark.
    """
    if sex is not None and sex not in SEXES:
        raise unknown_name("sex", sex, SEXES)
    for landmark in doubtful:
        if landmark not in DOUBT_MM:
            raise unknown_name("landmark", landmark, DOUBT_MM)
    template = load_template(age)
    ages = template_set().ages
    months = age_in_months(age)
    order = sorted(ages.values())
    size = float(np.interp(months, [a[0] for a in order], [a[2] for a in order]) / ages["adult"][2])
    origin, modes, beside = _basis(template, size)
    child = months < ADULT_MONTHS
    prior = _prior(size, child, sex, doubtful)
    leftover_size = size * (CHILD_SPREAD if child else 1.0)
    return ShapeModel(template, origin, modes, beside, prior, leftover_size)
