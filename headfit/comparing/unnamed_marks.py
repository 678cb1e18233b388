"""Marks without site names: the site at which each of them lies. Suggests sites; renames no mark.

Marks are laid on the head by their landmarks, and by the scalp where they are many; then every mark
gets a site and every site at most one mark, so that the squared distances are least. Without
landmarks every way to lay the set on the head that its axes allow is tried, and a site is sure only
where all ways that fit about as well agree on it. Millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment
from scipy.spatial.transform import Rotation

from headfit.anatomy.head import HasHead, Head
from headfit.anatomy.sites import LANDMARK_SITES, Sites, place_sites
from headfit.comparing.alignment import by_landmarks, by_surface
from headfit.comparing.target_sites import Targets, targets_for
from headfit.errors import MarksError, sentence
from headfit.geometry.mesh import Floats, Integers
from headfit.geometry.rigid import best_rigid
from headfit.geometry.surface import nearest
from headfit.marks.marks import Marks
from headfit.marks.unit_detection import spread_of

_FEWEST_FOR_SURFACE = 8
# Farther than a step of the 10-10 system a mark lies at no site.
_MOST_MM = 30.0
_PITCHES = (-20.0, 0.0, 20.0)
_ROUNDS = 12
# Ways whose squared distances are no worse than this may as well be the right one.
_AS_GOOD, _AS_GOOD_MM2 = 1.5, 4.0
_AXES_UNKNOWN = ("axes-unknown", "handedness")


@dataclass(frozen=True)
class PlaceGuess:
    """The site at which one mark lies.

    Attributes
    ----------
    name : str
        Of the mark.
    site : str
    distance_mm : float
        From the foot of the mark on the scalp to the site, straight.
    next_site : str
        The second nearest site.
    next_distance_mm : float
    agreed : bool
        False when another way to lay the set on the head, about as good, leads to another site.
    """

    name: str
    site: str
    distance_mm: float
    next_site: str
    next_distance_mm: float
    agreed: bool = True

    @property
    def sure(self) -> bool:
        """Whether the site is near, no other one nearly as near, and no other way as good."""
        near = self.distance_mm < 10.0 and self.distance_mm < 0.5 * self.next_distance_mm
        return near and self.agreed


def guess_places(head_or_sites: Head | HasHead | Sites, marks: Marks) -> tuple[PlaceGuess, ...]:
    """For marks whose names are no sites, the sites at which they lie; each site serves once.

    To apply what is sure: ``marks.renamed({g.name: g.site for g in guesses if g.sure})``.

    Parameters
    ----------
    head_or_sites : Head, FittedHead or Sites
        The sites that may be meant; of a head, those of the 10-10 system.
    marks : Marks
        Without landmarks at least 8.

    Raises
    ------
    MarksError
        No landmarks and fewer than 8 marks, so that nothing tells how they lie on the head.
    """
    sites = (
        head_or_sites if isinstance(head_or_sites, Sites) else place_sites(head_or_sites, "10-10")
    )
    taken = set(marks.names)
    free = tuple(n for n in sites.names if n not in taken and n not in LANDMARK_SITES)
    targets = targets_for(sites, free)
    motion = by_landmarks(marks, targets)
    if motion is None and len(marks.all_points_mm) < _FEWEST_FOR_SURFACE:
        raise MarksError(
            sentence(
                f"marks of {marks.source}",
                "hold nasion and both preauricular points, or be 8 or more, to be named by their "
                "place",
                ", ".join(marks.landmarks) or "none",
            ),
            code="compare-no-landmarks",
        )
    if not marks.other_names or len(free) < 2:
        return ()
    if motion is None:
        return _without_landmarks(marks, targets, free)
    if len(marks.all_points_mm) >= _FEWEST_FOR_SURFACE:
        motion = by_surface(marks, motion, np.empty((0, 3)), targets)
    mesh = sites.tracer.mesh
    places, _ = nearest(mesh, motion.on(marks.other_points_mm))
    return _guesses(marks, free, _gaps(places.on(mesh.vertices_mm), targets.points_mm))


def _gaps(feet: Floats, sites: Floats) -> Floats:
    """(n, m) straight distances of n places from m sites."""
    return np.asarray(np.linalg.norm(feet[:, None] - sites[None], axis=2))


def _guesses(
    marks: Marks, free: tuple[str, ...], gap: Floats, agreed: Mapping[str, bool] | None = None
) -> tuple[PlaceGuess, ...]:
    """The likeliest site of every mark that lies at one, from their distances (n, m)."""
    rows, columns = linear_sum_assignment(np.minimum(gap, 50.0) ** 2)
    guesses = []
    for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
        if gap[row, column] > _MOST_MM:
            continue
        others = np.where(np.arange(len(free)) == column, np.inf, gap[row])
        second = int(others.argmin())
        guesses.append(
            PlaceGuess(
                marks.other_names[row],
                free[column],
                float(gap[row, column]),
                free[second],
                float(others[second]),
                agreed is None or agreed[marks.other_names[row]],
            )
        )
    return tuple(guesses)


def _without_landmarks(
    marks: Marks, targets: Targets, free: tuple[str, ...]
) -> tuple[PlaceGuess, ...]:
    """Guesses by every way the set may lie; those on which all good ways agree can be sure."""
    every = marks.all_points_mm
    # Where nothing tells which way the axes run, front may be anywhere round the head.
    known = all(remark.code not in _AXES_UNKNOWN for remark in marks.remarks)
    yaws = (-20.0, 0.0, 20.0) if known else tuple(range(-180, 180, 30))
    head = targets.points_mm[targets.fixing]
    sites = targets.sites
    fixed = np.array([sites[name] for name in marks.names if name in sites.names]).reshape(-1, 3)
    found = []
    for yaw in yaws:
        for pitch in _PITCHES:
            turn = Rotation.from_euler("zx", [yaw, pitch], degrees=True).as_matrix()
            turn = targets.to_head.rotation.T @ turn
            found.append(_settled(every, np.concatenate([fixed, head]), turn))
    found.sort(key=lambda way: way[0])
    best, placed = found[0]
    n = len(marks.names)
    gap = _gaps(placed[n:], targets.points_mm)
    chosen = _chosen(gap)
    agreed = dict.fromkeys(marks.other_names, True)
    for cost, other in found[1:]:
        if cost > _AS_GOOD * best + _AS_GOOD_MM2:
            break
        differs = _chosen(_gaps(other[n:], targets.points_mm)) != chosen
        agreed |= {marks.other_names[i]: False for i in np.flatnonzero(differs).tolist()}
    return _guesses(marks, free, gap, agreed)


def _chosen(gap: Floats) -> Integers:
    """(n,) the site given to each mark; -1 without one."""
    rows, columns = linear_sum_assignment(np.minimum(gap, 50.0) ** 2)
    chosen = np.full(len(gap), -1)
    chosen[rows] = columns
    return chosen


def _settled(points: Floats, sites: Floats, turn: Floats) -> tuple[float, Floats]:
    """Mean squared distance (mm2) and the marks laid on the sites from one start, scaled to fit."""
    scale = spread_of(sites) / spread_of(points)
    middle = np.median(points, axis=0)
    placed = scale * (points - middle) @ turn.T + np.median(sites, axis=0)
    cost = np.inf
    for _ in range(_ROUNDS):
        gap = _gaps(placed, sites)
        rows, columns = linear_sum_assignment(np.minimum(gap, _MOST_MM) ** 2)
        near = gap[rows, columns] < _MOST_MM
        cost = float((np.minimum(gap[rows, columns], _MOST_MM) ** 2).mean())
        if near.sum() < _FEWEST_FOR_SURFACE:
            break
        source, target = placed[rows[near]], sites[columns[near]]
        size = np.sqrt(
            ((target - target.mean(0)) ** 2).sum() / ((source - source.mean(0)) ** 2).sum()
        )
        size = float(np.clip(size, 0.9, 1.1))
        source = size * source
        placed = best_rigid(source, target).on(size * placed)
    return cost, placed
