"""Rotation and translation that carry one set of points onto another. Millimetres, any frame.

Least squares after Kabsch 1976 through `scipy.spatial.transform.Rotation.align_vectors`; the robust
variant repeats it with weights that fall to 0 for points the others contradict (Tukey's biweight).
Never a reflection, never a change of size.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from headfit.errors import InputError, sentence
from headfit.geometry.mesh import Floats, frozen

# A second singular value below this share of the first: the points lie on a line.
_IN_LINE = 1e-6
# The median length of a 3-D normal error of unit spread per axis (chi, 3 degrees of freedom).
_MEDIAN_OF_THREE = 1.5382
# Tukey's biweight keeps 95 % efficiency at 4.685 spreads of a scalar; the length of a 3-D error
# reaches farther, so a wider gate loses as little.
_GATE = 6.0
_ROUNDS = 40
_SETTLED_MM = 1e-4


@dataclass(frozen=True, eq=False)
class RigidMotion:
    """A point p goes to rotation @ p + translation_mm.

    Attributes
    ----------
    rotation : (3, 3) float64
    translation_mm : (3,) float64
    """

    rotation: Floats
    translation_mm: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "rotation", frozen(self.rotation))
        object.__setattr__(self, "translation_mm", frozen(self.translation_mm))

    @classmethod
    def identity(cls) -> RigidMotion:
        """The motion that moves nothing."""
        return cls(np.eye(3), np.zeros(3))

    def on(self, points_mm: Floats) -> Floats:
        """(n, 3) or (3,) the points after the motion."""
        return np.asarray(points_mm @ self.rotation.T + self.translation_mm)

    def after(self, first: RigidMotion) -> RigidMotion:
        """`first`, then this motion, as one."""
        return RigidMotion(self.rotation @ first.rotation, self.on(first.translation_mm))

    @property
    def inverse(self) -> RigidMotion:
        """The motion that takes everything back."""
        return RigidMotion(self.rotation.T, -self.rotation.T @ self.translation_mm)

    @property
    def turn_degrees(self) -> Floats:
        """(3,) rotation vector in degrees: its direction is the axis, its length the angle.

        >>> quarter = RigidMotion([[0, -1, 0], [1, 0, 0], [0, 0, 1]], [0, 0, 0])
        >>> quarter.turn_degrees.round(6).tolist()
        [0.0, 0.0, 90.0]
        """
        return np.asarray(Rotation.from_matrix(self.rotation).as_rotvec(degrees=True))


@dataclass(frozen=True, eq=False)
class RobustFit:
    """A motion and how much each point had to say in it.

    Attributes
    ----------
    motion : RigidMotion
    weights : (n,) float64
        0 for a point the others contradict, 1 for one they agree with, times the weight given.
    spread_mm : float
        Spread per axis of the points that were kept, from the median.
    """

    motion: RigidMotion
    weights: Floats
    spread_mm: float


def best_rigid(source_mm: Floats, target_mm: Floats, weights: Floats | None = None) -> RigidMotion:
    """The motion for which sum weights * |motion(source) - target|^2 is least.

    Parameters
    ----------
    source_mm, target_mm : (n, 3) float64
        Row i of one belongs to row i of the other.
    weights : (n,) float64, optional
        Not negative; default all equal.

    Raises
    ------
    InputError
        Fewer than three points that weigh anything, or all on one line.

    >>> corner = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    >>> best_rigid(corner, corner + [5, 0, 0]).translation_mm.round(9).tolist()
    [5.0, 0.0, 0.0]
    """
    source, target = np.asarray(source_mm, np.float64), np.asarray(target_mm, np.float64)
    weight = np.ones(len(source)) if weights is None else np.asarray(weights, np.float64)
    total = weight.sum()
    used = int((weight > 0).sum())
    if used < 3:
        raise _undetermined(used, "fewer")
    middle_of_source, middle_of_target = weight @ source / total, weight @ target / total
    from_middle, to_middle = source - middle_of_source, target - middle_of_target
    for points in (from_middle, to_middle):
        singular = np.linalg.svd(np.sqrt(weight)[:, None] * points, compute_uv=False)
        if not singular[1] > _IN_LINE * singular[0]:
            raise _undetermined(used, "in line")
    rotation = Rotation.align_vectors(to_middle, from_middle, weight)[0].as_matrix()
    return RigidMotion(rotation, middle_of_target - rotation @ middle_of_source)


def _undetermined(n_points: int, why: str) -> InputError:
    got = f"{n_points} points on one line" if why == "in line" else f"{n_points}"
    return InputError(
        sentence("points that fix a rotation", "be three or more, not on one line", got),
        code="rigid-undetermined",
        n_points=n_points,
    )


def robust_rigid(
    source_mm: Floats,
    target_mm: Floats,
    weights: Floats | None = None,
    *,
    start: RigidMotion | None = None,
    floor_mm: float = 1.0,
) -> RobustFit:
    """The motion that most points agree on; those far from it do not pull.

    From a start that minimises lengths instead of squares, Tukey's biweight with a gate of six
    spreads; the spread comes from the median residual, so up to about a third of the points may be
    anywhere.

    Parameters
    ----------
    source_mm, target_mm : (n, 3) float64
    weights : (n,) float64, optional
        How much each point is trusted beforehand.
    start : RigidMotion, optional
        Default the least-squares motion.
    floor_mm : float
        Smallest spread that is assumed: smaller differences between points never count.

    Raises
    ------
    InputError
        As `best_rigid`.
    """
    source, target = np.asarray(source_mm, np.float64), np.asarray(target_mm, np.float64)
    given = np.ones(len(source)) if weights is None else np.asarray(weights, np.float64)
    motion = best_rigid(source, target, given) if start is None else start
    size = float(np.abs(source - source.mean(axis=0)).max())
    counted = given > 0

    def lengths(motion: RigidMotion) -> Floats:
        gap = motion.on(source) - target
        return np.asarray(np.sqrt(np.einsum("ij,ij->i", gap, gap)))

    def change(one: RigidMotion, other: RigidMotion) -> float:
        turned = float(np.abs(one.rotation - other.rotation).max()) * size
        return turned + float(np.abs(one.on(source[0]) - other.on(source[0])).max())

    for _ in range(_ROUNDS // 2):
        length = lengths(motion)
        following = best_rigid(source, target, given / np.maximum(length, floor_mm))
        settled = change(motion, following) < 0.1
        motion = following
        if settled:
            break
    weight = given
    spread = floor_mm
    for _ in range(_ROUNDS):
        length = lengths(motion)
        spread = max(float(np.median(length[counted])) / _MEDIAN_OF_THREE, floor_mm)
        inside = np.clip(1 - (length / (_GATE * spread)) ** 2, 0.0, None)
        weight = given * inside**2
        following = best_rigid(source, target, weight)
        settled = change(motion, following) < _SETTLED_MM
        motion = following
        if settled:
            break
    return RobustFit(motion, frozen(weight), spread)
