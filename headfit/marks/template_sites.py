"""Where sites lie on the adult template: enough to tell one naming scheme from another.

Head frame, millimetres. Never used as the sites of a person: no deviation is measured from them.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np

from headfit.anatomy.sites import place_sites
from headfit.anatomy.template import load_template
from headfit.errors import InputError
from headfit.geometry.mesh import Floats
from headfit.geometry.rigid import RigidMotion, robust_rigid
from headfit.marks.unit_detection import spread_of

# Fewer named marks than this do not fix a head.
FEWEST = 5
_ONE_PLACE_MM = 1.0


@cache
def reference_points() -> dict[str, Floats]:
    """Every 10-5 site of the adult template."""
    sites = place_sites(load_template(), "10-5")
    return dict(zip(sites.names, sites.points_mm, strict=True))


@dataclass(frozen=True, eq=False)
class NameFit:
    """The template laid over marks by their names.

    Attributes
    ----------
    motion : RigidMotion
        From the head frame to the frame of the marks.
    gap_mm : float
        Median distance left.
    """

    motion: RigidMotion
    gap_mm: float


def fit_by_names(names: Sequence[str], points_mm: Floats) -> NameFit | None:
    """Lay the template, scaled to the spread of the marks, over them; None with too few.

    Parameters
    ----------
    names : sequence of str
        Sites.
    points_mm : (n, 3) float64
    """
    if len(names) < FEWEST:
        return None
    known = reference_points()
    template = np.array([known[name] for name in names])
    sizes = spread_of(points_mm), spread_of(template)
    if min(sizes) < _ONE_PLACE_MM:  # one name five times, or five marks in one place
        return None
    template = template * (sizes[0] / sizes[1])
    try:
        motion = robust_rigid(template, points_mm, floor_mm=5.0).motion
    except InputError:
        return None
    gap = np.linalg.norm(motion.on(template) - points_mm, axis=1)
    return NameFit(motion, float(np.median(gap)))


def own_places(names: Sequence[str], landmarks: Mapping[str, Floats]) -> Floats:
    """(n, 3) places of sites on a template scaled to the landmarks, in their head frame.

    Parameters
    ----------
    names : sequence of str
        Sites.
    landmarks : mapping of str to (3,) float64
        Nasion and both preauricular points.
    """
    head = load_template().landmarks
    (width, depth), (known_width, known_depth) = (
        _width_and_depth(*three)
        for three in (
            [landmarks[k] for k in ("left_preauricular", "right_preauricular", "nasion")],
            [head.left_preauricular, head.right_preauricular, head.nasion],
        )
    )
    across, along = width / known_width, depth / known_depth
    known = reference_points()
    places = np.array([known[name] for name in names])
    return np.asarray(places * [across, along, (across + along) / 2])


def gaps_from_own_places(
    names: Sequence[str], placed_mm: Floats, landmarks: Mapping[str, Floats]
) -> Floats:
    """(n,) how far marks (n, 3) in the head frame lie from their `own_places`."""
    return np.asarray(np.linalg.norm(placed_mm - own_places(names, landmarks), axis=1))


def _width_and_depth(left: Floats, right: Floats, nasion: Floats) -> tuple[float, float]:
    """Distance of the preauricular points, and of the nasion from the line through them."""
    across = (right - left) / np.linalg.norm(right - left)
    off = nasion - left
    return float(np.linalg.norm(right - left)), float(np.linalg.norm(off - (off @ across) * across))
