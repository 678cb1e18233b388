"""The head as a line drawing in SVG: contours, arcs, sites and names; needs no graphics driver.

Parallel projection along a named camera. It stands in the report where a browser has no WebGL or no
JavaScript, and it prints crisp. Millimetres on the head, one millimetre is one unit of the SVG.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np
from numpy.typing import NDArray

from headfit.geometry.mesh import Floats, Integers, TriangleMesh
from headfit.output.cameras import CAMERAS, edge_words
from headfit.output.labels import named
from headfit.output.scene import STATES, DrawnSite, Scene

_SAMPLES_APART = 0.8  # of a cell
_BEHIND_MM = 4.0  # a point so far behind the skin before it is hidden
_MARGIN_MM = 14.0
_DOT_MM = 2.4
_NAME_MM = 6.5  # height of the letters


@dataclass(frozen=True, eq=False)
class Projection:
    """Right, down and nearness of points, mm; nearness grows towards the viewer."""

    axes: Floats

    @classmethod
    def of(cls, camera: str) -> Projection:
        """That of a named camera."""
        return cls.toward(CAMERAS[camera].toward, CAMERAS[camera].up)

    @classmethod
    def toward(cls, viewer: Sequence[float], up: Sequence[float]) -> Projection:
        """Seen from the direction of a viewer (3,), with a direction (3,) upwards."""
        near = np.asarray(viewer) / np.linalg.norm(viewer)
        right = np.cross(up, near)
        right /= np.linalg.norm(right)
        return cls(np.array([right, -np.cross(near, right), near]))

    def __call__(self, points_mm: Floats) -> Floats:
        """(n, 3) right, down and nearness of points (n, 3)."""
        return np.asarray(points_mm @ self.axes.T)


class Skyline:
    """The nearest skin over each cell of the picture, to tell what is hidden."""

    def __init__(self, flat: Floats, faces: Integers, cell_mm: float = 2.0) -> None:
        self.cell_mm = cell_mm
        a, b, c = (flat[faces[:, k]] for k in range(3))
        # Skin that is turned away lies behind skin that is not: half of the work. (Down is +y.)
        turned = (b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]
        a, b, c = (corner[turned < 0] for corner in (a, b, c))
        samples = _samples(a, b, c, cell_mm * _SAMPLES_APART)
        self.corner = flat[:, :2].min(axis=0)
        size = np.ceil((flat[:, :2].max(axis=0) - self.corner) / cell_mm).astype(int) + 1
        self.nearest = np.full(size, -np.inf)
        rows, columns = self._cells(samples)
        np.maximum.at(self.nearest, (rows, columns), samples[:, 2])
        # On a contour the skin falls away within one cell: there the farthest cell around counts.
        wide = np.pad(self.nearest, 1, constant_values=-np.inf)
        around = np.lib.stride_tricks.sliding_window_view(wide, (3, 3))
        self.farthest_around = around.min(axis=(2, 3))

    def _cells(self, flat: Floats) -> tuple[Integers, Integers]:
        cells = ((flat[:, :2] - self.corner) / self.cell_mm).astype(np.int64)
        cells = np.clip(cells, 0, np.array(self.nearest.shape) - 1)
        return cells[:, 0], cells[:, 1]

    def sees(self, flat: Floats, *, contour: bool = False) -> NDArray[np.bool_]:
        """(n,) bool: not hidden behind the skin."""
        skin = self.farthest_around if contour else self.nearest
        return np.asarray(flat[:, 2] >= skin[self._cells(flat)] - _BEHIND_MM)


def _samples(a: Floats, b: Floats, c: Floats, apart_mm: float) -> Floats:
    """(n, 3) points on triangles with corners (m, 3), nowhere farther apart than that."""
    ends = np.stack([a, b, c])[:, :, :2]
    reach = np.ptp(ends, axis=0).max(axis=1)
    parts = np.ceil(reach / apart_mm).astype(int).clip(1)
    found = []
    for n in sorted(set(parts.tolist())):
        corner, one, other = (each[parts == n] for each in (a, b - a, c - a))
        found += [
            corner + (i / n) * one + (j / n) * other for i in range(n + 1) for j in range(n + 1 - i)
        ]
    return np.concatenate(found)


def line_drawing(scene: Scene, camera: str) -> str:
    """An SVG element of the scene from a named camera, at its true proportions.

    Raises
    ------
    KeyError
        No such camera.
    """
    project = Projection.of(camera)
    flat = project(scene.head.vertices_mm)
    skyline = Skyline(flat, scene.head.faces)
    focus = project(scene.focus_mm[None])[0, :2]
    half = scene.height_mm / 2 + _MARGIN_MM
    left, top = focus - half
    parts = [_path(_contours(scene, project, skyline), "contour")]
    parts += [_path(_seen_runs(project(arc.points_mm), skyline), "arc") for arc in scene.arcs]
    parts += [
        _path(_seen_runs(project(each.path_mm), skyline), "chain")
        for chain in scene.chains
        for each in chain.derivations
    ]
    for region in scene.regions:
        closed = np.concatenate([region.outline_mm, region.outline_mm[:1]])
        parts.append(_path(_seen_runs(project(closed), skyline), "region"))
    for arrow in scene.arrows:
        ends = project(np.array([arrow.start_mm, arrow.end_mm]))
        if skyline.sees(ends).all():
            parts.append(
                _path(
                    [ends[:, :2], *_wings(ends[:, :2])],
                    "move" if arrow.kind == "mark" else "move moved",
                )
            )
    parts += _sites(scene.sites, project)
    parts += _edges(project, left, top, 2 * half)
    title = escape(f"{scene.title} {CAMERAS[camera].title}".strip())
    box = f"{left:.0f} {top:.0f} {2 * half:.0f} {2 * half:.0f}"
    return (
        f'<svg class="drawing" viewBox="{box}" role="img" '
        f'aria-label="{title}: line drawing of the head with its sites">'
        f"{''.join(parts)}</svg>"
    )


def _wings(ends: Floats) -> list[Floats]:
    """The head of an arrow (2, 2) as one bent line."""
    span = ends[1] - ends[0]
    length = float(np.linalg.norm(span))
    if length < 2.0:
        return []
    along = span / length * min(5.0, length / 2)
    across = np.array([-along[1], along[0]]) * 0.5
    return [np.array([ends[1] - along + across, ends[1], ends[1] - along - across])]


def _edges(project: Projection, left: float, top: float, size: float) -> list[str]:
    """Which side of the person lies at which edge."""
    right, down, near = project.axes
    words = edge_words(right, -down, near)
    places = (
        (words.left, left + 3.0, top + size / 2, "start"),
        (words.right, left + size - 3.0, top + size / 2, "end"),
        (words.top, left + size / 2, top + 8.0, "middle"),
        (words.near, left + 3.0, top + 8.0, "start"),
    )
    return [
        f'<text class="edge" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{escape(word)}</text>'
        for word, x, y, anchor in places
        if word
    ]


def _contours(scene: Scene, project: Projection, skyline: Skyline) -> list[Floats]:
    """Seen edges (2, 2) between a triangle that faces the viewer and one that does not."""
    vertices = scene.head.vertices_mm
    ends = contour_edges(TriangleMesh(vertices, scene.head.faces), project, skyline)
    return list(project(vertices)[ends][:, :, :2])


def contour_edges(mesh: TriangleMesh, project: Projection, skyline: Skyline) -> Integers:
    """(n, 2) vertices of the seen edges where a facing triangle meets one that turns away.

    Each in the order of the triangle that faces.
    """
    toward = mesh.double_areas @ project.axes[2]
    face, edge = np.nonzero(mesh.neighbours >= 0)
    across = mesh.neighbours[face, edge]
    turning = (toward[face] > 0) & (toward[across] <= 0)
    face, edge = face[turning], edge[turning]
    ends = np.stack([mesh.faces[face, edge], mesh.faces[face, (edge + 1) % 3]], axis=1)
    seen = skyline.sees(project(mesh.vertices_mm)[ends].mean(axis=1), contour=True)
    return np.asarray(ends[seen])


def chains(ends: NDArray[np.int64]) -> list[list[int]]:
    """Edges (n, 2) joined end to end."""
    following: dict[int, list[int]] = {}
    for a, b in ends.tolist():
        following.setdefault(a, []).append(b)
    begins = sorted(set(ends[:, 0].tolist()) - set(ends[:, 1].tolist()))
    found = []
    for begin in [*begins, *sorted(following)]:
        while following.get(begin):
            chain = [begin]
            while following.get(chain[-1]):
                chain.append(following[chain[-1]].pop())
            found.append(chain)
    return found


def _seen_runs(flat: Floats, skyline: Skyline) -> list[Floats]:
    """The pieces of a curve that are not hidden, (k, 2) each."""
    seen = skyline.sees(flat)
    runs, start = [], None
    for i, visible in enumerate([*seen.tolist(), False]):
        if visible and start is None:
            start = i
        elif not visible and start is not None:
            if i - start > 1:
                runs.append(flat[start:i, :2])
            start = None
    return runs


def _path(lines: Iterable[Floats], kind: str) -> str:
    steps = "".join("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line) for line in lines)
    return f'<path class="{kind}" d="{steps}"/>' if steps else ""


def _sites(sites: Iterable[DrawnSite], project: Projection) -> list[str]:
    """Dots and names of the sites on the near side; crowded names give way by rank."""
    seen = [
        (site, *project(site.point_mm[None])[0, :2].tolist())
        for site in sorted(sites, key=lambda each: each.rank)
        if float(site.normal @ project.axes[2]) > 0.1
    ]
    parts = [
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{_DOT_MM}" fill="{STATES[site.state].colour}"/>'
        for site, x, y in seen
    ]
    taken = [(x - _DOT_MM, y - _DOT_MM, x + _DOT_MM, y + _DOT_MM) for _, x, y in seen]
    for site, x, y in seen:
        name = named(site)
        wide = 0.62 * _NAME_MM * len(name)
        for left, bottom in (
            (x + 3.5, y + 2.3),
            (x - 3.5 - wide, y + 2.3),
            (x - wide / 2, y - 4),
            (x - wide / 2, y + 9),
        ):
            box = (left, bottom - _NAME_MM, left + wide, bottom)
            if all(box[0] > t[2] or box[2] < t[0] or box[1] > t[3] or box[3] < t[1] for t in taken):
                taken.append(box)
                parts.append(f'<text x="{left:.1f}" y="{bottom:.1f}">{escape(name)}</text>')
                break
    return parts
