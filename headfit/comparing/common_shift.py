"""The motion that a whole set of marks shares: turn, slide and height over the scalp. Millimetres.

Turn and slide are the rotation about the middle of the sites and the shift of that middle; height
is the common distance from the scalp. The own part of a mark is what is left without them.

The marks are taken as m = R (s + h n - c) + c + t + own part, with s the sites, n their outward
normals, c the middle of the sites. The height h must be found together with the motion: a cap that
floats evenly would otherwise count as a slide upwards. Errors along the normal weigh half as much
as along the scalp, because hair and electrodes differ in height.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy.spatial.transform import Rotation

from headfit.comparing.target_sites import Targets
from headfit.errors import InputError, MarksError, sentence
from headfit.geometry.mesh import Floats, Integers, frozen
from headfit.geometry.rigid import RigidMotion, best_rigid

# Four sites that are not in line fix turn, slide and height with something to spare.
FEWEST = 4
_NORMAL_SHARE = 0.5
# No spread is taken smaller than this: no digitiser is better.
_FLOOR_MM = 0.5
_GATE = 6.0
# Median length of an error of unit spread along the scalp and half of it along the normal [derived
# by 4 million draws, +-0.001].
_MEDIAN = 1.2887
_ROUNDS_OF_LENGTHS = 3
_ROUNDS = 40
_SETTLED_MM = 1e-2


@dataclass(frozen=True, eq=False)
class SetMotion:
    """The motion that carries the sites to where the marks are, and how sure it is.

    Attributes
    ----------
    motion : RigidMotion
        From where the sites are to where the marks are, both in the frame of the head.
    height_mm : float
        Common height of the marks over the scalp.
    weights : (n,) float64
        Share each mark had in it, 0 (contradicted by the others) to 1.
    spread_mm : float
        Spread per axis of what is left, from the marks that agree.
    turn_degrees, slide_mm : (3,) float64
        In the head frame: pitch, roll and yaw as rotation vector about x, y, z, and the shift of
        the middle of the sites.
    turn_spread_degrees, slide_spread_mm : (3,) float64
        Standard errors of the two, with those of head and landmarks where they were given.
    follow : (6, p) float64
        How `six` goes with the p unknowns of head and landmarks.
    """

    motion: RigidMotion
    height_mm: float
    weights: Floats = field(repr=False)
    spread_mm: float
    turn_degrees: Floats
    slide_mm: Floats
    turn_spread_degrees: Floats
    slide_spread_mm: Floats
    follow: Floats = field(default_factory=lambda: np.zeros((6, 0)), repr=False)

    @property
    def six(self) -> Floats:
        """(6,) pitch, roll, yaw in degrees, then right, front, up in mm."""
        return np.concatenate([self.turn_degrees, self.slide_mm])

    @property
    def six_spread(self) -> Floats:
        """(6,) standard errors of `six`."""
        return np.concatenate([self.turn_spread_degrees, self.slide_spread_mm])

    @property
    def pitch_degrees(self) -> float:
        """Turn about the axis to the right: positive lifts the front."""
        return float(self.turn_degrees[0])

    @property
    def roll_degrees(self) -> float:
        """Turn about the axis to the nose: positive leans to the right."""
        return float(self.turn_degrees[1])

    @property
    def yaw_degrees(self) -> float:
        """Turn about the axis upwards: positive turns the front to the left."""
        return float(self.turn_degrees[2])


@dataclass(frozen=True, eq=False)
class Doubt:
    """What is not known about where marks stand against their sites.

    Attributes
    ----------
    moves : (n, 3, p) float64
        How each mark moves against its site with p unknowns, in the frame of the sites.
    covariance : (p, p) float64
    """

    moves: Floats
    covariance: Floats


def fit_set(
    points_mm: Floats,
    targets: Targets,
    *,
    robust: bool = True,
    start: RigidMotion | None = None,
    doubt: Doubt | None = None,
) -> SetMotion:
    """The common part of marks against their sites.

    Parameters
    ----------
    points_mm : (n, 3) float64
        Marks in the order of the targets, in any frame; turn and slide mean something in that of
        the head only.
    targets : Targets
    robust : bool
        Weigh down marks that the others contradict; else all count alike.
    start : RigidMotion, optional
        A first guess of the motion from sites to marks.
    doubt : Doubt, optional
        Of head and landmarks; goes into the standard errors.

    Raises
    ------
    MarksError
        Fewer than four marks fix the motion, or they lie in line.
    """
    rows = np.flatnonzero(targets.fixing)
    if len(rows) < FEWEST:
        raise MarksError(
            sentence("marks that fix the set", f"be {FEWEST} or more scalp sites", f"{len(rows)}"),
            code="align-too-few",
            n_marks=len(rows),
        )
    points, sites, normals = points_mm[rows], targets.points_mm[rows], targets.normals[rows]
    try:
        solver = _Solver(points, sites, normals, start or best_rigid(sites, points))
        solver.run(robust=robust, lengths=_ROUNDS_OF_LENGTHS if start is None else 1)
    except (InputError, np.linalg.LinAlgError) as error:
        raise MarksError(
            sentence("marks that fix the set", "not lie on one line", f"{len(rows)} that do"),
            code="align-in-line",
        ) from error
    weights = np.zeros(len(points_mm))
    weights[rows] = solver.weights
    return solver.result(targets.to_head.rotation, weights, doubt, rows)


class _Solver:
    """Gauss-Newton on turn, slide and height, with weights from the residuals."""

    def __init__(self, points: Floats, sites: Floats, normals: Floats, start: RigidMotion) -> None:
        self.points, self.sites, self.normals = points, sites, normals
        self.centre = sites.mean(axis=0)
        self.rotation = np.array(start.rotation)
        self.slide = start.on(self.centre) - self.centre
        self.height = 0.0
        self.weights = np.ones(len(points))
        self.spread = _FLOOR_MM
        self.information, self.weighted = np.eye(7), np.zeros((3 * len(points), 7))

    def run(self, *, robust: bool, lengths: int) -> None:
        """Iterate until nothing moves; with `robust`, after some rounds of lengths a gate falls."""
        self._look()
        for round_ in range(_ROUNDS):
            if robust:
                self._reweigh(gate=round_ >= lengths)
            step = self._step()
            self._look()
            size = float(np.abs(step[:3]).max()) * 100.0 + float(np.abs(step[3:]).max())
            if size < _SETTLED_MM and (not robust or round_ > lengths):
                break
        if not robust:
            self._measure_spread()

    def _look(self) -> None:
        """Lever arms, turned normals, and residuals with their part along the normals scaled."""
        self.lever = (self.sites + self.height * self.normals - self.centre) @ self.rotation.T
        self.outward = self.normals @ self.rotation.T
        gap = self.points - self.lever - (self.centre + self.slide)
        along_normal = np.einsum("ij,ij->i", gap, self.outward)
        self.residual = gap - ((1 - _NORMAL_SHARE) * along_normal)[:, None] * self.outward
        self.length = np.sqrt(np.einsum("ij,ij->i", self.residual, self.residual))

    def _step(self) -> Floats:
        """One Gauss-Newton step; the slopes are scaled along the normals like the residuals."""
        n = len(self.lever)
        (x, y, z), (nx, ny, nz) = self.lever.T, self.outward.T
        slopes = np.zeros((n, 3, 7))
        slopes[:, 2, 0], slopes[:, 1, 0] = y, -z  # column k: axis k crossed with the lever arm
        slopes[:, 0, 1], slopes[:, 2, 1] = z, -x
        slopes[:, 1, 2], slopes[:, 0, 2] = x, -y
        slopes[:, 0, 3] = slopes[:, 1, 4] = slopes[:, 2, 5] = 1.0
        slopes[:, :, 6] = self.outward
        lifts = np.empty((n, 7))  # how much each of the seven moves a mark along its normal
        lifts[:, 0], lifts[:, 1], lifts[:, 2] = y * nz - z * ny, z * nx - x * nz, x * ny - y * nx
        lifts[:, 3:6] = self.outward
        lifts[:, 6] = 1.0
        slopes -= ((1 - _NORMAL_SHARE) * self.outward)[:, :, None] * lifts[:, None, :]
        flat = slopes.reshape(3 * n, 7)
        weighted = flat * np.repeat(self.weights, 3)[:, None]
        self.information, self.weighted = weighted.T @ flat, weighted
        step = np.linalg.solve(self.information, weighted.T @ self.residual.ravel())
        self.rotation = Rotation.from_rotvec(step[:3]).as_matrix() @ self.rotation
        self.slide = self.slide + step[3:6]
        self.height += float(step[6])
        return np.asarray(step)

    def _measure_spread(self) -> None:
        # Seven numbers are fitted to three a mark: few marks look better than they are.
        n = 3 * len(self.length)
        freedom = np.sqrt(n / max(n - 7, 1))
        self.spread = max(float(np.median(self.length)) / _MEDIAN * freedom, _FLOOR_MM)

    def _reweigh(self, *, gate: bool) -> None:
        self._measure_spread()
        if gate:
            self.weights = np.maximum(1 - (self.length / (_GATE * self.spread)) ** 2, 0.0) ** 2
        else:
            self.weights = self.spread / np.maximum(self.length, self.spread)

    def _follow(self, doubt: Doubt, rows: Integers) -> Floats:
        """(7, p) how turn, slide and height go with the unknowns of a doubt."""
        moves = doubt.moves[rows]
        lifts = np.einsum("ni,nip->np", self.outward, moves)
        moves = moves - (1 - _NORMAL_SHARE) * self.outward[:, :, None] * lifts[:, None]
        pull = self.weighted.T @ moves.reshape(3 * len(rows), -1)
        return np.asarray(np.linalg.solve(self.information, pull))

    def result(
        self, to_head: Floats, weights: Floats, doubt: Doubt | None, rows: Integers
    ) -> SetMotion:
        """The motion found; turn and slide in the head frame (rotation (3, 3) into it)."""
        covariance = np.linalg.inv(self.information)[:6, :6] * self.spread**2
        both = np.kron(np.diag([np.degrees(1.0), 1.0]), to_head)
        follow = np.zeros((6, 0))
        if doubt is not None:
            follow = self._follow(doubt, rows)[:6]
            covariance = covariance + follow @ doubt.covariance @ follow.T
        spread = np.sqrt(np.diag(both @ covariance @ both.T))
        turn = to_head @ Rotation.from_matrix(self.rotation).as_rotvec(degrees=True)
        shift = self.centre + self.slide - self.rotation @ self.centre
        return SetMotion(
            RigidMotion(self.rotation, shift),
            self.height,
            frozen(weights),
            self.spread,
            frozen(turn),
            frozen(to_head @ self.slide),
            frozen(spread[:3]),
            frozen(spread[3:]),
            frozen(both @ follow),
        )
