"""A schematic profile of the back of a head, with a knob at the inion and without one.

Drawn by hand and no person's: it tells what a finger feels in which order, not how large a knob is.
The templates have no knob of their own, so that nothing here may be measured.
"""

from __future__ import annotations

import numpy as np

from headfit.geometry.mesh import Floats
from headfit.teaching.stage import Profile

# Right and down, from the nape up to the back of the head; drawn by hand.
_OUTLINE = (
    (46.0, 118.0),
    (45.0, 110.0),
    (43.5, 102.0),
    (43.0, 95.0),
    (44.5, 89.0),
    (48.5, 84.0),
    (55.0, 79.0),
    (62.0, 73.5),
    (68.0, 66.5),
    (72.5, 58.0),
    (75.0, 48.0),
    (75.0, 37.0),
)
_KNOB = {5: (3.2, 1.2), 6: (3.4, 1.8), 7: (0.6, 0.4)}
_KNOB_AT = 6
_N_BETWEEN = 4


def schematic_profile(*, knob: bool) -> Profile:
    """The profile, and what a finger that slides up feels at each place.

    >>> schematic_profile(knob=True).feels[0]
    'Neck: soft, it gives way.'
    """
    coarse = np.array(_OUTLINE)
    if knob:
        for row, (right, down) in _KNOB.items():
            coarse[row] += (right, down)
    at = np.linspace(0.0, len(coarse) - 1.0, _N_BETWEEN * (len(coarse) - 1) + 1)
    points = _smooth(coarse, at)
    return Profile(points, tuple(_felt(float(place), knob=knob) for place in at), knob)


def _smooth(coarse: Floats, at: Floats) -> Floats:
    """Catmull and Rom 1974: a smooth curve through the points of a drawing."""
    rows = np.clip(at.astype(int), 0, len(coarse) - 2)
    t = (at - rows)[:, None]
    p0, p1, p2, p3 = (coarse[np.clip(rows + k, 0, len(coarse) - 1)] for k in (-1, 0, 1, 2))
    curve = 2 * p1 + (p2 - p0) * t
    curve += (2 * p0 - 5 * p1 + 4 * p2 - p3) * t**2 + (3 * p1 - p0 - 3 * p2 + p3) * t**3
    return np.asarray(0.5 * curve)


def _felt(place: float, *, knob: bool) -> str:
    """What is felt: the order is common practice, no source."""
    if place < _KNOB_AT - 2.5:
        return "Neck: soft, it gives way."
    if place < _KNOB_AT - 0.9:
        return "The neck ends: bone begins under the finger."
    if place < _KNOB_AT + 0.9:
        if knob:
            return "The knob: the first bony bump above the neck. The inion is its tip."
        return "Bone, and no knob. The inion is somewhere here: chart it as doubtful."
    return "Back of the head: hard and round. Too high, go back down."
