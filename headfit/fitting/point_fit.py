"""A head from digitised landmarks and scalp points, when there is no scan. Millimetres.

Each scalp point measures how far the surface lies from it along the normal, each landmark where it
is, and a measurement sheet may add its tapes. Points float over the skin by hair and sensor height;
the common height is estimated with the head. The points need not be in any frame: rotation and
shift are estimated too. Outliers count less (Huber).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.errors import LandmarkError, MarksError, sentence
from headfit.fitting.leftover import tape_block
from headfit.fitting.model_measures import at_pose
from headfit.fitting.shape import ShapeModel, shape_model
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats
from headfit.geometry.rates import skew
from headfit.geometry.rigid import RigidMotion, best_rigid
from headfit.geometry.surface import nearest, normals_at

LANDMARK_SPREAD_MM = 2.0  # one digitised landmark against the one the head is built on
POINT_SPREAD_MM = 2.0  # one digitised point: digitiser 1.5 to 2.4 mm (Dalal 2014, Gyorfi 2022)
_HEIGHT_MM, _HEIGHT_SPREAD_MM = 3.0, 5.0  # sensor and hair; a judgement, no source
_HUBER = 2.0
_ROUNDS = 10
_FEWEST_POINTS = 8


@dataclass(frozen=True, eq=False)
class PointFit:
    """A head fitted to digitised points.

    Attributes
    ----------
    head : Head
        In the head frame.
    height_mm : float
        Common height of the points over the skin.
    distances_mm : (n,) float64
        Of each point from the skin, less the common height; positive outside.
    model : ShapeModel
    parameters : (K,) float64
    motion : RigidMotion
        From the frame of the points to that of the model.
    """

    head: Head
    height_mm: float
    distances_mm: Floats
    model: ShapeModel
    parameters: Floats
    motion: RigidMotion

    def in_head_frame(self, points_mm: Floats) -> Floats:
        """(n, 3) points as they were given, moved into the frame of `head`."""
        rotation, shift = self.model.pose(self.parameters).landmarks.frame
        return np.asarray(self.motion.on(points_mm) @ rotation.T + shift)

    def __repr__(self) -> str:
        return f"PointFit({len(self.distances_mm)} points, {self.height_mm:.1f} mm over the skin)"


def fit_points(
    landmarks_mm: Mapping[str, Floats],
    scalp_points_mm: Floats,
    tape: Tape | None = None,
    age: str | float = "adult",
    *,
    sex: str | None = None,
    doubtful: Sequence[str] = (),
) -> PointFit:
    """The most probable head under digitised points.

    Parameters
    ----------
    landmarks_mm : mapping of str to (3,) float64
        "nasion", "left_preauricular", "right_preauricular", and "inion" when it was taken.
    scalp_points_mm : (n, 3) float64
        In the frame of the landmarks, at least 8.
    tape : Tape, optional
        Measured on the same head.
    age, sex, doubtful
        As for `fit_head`.

    Raises
    ------
    LandmarkError
        One of the three landmarks is missing.
    MarksError
        Too few points, or the points do not lie on a head.
    """
    for name in ("nasion", "left_preauricular", "right_preauricular"):
        if name not in landmarks_mm:
            raise LandmarkError(
                sentence(
                    "digitised landmarks",
                    "hold nasion and both preauricular points",
                    ", ".join(landmarks_mm) or "none",
                    f"{name.replace('_', ' ')} is missing",
                ),
                code="landmarks-missing",
                landmark=name,
            )
    points = np.array(scalp_points_mm, dtype=np.float64)
    if points.ndim != 2 or points.shape[1:] != (3,) or len(points) < _FEWEST_POINTS:
        raise MarksError(
            sentence(
                "scalp points",
                f"be at least {_FEWEST_POINTS} rows of x, y, z",
                f"shape {points.shape}",
            ),
            code="points-too-few",
        )
    model = shape_model(age, sex, tuple(sorted(set(doubtful))))
    names = [name for name in LANDMARK_NAMES if name in landmarks_mm]
    return _Search(model, names, np.array([landmarks_mm[n] for n in names]), points, tape).run()


class _Search:
    """The Gauss-Newton search over shape, rotation, shift and common height."""

    def __init__(
        self,
        model: ShapeModel,
        names: list[str],
        landmarks: Floats,
        points: Floats,
        tape: Tape | None,
    ) -> None:
        self.model, self.names, self.tape = model, names, tape
        rows = [LANDMARK_NAMES.index(name) for name in names]
        target = model.pose(model.prior.mean).landmarks.points_mm[rows]
        self.motion = best_rigid(landmarks, target)
        self.landmarks, self.points = self.motion.on(landmarks), self.motion.on(points)
        self.parameters = np.array(model.prior.mean)
        self.height = _HEIGHT_MM

    def run(self) -> PointFit:
        for _ in range(_ROUNDS):
            step, distances = self._round()
            k = self.model.n_parameters
            self.parameters = self.parameters + step[:k]
            turn = Rotation.from_rotvec(step[k : k + 3]).as_matrix()
            moved = RigidMotion(turn, step[k + 3 : k + 6])
            self.motion = moved.after(self.motion)
            self.landmarks, self.points = moved.on(self.landmarks), moved.on(self.points)
            self.height += float(step[k + 6])
            if np.abs(step[:k] / self.model.prior.spread).max() < 0.02:
                break
        away = np.abs((self.parameters - self.model.prior.mean) / self.model.prior.spread).max()
        if away > 8.0 or not np.isfinite(away):
            raise MarksError(
                sentence(
                    "digitised points",
                    "lie on a head of the age given",
                    f"a shape no head has ({away:.0f} times the usual spread from the mean)",
                    "check unit, axes and landmarks",
                ),
                code="points-no-head",
            )
        head = self.model.head(self.parameters, self.model.template.label).in_own_frame()
        return PointFit(head, self.height, distances, self.model, self.parameters, self.motion)

    def _round(self) -> tuple[Floats, Floats]:
        """Step of everything, and distances of the points."""
        model, k = self.model, self.model.n_parameters
        tracer = at_pose(model, self.parameters)
        assert tracer.motion is not None
        mesh = tracer.mesh
        places, _ = nearest(mesh, self.points)
        feet, normals = places.on(mesh.vertices_mm), normals_at(mesh, places)
        rates = model.vertex_rates(self.parameters, places.corners.ravel())
        foot_rates = np.einsum("nc,ncjk->njk", places.weights, rates.reshape(len(feet), 3, 3, k))
        distances = np.einsum("ij,ij->i", normals, self.points - feet) - self.height
        slopes = np.zeros((len(feet), k + 7))
        slopes[:, :k] = -np.einsum("nj,njk->nk", normals, foot_rates)
        slopes[:, k : k + 3] = np.cross(self.points, normals)
        slopes[:, k + 3 : k + 6] = normals
        slopes[:, k + 6] = -1.0
        pull = np.minimum(1.0, _HUBER * POINT_SPREAD_MM / np.maximum(np.abs(distances), 1e-9))
        blocks = [(distances, slopes, pull / POINT_SPREAD_MM**2)]
        for name, given in zip(self.names, self.landmarks, strict=True):
            gap = given - tracer.point(name)
            turn = np.zeros((3, k + 7))
            turn[:, :k] = -tracer.point_rate(name)
            turn[:, k : k + 3] = -skew(given)
            turn[:, k + 3 : k + 6] = np.eye(3)
            blocks.append((gap, turn, np.full(3, LANDMARK_SPREAD_MM**-2)))
        if self.tape is not None:
            residual, slope, weight = tape_block(model, self.tape, tracer)
            blocks.append((residual, np.pad(slope, ((0, 0), (0, 7))), weight))
        information = np.zeros((k + 7, k + 7))
        information[:k, :k] = model.prior.information
        information[k + 6, k + 6] = _HEIGHT_SPREAD_MM**-2
        uphill = np.zeros(k + 7)
        uphill[:k] = model.prior.information @ (self.parameters - model.prior.mean)
        uphill[k + 6] = (self.height - _HEIGHT_MM) / _HEIGHT_SPREAD_MM**2
        for residual, slope, weight in blocks:
            information += (slope * weight[:, None]).T @ slope
            uphill += slope.T @ (weight * residual)
        step = -np.linalg.solve(information, uphill)
        return np.asarray(step, dtype=np.float64), distances
