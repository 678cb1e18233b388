"""What the shape model says a measurement would be, and how that changes with the shape.

Millimetres; slopes in mm per unit of each parameter.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from headfit.anatomy.arcs import ArcTracer, Rules
from headfit.fitting.measures import HeadMeasures
from headfit.fitting.shape import ShapeModel
from headfit.geometry.mesh import Floats


def at_pose(model: ShapeModel, parameters: Floats, rules: Rules | None = None) -> ArcTracer:
    """The arcs of the model at some parameters, with their motion."""
    pose = model.pose(parameters, rates=True)
    return ArcTracer(pose.mesh, pose.landmarks, rules or Rules(), pose.motion)


def measures_at(model: ShapeModel, parameters: Floats) -> HeadMeasures:
    """The measurements of the model at some parameters, with their slopes."""
    return HeadMeasures(at_pose(model, parameters))


class Linearised:
    """Measurements and slopes at the prior mean, each computed once for a model."""

    def __init__(self, model: ShapeModel) -> None:
        self.measures = measures_at(model, model.prior.mean)
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


@lru_cache(maxsize=32)
def at_prior_mean(model: ShapeModel) -> Linearised:
    """The linearisation every fit of a model starts from."""
    return Linearised(model)
