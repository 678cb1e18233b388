"""Solids whose arcs have closed forms: meshes of them, their landmarks and their sites.

Every vertex lies exactly on its solid. A mesh is turned against the landmarks unless a test wants
its edges in the planes of symmetry. Head frame, millimetres; fractions 0..1.

The closed forms share no code with headfit. A plane cuts an ellipsoid in an ellipse, which is a
circle in coordinates divided by the half axes; its length is an integral over one angle.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import trimesh
from numpy.typing import ArrayLike, NDArray
from scipy.integrate import quad
from scipy.optimize import brentq, root
from scipy.spatial.transform import Rotation

from headfit import Head, Landmarks

Floats = NDArray[np.float64]
Faces = NDArray[np.int64]

FRONT, BACK, LEFT, RIGHT = 0.0, 180.0, -90.0, 90.0


def turn(seed: int) -> Floats:
    """(3, 3) a rotation drawn by lot."""
    return Rotation.random(rng=np.random.default_rng(seed)).as_matrix()


def unit_sphere(subdivisions: int, rotation: Floats | None = None) -> tuple[Floats, Faces]:
    """10 * 4**subdivisions + 2 vertices; not turned it has edges in the planes x, y, z = 0."""
    sphere = trimesh.creation.icosphere(subdivisions=subdivisions)
    vertices = np.array(sphere.vertices)
    return vertices if rotation is None else vertices @ rotation.T, np.array(sphere.faces)


def direction(polar_deg: ArrayLike, azimuth_deg: ArrayLike) -> Floats:
    """(..., 3) unit vectors; polar from +z, azimuth from the front (+y), right positive.

    >>> direction(90.0, 90.0).round(6) + 0.0
    array([1., 0., 0.])
    """
    polar, azimuth = np.radians(polar_deg), np.radians(azimuth_deg)
    return np.stack(
        [
            np.sin(polar) * np.sin(azimuth),
            np.sin(polar) * np.cos(azimuth),
            np.cos(polar) * np.ones_like(azimuth),
        ],
        axis=-1,
    )


def polar_and_azimuth(point: Floats) -> Floats:
    """(2,) degrees, inverse of `direction` for a point at any distance."""
    x, y, z = point / np.linalg.norm(point)
    return np.degrees([np.arccos(z), np.arctan2(x, y)])


@dataclass(frozen=True, eq=False)
class EllipseArc:
    """The plane section of an ellipsoid from a start through a via to an end point.

    >>> half = EllipseArc((90, 90, 90), *np.array([[90.0, 0, 0], [0, 90, 0], [-90, 0, 0]]))
    >>> round(half.length_mm / np.pi, 9), half.point(0.5).round(9).tolist()
    (90.0, [0.0, 90.0, 0.0])
    """

    half_axes_mm: tuple[float, float, float]
    start: Floats
    via: Floats
    end: Floats

    @cached_property
    def _circle(self) -> tuple[Floats, Floats, Floats, float, float]:
        """Centre, two radii, and the angles of via and end, on the unit sphere."""
        start, via, end = (
            p / np.array(self.half_axes_mm) for p in (self.start, self.via, self.end)
        )
        normal = np.cross(via - start, end - start)
        normal = normal / np.linalg.norm(normal)
        centre = (normal @ start) * normal
        first = start - centre
        second = np.cross(normal, first)

        def angle(point: Floats) -> float:
            return np.arctan2((point - centre) @ second, (point - centre) @ first) % (2 * np.pi)

        if angle(via) > angle(end):
            second = -second
        return centre, first, second, float(angle(via)), float(angle(end))

    def _at(self, angle: float) -> Floats:
        centre, first, second, _, _ = self._circle
        return np.array(self.half_axes_mm) * (
            centre + np.cos(angle) * first + np.sin(angle) * second
        )

    def _speed(self, angle: float) -> float:
        _, first, second, _, _ = self._circle
        step = np.cos(angle) * second - np.sin(angle) * first
        return float(np.linalg.norm(np.array(self.half_axes_mm) * step))

    def _length(self, begin: float, end: float) -> float:
        return float(quad(self._speed, begin, end, epsabs=1e-9, epsrel=1e-12)[0])

    def _go(self, begin: float, distance_mm: float) -> Floats:
        """(3,) the place a signed length along the curve from an angle."""
        if distance_mm == 0:
            return self._at(begin)
        farthest = begin + np.sign(distance_mm) * 2 * np.pi
        angle = brentq(lambda a: self._length(begin, a) - distance_mm, begin, farthest, xtol=1e-13)
        return self._at(angle)

    @cached_property
    def length_mm(self) -> float:
        return self._length(0.0, self._circle[4])

    @cached_property
    def via_mm(self) -> float:
        """Length from the start to the via point."""
        return self._length(0.0, self._circle[3])

    def point(self, fraction: float, *, pinned: bool = False) -> Floats:
        """(3,) at a fraction of the length; pinned, each side of the via point counts one half."""
        via = self._circle[3]
        if not pinned:
            return self._go(0.0, fraction * self.length_mm)
        if fraction <= 0.5:
            return self._go(0.0, 2 * fraction * self.via_mm)
        return self._go(via, (2 * fraction - 1) * (self.length_mm - self.via_mm))

    def beyond(self, distance_mm: float, *, at_end: bool) -> Floats:
        """(3,) going on beyond the end, or before the start."""
        return self._go(self._circle[4], distance_mm) if at_end else self._go(0.0, -distance_mm)


# Row: its outer stem, its inner stem, the fraction of the half ring, of the midline.
ROWS = {
    "AF": ("AF", "AF", 0.2, 0.2),
    "F": ("F", "F", 0.3, 0.3),
    "FC": ("FT", "FC", 0.4, 0.4),
    "CP": ("TP", "CP", 0.6, 0.6),
    "P": ("P", "P", 0.7, 0.7),
    "PO": ("PO", "PO", 0.8, 0.8),
}


@dataclass(frozen=True)
class Ellipsoid:
    """An ellipsoid with landmarks at the front, back, left and right of one height.

    Parameters
    ----------
    half_axes_mm : x, y, z
    step_deg : float
        The landmarks stand at the polar angle 5 * step_deg, measured in coordinates that are
        divided by the half axes. On a sphere the step is 10 % of the midline.
    """

    half_axes_mm: tuple[float, float, float]
    step_deg: float = 18.0

    def at(self, polar_deg: float, azimuth_deg: float) -> Floats:
        """(3,) the point of the surface whose unit direction before scaling is this."""
        return np.array(self.half_axes_mm) * direction(polar_deg, azimuth_deg)

    @cached_property
    def landmarks(self) -> Landmarks:
        return Landmarks(*(self.at(5 * self.step_deg, a) for a in (FRONT, BACK, LEFT, RIGHT)))

    def head(self, subdivisions: int = 5, seed: int | None = 1) -> Head:
        """The mesh with its landmarks; at 5 subdivisions 10 242 vertices, not turned at None."""
        vertices, faces = unit_sphere(subdivisions, None if seed is None else turn(seed))
        return Head(vertices * self.half_axes_mm, faces, self.landmarks)

    def arc(self, start: Floats, via: Floats, end: Floats) -> EllipseArc:
        return EllipseArc(self.half_axes_mm, start, via, end)

    @cached_property
    def top(self) -> Floats:
        """(3,) Cz: by symmetry it bisects both arcs."""
        return self.at(0.0, 0.0)

    @cached_property
    def arcs(self) -> dict[str, EllipseArc]:
        """Closed forms of the arcs of 10-10, by the order in which a technologist lays them."""
        nasion, inion, left, right = self.landmarks
        midline, coronal = self.arc(nasion, self.top, inion), self.arc(left, self.top, right)
        front, back = midline.point(0.1), midline.point(0.9)
        rings = {
            "left ring": self.arc(front, coronal.point(0.1), back),
            "right ring": self.arc(front, coronal.point(0.9), back),
        }
        rows = {
            f"row {row}": self.arc(
                rings["left ring"].point(ring),
                midline.point(middle),
                rings["right ring"].point(ring),
            )
            for row, (_, _, ring, middle) in ROWS.items()
        }
        parasagittal = {
            f"{side} parasagittal": self.arc(
                rings[f"{side} ring"].point(0.1), coronal.point(c), rings[f"{side} ring"].point(0.9)
            )
            for side, c in (("left", 0.3), ("right", 0.7))
        }
        contour = {
            f"{side} contour": self.arc(nasion, ear, inion)
            for side, ear in (("left", left), ("right", right))
        }
        return {"midline": midline, "coronal": coronal, **rings, **rows, **parasagittal, **contour}

    @cached_property
    def sites(self) -> dict[str, Floats]:
        """Closed forms of every 10-10 site on the scalp, by headfit's default rules."""
        arcs = self.arcs
        nasion, inion, left, right = self.landmarks
        sites = {"Nz": nasion, "Cz": self.top, "Iz": inion, "T9": left, "T10": right}
        midline = {
            "Fpz": 0.1,
            "AFz": 0.2,
            "Fz": 0.3,
            "FCz": 0.4,
            "CPz": 0.6,
            "Pz": 0.7,
            "POz": 0.8,
            "Oz": 0.9,
        }
        coronal = {
            "T7": 0.1,
            "C5": 0.2,
            "C3": 0.3,
            "C1": 0.4,
            "C2": 0.6,
            "C4": 0.7,
            "C6": 0.8,
            "T8": 0.9,
        }
        left_ring = {
            "Fp1": 0.1,
            "AF7": 0.2,
            "F7": 0.3,
            "FT7": 0.4,
            "TP7": 0.6,
            "P7": 0.7,
            "PO7": 0.8,
            "O1": 0.9,
        }
        right_ring = {
            "Fp2": 0.1,
            "AF8": 0.2,
            "F8": 0.3,
            "FT8": 0.4,
            "TP8": 0.6,
            "P8": 0.7,
            "PO8": 0.8,
            "O2": 0.9,
        }
        for arc, table in (
            ("midline", midline),
            ("coronal", coronal),
            ("left ring", left_ring),
            ("right ring", right_ring),
        ):
            sites |= {name: arcs[arc].point(fraction) for name, fraction in table.items()}
        below = 0.1 * arcs["coronal"].length_mm
        for row, (outer, inner, _, _) in ROWS.items():
            arc = arcs[f"row {row}"]
            columns = {3: 0.25, 4: 0.75}
            if row not in ("AF", "PO"):  # 10-10 has the quarters only of these
                columns |= {5: 0.125, 1: 0.375, 2: 0.625, 6: 0.875}
                sites[f"{outer}9"] = arc.beyond(below, at_end=False)
                sites[f"{outer}10"] = arc.beyond(below, at_end=True)
            sites |= {f"{inner}{c}": arc.point(f, pinned=True) for c, f in columns.items()}
        return sites


SPHERE_A = Ellipsoid((90.0, 90.0, 90.0), 18.0)  # landmarks on the equator
SPHERE_C = Ellipsoid((90.0, 90.0, 90.0), 22.5)  # the ring on the equator, as on an adult
ELLIPSOID = Ellipsoid((75.0, 95.0, 90.0), 18.0)


def bisecting_vertex(solid: Ellipsoid, landmarks: Landmarks) -> Floats:
    """(3,) Cz for any landmarks on an ellipsoid, as the root of its two defining equations."""
    nasion, inion, left, right = landmarks

    def unevenness(tilt: Floats) -> list[float]:
        x, y = tilt
        vertex = np.array(solid.half_axes_mm) * [x, y, np.sqrt(1 - x * x - y * y)]
        arcs = solid.arc(nasion, vertex, inion), solid.arc(left, vertex, right)
        return [arc.via_mm / arc.length_mm - 0.5 for arc in arcs]

    x, y = root(unevenness, [0.01, 0.01], tol=1e-12).x
    return np.array(solid.half_axes_mm) * [x, y, np.sqrt(1 - x * x - y * y)]


@dataclass(frozen=True)
class Capsule:
    """An upright cylinder with half spheres on its ends and the landmarks at its lower edge."""

    radius_mm: float = 80.0
    cylinder_mm: float = 70.0

    @cached_property
    def landmarks(self) -> Landmarks:
        return Landmarks(*(self.at(0.0, azimuth) for azimuth in (FRONT, BACK, LEFT, RIGHT)))

    @property
    def length_mm(self) -> float:
        """Of the midline and of the coronal arc."""
        return 2 * self.cylinder_mm + np.pi * self.radius_mm

    def at(self, height_mm: float, azimuth_deg: float) -> Floats:
        """(3,) a length up the side and over the top, from the lower edge of the cylinder."""
        up = direction(90.0, azimuth_deg) * self.radius_mm
        if height_mm <= self.cylinder_mm:
            return up + np.array([0.0, 0.0, height_mm - self.cylinder_mm / 2])
        angle = np.degrees((height_mm - self.cylinder_mm) / self.radius_mm)
        dome = direction(90.0 - angle, azimuth_deg) * self.radius_mm
        return dome + np.array([0.0, 0.0, self.cylinder_mm / 2])

    def head(self, n_around: int = 128) -> Head:
        mesh = trimesh.creation.capsule(
            height=self.cylinder_mm, radius=self.radius_mm, count=[n_around, n_around]
        )
        return Head(mesh.vertices, mesh.faces, self.landmarks)


def bumpy_head(seed: int = 0, subdivisions: int = 3, bumps: float = 0.02) -> Head:
    """A smooth head with no symmetry and with hollows: an ellipsoid with waves drawn by lot.

    At 3 subdivisions it has 642 vertices. `bumps` is the spread of the radius in parts of it.
    """
    rng = np.random.default_rng(seed)
    waves = rng.normal(scale=3.0, size=(6, 3))
    phases = rng.uniform(0, 2 * np.pi, size=6)

    def surface(unit: Floats) -> Floats:
        swell = np.sin(unit @ waves.T + phases).sum(axis=-1, keepdims=True)
        return np.array([75.0, 95.0, 90.0]) * unit * (1 + bumps * swell)

    vertices, faces = unit_sphere(subdivisions, turn(seed))
    nasion, inion, left, right = (
        surface(direction(polar, azimuth))
        for polar, azimuth in ((95.0, 2.0), (105.0, 177.0), (98.0, -93.0), (101.0, 91.0))
    )
    return Head(surface(vertices), faces, Landmarks(nasion, inion, left, right))
