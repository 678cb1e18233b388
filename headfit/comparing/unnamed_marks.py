"""Marks without site names: the site at which each of them lies. Suggests sites; renames no mark.

Marks are laid on the head by their landmarks, and by the scalp where they are many; then every mark
gets a site and every site at most one mark, so that the squared distances are least. Millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from headfit.anatomy.head import HasHead, Head
from headfit.anatomy.sites import LANDMARK_SITES, Sites, place_sites
from headfit.comparing.alignment import by_landmarks, by_surface
from headfit.comparing.target_sites import targets_for
from headfit.errors import MarksError, sentence
from headfit.geometry.surface import nearest
from headfit.marks.marks import Marks

_FEWEST_FOR_SURFACE = 8
# Farther than a step of the 10-10 system a mark lies at no site.
_MOST_MM = 30.0


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
    """

    name: str
    site: str
    distance_mm: float
    next_site: str
    next_distance_mm: float

    @property
    def sure(self) -> bool:
        """Whether the site is near and no other one nearly as near."""
        return self.distance_mm < 10.0 and self.distance_mm < 0.5 * self.next_distance_mm


def guess_places(head_or_sites: Head | HasHead | Sites, marks: Marks) -> tuple[PlaceGuess, ...]:
    """For marks whose names are no sites, the sites at which they lie; each site serves once.

    To apply what is sure: ``marks.renamed({g.name: g.site for g in guesses if g.sure})``.

    Parameters
    ----------
    head_or_sites : Head, FittedHead or Sites
        The sites that may be meant; of a head, those of the 10-10 system.
    marks : Marks
        With landmarks.

    Raises
    ------
    MarksError
        No landmarks, so that nothing tells how the marks lie on the head.
    """
    sites = (
        head_or_sites if isinstance(head_or_sites, Sites) else place_sites(head_or_sites, "10-10")
    )
    taken = set(marks.names)
    free = tuple(n for n in sites.names if n not in taken and n not in LANDMARK_SITES)
    targets = targets_for(sites, free)
    motion = by_landmarks(marks, targets)
    if motion is None:
        raise MarksError(
            sentence(
                f"marks of {marks.source}",
                "hold nasion and both preauricular points to be named by their place",
                ", ".join(marks.landmarks) or "none",
            ),
            code="compare-no-landmarks",
        )
    if not marks.other_names or len(free) < 2:
        return ()
    if len(marks.all_points_mm) >= _FEWEST_FOR_SURFACE:
        motion = by_surface(marks, motion, np.empty((0, 3)), targets)
    mesh = sites.tracer.mesh
    places, _ = nearest(mesh, motion.on(marks.other_points_mm))
    feet = places.on(mesh.vertices_mm)
    gap = np.linalg.norm(feet[:, None] - targets.points_mm[None], axis=2)
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
            )
        )
    return tuple(guesses)
