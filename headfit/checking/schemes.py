"""Names that mean other places in another naming scheme, and templates that pose as measurements.

Electrode sets with 128 or 256 places are often named by a letter and a number, A1 to A32, B1 to
B32 and so on. A1, A2, C1 to C6 and others are then spelled like sites of the 10-20 system and are
not: only where they lie tells.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np

from headfit.anatomy.arcs import mirrored
from headfit.checking.marks import head_frame
from headfit.checking.reference import fit_by_names, gaps_from_own_places
from headfit.checking.remarks import Remark, doubt, listed
from headfit.geometry.mesh import Floats

_LETTER_NUMBER = re.compile(r"([A-H])-?0*([1-9]\d?)")
# As many names that only a lettered scheme has make one suspect it.
_SUSPECT = 3
# Marks that mean their sites lie nearer than this to the template's, in the median, even with tall
# electrodes and landmarks a centimetre off; marks that do not lie a quarter of a head away.
_ELSEWHERE_MM = 35.0
# Digits are rounded to a tenth of a millimetre at best, and no hand places pairs alike so far.
_EXACT_MM = 0.1
_ON_SPHERE = 0.003


def lettered(names: Sequence[str]) -> bool:
    """Whether names that are no sites look like a lettered scheme.

    >>> lettered(["A17", "B9", "D32"]), lettered(["EEG001", "EEG002", "EEG003"])
    (True, False)
    """
    return sum(_LETTER_NUMBER.fullmatch(name) is not None for name in names) >= _SUSPECT


def other_scheme(
    names: Sequence[str], points_mm: Floats, landmarks: Mapping[str, Floats], others: Sequence[str]
) -> Remark | None:
    """The doubt that names of sites mean other places here; None when they lie where they should.

    Parameters
    ----------
    names : sequence of str
        Read as sites.
    points_mm : (n, 3) float64
    landmarks : mapping of str to (3,) float64
    others : sequence of str
        Names of the same file that are no sites.
    """
    if not names:
        return None
    gap_mm = _median_gap(names, points_mm, landmarks)
    scheme = "a lettered scheme" if lettered(others) else "another scheme"
    if gap_mm is None:
        if not lettered(others):
            return None
        evidence = "too few of them and no landmarks to tell by their places"
    elif gap_mm > _ELSEWHERE_MM:
        evidence = f"half of them lie over {gap_mm:.0f} mm from the sites of that name"
    else:
        return None
    return doubt(
        "names-other-scheme",
        f"names such as {listed(names)} belong to {scheme}, not to the 10-20 system: {evidence}; "
        "they are not matched by name",
        names=list(names),
        median_gap_mm=None if gap_mm is None else round(gap_mm, 1),
        beside=list(others[:6]),
    )


def _median_gap(
    names: Sequence[str], points: Floats, landmarks: Mapping[str, Floats]
) -> float | None:
    """How far marks lie from the sites of their names, in the kinder of two alignments."""
    gaps = []
    frame = head_frame(landmarks)
    if frame is not None:
        gap = gaps_from_own_places(names, frame.on(points), landmarks)
        gaps.append(float(np.median(gap)))
    # Mirrored or shifted names are a matter for the comparison: the places are still the sites'.
    for spelled in (names, [mirrored(name) for name in names]):
        if len(names) > 2 * _SUSPECT and min(gaps, default=np.inf) > _ELSEWHERE_MM:
            fit = fit_by_names(spelled, points)
            gaps += [] if fit is None else [fit.gap_mm]
    return min(gaps) if gaps else None


def posing_template(
    names: Sequence[str], points_mm: Floats, mm_per_unit: float
) -> tuple[Remark, ...]:
    """Doubts that marks were measured at all: mirror-exact, or all on one sphere.

    Parameters
    ----------
    names : sequence of str
        Sites, those of the first rows of `points_mm`.
    points_mm : (n, 3) float64
        Axes right, front, up.
    mm_per_unit : float
        Of the file, to tell a round radius.
    """
    remarks = []
    symmetric = _exactly_symmetric(names, points_mm)
    if symmetric:
        remarks.append(
            doubt(
                "template-symmetric",
                f"marks look like a template, not a measurement: {symmetric} pairs of left and "
                f"right mirror each other to {_EXACT_MM} mm",
                n_pairs=symmetric,
            )
        )
    sphere = fit_sphere(points_mm) if len(points_mm) >= 2 * _SUSPECT + 2 else None
    if sphere is not None:
        _, radius, worst = sphere
        if worst < _ON_SPHERE * radius:
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


def _exactly_symmetric(names: Sequence[str], points: Floats) -> int:
    """How many homologous pairs mirror each other exactly; 0 unless all do, or with few pairs."""
    index = {name: i for i, name in enumerate(names)}
    pairs = [(i, index[mirrored(n)]) for n, i in index.items() if mirrored(n) in index]
    pairs = [(i, j) for i, j in pairs if i < j]
    if len(pairs) < _SUSPECT:
        return 0
    one, other = (points[[pair[k] for pair in pairs]] for k in (0, 1))
    middle = float(np.median(one[:, 0] + other[:, 0]))
    gap = np.abs(np.column_stack([one[:, 0] + other[:, 0] - middle, one[:, 1:] - other[:, 1:]]))
    return len(pairs) if float(gap.max()) <= _EXACT_MM else 0


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
