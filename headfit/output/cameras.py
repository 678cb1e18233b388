"""The named looks at a head, each with the place of its camera. Light: `--help` lists them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Camera:
    """A named look at the head.

    Attributes
    ----------
    title : str
    toward : tuple of 3 floats
        From the focus to the camera, head frame; any length.
    up : tuple of 3 floats
    focus : {"head", "nasion"}
    height_share : float
        Height of the picture at the focus, as a share of `Scene.height_mm`.
    """

    title: str
    toward: tuple[float, float, float]
    up: tuple[float, float, float] = (0.0, 0.0, 1.0)
    focus: str = "head"
    height_share: float = 1.15


CAMERAS: dict[str, Camera] = {
    "front": Camera("front", (0.0, 1.0, 0.0)),
    "left": Camera("left", (-1.0, 0.0, 0.25)),
    "right": Camera("right", (1.0, 0.0, 0.25)),
    "back": Camera("back", (0.0, -1.0, 0.25)),
    "top": Camera("top", (0.0, 0.0, 1.0), up=(0.0, 1.0, 0.0)),
    "nasion": Camera("nasion", (0.25, 1.0, 0.1), focus="nasion", height_share=0.45),
}
# How high a camera that is turned by hand may stand, degrees: straight above from behind, where the
# nose points up, and no higher than this from in front, where it would point down.
HIGHEST_IN_FRONT = 55.0
LOWEST = -60.0


def levelled(toward: Sequence[float]) -> tuple[float, float, float]:
    """A direction from the head to a camera, sunk where the head would stand upside down.

    Parameters
    ----------
    toward : three floats
        Head frame, any length but 0; the length stays.

    >>> levelled((0.0, 1.0, 0.0))
    (0.0, 1.0, 0.0)
    >>> round(math.degrees(math.asin(levelled((0.0, 0.1, 0.995))[2])))
    55
    """
    x, y, z = map(float, toward)
    size = math.sqrt(x * x + y * y + z * z)
    azimuth = math.atan2(y, x)
    height = math.degrees(math.asin(max(-1.0, min(1.0, z / size))))
    most = HIGHEST_IN_FRONT + (90.0 - HIGHEST_IN_FRONT) * (1.0 - math.sin(azimuth)) / 2
    kept = min(max(height, LOWEST), most)
    if kept == height:
        return x, y, z
    up = math.radians(kept)
    flat = size * math.cos(up)
    return flat * math.cos(azimuth), flat * math.sin(azimuth), size * math.sin(up)


@dataclass(frozen=True)
class Edges:
    """What of the person lies at each edge of a picture, and on the side that faces the viewer.

    Each is "" or a word: "L", "R", "nose", "back", or "L side (R is behind)".
    """

    left: str
    right: str
    top: str
    near: str


def edge_words(right: Sequence[float], up: Sequence[float], near: Sequence[float]) -> Edges:
    """Which side of the person lies where, from the axes of a picture in the head frame.

    >>> edge_words((-1, 0, 0), (0, 0, 1), (0, 1, 0))  # from the front
    Edges(left='R', right='L', top='', near='')
    >>> edge_words((0, -1, 0), (0, 0, 1), (-1, 0, 0))  # from the left
    Edges(left='nose', right='back', top='', near='L side (R is behind)')
    """
    top = ("nose" if up[1] > 0 else "back") if abs(up[1]) > 0.7 else ""
    if abs(right[0]) >= abs(right[1]):
        sides = ("L", "R") if right[0] > 0 else ("R", "L")
        return Edges(*sides, top, "")
    ends = ("back", "nose") if right[1] > 0 else ("nose", "back")
    side, other = ("R", "L") if near[0] > 0 else ("L", "R")
    return Edges(*ends, top, f"{side} side ({other} is behind)")


VIEW_ANGLE_DEGREES = 28.0  # of the height of the picture

DEFAULT_VIEW = "left"
# For the help of every command that takes a view.
VIEW_HELP = ", ".join(
    [f"{DEFAULT_VIEW} (default)", *(name for name in CAMERAS if name != DEFAULT_VIEW)]
)
