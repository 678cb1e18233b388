"""The head under marks and the slip of the marks over it, found together. Millimetres.

Head first and slip after lets part of a slip vanish into the head. Here both are unknowns of one
fit, each with what is known of it beforehand: the shape by its prior, the slip by how far caps
slide. A cap slides over the skin, so a slip is the part along the skin of a turn and a shift; the
heights of the marks speak of the shape alone. Names say where a mark should lie, as evidence with
errors that neighbours share and with outliers; landmarks say where the head is. Where head and slip
cannot be told apart the common covariance says so. Several sessions share one head.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from scipy.spatial.transform import Rotation

from headfit.anatomy.arcs import ArcTracer, Rules
from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.site_table import TABLE, BesideEar, BeyondRow
from headfit.anatomy.sites import Sites, sites_on
from headfit.comparing.alignment import LANDMARK_SPREAD_MM
from headfit.comparing.scalp_steps import scalp_steps
from headfit.comparing.target_sites import Targets
from headfit.errors import HeadfitError, MarksError, sentence
from headfit.fitting.leftover import leftover_effects, tape_block
from headfit.fitting.model_measures import at_pose
from headfit.fitting.shape import ShapeModel
from headfit.fitting.spreads import SiteSpreads, place_rates, site_axes, site_spreads
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats
from headfit.geometry.rates import skew
from headfit.geometry.rigid import RigidMotion
from headfit.geometry.surface import nearest, normals_at
from headfit.marks.marks import Marks
from headfit.nouns import Noun

# How far caps slip, in turn (degrees) and shift (mm) per axis, and how high marks float. Read off
# 83 digitised sets (OpenNeuro ds004561, ds004024, ds005403) by `scripts/bench_marks habits`: root
# mean squares of 3.3 degrees and 5.0 mm with their own errors, heights of 9 mm in two data sets and
# 0 in one; judged round.
SLIP_DEGREES, SLIP_MM = 4.0, 5.0
HEIGHT_MM, HEIGHT_SPREAD_MM = 5.0, 8.0
# Errors of a mark along the skin: its own, and one that neighbours share.
OWN_MM, SHARED_MM, SHARED_OVER_MM = 1.6, 2.0, 50.0
# Errors of its height: digitiser and hair, and the standing off of a cap that neighbours share.
_HEIGHT_OWN_MM, _HEIGHT_SHARED_MM, _HEIGHT_OVER_MM = 0.8, 3.0, 80.0
# Beside what every site has: a cap holds its Iz anywhere near the inion, and sites below a row are
# where the cap ends.
IZ_MM, BELOW_ROW_MM = 6.0, 8.0
# Of the 3 mm a landmark is sure to, what one hand has in common from session to session, and what
# it has not: the triangle of one person's landmarks comes back to 1 to 1.5 mm (ds004024).
LANDMARK_COMMON = 0.87
_STUDENT = 4.0
_HUBER = 2.0
_ROUNDS = 12
_FEWEST_ROUNDS = 4
_SETTLED_SD = 0.05
_REFRESH_SD = 0.3  # the slopes of the sites serve again below this
_LONGEST_SD = 1.5


@dataclass(frozen=True, eq=False)
class Session(Noun):
    """One set of marks on its way onto the head.

    Attributes
    ----------
    marks : Marks
    names : tuple of str
        The site at which each mark lies, mixed-up names put right; "" for a mark whose name says
        nothing.
    motion : RigidMotion
        From the frame of the marks to that of the model.
    height_mm : float
        Common height over the skin.
    turn_rad, slide_mm : (3,) float64
        The slip: its part along the skin is what moves marks.
    """

    marks: Marks
    names: tuple[str, ...]
    motion: RigidMotion
    height_mm: float = HEIGHT_MM
    turn_rad: Floats = field(default_factory=lambda: np.zeros(3))
    slide_mm: Floats = field(default_factory=lambda: np.zeros(3))

    @property
    def slip(self) -> Floats:
        """(6,) turn and slide."""
        return np.concatenate([self.turn_rad, self.slide_mm])

    @cached_property
    def placed(self) -> list[int]:
        """Rows of marks whose site is a place on the scalp."""
        return [i for i, n in enumerate(self.names) if n and not isinstance(TABLE[n], BesideEar)]

    @cached_property
    def on_skin(self) -> Floats:
        """(m, 3) marks that lie on the skin, named or not, in their own frame."""
        beside = [i for i, n in enumerate(self.marks.names) if isinstance(TABLE[n], BesideEar)]
        named = np.delete(self.marks.points_mm, beside, axis=0)
        return np.concatenate([named, self.marks.other_points_mm])


@dataclass(frozen=True, eq=False, repr=False)
class HeadUnderMarks(Noun):
    """A head and the poses of marks on it, with all they share of doubt.

    Attributes
    ----------
    head : Head
        In the head frame.
    model : ShapeModel
    parameters : (K,) float64
    sessions : tuple of Session
    covariance : (K + 13 s + ..., K + 13 s + ...) float64
        Of the parameters, then for each session turn and shift of its pose (6), its height and its
        slip (6); of several sessions also of what their landmarks have in common.
    tape : Tape or None
    rules : Rules
        By which the sites stand.
    """

    head: Head
    model: ShapeModel
    parameters: Floats
    sessions: tuple[Session, ...]
    covariance: Floats
    tape: Tape | None
    rules: Rules

    def __repr__(self) -> str:
        many = "" if len(self.sessions) == 1 else f", {len(self.sessions)} sessions"
        return f"HeadUnderMarks({self.head.label!r}, {self.height_mm:.1f} mm under its marks{many})"

    @property
    def height_mm(self) -> float:
        """Common height of the marks of the first session over the skin."""
        return self.sessions[0].height_mm

    @property
    def shape_sd(self) -> float:
        """How far the shape lies from the mean of the prior, in standard deviations."""
        away = self.parameters - self.model.prior.mean
        return float(np.sqrt(away @ self.model.prior.information @ away))

    def spreads(self, sites: Sites) -> SiteSpreads:
        """How sure each site is, in the frame of the four landmarks: "shape" and "leftover"."""
        tracer = at_pose(self.model, self.parameters, sites.rules)
        local = sites_on(tracer, sites.names, sites.system)
        k = self.model.n_parameters
        leftover = leftover_effects(self.model).on_sites(local.names, local.rules)
        no_errors = np.zeros((k, leftover.shape[2]))
        parts = {"shape": self.covariance[:k, :k]}
        return site_spreads(local, parts, tracer, leftover, no_errors)

    def motion(self, number: int = 0) -> RigidMotion:
        """From the frame of the marks of a session to the head frame of the head."""
        rotation, shift = self._own_frame
        return RigidMotion(rotation, shift).after(self.sessions[number].motion)

    @cached_property
    def _own_frame(self) -> tuple[Floats, Floats]:
        return self.model.pose(self.parameters).landmarks.frame

    def moves(self, targets: Targets, points_mm: Floats, number: int = 0) -> tuple[Floats, Floats]:
        """How marks move against their sites with what is not known, and its covariance.

        Parameters
        ----------
        targets : Targets
            On `head`, in the order of the marks.
        points_mm : (n, 3) float64
            Marks of one session in the head frame of `head`.

        Returns
        -------
        rates : (n, 3, K + 6) float64
        covariance : (K + 6, K + 6) float64
        """
        tracer = at_pose(self.model, self.parameters, targets.sites.rules)
        local = sites_on(tracer, targets.names, "own list")
        k = self.model.n_parameters
        rotation, shift = self._own_frame
        in_model = (points_mm - shift) @ rotation
        rates = np.zeros((len(targets), 3, k + 6))
        rates[:, :, :k] = -place_rates(local, tracer)
        rates[:, :, k : k + 3] = -skew(in_model)
        rates[:, :, k + 3 :] = np.eye(3)
        rows = np.r_[:k, k + 13 * number : k + 13 * number + 6]
        return np.einsum("ij,njk->nik", rotation, rates), self.covariance[np.ix_(rows, rows)]


def fit_head_and_slip(
    model: ShapeModel,
    parameters: Floats,
    sessions: Sequence[Session],
    tape: Tape | None = None,
    rules: Rules | None = None,
) -> HeadUnderMarks:
    """One head for all sessions, and the slip of each.

    Parameters
    ----------
    model : ShapeModel
    parameters : (K,) float64
        Where the search begins: a head without names, found from landmarks and skin.
    sessions : sequence of Session
        Names put right; Gauss-Newton by scrambled names breaks the mesh.
    tape : Tape, optional
    rules : Rules, optional

    Raises
    ------
    MarksError
        The marks lie on no head.
    """
    search = _Joint(model, np.array(parameters), list(sessions), tape, rules or Rules())
    try:
        return search.run()
    except (HeadfitError, np.linalg.LinAlgError) as error:
        raise MarksError(
            sentence(
                "digitised points",
                "lie on a head of the age given",
                "a shape on which no arcs can be laid",
                "check unit, axes and landmarks",
            ),
            code="points-no-head",
        ) from error


class _Joint:
    """Gauss-Newton over the shape and, for each session, pose, height and slip."""

    def __init__(
        self,
        model: ShapeModel,
        parameters: Floats,
        sessions: list[Session],
        tape: Tape | None,
        rules: Rules,
    ) -> None:
        self.model, self.parameters, self.sessions = model, parameters, sessions
        self.tape, self.rules = tape, rules
        self.names = tuple(dict.fromkeys(s.names[i] for s in sessions for i in s.placed))
        self.row = {name: i for i, name in enumerate(self.names)}
        self.shared_error = [_shared_error(s) for s in sessions]
        self.size = model.n_parameters + 13 * len(sessions)
        # Landmarks of several sessions are off together: a place of its own for each of the four.
        self.landmark_shifts = np.zeros((len(LANDMARK_NAMES), 3))
        more = self.landmark_shifts.size if len(sessions) > 1 else 0
        self.common = slice(self.size, self.size + more)
        self.size += more
        self.slopes: tuple[Floats, Floats] | None = None

    def run(self) -> HeadUnderMarks:
        k = self.model.n_parameters
        far = np.inf
        for round_ in range(_ROUNDS):
            information, uphill = self._normal_equations(fresh=far > _REFRESH_SD)
            step = -np.linalg.solve(information, uphill)
            far = float(np.abs(step[:k] / self.model.prior.spread).max())
            step *= min(1.0, _LONGEST_SD / max(far, 1e-9))
            self._go(np.asarray(step, dtype=np.float64))
            if round_ + 1 >= _FEWEST_ROUNDS and far < _SETTLED_SD:
                break
        information, _ = self._normal_equations(fresh=True)
        head = self.model.head(self.parameters, self.model.template.label).in_own_frame()
        return HeadUnderMarks(
            head,
            self.model,
            self.parameters,
            tuple(self.sessions),
            np.asarray(np.linalg.inv(information)),
            self.tape,
            self.rules,
        )

    def _go(self, step: Floats) -> None:
        k = self.model.n_parameters
        self.parameters = self.parameters + step[:k]
        if len(self.sessions) > 1:
            self.landmark_shifts = self.landmark_shifts + step[self.common].reshape(-1, 3)
        moved = []
        for number, session in enumerate(self.sessions):
            part = step[k + 13 * number :][:13]
            turn = Rotation.from_rotvec(part[:3]).as_matrix()
            moved.append(
                replace(
                    session,
                    motion=RigidMotion(turn, part[3:6]).after(session.motion),
                    height_mm=session.height_mm + float(part[6]),
                    turn_rad=session.turn_rad + part[7:10],
                    slide_mm=session.slide_mm + part[10:13],
                )
            )
        self.sessions = moved

    def _normal_equations(self, *, fresh: bool) -> tuple[Floats, Floats]:
        """Information and slope of the cost at the present place; `fresh` slopes of the sites."""
        prior, k = self.model.prior, self.model.n_parameters
        information, uphill = np.zeros((self.size, self.size)), np.zeros(self.size)
        information[:k, :k] = prior.information
        uphill[:k] = prior.information @ (self.parameters - prior.mean)
        tracer = at_pose(self.model, self.parameters, self.rules)
        sites = sites_on(tracer, self.names, "own list")
        if self.names and (fresh or self.slopes is None):
            self.slopes = place_rates(sites, tracer), np.stack(site_axes(sites), axis=1)
        if self.tape is not None:
            residual, slope, weight = tape_block(self.model, self.tape, tracer)
            information[:k, :k] += (slope * weight[:, None]).T @ slope
            uphill[:k] += slope.T @ (weight * residual)
        common = np.arange(self.size)[self.common]
        spread = np.repeat([LANDMARK_SPREAD_MM[name] for name in LANDMARK_NAMES], 3)[: len(common)]
        known = (LANDMARK_COMMON * spread) ** -2.0
        information[common, common] += known
        uphill[common] += known * self.landmark_shifts.ravel()[: len(common)]
        for number, session in enumerate(self.sessions):
            columns = np.r_[:k, k + 13 * number : k + 13 * number + 13, common]
            beyond = columns[k + 6 : k + 13]
            spread = np.r_[HEIGHT_SPREAD_MM, [np.radians(SLIP_DEGREES)] * 3, [SLIP_MM] * 3]
            information[beyond, beyond] += spread**-2.0
            uphill[beyond] += np.r_[session.height_mm - HEIGHT_MM, session.slip] / spread**2
            blocks = [self._landmarks(session, tracer), self._heights(session, tracer)]
            if session.placed:  # marks without names speak of the skin alone
                blocks.append(self._places(session, sites, self.shared_error[number]))
            for residual, slope, weight in blocks:
                rows = columns[: slope.shape[1]]
                weighted = weight @ slope
                information[np.ix_(rows, rows)] += slope.T @ weighted
                uphill[rows] += weighted.T @ residual
        return information, uphill

    def _landmarks(self, session: Session, tracer: ArcTracer) -> tuple[Floats, Floats, Floats]:
        k, together = self.model.n_parameters, len(self.sessions) > 1
        names = [name for name in LANDMARK_NAMES if name in session.marks.landmarks]
        residual = np.empty((len(names), 3))
        slopes = np.zeros((len(names), 3, k + (25 if together else 13)))
        spread = np.repeat([LANDMARK_SPREAD_MM[name] for name in names], 3)
        for row, name in enumerate(names):
            given = session.motion.on(session.marks.landmarks[name])
            number = LANDMARK_NAMES.index(name)
            residual[row] = given - tracer.point(name) - self.landmark_shifts[number]
            slopes[row, :, :k] = -tracer.point_rate(name)
            slopes[row, :, k : k + 3] = -skew(given)
            slopes[row, :, k + 3 : k + 6] = np.eye(3)
            if together:
                slopes[row, :, k + 13 + 3 * number :][:, :3] = -np.eye(3)
        if together:
            spread = spread * np.sqrt(1.0 - LANDMARK_COMMON**2)
        return residual.ravel(), slopes.reshape(3 * len(names), -1), np.diag(spread**-2.0)

    def _heights(self, session: Session, tracer: ArcTracer) -> tuple[Floats, Floats, Floats]:
        k, mesh = self.model.n_parameters, tracer.mesh
        points = session.motion.on(session.on_skin)
        places, _ = nearest(mesh, points, again=True)
        feet, normals = places.on(mesh.vertices_mm), normals_at(mesh, places)
        moving = self.model.vertex_rates(self.parameters, places.corners.ravel())
        rates = np.einsum("nc,ncjk->njk", places.weights, moving.reshape(len(feet), 3, 3, k))
        residual = np.einsum("ij,ij->i", normals, points - feet) - session.height_mm
        slopes = np.zeros((len(feet), k + 13))
        slopes[:, :k] = -np.einsum("nj,njk->nk", normals, rates)
        slopes[:, k : k + 3] = np.cross(points, normals)
        slopes[:, k + 3 : k + 6] = normals
        slopes[:, k + 6] = -1.0
        kernel = _kernel(session.on_skin, _HEIGHT_SHARED_MM, _HEIGHT_OVER_MM)
        kernel += _HEIGHT_OWN_MM**2 * np.eye(len(feet))
        weight = np.linalg.inv(kernel)
        # What a height is off from what all others foresee, in its own spreads.
        off = np.abs(weight @ residual) / np.sqrt(np.diag(weight))
        pull = np.sqrt(np.minimum(1.0, _HUBER / np.maximum(off, 1e-9)))
        return residual, slopes, pull[:, None] * weight * pull

    def _places(
        self, session: Session, sites: Sites, shared: Floats
    ) -> tuple[Floats, Floats, Floats]:
        assert self.slopes is not None
        rates, axes = self.slopes
        k, mesh = self.model.n_parameters, sites.tracer.mesh
        at = np.array([self.row[session.names[i]] for i in session.placed])
        points = session.motion.on(session.marks.points_mm[session.placed])
        places, _ = nearest(mesh, points, again=True)
        feet, normals = places.on(mesh.vertices_mm), normals_at(mesh, places)
        steps = scalp_steps(sites.points_mm[at], sites.normals[at], feet, normals)
        own, frame = sites.points_mm[at], axes[at]
        lever = own - own.mean(axis=0)
        moves = np.zeros((len(at), 3, k + 13))
        moves[:, :, :k] = -rates[at]
        moves[:, :, k : k + 3] = -skew(points)
        moves[:, :, k + 3 : k + 6] = np.eye(3)
        moves[:, :, k + 7 : k + 10] = skew(lever)
        moves[:, :, k + 10 :] = -np.eye(3)
        slopes = np.einsum("nij,njk->nik", frame, moves).reshape(2 * len(at), k + 13)
        residual = np.einsum("nij,nj->ni", frame, steps).ravel()
        residual = residual + slopes[:, k + 7 :] @ session.slip
        weight = np.linalg.inv(_between(shared, frame) + np.diag(_own_variance(session)))
        # Each mark is asked against what all others foresee; one that contradicts them lets go.
        blocks = weight.reshape(len(at), 2, len(at), 2)
        every = np.arange(len(at))
        inner = blocks[every, :, every, :]
        gap = (weight @ residual).reshape(-1, 2)
        off = np.einsum("ni,ni->n", gap, np.linalg.solve(inner, gap[:, :, None])[:, :, 0])
        pull = np.sqrt(np.minimum((_STUDENT + 2.0) / (_STUDENT + off), 1.0)).repeat(2)
        return residual, slopes, pull[:, None] * weight * pull


def _kernel(points: Floats, spread_mm: float, over_mm: float) -> Floats:
    """(n, n) covariance of an error that neighbours share."""
    gap = points[:, None] - points[None]
    square = np.einsum("ijk,ijk->ij", gap, gap)
    return np.asarray(spread_mm**2 * np.exp(-square / (2.0 * over_mm**2)))


def _shared_error(session: Session) -> Floats:
    """(n, n) shared part of the errors along the skin of the marks that have a place."""
    return _kernel(session.marks.points_mm[session.placed], SHARED_MM, SHARED_OVER_MM)


def _own_variance(session: Session) -> Floats:
    """(2n,) own part of the errors, two for each mark."""
    spread = []
    for i in session.placed:
        name = session.names[i]
        below = BELOW_ROW_MM if isinstance(TABLE[name], BeyondRow) else 0.0
        spread += [np.hypot(OWN_MM, IZ_MM if name == "Iz" else below)] * 2
    return np.array(spread) ** 2


def _between(shared: Floats, frame: Floats) -> Floats:
    """(2n, 2n) covariance of a shared error of (n, n) along the tangents (n, 2, 3) of the marks."""
    turned = np.einsum("aik,bjk->aibj", frame, frame)
    n = len(shared)
    return np.asarray((shared[:, None, :, None] * turned).reshape(2 * n, 2 * n))
