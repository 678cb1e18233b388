"""From where a head is seen in its line drawings, and from where an arc is seen best. Light."""

from __future__ import annotations

# Where the viewer stands, by the name of the view.
VIEWS = {
    "left": (-1.0, 0.0, 0.0),
    "right": (1.0, 0.0, 0.0),
    "front": (0.0, 1.0, 0.1),
    "quarter": (-0.8, 0.78, 0.42),
    "right quarter": (0.8, 0.78, 0.42),
    "high": (-0.66, 0.76, 0.72),
    "right high": (0.66, 0.76, 0.72),
    "back": (0.0, -1.0, 0.55),
    "low back": (0.0, -1.0, 0.0),
    "back quarter": (-0.72, -0.85, 0.30),
    "right back quarter": (0.72, -0.85, 0.30),
    "top": (0.0, 0.0, 1.0),
}
VIEW_WORDS = {
    "left": "left side of the head",
    "right": "right side of the head",
    "front": "seen from the front: left is on the right",
    "quarter": "seen from the left in front",
    "right quarter": "seen from the right in front",
    "high": "seen from above, left in front",
    "right high": "seen from above, right in front",
    "back": "seen from behind: left is left",
    "low back": "seen from behind: left is left",
    "back quarter": "seen from the left behind",
    "right back quarter": "seen from the right behind",
    "top": "seen from above: left is left",
}
_FRONT_ROWS = ("row AF", "row F", "row FC", "row FCC", "row FFC", "row AFF", "row AFp")
# So far a tape lies off the skin, that it is not lost in it.
LIFT_MM = 2.0


def view_of(arc: str) -> str:
    """The view from which an arc is seen best."""
    if arc in ("midline", "left contour"):
        return "left"
    if arc == "right contour":
        return "right"
    if arc == "coronal":
        return "front"
    if arc.startswith("row") or "half row" in arc:
        row = f"row {arc.rsplit(' ', 1)[-1]}"
        return "high" if row in _FRONT_ROWS else "back"
    side = "right " if arc.startswith("right") else ""
    return f"{side}high" if "parasagittal" in arc else f"{side}quarter"
