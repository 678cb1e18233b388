"""Marks as a hand makes them: sites of a head with known slips. Invented, no real person."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from headfit import Head, Sites, load_template, place_sites
from headfit.anatomy.landmarks import NAMES
from headfit.anatomy.sites import SYSTEMS, TABLE, BesideEar
from headfit.comparing.scalp_steps import scalp_lengths
from headfit.comparing.target_sites import Targets, targets_for
from headfit.geometry.surface import nearest, normals_at
from headfit.marks.marks import Marks

Floats = NDArray[np.float64]


def scalp_names(system: str) -> tuple[str, ...]:
    """Sites of a system that are marked on the scalp: no ears, no landmarks."""
    return tuple(
        name
        for name in SYSTEMS[system]
        if name not in ("Nz", "Iz") and not isinstance(TABLE[name], BesideEar)
    )


@cache
def template_sites(system: str = "10-20", age: str = "adult") -> Sites:
    return place_sites(load_template(age), scalp_names(system))


@cache
def template_targets(system: str = "10-20", age: str = "adult") -> Targets:
    return targets_for(template_sites(system, age), scalp_names(system))


def landmarks_of(head: Head) -> dict[str, Floats]:
    return dict(zip(NAMES, head.landmarks, strict=True))


def three_of(head: Head) -> dict[str, Floats]:
    """The landmarks that digitising usually takes."""
    return {name: point for name, point in landmarks_of(head).items() if name != "inion"}


def on_the_spot(targets: Targets, landmarks: dict[str, Floats] | None = None) -> Marks:
    """Marks exactly at their sites, with the landmarks of the head."""
    return Marks(targets.names, targets.points_mm, landmarks or targets.landmarks)


@dataclass(frozen=True, eq=False)
class Slip:
    """What was done to a set of marks.

    Attributes
    ----------
    turn_degrees, slide_mm : (3,) float64
        In the head frame: rotation vector about the middle of the sites, and its shift.
    off : str
        The one mark that was put down wrongly, 12 mm from its place.
    exchanged : (str, str)
    """

    points_mm: Floats
    turn_degrees: Floats
    slide_mm: Floats
    off: str
    exchanged: tuple[str, str]


def unit_vector(rng: np.random.Generator) -> Floats:
    drawn = rng.normal(size=3)
    return drawn / np.linalg.norm(drawn)


def set_middle(targets: Targets) -> Floats:
    """(3,) the middle about which a set turns: that of its sites, not of what was put down."""
    right = targets_for(targets.sites, targets.names)
    return right.points_mm[right.fixing].mean(axis=0)


def moved_set(
    targets: Targets, turn_degrees: Floats, slide_mm: Floats, height_mm: float = 0.0
) -> Floats:
    """(n, 3) the sites raised over the scalp, turned about their middle and shifted.

    Turn and shift are given in the head frame.
    """
    to_head = targets.to_head.rotation
    turn = Rotation.from_rotvec(to_head.T @ turn_degrees, degrees=True)
    middle = set_middle(targets)
    raised = targets.points_mm + height_mm * targets.normals
    return turn.apply(raised - middle) + middle + to_head.T @ slide_mm


def with_one_off(targets: Targets, row: int, distance_mm: float, angle_rad: float) -> Targets:
    """The same places but one, which lies this far off over the scalp."""
    tangent = np.cos(angle_rad) * targets.along[row] + np.sin(angle_rad) * targets.across[row]
    mesh = targets.sites.tracer.mesh
    start, normal = targets.points_mm[row : row + 1], targets.normals[row : row + 1]
    reach = distance_mm
    for _ in range(2):  # the foot of a tangent step lies a little nearer or farther
        place, _ = nearest(mesh, start + reach * tangent)
        foot, foot_normal = place.on(mesh.vertices_mm), normals_at(mesh, place)
        reach *= distance_mm / float(scalp_lengths(start, normal, foot, foot_normal)[0])
    points, normals = np.array(targets.points_mm), np.array(targets.normals)
    points[row], normals[row] = foot[0], foot_normal[0]
    return replace(targets, points_mm=points, normals=normals)


def slipped(
    targets: Targets, rng: np.random.Generator, noise_mm: float = 2.0, *, single: bool = True
) -> Slip:
    """A set turned by 3 degrees, slid by 5 mm, floating, with noise of this spread per axis.

    With `single`, one mark is 12 mm off over the scalp and two others have exchanged their names.
    """
    turn_degrees, slide_mm = 3.0 * unit_vector(rng), 5.0 * unit_vector(rng)
    off, one, other = rng.choice(len(targets), 3, replace=False)
    marked = targets
    if single:
        marked = with_one_off(targets, int(off), 12.0, rng.uniform(0, 2 * np.pi))
    points = moved_set(marked, turn_degrees, slide_mm, rng.uniform(0.0, 10.0))
    points = points + rng.normal(scale=noise_mm, size=points.shape)
    if single:
        points[[one, other]] = points[[other, one]]
    names = targets.names
    return Slip(points, turn_degrees, slide_mm, names[off], (names[one], names[other]))
