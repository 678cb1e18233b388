"""The deformable head laid on one person or one skin, and what that one says of the shape.

A point says how far the skin lies from it along the normal, nothing about where on the skin it
belongs: so a cap that slid does no harm. Rotation and shift are free. What a person says of the
shape, the height of the marks over the skin and the scale of the frame is kept as a quadratic
around the best match, pose left free: that is all the pooling needs. Millimetres.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.fitting.shape import Prior, shape_model
from headfit.geometry.mesh import Floats
from headfit.geometry.rates import skew
from headfit.geometry.surface import nearest, normals_at
from prior_study.extract import SCALED_SETS, Person, Vault

# One digitised mark: digitiser 1.5 to 2.4 mm (Dalal 2014, Gyorfi 2022); landmarks are touched with
# more care. A skin of 1 mm voxels.
MARK_MM, LANDMARK_MM, SKIN_MM = 2.0, 1.5, 1.0
HUBER = 2.0  # a mark this many deviations off pulls no more than one there
ASTRAY_MM = {"person": 25.0, "vault": 10.0}  # and beyond this not at all
# The vertices of a skin err together over some centimetres: they count as so many
# independent points, about one for every 3 cm2 of the vault.
SKIN_POINTS = 150
# Height of a holder over the skin, within reason; the scale of a frame, where it is free.
HEIGHT_MM, HEIGHT_DOUBT_MM = 3.0, 1.5
LOG_SCALE, LOG_SCALE_DOUBT = 0.13, 0.05
_FIXED = 1e-6
_ROUNDS, _MOST_SD, _SETTLED_SD = 25, 3.0, 0.003
# How a scan lies against the head frame, to begin with: bowed by this much, ears above the model's.
_PITCH_RAD, _EARS_MM = np.radians(-17.0), np.array([0.0, 0.0, 30.0])


@dataclass(frozen=True, eq=False)
class Match:
    """One person or skin matched.

    Attributes
    ----------
    data_set : str
    parameters : (K,) float64
    information : (K + 2, K + 2) float64
    pull : (K + 2,) float64
        Log likelihood = -z' information z / 2 + pull' z, for z = shape, height over the skin (mm)
        and log scale of the frame; pose left free.
    rotation, shift_mm, log_scale : how own points come to lie in the frame of the model
    residuals_mm : (n,) float64
        Of the points that count, positive outside, less the height.
    """

    data_set: str
    parameters: Floats
    information: Floats
    pull: Floats
    rotation: Floats
    shift_mm: Floats
    log_scale: float
    height_mm: float
    residuals_mm: Floats

    def moved(self, points_mm: Floats) -> Floats:
        """Own points (n, 3) in the frame of the model."""
        scaled = points_mm * np.exp(-self.log_scale)
        return np.asarray(scaled @ self.rotation.T + self.shift_mm)


@dataclass(frozen=True, eq=False)
class _Task:
    """What is matched: points (n, 3), landmarks, the deviation of a point, and what is free."""

    data_set: str
    points: Floats
    landmarks: dict[str, Floats]
    point_mm: float
    weight: float
    counts: Callable[[Floats, Floats], NDArray[np.bool_]]
    height: tuple[float, float]
    log_scale: tuple[float, float]


def on_the_vault(feet_mm: Floats, *, low: bool = False) -> NDArray[np.bool_]:
    """(n,) which places of the model a scanned skin speaks of: no face, no ear, no nape.

    `low` reaches down to the brow, the temples and below the inion, where only a careful look at
    what is left over should go; near the ears some skin was cut away with them.
    """
    x, y, z = feet_mm.T
    lowest = (
        np.where(y > 16, 4, np.where(y > -32, 10, -12))
        if low
        else (np.where(y > 20, 20, np.where(y > -30, 24, -6)))
    )
    front, back, top = (16, -32, 26) if low else (24, -40, 34)
    beside_ear = (np.abs(x) > 45) & (y > back) & (y < front) & (z < top)
    return (z > lowest) & ~beside_ear


def match_person(person: Person, start: Prior) -> Match:
    """One digitised person, from a prior wide enough not to decide."""
    scaled = person.data_set in SCALED_SETS
    task = _Task(
        person.data_set,
        person.marks_mm,
        person.landmarks_mm,
        MARK_MM,
        1.0,
        lambda feet, off: np.abs(off) < ASTRAY_MM["person"],  # noqa: ARG005
        (HEIGHT_MM, HEIGHT_DOUBT_MM),
        (LOG_SCALE, LOG_SCALE_DOUBT) if scaled else (0.0, _FIXED),
    )
    own = np.array(list(person.landmarks_mm.values())) * np.exp(-task.log_scale[0])
    model = shape_model().pose(start.mean).landmarks.points_mm
    target = model[[LANDMARK_NAMES.index(name) for name in person.landmarks_mm]]
    turn, _ = Rotation.align_vectors(target - target.mean(0), own - own.mean(0))
    return _match(task, start, turn, target.mean(0) - turn.apply(own.mean(0)))


def match_vault(vault: Vault, start: Prior, *, low: bool = False) -> Match:
    """One skin, from a prior wide enough not to decide."""
    task = _Task(
        "vaults",
        vault.points_mm,
        {},
        SKIN_MM,
        SKIN_POINTS / len(vault.points_mm),
        lambda feet, off: on_the_vault(feet, low=low) & (np.abs(off) < ASTRAY_MM["vault"]),
        (0.0, _FIXED),
        (0.0, _FIXED),
    )
    right = vault.across / np.linalg.norm(vault.across)
    front = np.array([0.0, 1.0, 0.0]) - right * right[1]
    front /= np.linalg.norm(front)
    upright = np.array([right, front, np.cross(right, front)])
    turn = Rotation.from_rotvec([_PITCH_RAD, 0.0, 0.0]) * Rotation.from_matrix(upright)
    return _match(task, start, turn, _EARS_MM - turn.apply(vault.ears_mm.mean(0)))


def _match(task: _Task, start: Prior, turn: Rotation, shift: Floats) -> Match:
    """Gauss-Newton over shape, rotation, shift, height and log scale."""
    k = len(start.mean)
    parameters, rotation = np.array(start.mean), turn.as_matrix()
    height, log_scale = task.height[0], task.log_scale[0]
    prior = np.zeros((k + 8, k + 8))
    prior[:k, :k] = start.information
    prior[k + 6, k + 6], prior[k + 7, k + 7] = task.height[1] ** -2, task.log_scale[1] ** -2
    for number in range(_ROUNDS):
        information, uphill, residuals = _normal_equations(
            task, parameters, rotation, shift, height, log_scale
        )
        pull = np.zeros(k + 8)
        pull[:k] = start.information @ (parameters - start.mean)
        pull[k + 6] = (height - task.height[0]) * prior[k + 6, k + 6]
        pull[k + 7] = (log_scale - task.log_scale[0]) * prior[k + 7, k + 7]
        # A hair of stiffness: a skin alone hardly tells how far down the head reaches.
        stiff = prior + np.diag([0.0] * k + [0.3**-2] * 3 + [40.0**-2] * 3 + [0.0] * 2)
        step = -np.linalg.solve(information + stiff, uphill + pull)
        # The last round only takes the quadratic at the place that was found.
        length = float(np.abs(step[:k] / start.spread).max())
        if number == _ROUNDS - 1 or length < _SETTLED_SD:
            break
        step *= min(1.0, _MOST_SD / length)
        parameters = parameters + step[:k]
        small = Rotation.from_rotvec(step[k : k + 3]).as_matrix()
        rotation, shift = small @ rotation, small @ shift + step[k + 3 : k + 6]
        height, log_scale = height + step[k + 6], log_scale + step[k + 7]
    kept, pose = [*range(k), k + 6, k + 7], [*range(k, k + 6)]
    free = information[np.ix_(pose, pose)] + stiff[np.ix_(pose, pose)]
    through = information[np.ix_(kept, pose)] @ np.linalg.inv(free)
    reduced = information[np.ix_(kept, kept)] - through @ information[np.ix_(pose, kept)]
    slope = uphill[kept] - through @ uphill[pose]
    here = np.concatenate([parameters, [height, log_scale]])
    return Match(
        task.data_set, parameters, (reduced + reduced.T) / 2, reduced @ here - slope,
        rotation, shift, log_scale, height, residuals,
    )  # fmt: skip


def _normal_equations(
    task: _Task, parameters: Floats, rotation: Floats, shift: Floats, height: float, scale: float
) -> tuple[Floats, Floats, Floats]:
    """Information (K + 8, K + 8), uphill (K + 8,) and residuals, without the prior."""
    k = len(parameters)
    model = shape_model()
    pose = model.pose(parameters, rates=True)
    assert pose.motion is not None
    points = task.points * np.exp(-scale) @ rotation.T + shift
    places, _ = nearest(pose.mesh, points)
    feet, normals = places.on(pose.mesh.vertices_mm), normals_at(pose.mesh, places)
    rates = model.vertex_rates(parameters, places.corners.ravel()).reshape(len(feet), 3, 3, k)
    off = np.einsum("ij,ij->i", normals, points - feet) - height
    slopes = np.zeros((len(feet), k + 8))
    slopes[:, :k] = -np.einsum("nj,nc,ncjk->nk", normals, places.weights, rates, optimize=True)
    slopes[:, k : k + 3] = np.cross(points, normals)
    slopes[:, k + 3 : k + 6] = normals
    slopes[:, k + 6] = -1.0
    slopes[:, k + 7] = -np.einsum("ij,ij->i", normals, points - shift)
    counts = task.counts(feet, off)
    pull = np.minimum(1.0, HUBER * task.point_mm / np.maximum(np.abs(off), 1e-9))
    weight = task.weight * counts * pull / task.point_mm**2
    information = (slopes * weight[:, None]).T @ slopes
    uphill = slopes.T @ (weight * off)
    laid = dict(zip(LANDMARK_NAMES, pose.landmarks, strict=True))
    for name, own in task.landmarks.items():
        point = rotation @ own * np.exp(-scale) + shift
        slope = np.zeros((3, k + 8))
        slope[:, :k] = -pose.motion.landmarks[name]
        slope[:, k : k + 3] = -skew(point)
        slope[:, k + 3 : k + 6] = np.eye(3)
        slope[:, k + 7] = -(point - shift)
        information += slope.T @ slope / LANDMARK_MM**2
        uphill += slope.T @ (point - laid[name]) / LANDMARK_MM**2
    return information, uphill, off[counts]
