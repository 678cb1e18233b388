"""Exchanged, shifted and mirrored names, found by asking which site each mark really lies at.

Marks are assigned to the sites of the set so that the sum of squared distances is least. Distances
count no farther than 20 mm, so that one mark that is simply far off drags no others along. What is
found is told with the distances that speak for it; nothing is renamed here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial import cKDTree

from headfit.anatomy.arcs import mirrored
from headfit.comparing.common_shift import FEWEST, Doubt, SetMotion, fit_set
from headfit.comparing.target_sites import Targets
from headfit.errors import MarksError
from headfit.geometry.mesh import Floats, Integers
from headfit.geometry.rigid import RigidMotion
from headfit.marks.remarks import listed

_CAP_MM = 20.0
# An assignment is believed when it halves the distances and its log likelihood gains this much.
_GAIN = 15.0
_LEAST_SPREAD_MM = 1.5
_MIRRORED_SHARE = 0.8
_UNEXPLAINED_SHARE = 0.2

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
    """

    fit: SetMotion
    lie_at: Integers
    mixups: tuple[Mixup, ...]


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
    own = np.arange(len(points_mm))
    best = _explained(points_mm, targets, fit_set(points_mm, targets))
    if best.unexplained > _UNEXPLAINED_SHARE:
        # The names as a whole mislead the fit: begin from the landmarks, and from mirrored names.
        starts = [RigidMotion.identity()] if placed else []
        starts += _mirrored_start(points_mm, targets)
        for start in starts:
            try:
                best = min(best, _settled(points_mm, targets, start), key=lambda t: t.cost)
            except MarksError:
                continue
    mixups, lie_at = _believed(best, targets)
    if not mixups:
        start = best.fit.motion if best.by_name else None
        return Assignment(fit_set(points_mm, targets, start=start, doubt=doubt), own, ())
    taken = targets.taken(lie_at.tolist())
    fit = fit_set(points_mm, taken, start=best.fit.motion, doubt=doubt)
    return Assignment(fit, lie_at, mixups)


@dataclass(frozen=True, eq=False)
class _Trial:
    """One explanation under trial."""

    fit: SetMotion
    distance_mm: Floats  # (n, n) mark to site
    lie_at: Integers
    cost: float
    by_name: bool

    @property
    def unexplained(self) -> float:
        """Share of the marks that lie at no site of the set, or hardly."""
        at = self.distance_mm[np.arange(len(self.lie_at)), self.lie_at]
        return float((at > _CAP_MM / 2).mean())


def _explained(points: Floats, targets: Targets, fit: SetMotion, *, by_name: bool = True) -> _Trial:
    """Assign marks to sites under a common part."""
    raised = fit.motion.on(targets.points_mm + fit.height_mm * targets.normals)
    gap = points[:, None] - raised[None]
    distance = np.sqrt(np.einsum("ijk,ijk->ij", gap, gap))
    # Beyond the cap all places are alike; then the own name wins.
    cost = np.minimum(distance, _CAP_MM) ** 2 + 1e-3 * distance
    cost[np.diag_indices(len(cost))] -= 1.0
    rows, columns = linear_sum_assignment(cost)
    return _Trial(
        fit, distance, columns.astype(np.int64), float(cost[rows, columns].sum()), by_name
    )


def _settled(points: Floats, targets: Targets, start: RigidMotion) -> _Trial:
    """Assign and fit in turn from a start until the assignment stays."""
    # Names are not to be trusted here: the height is that over whichever site is nearest.
    sites, outward = start.on(targets.points_mm), targets.normals @ start.rotation.T
    nearest = cKDTree(sites).query(points)[1]
    over = np.einsum("ij,ij->i", points - sites[nearest], outward[nearest])
    height = float(np.median(over))
    zero = np.zeros(3)
    fit = SetMotion(start, height, np.ones(len(points)), 1.0, zero, zero, zero, zero)
    trial = _explained(points, targets, fit, by_name=False)
    for _ in range(5):
        taken = targets.taken(trial.lie_at.tolist())
        fit = fit_set(points, taken, start=trial.fit.motion)
        following = _explained(points, targets, fit, by_name=False)
        if (following.lie_at == trial.lie_at).all():
            return following
        trial = following
    return trial


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
    lie_at = np.arange(len(trial.lie_at))
    mixups = []
    for cycle in _cycles(trial.lie_at):
        places = trial.lie_at[cycle]
        named = trial.distance_mm[cycle, cycle]
        found = trial.distance_mm[cycle, places]
        good = found < np.minimum(0.5 * named, _CAP_MM)
        # Of a shifted row the last name may lie at a place outside the set.
        if good.sum() < max(2, len(cycle) - 1):
            continue
        spread = max(trial.fit.spread_mm, _LEAST_SPREAD_MM)
        capped = np.minimum(named, _CAP_MM) ** 2 - np.minimum(found, _CAP_MM) ** 2
        if float(capped[good].sum()) / (2 * spread**2) < _GAIN:
            continue
        rows = np.asarray(cycle)[good]
        lie_at[rows] = trial.lie_at[rows]
        mixups.append(_mixup("exchanged" if len(cycle) == 2 else "shifted", rows, trial, targets))
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
