"""Ways to lay marks on a head: by landmarks, by the sites they name, by the surface. Millimetres.

An alignment is the rigid motion from the frame of the marks into that of the head. By landmarks
shows a slip of the whole set but carries the error of three landmarks; by the names hides the slip
and shows each mark. Repeat sessions of one person differ by 8.8 mm in the one and 2.7 mm in the
other, so both are always reported.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.comparing.alignment_kinds import AlignmentKind
from headfit.comparing.target_sites import Targets
from headfit.errors import MarksError, sentence
from headfit.geometry.mesh import Floats
from headfit.geometry.rates import skew
from headfit.geometry.rigid import RigidMotion, best_rigid
from headfit.geometry.surface import nearest, normals_at
from headfit.marks.marks import Marks

# How sure a landmark is; a judgement from the scatter of trained hands on three heads. Over 30 % of
# inions are hard to define (Myslobodsky et al. 1989).
LANDMARK_SPREAD_MM = {
    "nasion": 3.0,
    "left_preauricular": 3.0,
    "right_preauricular": 3.0,
    "inion": 7.0,
}
_POINT_SPREAD_MM = 2.0
_NAME_SPREAD_MM = 10.0
_ROUNDS = 15
_GATE = 4.685


@dataclass(frozen=True, eq=False)
class Alignment:
    """One way the marks were laid on the head, and how well they lie.

    Attributes
    ----------
    kind : {"landmarks", "best-fit", "robust", "surface"}
    motion : RigidMotion
        From the frame of the marks to that of the head.
    height_mm : float
        Common height of the marks over the scalp.
    median_mm, rms_mm : float
        Of the distances along the scalp between marks and the sites they name: what a mark stands
        over the scalp is taken out.
    straight_median_mm : float
        Of the distances straight through the air, height and all.
    landmark_residuals_mm : mapping of str to float
        How far each measured landmark then lies from that of the head.
    """

    kind: AlignmentKind
    motion: RigidMotion = field(repr=False)
    height_mm: float
    median_mm: float
    rms_mm: float
    straight_median_mm: float
    landmark_residuals_mm: Mapping[str, float]


def judged(
    kind: AlignmentKind, motion: RigidMotion, marks: Marks, points: Floats, targets: Targets
) -> Alignment:
    """An alignment with the figures that tell how good it is.

    Parameters
    ----------
    kind, motion
        As in `Alignment`.
    marks : Marks
    points : (n, 3) float64
        The marks in the order of the targets, in their own frame.
    targets : Targets
    """
    gap = motion.on(points) - targets.points_mm
    height = np.einsum("ij,ij->i", gap, targets.normals)
    flat = gap - height[:, None] * targets.normals
    distance = np.sqrt(np.einsum("ij,ij->i", flat, flat))
    residuals = {
        name: float(np.linalg.norm(motion.on(point) - targets.landmarks[name]))
        for name, point in marks.landmarks.items()
    }
    return Alignment(
        kind,
        motion,
        float(np.median(height)),
        float(np.median(distance)),
        float(np.sqrt((distance**2).mean())),
        float(np.median(np.sqrt(np.einsum("ij,ij->i", gap, gap)))),
        residuals,
    )


def by_landmarks(marks: Marks, targets: Targets) -> RigidMotion | None:
    """The weighted best motion of the measured landmarks; None when one is missing."""
    if marks.frame is None:
        return None
    names = [name for name in LANDMARK_SPREAD_MM if name in marks.landmarks]
    return best_rigid(
        np.array([marks.landmarks[name] for name in names]),
        np.array([targets.landmarks[name] for name in names]),
        np.array([LANDMARK_SPREAD_MM[name] ** -2.0 for name in names]),
    )


def pose_covariance(marks: Marks, targets: Targets) -> Floats:
    """(6, 6) covariance of turn (rad, about the origin of the head) and shift by the landmarks."""
    return np.asarray(np.linalg.inv(_information(marks, targets)))


def followed_by_marks(marks: Marks, targets: Targets, landmark_rates: Floats) -> Floats:
    """(6, K) how turn and shift of marks follow the landmarks of a head that changes its shape.

    Parameters
    ----------
    marks : Marks
    targets : Targets
    landmark_rates : (4, 3, K) float64
        How the landmarks move with the shape, in the frame of the head.
    """
    pull = np.zeros((6, landmark_rates.shape[2]))
    for name in marks.landmarks:
        lever = np.hstack([-skew(targets.landmarks[name]), np.eye(3)])
        rate = landmark_rates[LANDMARK_NAMES.index(name)]
        pull += lever.T @ rate / LANDMARK_SPREAD_MM[name] ** 2
    return np.asarray(np.linalg.solve(_information(marks, targets), pull))


def _information(marks: Marks, targets: Targets) -> Floats:
    """(6, 6) what the landmarks tell of turn and shift."""
    information = np.zeros((6, 6))
    for name in marks.landmarks:
        lever = np.hstack([-skew(targets.landmarks[name]), np.eye(3)])
        information += lever.T @ lever / LANDMARK_SPREAD_MM[name] ** 2
    return information


def by_surface(marks: Marks, start: RigidMotion, points: Floats, targets: Targets) -> RigidMotion:
    """The motion that lays all marks on the scalp at one common height.

    What the surface cannot tell (a round head may turn under its marks) the landmarks hold, or,
    where there are none, the names, each with their own spread. Marks that stand off the others
    lose their pull.

    Parameters
    ----------
    marks : Marks
    start : RigidMotion
    points : (n, 3) float64
        The named marks in the order of the targets, in their own frame.
    targets : Targets

    Raises
    ------
    MarksError
        Too few marks.
    """
    mesh = targets.sites.tracer.mesh
    every = marks.all_points_mm
    if len(every) < 8:
        raise MarksError(
            sentence("marks to be laid on the surface", "be 8 or more", f"{len(every)}"),
            code="align-too-few",
            n_marks=len(every),
        )
    if marks.frame is not None:
        held = np.array([marks.landmarks[name] for name in marks.landmarks])
        holding = np.array([targets.landmarks[name] for name in marks.landmarks])
        spread = np.array([LANDMARK_SPREAD_MM[name] for name in marks.landmarks])
    else:
        held, holding = points, targets.points_mm
        spread = np.full(len(points), _NAME_SPREAD_MM)
    motion, height = start, 0.0
    for round_ in range(_ROUNDS):
        placed, anchors = motion.on(every), motion.on(held)
        foot, _ = nearest(mesh, placed, again=True)
        on = foot.on(mesh.vertices_mm)
        normals = normals_at(mesh, foot)
        off = np.einsum("ij,ij->i", normals, placed - on)
        if round_ == 0:
            height = float(np.median(off))
        left = off - height
        scale = max(1.4826 * float(np.median(np.abs(left))), 1.0)
        weight = np.clip(1 - (left / (_GATE * scale)) ** 2, 0, None) ** 2 / _POINT_SPREAD_MM**2
        centre = placed.mean(axis=0)
        slopes = np.column_stack(
            [np.cross(placed - centre, normals), normals, np.full(len(normals), -1.0)]
        )
        information = slopes.T @ (weight[:, None] * slopes)
        pull = -slopes.T @ (weight * left)
        gap = holding - anchors
        if marks.frame is None:
            gap = gap + height * targets.normals
        for arm, miss, sure in zip(anchors - centre, gap, spread**-2.0, strict=True):
            lever = np.zeros((3, 7))
            lever[:, :3] = [[0, arm[2], -arm[1]], [-arm[2], 0, arm[0]], [arm[1], -arm[0], 0]]
            lever[:, 3:6] = np.eye(3)
            information += sure * lever.T @ lever
            pull += sure * lever.T @ miss
        step = np.linalg.solve(information, pull)
        turn = Rotation.from_rotvec(step[:3]).as_matrix()
        motion = RigidMotion(turn, centre + step[3:6] - turn @ centre).after(motion)
        height += float(step[6])
        if float(np.abs(step[:3]).max()) * 100 + float(np.abs(step[3:]).max()) < 0.01:
            break
    return motion
