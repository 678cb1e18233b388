"""The named looks at a head, each with the place of its camera. Light: `--help` lists them."""

from __future__ import annotations

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
    "front": Camera("front", (0.0, 1.0, 0.25)),
    "left": Camera("left", (-1.0, 0.0, 0.25)),
    "right": Camera("right", (1.0, 0.0, 0.25)),
    "back": Camera("back", (0.0, -1.0, 0.25)),
    "top": Camera("top", (0.0, 0.0, 1.0), up=(0.0, 1.0, 0.0)),
    "nasion": Camera("nasion", (0.25, 1.0, 0.1), focus="nasion", height_share=0.45),
}
VIEW_ANGLE_DEGREES = 28.0  # of the height of the picture

DEFAULT_VIEW = "left"
# For the help of every command that takes a view.
VIEW_HELP = ", ".join(
    [f"{DEFAULT_VIEW} (default)", *(name for name in CAMERAS if name != DEFAULT_VIEW)]
)
