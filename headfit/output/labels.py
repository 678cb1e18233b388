"""Where the names of sites go on a picture: in pixels from its lower left corner.

Names of sites on the far side, or behind an ear or the brow, are left out, and so is a name that
finds no place beside its site without covering a more important one. No drawing library in here.
"""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from headfit.geometry.mesh import Floats
from headfit.output.cameras import VIEW_ANGLE_DEGREES
from headfit.output.scene import DrawnSite, Scene

# Cosine of the angle between scalp and line of sight below which a name would lie on the contour.
_FACING = 0.10
_CLEAR_MM = 3.0  # from the middle of a marker to where it stands clear of the skin
_LETTER_WIDTH = 0.72  # of the height, in a bold sans-serif
# Radius of the marker of a site of 10-20, of 10-10 and beyond, on the adult template.
_MARKER_MM = (2.6, 2.2, 1.3)
_ADULT_MM = 235.0  # its height without the neck
_GAP_SHARE = 0.25  # of the height of the letters
TITLE_SHARE = 1.35  # height of the letters of the title, of those of the names
TITLE_STEP = 1.25 * TITLE_SHARE  # from line to line of the title
_TITLE_END = 0.55  # of the width of the picture


@dataclass(frozen=True, eq=False)
class View:
    """A camera with a picture before it.

    Attributes
    ----------
    eye_mm, focus_mm, up : (3,) float64
    size_px : (width, height)
    shift : float
        How far right of the middle the focus stands, as a share of half the width.
    """

    eye_mm: Floats
    focus_mm: Floats
    up: Floats
    size_px: tuple[int, int]
    shift: float = 0.0

    @cached_property
    def axes(self) -> Floats:
        """(3, 3) rows right, up and towards the viewer."""
        near = self.eye_mm - self.focus_mm
        near = near / np.linalg.norm(near)
        right = np.cross(self.up, near)
        right = right / np.linalg.norm(right)
        return np.array([right, np.cross(near, right), near])

    def pixels(self, points_mm: Floats) -> Floats:
        """(n, 2) where points (n, 3) appear."""
        right, up, near = ((points_mm - self.eye_mm) @ self.axes.T).T
        width, height = self.size_px
        scale = height / 2 / np.tan(np.radians(VIEW_ANGLE_DEGREES / 2)) / -near
        middle = width / 2 * (1 + self.shift)
        return np.column_stack([middle + right * scale, height / 2 + up * scale])

    def pixels_per_mm(self, point_mm: Floats) -> float:
        """Size of one millimetre at a point, square to the line of sight."""
        distance = float((self.eye_mm - point_mm) @ self.axes[2])
        return float(self.size_px[1] / 2 / np.tan(np.radians(VIEW_ANGLE_DEGREES / 2)) / distance)


@dataclass(frozen=True)
class PlacedName:
    """A name, and the lower left corner of its box in pixels."""

    name: str
    x: float
    y: float


def seen_sites(scene: Scene, view: View) -> list[str]:
    """Names of the sites on the near side that no other part of the head hides."""
    if not scene.sites:
        return []
    points = np.array([site.point_mm for site in scene.sites])
    normals = np.array([site.normal for site in scene.sites])
    sight = view.eye_mm - points
    sight /= np.linalg.norm(sight, axis=1, keepdims=True)
    near = np.flatnonzero(np.einsum("ij,ij->i", sight, normals) > _FACING)
    hidden = _behind_skin(scene, view, points[near] + _CLEAR_MM * normals[near])
    return [scene.sites[i].name for i in near[~hidden]]


def _behind_skin(scene: Scene, view: View, points: Floats) -> NDArray[np.bool_]:
    """Whether a triangle of the head lies between the eye and each point (n, 3).

    Triangles whose box in the picture holds the point are few; those are met exactly, by Moeller &
    Trumbore 1997, "Fast, minimum storage ray/triangle intersection".
    """
    skin, faces = scene.head.vertices_mm, scene.head.faces
    holds = np.ones((len(points), len(faces)), dtype=bool)
    for corners, at in zip(view.pixels(skin).T, view.pixels(points).T, strict=True):
        a, b, c = corners[faces.T]
        holds &= np.minimum(np.minimum(a, b), c) <= at[:, None]
        holds &= at[:, None] <= np.maximum(np.maximum(a, b), c)
    point, face = np.nonzero(holds)
    corner, second, third = np.moveaxis(skin[faces[face]], 1, 0)
    a, b, way = second - corner, third - corner, points[point] - view.eye_mm
    p = np.cross(way, b)
    scale = np.einsum("ij,ij->i", a, p)
    scale = np.where(np.abs(scale) < 1e-9, np.inf, scale)  # seen edge on, it hides nothing
    from_corner = view.eye_mm - corner
    q = np.cross(from_corner, a)
    u = np.einsum("ij,ij->i", from_corner, p) / scale
    v = np.einsum("ij,ij->i", way, q) / scale
    t = np.einsum("ij,ij->i", b, q) / scale
    hidden = np.zeros(len(points), dtype=bool)
    hidden[point[(u >= 0) & (v >= 0) & (u + v <= 1) & (t > 0) & (t < 1)]] = True
    return hidden


def size_of(scene: Scene) -> float:
    """Size of the head as a multiple of the adult template."""
    return scene.height_mm / _ADULT_MM


def marker_mm(scene: Scene, site: DrawnSite) -> float:
    """Radius of the marker of a site: smaller for finer systems and on smaller heads."""
    return _MARKER_MM[site.rank] * size_of(scene)


def named(site: DrawnSite) -> str:
    """The name with the sign of its state, so that no colour alone tells it."""
    return site.label


def title_lines(title: str, width_px: int, letter_px: float) -> list[str]:
    """The title in lines that end before the word at the top, which tells the nose or the back."""
    n_letters = round(_TITLE_END * width_px / (TITLE_SHARE * letter_px * _LETTER_WIDTH))
    return textwrap.wrap(title, max(n_letters, 8))


def place_names(scene: Scene, view: View, letter_px: float) -> list[PlacedName]:
    """The names to write, the important ones first.

    Parameters
    ----------
    scene : Scene
    view : View
    letter_px : float
        Height of the letters.
    """
    seen = set(seen_sites(scene, view))
    sites = sorted((s for s in scene.sites if s.name in seen), key=lambda site: site.rank)
    if not sites:
        return []
    points = np.array([site.point_mm for site in sites])
    places = view.pixels(points)
    radii = [marker_mm(scene, site) * view.pixels_per_mm(site.point_mm) for site in sites]
    markers = [(x - r, y - r, x + r, y + r) for (x, y), r in zip(places, radii, strict=True)]
    width_px, height_px = view.size_px
    lines = title_lines(scene.title, width_px, letter_px)
    title_px = TITLE_SHARE * letter_px * _LETTER_WIDTH * max(map(len, lines), default=0)
    low_px = height_px - 2.7 * letter_px - (len(lines) - 1) * TITLE_STEP * letter_px
    taken = [(0.0, low_px, title_px + letter_px, float(height_px))]
    placed = []
    for i, (site, (x, y)) in enumerate(zip(sites, places, strict=True)):
        width, height = _LETTER_WIDTH * letter_px * len(named(site)), letter_px
        away = radii[i] + _GAP_SHARE * letter_px
        others = markers[:i] + markers[i + 1 :]
        for left, low in (
            (x - width / 2, y + away),
            (x - width / 2, y - away - height),
            (x + away, y - height / 2),
            (x - away - width, y - height / 2),
        ):
            box = (left, low, left + width, low + height)
            inside = left >= 0 and low >= 0 and box[2] <= width_px and box[3] <= height_px
            if inside and not any(_overlap(box, other) for other in (*taken, *others)):
                taken.append(box)
                placed.append(PlacedName(site.name, float(left), float(low)))
                break
    return placed


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]
