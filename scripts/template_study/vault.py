"""A cranial vault: distance from a centre as a smooth function of direction.

Directions are unit vectors (n, 3), +x right, +y front, +z up; distances are in mm. The
function is a series of spherical harmonics that are even in x, so a vault is symmetric by
construction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import sph_legendre_p_all

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

HARMONIC_DEGREE = 14
GRID_MM = 1e-4
#: Width of the zone in which the vault surface turns into the face surface.
BLEND_WIDTH_MM = 20.0
#: Height of the lower border of the vault (mm) over the azimuth from the front (degrees): above
#: the brow, below the temple, over the ear, down to the nape. Placed by eye.
BORDER_AZIMUTH_DEG = (0, 30, 45, 58, 66, 76, 85, 90, 113, 120, 128, 140, 155, 180)
BORDER_HEIGHT_MM = (8, 8, 4, -4, -15, -22, -14, 3, 3, -14, -32, -42, -48, -52)


def settle(points_mm: Floats) -> Floats:
    """Return the points on a grid of 1e-4 mm, without negative zeros."""
    return np.round(np.asarray(points_mm, dtype=np.float64) / GRID_MM) * GRID_MM + 0.0


def unit(vectors: Floats) -> Floats:
    """Return vectors (..., 3) scaled to length one; a zero vector gives nan."""
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


def smooth_step(fraction: Floats) -> Floats:
    """Return 0 below 0, 1 above 1, and between them a rise with two continuous derivatives."""
    t = np.clip(fraction, 0.0, 1.0)
    return t**3 * (t * (6.0 * t - 15.0) + 10.0)


def bump(directions: Floats, middle: tuple[float, float, float], width_deg: float) -> Floats:
    """Return a Gaussian of the angle (n,) between directions (n, 3) and a middle direction."""
    cosine = np.clip(directions @ unit(np.array(middle)), -1.0, 1.0)
    return np.exp(-((np.arccos(cosine) / np.radians(width_deg)) ** 2))


def spread_directions(n_directions: int) -> Floats:
    """Return unit vectors (n, 3) spread evenly over the sphere (Fibonacci lattice)."""
    index = np.arange(n_directions) + 0.5
    height = 1.0 - 2.0 * index / n_directions
    azimuth_rad = np.pi * (1.0 + 5.0**0.5) * index
    radius = np.sqrt(1.0 - height**2)
    return np.column_stack([radius * np.cos(azimuth_rad), radius * np.sin(azimuth_rad), height])


def even_harmonics(directions: Floats) -> tuple[Floats, Integers]:
    """Return the values (n, k) of the real harmonics even in x, and their degrees (k,)."""
    polar_rad = np.arccos(np.clip(directions[:, 2], -1.0, 1.0))
    azimuth_rad = np.arctan2(directions[:, 0], directions[:, 1])
    legendre = sph_legendre_p_all(HARMONIC_DEGREE, HARMONIC_DEGREE, polar_rad)
    legendre = legendre.reshape(HARMONIC_DEGREE + 1, -1, len(directions))
    waves = [2.0**0.5 * np.cos(m * azimuth_rad) for m in range(HARMONIC_DEGREE + 1)]
    waves[0] = np.ones(len(directions))
    pairs = [(n, m) for n in range(HARMONIC_DEGREE + 1) for m in range(n + 1)]
    columns = [legendre[n, m] * waves[m] for n, m in pairs]
    return np.column_stack(columns), np.array([n for n, _ in pairs])


@dataclass(frozen=True, eq=False)
class Vault:
    """A star-shaped vault around a centre.

    Parameters
    ----------
    centre_mm : (3,) point from which distances are taken, study frame.
    coefficients_mm : (k,) factors of :func:`even_harmonics`.
    """

    centre_mm: Floats
    coefficients_mm: Floats

    @classmethod
    def through(cls, centre_mm: Floats, directions: Floats, distances_mm: Floats) -> Vault:
        """Return the vault nearest to distances (n,) in directions (n, 3), least squares.

        A small penalty on high degrees keeps it calm where directions are missing.
        """
        basis, degree = even_harmonics(directions)
        penalty = 1e-8 * len(distances_mm) * np.diag((degree * (degree + 1.0)) ** 2)
        solved = np.linalg.solve(basis.T @ basis + penalty, basis.T @ distances_mm)
        return cls(np.asarray(centre_mm, dtype=np.float64), np.round(solved, 6))

    def distances_mm(self, directions: Floats) -> Floats:
        """Return the distance (n,) of the surface from the centre in directions (n, 3)."""
        return even_harmonics(directions)[0] @ self.coefficients_mm

    def project(self, points_mm: Floats) -> Floats:
        """Return points (n, 3) moved along their ray from the centre onto the surface."""
        directions = unit(points_mm - self.centre_mm)
        return self.centre_mm + directions * self.distances_mm(directions)[:, None]

    def weight(self, points_mm: Floats) -> Floats:
        """Return the share (n,) of the vault at points (n, 3): 1 on the scalp, 0 on the face."""
        from_centre = points_mm - self.centre_mm
        azimuth_deg = np.degrees(np.abs(np.arctan2(from_centre[:, 0], from_centre[:, 1])))
        border_mm = np.interp(azimuth_deg, BORDER_AZIMUTH_DEG, BORDER_HEIGHT_MM)
        return smooth_step((points_mm[:, 2] - border_mm) / BLEND_WIDTH_MM + 0.5)
