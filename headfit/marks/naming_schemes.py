"""Names that mean other places in another naming scheme.

Electrode sets with 128 or 256 places are often named by a letter and a number, A1 to A32, B1 to
B32 and so on. A1, A2, C1 to C6 and others are then spelled like sites of the 10-20 system and are
not: only where they lie tells.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

import numpy as np
from scipy.optimize import linear_sum_assignment

from headfit.anatomy.arcs import mirrored
from headfit.geometry.mesh import Floats
from headfit.marks.marks import head_frame
from headfit.marks.remarks import Remark, doubt, listed
from headfit.marks.template_sites import FEWEST, fit_by_names, gaps_from_own_places, own_places

_LETTER_NUMBER = re.compile(r"([A-H])-?0*([1-9]\d?)")
# From so many names on that only a lettered scheme has, a lettered scheme is suspected.
_SUSPECT = 3
# Median distance of marks from the sites of their names on the template. Below this the names mean
# those sites, even with tall electrodes and landmarks 1 cm off; names of another scheme put marks a
# quarter of a head away.
_ELSEWHERE_MM = 35.0
# Scrambled names are still names of this scheme: one by one the marks lie at sites that are named,
# but in another order. Half of those of clean sets lie within 16 mm of the template; the places of
# a lettered scheme lie elsewhere, and marks of one are never all spelt like sites.
_AT_SITES_MM = 20.0


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
    elif gap_mm > _ELSEWHERE_MM and (
        lettered(others) or not _scrambled(names, points_mm, landmarks)
    ):
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
    """How far marks lie from the sites of their names, in the better of two alignments."""
    gaps = []
    frame = head_frame(landmarks)
    if frame is not None:
        gap = gaps_from_own_places(names, frame.on(points), landmarks)
        gaps.append(float(np.median(gap)))
    # Mirrored or shifted names still mean sites of this scheme: the comparison finds them.
    for spelled in (names, [mirrored(name) for name in names]):
        if len(names) > 2 * _SUSPECT and min(gaps, default=np.inf) > _ELSEWHERE_MM:
            fit = fit_by_names(spelled, points)
            gaps += [] if fit is None else [fit.gap_mm]
    return min(gaps) if gaps else None


def _scrambled(names: Sequence[str], points: Floats, landmarks: Mapping[str, Floats]) -> bool:
    """Whether the marks lie at the sites that are named, though not each at its own."""
    frame = head_frame(landmarks)
    if frame is None or len(names) < FEWEST:
        return False
    gap = np.linalg.norm(frame.on(points)[:, None] - own_places(names, landmarks)[None], axis=2)
    rows, columns = linear_sum_assignment(np.minimum(gap, 2.0 * _AT_SITES_MM) ** 2)
    return float(np.median(gap[rows, columns])) <= _AT_SITES_MM
