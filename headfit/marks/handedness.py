"""Whether marks lie above their landmarks, and on the left and right that their names say.

Marks under their landmarks, or with left and right exchanged, show a left-handed frame, exchanged
landmarks or mirrored names (`headfit.marks.axes` tells which). A vote asks every name for its side,
or for front and back, and whether the place agrees. Head frame of the landmarks, millimetres.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from headfit.anatomy.arcs import side_of
from headfit.geometry.mesh import Floats
from headfit.marks.marks import head_frame
from headfit.marks.template_sites import FEWEST, gaps_from_own_places
from headfit.marks.unit_detection import spread_of

_FEWEST_VOTES = 4
_CLEAR = 0.8
# Marks of a slipped cap on tall electrodes lie within this distance of the places of their names on
# a template scaled to their landmarks; with sides or top turned over, few do.
_NEAR_MM = 45.0
CLEARLY = 0.6
_WELL_MM = 25.0
# Gaps smaller than this differ by rounding only.
_ANY_MM = 1.0
_THREE = ("nasion", "left_preauricular", "right_preauricular")
_FLIPS = np.array([[1.0, 1, 1], [-1, 1, 1], [1, 1, -1], [-1, 1, -1]])


@dataclass(frozen=True)
class Sense:
    """Whether marks lie above their landmarks, and on the sides of their names.

    Attributes
    ----------
    above, sides : bool or None
        Whether they lie above them, and on the sides of their names; None when nothing tells.
    lift : float
        Height over the landmarks as a share of their spread.
    sure : bool
        Whether the names agree with the places.
    names_fit : bool
        As in `Settled`.
    """

    above: bool | None
    sides: bool | None
    lift: float
    sure: bool
    names_fit: bool


def sense_of(names: Sequence[str], placed: Floats, landmarks: Mapping[str, Floats]) -> Sense:
    """Whether marks, in the head frame of their landmarks, lie above them and on their sides.

    Many names decide by vote; few are compared with a template scaled to the landmarks, as it is
    and with its sides, its top or both turned over.
    """
    above, lift = _above(placed)
    sides = vote(names, placed[:, 0], side_of)
    front = vote(names, placed[:, 1], front_of)
    if above is not None and sides is not None and front is True:
        return Sense(above, sides, lift, sure=True, names_fit=True)
    fits = (sides is not None and front is not None) or len(names) < _FEWEST_VOTES
    gaps = (
        [
            float(gaps_from_own_places(names, placed[: len(names)] * flip, landmarks).mean())
            for flip in _FLIPS
        ]
        if names
        else [np.inf]
    )
    if min(gaps) > _NEAR_MM:
        return Sense(above, sides, lift, sure=False, names_fit=fits)
    (as_read, mirrored_), (under, exchanged) = gaps[:2], gaps[2:]
    up, sides_up = nearer(as_read, mirrored_)
    down, sides_down = nearer(under, exchanged)
    found = nearer(up, down)[1]
    above = above if found is None else found
    return Sense(above, sides_up if up <= down else sides_down, lift, sure=True, names_fit=True)


def in_their_places(
    points: Floats, names: Sequence[str], landmarks: dict[str, Floats]
) -> dict[str, Floats]:
    """The same landmarks under the names with which the marks fit them; as given when none does.

    Parameters
    ----------
    points : (n, 3) float64
        In the frame of the landmarks, the named ones first.
    names : sequence of str
    landmarks : dict of str to (3,) float64
        Nasion and both preauricular points, others are left as they are.
    """
    if len(names) < FEWEST:
        return landmarks
    trials: list[tuple[float, int, dict[str, Floats]]] = []
    for places in itertools.permutations(landmarks[name] for name in _THREE):
        trial = landmarks | dict(zip(_THREE, places, strict=True))
        frame = head_frame(trial)
        if frame is not None:
            placed = frame.on(points[: len(names)])
            gap_mm = float(gaps_from_own_places(names, placed, trial).mean())
            trials.append((gap_mm, len(trials), trial))
    best, second = sorted(trials)[:2]
    clear = best[0] < min(_WELL_MM, CLEARLY * second[0])
    return best[2] if clear and best[1] else landmarks


def nearer(one: float, other: float) -> tuple[float, bool | None]:
    """The smaller gap, and whether it clearly is the first, not the second, or None of them."""
    clear = min(one, other) < CLEARLY * max(one, other) and max(one, other) > _ANY_MM
    return min(one, other), one < other if clear else None


@lru_cache(maxsize=2048)
def front_of(name: str) -> int:
    """1 for a site well before the coronal arc, -1 for one well behind it, else 0."""
    stem = name.rstrip("0123456789hz")
    if stem in ("Fp", "AFp", "AF", "AFF", "F"):
        return 1
    return -1 if stem in ("P", "PPO", "PO", "POO", "O", "CPP", "I") else 0


def vote(names: Sequence[str], offset_mm: Floats, belongs_of: Callable[[str], int]) -> bool | None:
    """Whether the names agree (True) or disagree (False) with where the marks lie.

    Parameters
    ----------
    names : sequence of str
        Of the first rows of `offset_mm`.
    offset_mm : (n,) float64
        To the right, or to the front.
    belongs_of : function of a name
        `side_of` or `front_of`.

    Returns
    -------
    bool or None
        None when fewer than four marks can tell or they contradict each other.

    >>> vote(["C3", "C4", "T7", "T8", "Cz"], np.array([-60.0, 60, -75, 75, 0]), side_of)
    True
    """
    belongs = np.array([belongs_of(name) for name in names])
    offset = offset_mm[: len(names)]
    heard = (belongs != 0) & (np.abs(offset) > 10.0) if len(names) else np.zeros(0, bool)
    if heard.sum() < _FEWEST_VOTES:
        return None
    agree = float((np.sign(offset[heard]) == belongs[heard]).mean())
    return True if agree >= _CLEAR else False if agree <= 1 - _CLEAR else None


def _above(placed: Floats) -> tuple[bool | None, float]:
    """Whether points in the head frame lie above the landmarks, and by how much of their spread."""
    if len(placed) < _FEWEST_VOTES:
        return None, 0.0
    lift = float(np.median(placed[:, 2])) / max(spread_of(placed), 1e-9)
    return (None if abs(lift) < 0.1 else lift > 0), lift
