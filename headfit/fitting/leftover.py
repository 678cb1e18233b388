"""What the shape modes cannot draw of a real head, and what that does to measurements and sites.

The skin of a real vault lies 0.7 mm (root mean square) from the nearest head of the model, in bumps
and dents wider than a site. `leftover.npz`, made by `scripts/build_prior`, holds modes of them,
each as large as one standard deviation, from the skins of 16 scanned heads and their mirror images.
Nothing is fitted to them: they make readings less telling and sites less sure, and because one bump
moves an arc and the sites on it together, both are counted together. Millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache, lru_cache
from pathlib import Path

import numpy as np

from headfit.anatomy.arcs import ArcTracer, Rules, SurfaceMotion
from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import sites_on
from headfit.fitting.measures import HeadMeasures
from headfit.fitting.shape import ShapeModel
from headfit.fitting.spreads import tangent_rates
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats, Integers
from headfit.geometry.surface import nearest
from headfit.geometry.taperun import Length

# The 16 skins show what 29 modes leave of heads on which these modes were laid point by point, and
# 16 are few. How sure a site is rests on twice the variance, the safe side.
LEFTOVER_SAFE = float(np.sqrt(2.0))

# An ear-to-ear arc crosses the places where the ears were taken off, which no skin tells: with the
# model laid on the whole surface of three open heads these arcs came out 0.6 (Fz) to 3.2 mm (Pz)
# from those of the heads. A caliper finds the widest bump of either side: with the bumps of the 16
# skins on the mean head the breadth changes by 1.2 mm (root mean square), where slopes say 0.7.
EAR_ARC_MM, BREADTH_MM = 2.0, 1.0


@cache
def leftover_fields() -> Floats:
    """(h, n) what is left over at each vertex of the template, positive outwards, mm."""
    with (
        Path(__file__).with_name("leftover.npz").open("rb") as file,
        np.load(file, allow_pickle=False) as stored,
    ):
        fields = np.zeros((len(stored["modes"]), int(stored["n_vertices"])))
        fields[:, stored["vertices"]] = stored["modes"] * float(stored["grain_mm"])
    return fields


class LeftoverEffects:
    """What each leftover mode does to measurements and sites of a template head.

    The template stands for all heads of its age: the effects change little from one to another.
    """

    def __init__(self, template: Head, size: float) -> None:
        self._mesh, self._landmarks = template.scalp, template.landmarks
        normals = self._mesh.vertex_normals
        normals = normals / np.maximum(np.linalg.norm(normals, axis=1), 1e-9)[:, None]
        self._modes = np.einsum("hn,nj->njh", LEFTOVER_SAFE * size * leftover_fields(), normals)
        places, _ = nearest(self._mesh, self._landmarks.points_mm)
        moves = np.einsum("lc,lcjh->ljh", places.weights, self._modes[places.corners])
        by_name = dict(zip(LANDMARK_NAMES, moves, strict=True))
        self._motion = SurfaceMotion(self._material, by_name, self.n_modes)
        self._tracers: dict[Length, ArcTracer] = {}
        self._measures: dict[str, Floats] = {}
        self._sites: dict[tuple[tuple[str, ...], Rules], Floats] = {}

    @property
    def n_modes(self) -> int:
        """H."""
        return int(self._modes.shape[2])

    def _material(self, first: Integers, second: Integers, weight: Floats) -> Floats:
        share = weight[:, None, None]
        return np.asarray((1 - share) * self._modes[first] + share * self._modes[second])

    def _tracer(self, rules: Rules) -> ArcTracer:
        if rules.length not in self._tracers:  # the other rules move no arc
            tracer = ArcTracer(self._mesh, self._landmarks, rules, self._motion)
            self._tracers[rules.length] = tracer
        return self._tracers[rules.length]

    def on_measurements(self, names: Sequence[str]) -> Floats:
        """(m, h) mm."""
        measures = HeadMeasures(self._tracer(Rules()))
        for name in names:
            if name not in self._measures:
                self._measures[name] = measures.rate(name)
        return np.array([self._measures[name] for name in names])

    def on_sites(self, names: tuple[str, ...], rules: Rules) -> Floats:
        """(n, 2, h) along and across the arcs, in the frame of the four landmarks, mm."""
        if (names, rules) not in self._sites:
            tracer = self._tracer(rules)
            self._sites[names, rules] = tangent_rates(sites_on(tracer, names, "", rules), tracer)
        return self._sites[names, rules]


@lru_cache(maxsize=32)
def _effects_on(template: Head, size: float) -> LeftoverEffects:
    return LeftoverEffects(template, size)


def leftover_effects(model: ShapeModel) -> LeftoverEffects:
    """The effects on heads of a model, computed once for all models of an age."""
    return _effects_on(model.template, model.leftover_size)


def unmodelled_mm(name: str) -> float:
    """Standard deviation of what a measurement sees and neither modes nor slopes tell, mm."""
    if name == "head_breadth":
        return BREADTH_MM
    return EAR_ARC_MM if name.startswith("ear_arc") else 0.0


def reading_noise(spreads_mm: Floats, names: Sequence[str]) -> Floats:
    """(m,) standard deviations of readings with what else they see, mm."""
    return np.hypot(spreads_mm, [unmodelled_mm(name) for name in names])


def tape_block(model: ShapeModel, tape: Tape, tracer: ArcTracer) -> tuple[Floats, Floats, Floats]:
    """Residuals (m,), slopes (m, K) and weights (m,) of a measurement sheet on a head.

    In units of what readings err by together, so that each row stands for itself.
    """
    measures, names = HeadMeasures(tracer), tuple(tape.values_mm)
    residual = measures.values_mm(names) - np.array(list(tape.values_mm.values()))
    noise = reading_noise(np.array([tape.spread_mm(name) for name in names]), names)
    leftover = leftover_effects(model).on_measurements(names)
    root = np.linalg.cholesky(np.diag(noise**2) + leftover @ leftover.T)
    slopes, residual = np.linalg.solve(root, measures.rates(names)), np.linalg.solve(root, residual)
    return np.asarray(residual), np.asarray(slopes), np.ones(len(names))
