"""The body mesh bent until its vault is the vault of the MRI and its landmarks sit there too.

A smooth (cubic radial) warp carries pairs of points: scalp onto the vault, landmarks onto
landmarks, each ear by a similarity about its preauricular point, the face by one about the
nasion, cheekbones to the width of the MRI, the neck nearly in place. Unit: mm, study frame.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.interpolate import RBFInterpolator

from template_study.base_mesh import MIRROR, BaseMesh
from template_study.vault import Floats, Integers, Vault, settle

LANDMARK_NAMES = ("nasion", "inion", "left_preauricular", "right_preauricular")
FACE_SCALE = 0.97


@dataclass(frozen=True, eq=False)
class Target:
    """What a head is bent onto.

    Parameters
    ----------
    vault : the vault of its scalp.
    landmarks_mm : name -> (3,) point, study frame.
    ear_scale : size of the ears relative to the body mesh, as a factor.
    half_width_mm : (y, z) -> half width of the cheekbones, or None to leave them.
    n_rounds : how often scalp points are picked anew.
    """

    vault: Vault
    landmarks_mm: dict[str, Floats]
    ear_scale: float
    half_width_mm: Callable[[Floats, Floats], Floats] | None = None
    n_rounds: int = 2


def similarity(source: Floats, target: Floats) -> tuple[float, Floats, Floats]:
    """Return scale, rotation (3, 3) and shift (3,) that best carry source (n, 3) to target.

    Least squares; source: Umeyama, IEEE PAMI 13 (1991) 376-380.
    """
    from_mean, to_mean = source.mean(axis=0), target.mean(axis=0)
    left, sizes, right = np.linalg.svd((source - from_mean).T @ (target - to_mean))
    signs = np.array([1.0, 1.0, np.sign(np.linalg.det(left @ right))])
    rotation = (left @ np.diag(signs) @ right).T
    scale = float((sizes * signs).sum() / ((source - from_mean) ** 2).sum())
    return scale, rotation, to_mean - scale * rotation @ from_mean


def spread_points(points_mm: Floats, n_points: int) -> Integers:
    """Return the numbers of n points picked so that each is far from those before it."""
    picked, distance = [0], np.linalg.norm(points_mm - points_mm[0], axis=1)
    while len(picked) < min(n_points, len(points_mm)):
        # rounded, because mirrored points are equally far but for the last bit
        picked.append(int(distance.round(6).argmax()))
        distance = np.minimum(distance, np.linalg.norm(points_mm - points_mm[picked[-1]], axis=1))
    return np.array(picked)


def mirrored_too(points_mm: Floats) -> Floats:
    """Return the points followed by the mirror images of those off the midline."""
    return np.vstack([points_mm, points_mm[points_mm[:, 0] < -1e-6] * MIRROR])


class _Pairs:
    """Pairs of points from which one warp is made, in the order in which they are added."""

    def __init__(self, base: BaseMesh, start_mm: Floats, start_landmarks: dict[str, Floats]):
        self.base, self.start, self.landmarks = base, start_mm, start_landmarks
        self.in_head = (start_mm[:, 2] > -190) & (np.abs(start_mm[:, 0]) < 130)
        self.sources: list[Floats] = []
        self.targets: list[Floats] = []

    def add(self, sources: Floats, targets: Floats) -> None:
        self.sources.append(sources)
        self.targets.append(targets)

    def _both_sides(self, vertices: Integers) -> Integers:
        return np.unique(np.r_[vertices, self.base.mirror[vertices]])

    def add_scalp(self, now_mm: Floats, vault: Vault) -> None:
        base = self.base
        outside = np.abs(np.linalg.norm(now_mm - vault.centre_mm, axis=1)) > 50
        scalp = self.in_head & ~base.is_ear & outside
        vertices = np.flatnonzero(scalp & (vault.weight(now_mm) > 0.35))
        middles = now_mm[base.quads].mean(axis=1)
        quads = self.in_head[base.quads].all(axis=1) & ~base.is_ear[base.quads].any(axis=1)
        quads &= (vault.weight(middles) > 0.35) & (middles[:, 0] < -1)
        before = np.vstack([self.start[vertices], self.start[base.quads[quads]].mean(axis=1)])
        now = np.vstack([now_mm[vertices], middles[quads]])
        left = before[:, 0] <= 1e-6
        before, now = before[left], now[left]
        picked = spread_points(now, 220)
        off_midline = before[picked, 0] < -1e-6
        before = np.vstack([before[picked], before[picked][off_midline] * MIRROR])
        now = np.vstack([now[picked], now[picked][off_midline] * MIRROR])
        self.add(before, vault.project(now))

    def add_landmarks(self, target: Target) -> None:
        self.add(
            np.array([self.landmarks[name] for name in LANDMARK_NAMES]),
            np.array([target.landmarks_mm[name] for name in LANDMARK_NAMES]),
        )

    def add_ears(self, target: Target) -> None:
        from_ear = self.landmarks["left_preauricular"]
        to_ear = target.landmarks_mm["left_preauricular"]
        ears = self.base.ears
        ears = ears[np.abs(self.start[ears, 0]) > abs(from_ear[0]) + 4]
        ears = self._both_sides(ears[spread_points(self.start[ears], 14)])
        outward = -np.sign(self.start[ears, :1])
        left_to_own_side = np.hstack([outward, np.ones((len(ears), 2))])
        turned = (self.start[ears] - from_ear * left_to_own_side) * target.ear_scale
        self.add(self.start[ears], turned + to_ear * left_to_own_side)

    def add_face(self, target: Target) -> None:
        nasion = self.landmarks["nasion"]
        x, y, z = self.start.T
        face = self.in_head & (y > nasion[1] - 42) & (np.abs(x) < 60)
        face &= (z < nasion[2] - 6) & (z > nasion[2] - 118)
        vertices = np.flatnonzero(face)
        vertices = self._both_sides(vertices[spread_points(self.start[vertices], 50)])
        moved = (self.start[vertices] - nasion) * FACE_SCALE + target.landmarks_mm["nasion"]
        self.add(self.start[vertices], moved)

    def add_cheekbones(self, now_mm: Floats, target: Target) -> None:
        if target.half_width_mm is None:
            return
        nasion, ear = self.landmarks["nasion"], self.landmarks["left_preauricular"]
        x, y, z = self.start.T
        cheek = self.in_head & ~self.base.is_ear & (x < -42)
        cheek &= (z < nasion[2] + 14) & (z > nasion[2] - 34)
        cheek &= (y > ear[1] + 6) & (y < nasion[1] - 36)
        vertices = np.flatnonzero(cheek)
        vertices = vertices[spread_points(self.start[vertices], 30)]
        width = target.half_width_mm(now_mm[vertices, 1], now_mm[vertices, 2])
        vertices, width = vertices[np.isfinite(width)], width[np.isfinite(width)]
        moved = now_mm[vertices].copy()
        moved[:, 0] = 0.25 * moved[:, 0] - 0.75 * width
        self.add(mirrored_too(self.start[vertices]), mirrored_too(moved))

    def add_neck(self) -> None:
        x, y, z = self.start.T
        neck = (z > -185) & (z < -120) & (y < 35) & (np.hypot(x, y + 10) < 75)
        vertices = np.flatnonzero(neck)
        vertices = self._both_sides(vertices[spread_points(self.start[vertices], 24)])
        # a little wider and forward: the neck of the body mesh is thin for this vault
        self.add(self.start[vertices], self.start[vertices] * [1.06, 1.0, 1.0] + [0.0, 3.0, 0.0])

    def warped(self) -> Floats:
        """Return all vertices (n, 3) of the body mesh after the warp."""
        sources, targets = np.vstack(self.sources), np.vstack(self.targets)
        single = np.unique(sources.round(3), axis=0, return_index=True)[1]
        warp = RBFInterpolator(
            sources[single], targets[single], kernel="cubic", degree=1, smoothing=2e2
        )
        points = self.start.copy()
        points[self.in_head] = warp(self.start[self.in_head])
        points = (points + points[self.base.mirror] * MIRROR) / 2.0
        points[self.base.on_midline, 0] = 0.0
        return settle(points)


def warped_head(base: BaseMesh, shape_mm: Floats, target: Target) -> Floats:
    """Return the shape (n, 3) of the body mesh bent onto the target, study frame, symmetric."""
    landmarks = base.landmarks(shape_mm)
    scale, rotation, shift = similarity(
        np.array([landmarks[name] for name in LANDMARK_NAMES]),
        np.array([target.landmarks_mm[name] for name in LANDMARK_NAMES]),
    )
    start = settle(scale * shape_mm @ rotation.T + shift)
    moved = {name: scale * rotation @ point + shift for name, point in landmarks.items()}
    now = start
    for _ in range(target.n_rounds):
        pairs = _Pairs(base, start, moved)
        pairs.add_scalp(now, target.vault)
        pairs.add_landmarks(target)
        pairs.add_ears(target)
        pairs.add_face(target)
        pairs.add_cheekbones(now, target)
        pairs.add_neck()
        now = pairs.warped()
    return now
