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

# The vault of a real head lies 0.8 mm (root mean square) from the best head of the basis. A caliper
# across the vault meets that at both ends, a height at one; along a tape it averages out. An
# ear-to-ear arc crosses the places where the ears were taken off, which no mode follows: with the
# model laid on the whole surface of three open heads these arcs came out 0.6 (Fz) to 3.2 mm (Pz)
# from those of the heads, halves and quarters of the ring 0.3 to 0.8 mm (root mean square).
_FLOOR_MM, _EAR_ARC_MM = 0.8, 2.0
_VAULT_ENDS = {
    "head_length": 2,
    "head_breadth": 2,
    "left_diagonal": 2,
    "right_diagonal": 2,
    "cz_height": 1,
}


def unmodelled_mm(name: str) -> float:
    """Standard deviation of what a measurement sees and the shape basis cannot follow, mm."""
    if name.startswith("ear_arc"):
        return _EAR_ARC_MM
    return float(_FLOOR_MM * np.sqrt(_VAULT_ENDS.get(name, 0)))


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
