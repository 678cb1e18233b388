"""A head seen from one side, as the lines of a drawing: outline, folds, and curves on its skin.

Parallel projection; x to the right and y down, in millimetres on the head. The *outline* is the rim
of all skin, open below the neck; *folds* are the lines inside it where the skin turns away from the
viewer. All lines come from the mesh, so that a scan or a fitted head is drawn as it is.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import gaussian_filter, gaussian_filter1d, map_coordinates
from scipy.spatial import cKDTree

from headfit.anatomy.head import EAR, Head
from headfit.geometry.mesh import Floats
from headfit.geometry.surface import nearest, normals_at
from headfit.output.drawing import Projection, Skyline, chains, contour_edges
from headfit.output.drawing_views import LIFT_MM, VIEWS

# Near the outline the skyline flickers: there the facing of the skin decides what is hidden.
_FLICKER_MM, _AVERTED = 5.0, -0.12
_NECK_BELOW = 0.42  # the drawing is open below, so far under the ears, of the way from ear to ear
_PIXELS_PER_MM = 3
_LEAST_FOLD_MM = 8.0
_ON_OUTLINE_MM = 1.8
# A rim or fold of the ear in profile is where the skin turns away as seen from a little beside.
_EAR_LOOKS = ((-1.0, 0.35, 0.0), (-1.0, 0.0, -0.4), (-1.0, -0.6, 0.1))


@dataclass(frozen=True)
class Runs:
    """A curve on the skin in pieces (k, 2): those that are seen and those behind the head."""

    seen: tuple[Floats, ...]
    hidden: tuple[Floats, ...]


class HeadView:
    """The lines of one head from one side.

    Parameters
    ----------
    head : Head
    view : str
        One of `VIEWS`.
    """

    def __init__(self, head: Head, view: str) -> None:
        self.head, self.view = head, view
        self.toward = np.array(VIEWS[view]) / np.linalg.norm(VIEWS[view])
        up = (0.0, 1.0, 0.0) if view == "top" else (0.0, 0.0, 1.0)
        self.project = Projection.toward(VIEWS[view], up)
        self.flat = self.project(head.vertices_mm)
        self.skyline = Skyline(self.flat, head.faces)
        left, right = head.landmarks.left_preauricular, head.landmarks.right_preauricular
        low = (left + right) / 2
        low = low - _NECK_BELOW * float(np.linalg.norm(right - left)) * np.array([0.0, 0.0, 1.0])
        # From above there is no neck.
        self.cut = np.inf if view == "top" else float(self.project(low[None])[0, 1])

    @cached_property
    def part(self) -> NDArray[np.int64]:
        """(n,) what each vertex belongs to; scalp where the head does not tell."""
        part = self.head.part
        return np.zeros(len(self.flat), int) if part is None else np.asarray(part, dtype=int)

    @cached_property
    def rim(self) -> Floats:
        """(k, 2) the closed rim of all skin in the picture."""
        corners = self.flat[:, :2]
        low = corners.min(axis=0) - 6.0
        places = (corners - low) * _PIXELS_PER_MM
        size = np.ceil(places.max(axis=0)).astype(int) + 6 * _PIXELS_PER_MM
        image = Image.new("L", (int(size[0]), int(size[1])))
        brush = ImageDraw.Draw(image)
        # The skin that is turned away covers nothing more.
        corner = places[self.head.faces]
        one, other = corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0]
        facing = one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0] < 0
        for triangle in corner[facing]:
            brush.polygon([tuple(corner) for corner in triangle.tolist()], fill=255, outline=255)
        filled = np.asarray(image).T > 0  # by x, y
        soft = gaussian_filter(filled.astype(float), _PIXELS_PER_MM)
        line = _longest_border(filled)
        for _ in range(3):  # from the steps of the pixels to where half of the light is left
            value = map_coordinates(soft, line.T, order=1) - 0.5
            slope = np.stack(
                [map_coordinates(each, line.T, order=1) for each in np.gradient(soft)], 1
            )
            line = line - (value / np.maximum((slope**2).sum(axis=1), 1e-4))[:, None] * slope
        # A pixel is as wide as the pen that fills it: half of it lies outside.
        return smoothed(line / _PIXELS_PER_MM + low, 1.2, closed=True)

    @cached_property
    def _rim_tree(self) -> cKDTree:
        return cKDTree(self.rim)

    @cached_property
    def fill(self) -> Floats:
        """(k, 2) the rim, closed by a straight line below the neck."""
        return thinned_line(np.stack([self.rim[:, 0], np.minimum(self.rim[:, 1], self.cut)], 1))

    @cached_property
    def outline(self) -> tuple[Floats, ...]:
        """The rim above the neck."""
        above = self.rim[:, 1] < self.cut
        if above.all():
            return (thinned_line(np.vstack([self.rim, self.rim[:1]])),)
        start = int(np.argmin(above))
        line, above = np.roll(self.rim, -start, axis=0), np.roll(above, -start)
        return tuple(thinned_line(line[a:b]) for a, b in _stretches(above) if b - a > 20)

    @cached_property
    def folds(self) -> tuple[Floats, ...]:
        """Lines inside the outline: nose, lids, an ear that is not seen in profile."""
        ends = contour_edges(self.head.surface, self.project, self.skyline)
        found = []
        for chain in chains(ends):
            line = self.flat[chain, :2]
            inside = (self._rim_tree.query(line)[0] > _ON_OUTLINE_MM) & (line[:, 1] < self.cut)
            if self.view in ("left", "right"):  # the ear is drawn by itself
                inside &= self.part[chain] != EAR
            found += [line[a:b] for a, b in _stretches(inside) if b - a > 2]
        long = (line for line in found if length_of(line) > _LEAST_FOLD_MM)
        return tuple(thinned_line(smoothed(line, 1.2)) for line in long)

    @cached_property
    def ear(self) -> tuple[Floats, ...]:
        """Rim and folds of the near ear in profile; nothing in other views."""
        return tuple(thinned_line(smoothed(line, 1.2)) for line in self._ear())

    def _ear(self) -> Iterable[Floats]:
        behind = self.view.endswith("back quarter")
        side = 1.0 if self.view.startswith("right") else -1.0
        if not behind and self.view not in ("left", "right"):
            return
        if not (self.part == EAR).any():
            return
        mesh = self.head.surface
        face, edge = np.nonzero(mesh.neighbours >= 0)
        across = mesh.neighbours[face, edge]
        normals = mesh.double_areas
        for x, y, z in _EAR_LOOKS[2:] if behind else _EAR_LOOKS:
            facing = normals @ np.array([-side * x, y, z])
            turning = (facing[face] > 0) & (facing[across] <= 0)
            ends = np.stack([mesh.faces[face, edge], mesh.faces[face, (edge + 1) % 3]], 1)[turning]
            ends = ends[(self.part[ends] == EAR).any(axis=1)]
            ends = ends[self.head.vertices_mm[ends[:, 0], 0] * side > 0]
            seen = self.skyline.sees(self.flat[ends].mean(axis=1))
            for chain in chains(ends[seen]):
                line = self.flat[chain, :2]
                if len(chain) > 2 and length_of(line) > _LEAST_FOLD_MM:
                    yield line

    @cached_property
    def box(self) -> tuple[float, float, float, float]:
        """Left, top, width and height of the drawing, with a margin."""
        low, high = self.fill.min(axis=0) - 13.0, self.fill.max(axis=0) + 13.0
        return float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1])

    def on_skin(self, points_mm: Floats) -> tuple[Floats, NDArray[np.bool_]]:
        """(n, 2) places of points (n, 3) lifted off the skin, and whether each is seen."""
        points = np.atleast_2d(points_mm)
        normals = normals_at(self.head.surface, nearest(self.head.surface, points)[0])
        if len(points) > 12:
            normals = gaussian_filter1d(normals, 3, axis=0, mode="nearest")
            normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        flat = self.project(points + LIFT_MM * normals)
        facing = normals @ self.toward
        near_rim = self._rim_tree.query(flat[:, :2])[0] < _FLICKER_MM
        seen = np.where(near_rim, facing > _AVERTED, self.skyline.sees(flat) & (facing > -0.05))
        return flat[:, :2], np.asarray(seen, dtype=bool)

    def runs(self, points_mm: Floats) -> Runs:
        """A curve (n, 3) on the skin, in the pieces that are seen and those that are not."""
        flat, seen = self.on_skin(points_mm)
        for a, b in _stretches(~seen):  # a short gap is a flicker
            if a > 0 and b < len(seen) and length_of(flat[a:b]) < 6.0:
                seen[a:b] = True

        def pieces(kept: NDArray[np.bool_]) -> tuple[Floats, ...]:
            cut = [flat[max(a - 1, 0) : b + 1] for a, b in _stretches(kept)]
            return tuple(thinned_line(piece) for piece in cut if len(piece) > 1)

        return Runs(pieces(seen), pieces(~seen))


def length_of(line: Floats) -> float:
    """Length of a line (k, 2)."""
    return float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum())


def smoothed(line: Floats, spread_mm: float, *, closed: bool = False) -> Floats:
    """A line (k, 2) without corners sharper than the spread; open ends stay."""
    step = spread_mm / 2
    line = np.vstack([line, line[:1]]) if closed else line
    reached = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1)))
    at = np.arange(0.0, reached[-1], step)
    if len(at) < 4:
        return line
    even = np.stack([np.interp(at, reached, line[:, k]) for k in range(2)], axis=1)
    if not closed:
        even = np.vstack([even, line[-1:]])
    soft = gaussian_filter1d(even, spread_mm / step, axis=0, mode="wrap" if closed else "nearest")
    if not closed:
        soft[0], soft[-1] = line[0], line[-1]
    return np.asarray(soft)


def thinned_line(line: Floats, within_mm: float = 0.15) -> Floats:
    """A line (k, 2) by fewer corners, none of the others farther off (Douglas & Peucker 1973)."""
    kept = np.zeros(len(line), bool)
    kept[[0, -1]] = True
    waiting = [(0, len(line) - 1)]
    while waiting:
        a, b = waiting.pop()
        if b - a < 2:
            continue
        span, gap = line[b] - line[a], line[a + 1 : b] - line[a]
        length = float(np.linalg.norm(span))
        off = (
            np.abs(span[0] * gap[:, 1] - span[1] * gap[:, 0]) / length
            if length > 1e-6
            else np.linalg.norm(gap, axis=1)
        )
        worst = int(off.argmax())
        if off[worst] > within_mm:
            kept[a + 1 + worst] = True
            waiting += [(a, a + 1 + worst), (a + 1 + worst, b)]
    return np.asarray(line[kept])


def _stretches(kept: Sequence[bool] | NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Begin and end of each run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], np.asarray(kept, int), [0]])))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _longest_border(filled: NDArray[np.bool_]) -> Floats:
    """(k, 2) corners of the pixels along the longest border between filled and empty ones."""
    wide = np.pad(filled, 1)
    n_columns = wide.shape[1] + 1

    def corners(x: NDArray[np.int64], y: NDArray[np.int64]) -> NDArray[np.int64]:
        return np.asarray(x * n_columns + y)

    # Every border has the filled pixel on its left, so that its ends join in one sense.
    edges = []
    x, y = np.nonzero(wide[1:] & ~wide[:-1])
    edges.append((corners(x + 1, y + 1), corners(x + 1, y)))
    x, y = np.nonzero(~wide[1:] & wide[:-1])
    edges.append((corners(x + 1, y), corners(x + 1, y + 1)))
    x, y = np.nonzero(wide[:, 1:] & ~wide[:, :-1])
    edges.append((corners(x, y + 1), corners(x + 1, y + 1)))
    x, y = np.nonzero(~wide[:, 1:] & wide[:, :-1])
    edges.append((corners(x + 1, y + 1), corners(x, y + 1)))
    ends = np.concatenate([np.stack(pair, axis=1) for pair in edges])
    loop = np.array(max(chains(ends), key=len)[:-1])
    return np.stack([loop // n_columns, loop % n_columns], axis=1) - 1.5
