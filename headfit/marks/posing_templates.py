"""Templates that pose as measurements: mirror images of themselves, or points of one sphere.

No hand marks left and right alike to a tenth of a millimetre, and no head is a sphere. The names
play no part in it, nor does the unit, a shift, or the step to which the numbers were rounded.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from scipy.spatial import cKDTree

from headfit.geometry.mesh import Floats
from headfit.marks.marks import head_frame
from headfit.marks.remarks import Remark, doubt

_EXACT_MM = 0.1
# Numbers rounded to more than this say nothing either way.
_COARSEST_MM = 1.0
_MOST_DECIMALS = 7
_MIDLINE_MM = 5.0
_FEWEST_PAIRS = 3
# A template of which a channel was taken out, or a mark moved, still is one.
_MIRRORED_SHARE = 0.8
_FEWEST_ON_SPHERE = 8
_ON_SPHERE = 0.003


def posing_template(
    points_mm: Floats, landmarks: Mapping[str, Floats], mm_per_unit: float
) -> tuple[Remark, ...]:
    """Doubts that marks were measured at all.

    Parameters
    ----------
    points_mm : (n, 3) float64
        Axes right, front, up.
    landmarks : mapping of str to (3,) float64
    mm_per_unit : float
        Of the file, to tell a round radius and the step to which its numbers are rounded.
    """
    exact_mm = max(_EXACT_MM, _step_mm(points_mm, mm_per_unit))
    if exact_mm > _COARSEST_MM:
        return ()
    frame = head_frame(landmarks)
    n_pairs = mirrored_pairs(points_mm, exact_mm)
    if not n_pairs and frame is not None:
        n_pairs = mirrored_pairs(frame.on(points_mm), exact_mm)
    remarks = []
    if n_pairs:
        remarks.append(
            doubt(
                "template-symmetric",
                f"marks look like a template, not a measurement: {n_pairs} pairs of left and "
                f"right mirror each other to {exact_mm:g} mm",
                n_pairs=n_pairs,
            )
        )
    sphere = fit_sphere(points_mm) if len(points_mm) >= _FEWEST_ON_SPHERE else None
    if sphere is not None:
        _, radius, worst = sphere
        if worst < max(_ON_SPHERE * radius, exact_mm):
            in_units = radius / mm_per_unit
            is_round = abs(in_units - float(f"{in_units:.2g}")) < 1e-3 * in_units
            exactly = f", exactly {in_units:.2g} in the unit of the file" if is_round else ""
            remarks.append(
                doubt(
                    "template-sphere",
                    f"marks look like a template, not a measurement: all {len(points_mm)} lie on a "
                    f"sphere of radius {radius:.1f} mm to {worst:.2g} mm{exactly}",
                    radius_mm=round(radius, 2),
                    worst_mm=round(worst, 4),
                    round_radius=is_round,
                )
            )
    return tuple(remarks)


def _step_mm(points_mm: Floats, mm_per_unit: float) -> float:
    """The step to which the numbers of a file are rounded; 0 where it is finer than all tried."""
    written = points_mm / mm_per_unit
    for decimals in range(-3, _MOST_DECIMALS):
        scaled = written * 10.0**decimals
        off = float(np.abs(scaled - np.rint(scaled)).max(initial=0.0))
        if off < 1e-3 and float(np.abs(scaled).max(initial=0.0)) >= 1.0:
            return mm_per_unit * 10.0**-decimals
    return 0.0


def mirrored_pairs(points: Floats, exact_mm: float) -> int:
    """How many points mirror each other left and right; 0 unless nearly all off the middle do.

    Parameters
    ----------
    points : (n, 3) float64
        x to the right; the plane between left and right may lie anywhere across it.
    exact_mm : float
        How far each coordinate may differ.

    >>> right = np.array([[8.0, 1, 2], [11.0, 5, 5], [9.0, 0, 7], [3.0, 9, 9]])
    >>> mirrored_pairs(np.vstack([right, right * [-1, 1, 1]]) + [1.0, 0, 0], 0.1)
    3
    """
    if len(points) < 2 * _FEWEST_PAIRS:
        return 0
    # A point and its mirror image have the other two coordinates in common.
    gaps, found = map(np.asarray, cKDTree(points[:, 1:]).query(points[:, 1:], k=2))
    row = np.arange(len(points))
    other = (found[:, 0] == row).astype(int)  # of two points in one place either may come first
    gap, partner = gaps[row, other], found[row, other]
    alike = gap <= exact_mm * np.sqrt(2.0)
    if not alike.any():
        return 0
    middles = (points[:, 0] + points[partner, 0]) / 2
    middle = float(np.median(middles[alike]))
    beside = np.abs(points[:, 0] - middle) > _MIDLINE_MM
    mirrored = alike & beside & (np.abs(middles - middle) <= exact_mm)
    enough = mirrored.sum() >= max(2 * _FEWEST_PAIRS, _MIRRORED_SHARE * beside.sum())
    return int(mirrored.sum()) // 2 if enough else 0


def fit_sphere(points: Floats) -> tuple[Floats, float, float] | None:
    """Centre, radius and largest deviation of the sphere nearest to points; None if they are flat.

    Least squares of |p|^2 - 2 c p = r^2 - |c|^2, linear in the centre c and in the right side.
    """
    middle = points.mean(axis=0)
    shifted = points - middle
    system = np.column_stack([2 * shifted, np.ones(len(points))])
    solution, _, rank, _ = np.linalg.lstsq(system, np.einsum("ij,ij->i", shifted, shifted))
    square = float(solution[3] + solution[:3] @ solution[:3])
    if rank < 4 or square <= 0:
        return None
    radius = float(np.sqrt(square))
    worst = float(np.abs(np.linalg.norm(shifted - solution[:3], axis=1) - radius).max())
    return solution[:3] + middle, radius, worst
