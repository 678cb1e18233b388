"""Left marks against right ones, and how far neighbouring marks lie apart over the scalp.

Homologues are a left site and its mirror image, such as F3 and F4. Neighbours are two places with
no third one in the ball between them. Millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headfit.anatomy.arcs import mirrored, side_of
from headfit.comparing.directions import slide_in_words
from headfit.comparing.scalp_steps import scalp_lengths
from headfit.geometry.mesh import Floats

_NEAR = 12
_SAID_MM = np.full(3, 1.0)


@dataclass(frozen=True)
class PairDifference:
    """How a left mark and its right homologue differ, mirrored onto one side.

    Attributes
    ----------
    left, right : str
    outward_mm, front_mm, up_mm : float
        How much farther out, to the front and up the right one lies than the left one.
    expected_mm : float
        Length of the same difference of the sites of this head, which need not be symmetric.
    sentence : str
    """

    left: str
    right: str
    outward_mm: float
    front_mm: float
    up_mm: float
    expected_mm: float
    sentence: str

    @property
    def difference_mm(self) -> float:
        """Length of the difference."""
        return float(np.linalg.norm([self.outward_mm, self.front_mm, self.up_mm]))


@dataclass(frozen=True)
class Spacing:
    """Two neighbours and how far they lie apart over the scalp.

    Attributes
    ----------
    one, other : str
    marked_mm, expected_mm : float
        Between the marks, and between the sites.
    """

    one: str
    other: str
    marked_mm: float
    expected_mm: float


def pair_differences(
    names: Sequence[str], marks_mm: Floats, sites_mm: Floats
) -> tuple[PairDifference, ...]:
    """The difference of every homologous pair, largest first.

    Parameters
    ----------
    names : sequence of str
    marks_mm, sites_mm : (n, 3) float64
        Both in the head frame.
    """
    row = {name: i for i, name in enumerate(names)}
    found = []
    for name, i in row.items():
        other = mirrored(name)
        if other == name or other not in row or side_of(name) >= 0:
            continue
        j = row[other]
        flip = np.array([-1.0, 1.0, 1.0])
        # A left mark mirrored to the right: what remains is how the right one differs.
        gap = marks_mm[j] - flip * marks_mm[i]
        expected = float(np.linalg.norm(sites_mm[j] - flip * sites_mm[i]))
        said = slide_in_words(gap, _SAID_MM).replace("to the right", "farther out")
        said = said.replace("to the left", "farther in")
        text = f"{other} lies {said} against {name}" if said else f"{name} and {other} are alike"
        outward, front, up = gap.tolist()
        found.append(PairDifference(name, other, outward, front, up, expected, text))
    return tuple(sorted(found, key=lambda pair: -pair.difference_mm))


def neighbours(points_mm: Floats) -> list[tuple[int, int]]:
    """Pairs of rows with no third point inside the ball between them: the Gabriel graph.

    Parameters
    ----------
    points_mm : (n, 3) float64

    >>> neighbours(np.array([[0.0, 0, 0], [10, 0, 0], [20, 0, 0]]))
    [(0, 1), (1, 2)]
    """
    n = len(points_mm)
    gap = points_mm[:, None] - points_mm[None]
    square = np.einsum("ijk,ijk->ij", gap, gap)
    near = np.argsort(square, axis=1)[:, 1 : _NEAR + 1]
    pairs = {(min(i, int(j)), max(i, int(j))) for i in range(n) for j in near[i]}
    kept = []
    for i, j in sorted(pairs):
        around = square[i] + square[j]
        around[[i, j]] = np.inf
        if float(around.min()) >= square[i, j]:
            kept.append((i, j))
    return kept


def spacings(
    names: Sequence[str], feet: tuple[Floats, Floats], sites: tuple[Floats, Floats]
) -> tuple[Spacing, ...]:
    """Distances over the scalp between neighbouring sites, as marked and as expected.

    Parameters
    ----------
    names : sequence of str
    feet : (n, 3) and (n, 3) float64
        Marks on the scalp, and the outward normals there.
    sites : (n, 3) and (n, 3) float64
        Sites, and the outward normals there.
    """
    pairs = neighbours(sites[0])
    if not pairs:
        return ()
    one, other = (np.array([pair[k] for pair in pairs]) for k in (0, 1))
    marked, expected = (
        scalp_lengths(points[one], normals[one], points[other], normals[other])
        for points, normals in (feet, sites)
    )
    return tuple(
        Spacing(names[i], names[j], float(m), float(e))
        for i, j, m, e in zip(one, other, marked, expected, strict=True)
    )
