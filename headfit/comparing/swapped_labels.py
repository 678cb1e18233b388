"""Exchanged, shifted, mirrored, scrambled names: the site at which each mark really lies.

Marks are assigned to the sites of the set so that the sum of squared distances is least, and the
slip of the set is fitted to that assignment, in turn. The slip is held by what caps do, so that
scrambled names lead it nowhere; the search begins from the names, from the usual slip and from its
mirror, and the likeliest end counts. Distances count no farther than 25 mm, so that one mark that
is simply far off drags no others along. What is found is told with the distances that speak for
it; nothing is renamed here.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree
from scipy.spatial.transform import Rotation

from headfit.anatomy.arcs import mirrored
from headfit.comparing.common_shift import FEWEST, Doubt, SetMotion, fit_set
from headfit.comparing.target_sites import Targets
from headfit.errors import MarksError
from headfit.geometry.mesh import Floats, Integers
from headfit.geometry.rates import skew
from headfit.geometry.rigid import RigidMotion
from headfit.marks.remarks import listed

_CAP_MM, _SPREAD_MM, _LEAST_SPREAD_MM = 25.0, 3.5, 1.5
# The median length of a 3-D normal error of unit spread per axis (chi, 3 degrees of freedom).
_MEDIAN = 1.5382
# What the own name of a mark is worth, as a log likelihood.
_OWN_NAME = 0.5
# A name is believed wrong when another site is likelier by so much, and clearly nearer.
_GAIN, _NEARER = 6.0, 0.6
_MIRRORED_SHARE = 0.8
_UNEXPLAINED_SHARE = 0.2
# Slips of caps on 83 digitised sets: usual pitch and rise, the middle of three data sets, and the
# spread of each axis (`scripts/bench_marks habits`); and where no landmarks tell how the marks lie.
_USUAL_PITCH_DEGREES, _USUAL_RISE_MM = -2.0, 5.0
_SLIP = (4.0, 5.0)
_UNPLACED = (15.0, 15.0)
_HEIGHT = (5.0, 8.0)
_YAWS_DEGREES = (-40.0, 40.0)
_ROUNDS, _STEPS = 8, 3

MixupKind = Literal["exchanged", "shifted", "mirrored"]


@dataclass(frozen=True)
class Mixup:
    """Names that seem to have changed places.

    Attributes
    ----------
    kind : {"exchanged", "shifted", "mirrored"}
        Two names, three or more in a row, or left and right throughout.
    names : tuple of str
    lie_at : tuple of str
        The site at which the mark of each name lies.
    as_named_mm, as_found_mm : tuple of float
        Distance of each mark from the site of its name and from the site it seems to mean.
    """

    kind: MixupKind
    names: tuple[str, ...]
    lie_at: tuple[str, ...]
    as_named_mm: tuple[float, ...]
    as_found_mm: tuple[float, ...]

    @property
    def renaming(self) -> dict[str, str]:
        """What `Marks.renamed` would need to put it right."""
        return dict(zip(self.names, self.lie_at, strict=True))

    @property
    def sentence(self) -> str:
        """What was found and the distances that speak for it."""
        named = ", ".join(f"{d:.0f}" for d in self.as_named_mm[:4])
        found = ", ".join(f"{d:.0f}" for d in self.as_found_mm[:4])
        rest = " and so on" if len(self.names) > 4 else ""
        if self.kind == "exchanged":
            a, b = self.names
            what = f"{a} and {b} look exchanged"
        elif self.kind == "mirrored":
            what = f"names of left and right look exchanged throughout ({len(self.names)} marks)"
        else:
            pairs = [f"{n} lies at {at}" for n, at in self.renaming.items()]
            what = f"{len(self.names)} names look shifted: {listed(pairs)}"
        return f"{what}; as named they are {named} mm off{rest}, as found {found} mm{rest}"


@dataclass(frozen=True, eq=False)
class Assignment:
    """The best explanation of a set of marks.

    Attributes
    ----------
    fit : SetMotion
        The common part under this explanation.
    lie_at : (n,) int64
        Row of the site at which each mark lies; its own row unless a mix-up is believed.
    mixups : tuple of Mixup
    distance_mm : (n,) float64
        What is left between each mark and that site after the slip of the set.
    """

    fit: SetMotion
    lie_at: Integers
    mixups: tuple[Mixup, ...]
    distance_mm: Floats


def explain(
    points_mm: Floats, targets: Targets, *, placed: bool, doubt: Doubt | None = None
) -> Assignment:
    """Common part and mix-ups of marks against the sites of their names.

    Parameters
    ----------
    points_mm : (n, 3) float64
        Marks in the order of the targets.
    targets : Targets
    placed : bool
        Whether the marks are in the frame of the head already, by their landmarks.
    doubt : Doubt, optional
        Of head and landmarks.

    Raises
    ------
    MarksError
        Fewer than four marks, or they lie in line.
    """
    by_names = fit_set(points_mm, targets, doubt=doubt)
    best: _Trial | None = None
    for trial in _trials(points_mm, targets, by_names, placed=placed):
        if best is None or trial.cost < best.cost:
            best = trial
        if best.explains:
            break
    assert best is not None
    mixups, lie_at = _believed(best, targets)
    fit = by_names
    if mixups:
        start = RigidMotion(best.motion.rotation, best.motion.translation_mm)
        taken = targets.taken(lie_at.tolist())
        fit = fit_set(points_mm, taken, start=start, doubt=doubt)
    left = best.distance_mm[np.arange(len(lie_at)), lie_at]
    return Assignment(fit, lie_at, mixups, left)


@dataclass(frozen=True, eq=False)
class _Trial:
    """One explanation under trial."""

    motion: RigidMotion
    distance_mm: Floats  # (n, n) mark to site
    lie_at: Integers
    cost: float

    @property
    def explains(self) -> bool:
        """Whether every mark lies where it is named, and nearly all lie there well."""
        every = np.arange(len(self.lie_at))
        off = self.distance_mm[every, self.lie_at] > _CAP_MM / 2
        return bool((self.lie_at == every).all() and off.mean() <= _UNEXPLAINED_SHARE)


def _trials(
    points: Floats, targets: Targets, by_names: SetMotion, *, placed: bool
) -> Iterator[_Trial]:
    """The fit by names as it is, then the end of the search from every place it may begin."""
    yield _assigned(points, targets, by_names.motion, by_names.height_mm)
    middle = targets.points_mm[targets.fixing].mean(axis=0)
    if placed:
        right, up = targets.to_head.rotation[0], targets.to_head.rotation[2]
        turn = Rotation.from_rotvec(_USUAL_PITCH_DEGREES * right, degrees=True).as_matrix()
        usual = RigidMotion(turn, middle + _USUAL_RISE_MM * up - turn @ middle)
        known = usual, _SLIP
        starts = [by_names.motion, usual]
    else:
        known = by_names.motion, _UNPLACED
        up = targets.to_head.rotation[2]
        starts = [by_names.motion]
        for yaw in _YAWS_DEGREES:
            turn = Rotation.from_rotvec(yaw * up, degrees=True).as_matrix()
            starts.append(by_names.motion.after(RigidMotion(turn, middle - turn @ middle)))
    for start in (*starts, *_mirrored_start(points, targets)):
        yield _settled(points, targets, start, known)


def _settled(
    points: Floats,
    targets: Targets,
    start: RigidMotion,
    known: tuple[RigidMotion, tuple[float, float]],
) -> _Trial:
    """Assign and fit in turn from a start until the assignment stays."""
    sites, outward = start.on(targets.points_mm), targets.normals @ start.rotation.T
    nearest = cKDTree(sites).query(points)[1]
    height = float(np.median(np.einsum("ij,ij->i", points - sites[nearest], outward[nearest])))
    motion, trial = start, _assigned(points, targets, start, height)
    for _ in range(_ROUNDS):
        motion, height = _slipped(points, targets, trial, (motion, height), known)
        following = _assigned(points, targets, motion, height)
        if (following.lie_at == trial.lie_at).all():
            return following
        trial = following
    return trial


def _assigned(points: Floats, targets: Targets, motion: RigidMotion, height: float) -> _Trial:
    """Assign marks to sites under a slip."""
    raised = motion.on(targets.points_mm + height * targets.normals)
    gap = points[:, None] - raised[None]
    distance = np.sqrt(np.einsum("ijk,ijk->ij", gap, gap))
    cost = _unlikely(distance) + 1e-6 * distance
    cost[np.diag_indices(len(cost))] -= _OWN_NAME
    rows, columns = linear_sum_assignment(cost)
    return _Trial(motion, distance, columns.astype(np.int64), float(cost[rows, columns].sum()))


def _unlikely(distance_mm: Floats) -> Floats:
    """Negative log likelihood of a mark this far from its site."""
    return np.asarray(np.minimum(distance_mm, _CAP_MM) ** 2 / (2.0 * _SPREAD_MM**2))


def _slipped(
    points: Floats,
    targets: Targets,
    trial: _Trial,
    now: tuple[RigidMotion, float],
    known: tuple[RigidMotion, tuple[float, float]],
) -> tuple[RigidMotion, float]:
    """The likeliest slip and height under an assignment; the slip is held near a known one."""
    at = trial.lie_at
    used = np.flatnonzero(
        (trial.distance_mm[np.arange(len(at)), at] < _CAP_MM) & targets.fixing[at]
    )
    sites, normals, marks = targets.points_mm[at[used]], targets.normals[at[used]], points[used]
    middle = targets.points_mm[targets.fixing].mean(axis=0)
    usual, (degrees, shift_mm) = known
    prior = np.diag(
        np.r_[np.full(3, np.radians(degrees) ** -2), np.full(3, shift_mm**-2), _HEIGHT[1] ** -2]
    )
    motion, height = now
    for _ in range(_STEPS):
        lever = motion.on(sites + height * normals)
        centre, outward = motion.on(middle), normals @ motion.rotation.T
        slopes = np.concatenate(
            [-skew(lever - centre), np.tile(np.eye(3), (len(used), 1, 1)), outward[:, :, None]],
            axis=2,
        ).reshape(-1, 7)
        turned = Rotation.from_matrix(motion.rotation @ usual.rotation.T).as_rotvec()
        away = np.r_[turned, centre - usual.on(middle), height - _HEIGHT[0]]
        information = slopes.T @ slopes / _SPREAD_MM**2 + prior
        pull = slopes.T @ (marks - lever).ravel() / _SPREAD_MM**2 - prior @ away
        step = np.linalg.solve(information, pull)
        turn = Rotation.from_rotvec(step[:3]).as_matrix()
        motion = RigidMotion(turn, centre + step[3:6] - turn @ centre).after(motion)
        height += float(step[6])
    return motion, height


def _mirrored_start(points: Floats, targets: Targets) -> list[RigidMotion]:
    """The motion by mirrored names, for marks whose homologues are there too."""
    row = {name: i for i, name in enumerate(targets.names)}
    here = [i for i, name in enumerate(targets.names) if mirrored(name) in row]
    if len(here) < FEWEST:
        return []
    there = [row[mirrored(targets.names[i])] for i in here]
    try:
        return [fit_set(points[here], targets.taken(there)).motion]
    except MarksError:
        return []


def _believed(trial: _Trial, targets: Targets) -> tuple[tuple[Mixup, ...], Integers]:
    """The mix-ups that the distances speak for clearly, and where each mark then lies."""
    every = np.arange(len(trial.lie_at))
    named, found = trial.distance_mm[every, every], trial.distance_mm[every, trial.lie_at]
    # A set that lies well tells neighbours apart that one with large errors cannot.
    spread = np.clip(float(np.median(found)) / _MEDIAN, _LEAST_SPREAD_MM, _SPREAD_MM)
    gain = (_unlikely(named) - _unlikely(found)) * (_SPREAD_MM / spread) ** 2
    wrong = (gain > _GAIN) & (found < _NEARER * named) & (found < _CAP_MM)
    lie_at = np.where(wrong, trial.lie_at, every)
    mixups = []
    for cycle in _cycles(trial.lie_at):
        rows = np.asarray(cycle)[wrong[cycle]]
        if len(rows) < 2:
            lie_at[cycle] = cycle
            continue
        kind: MixupKind = "exchanged" if len(cycle) == len(rows) == 2 else "shifted"
        mixups.append(_mixup(kind, rows, trial, targets))
    return _as_mirrored(mixups, targets), lie_at


def _mixup(kind: MixupKind, rows: Integers, trial: _Trial, targets: Targets) -> Mixup:
    places = trial.lie_at[rows]
    return Mixup(
        kind,
        tuple(targets.names[i] for i in rows),
        tuple(targets.names[i] for i in places),
        tuple(trial.distance_mm[rows, rows].round(1).tolist()),
        tuple(trial.distance_mm[rows, places].round(1).tolist()),
    )


def _cycles(lie_at: Integers) -> list[list[int]]:
    """The cycles of a permutation, those of one left out, each in its order."""
    met: set[int] = set()
    cycles = []
    for first in range(len(lie_at)):
        cycle = []
        row = first
        while row not in met:
            met.add(row)
            cycle.append(row)
            row = int(lie_at[row])
        if len(cycle) > 1:
            cycles.append(cycle)
    return cycles


def _as_mirrored(mixups: Sequence[Mixup], targets: Targets) -> tuple[Mixup, ...]:
    """One mirrored set in place of many exchanged pairs, where nearly all pairs are exchanged."""
    there = set(targets.names)
    pairs = sum(mirrored(n) in there and mirrored(n) != n for n in targets.names) / 2
    across = [m for m in mixups if m.kind == "exchanged" and mirrored(m.names[0]) == m.names[1]]
    if len(across) < max(3.0, _MIRRORED_SHARE * pairs):
        return tuple(mixups)
    whole = Mixup(
        "mirrored",
        tuple(name for m in across for name in m.names),
        tuple(name for m in across for name in m.lie_at),
        tuple(d for m in across for d in m.as_named_mm),
        tuple(d for m in across for d in m.as_found_mm),
    )
    return (whole, *(m for m in mixups if m not in across))
