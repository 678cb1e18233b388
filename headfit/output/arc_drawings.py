"""A small drawing of the head with the tape of an arc on it, for the sheet. Millimetres on paper.

The lines of `output.drawing` in a few fixed views: contours of the fitted head, the tape as a thick
line where it is seen and dashed behind the head, a dot at its zero.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from headfit.anatomy.arcs import ArcTracer
from headfit.anatomy.head import NECK, Head
from headfit.geometry.mesh import Floats
from headfit.output.drawing import Projection, Skyline, chains, contour_edges
from headfit.output.drawing_views import LIFT_MM, VIEWS, view_of
from headfit.output.headmap import Pen
from headfit.output.typesetting import Paper

SIZE_MM = 15.0
_CONTOUR, _TAPE, _BEHIND = Pen(0.22), Pen(0.75), Pen(0.3, 0.35, None, (0.7, 0.6))
_NECK_MM = -48.0
_SHORTEST_MM = 9.0
_STEPS = 36  # of an arc
_CELL_MM = 3.0  # of the skyline: 0.2 mm on paper
_EDGE = 0.2  # cosine between skin and look on the outline


class _View:
    """Contours of a head from one side, scaled to the drawing."""

    def __init__(self, head: Head, toward: Sequence[float]) -> None:
        self.project = Projection.toward(toward, (0.0, 0.0, 1.0))
        flat = self.project(head.vertices_mm)
        self.skyline = Skyline(flat, head.faces, _CELL_MM)
        part = head.part if head.part is not None else np.zeros(len(flat), int)
        kept = flat[part < NECK, :2]
        self.corner = kept.min(axis=0)
        self.scale = SIZE_MM / float(np.ptp(kept, axis=0).max())
        ends = contour_edges(head.surface, self.project, self.skyline)
        above = head.vertices_mm[ends][:, :, 2].min(axis=1) > _NECK_MM
        self.lines = [
            self.on_paper(flat[chain, :2])
            for chain in chains(ends[above])
            if np.linalg.norm(np.diff(flat[chain, :2], axis=0), axis=1).sum() > _SHORTEST_MM
        ]

    def on_paper(self, flat: Floats) -> Floats:
        return np.asarray((flat - self.corner) * self.scale)


class ArcDrawings:
    """Draws arcs of one head on one paper; each view is made once."""

    def __init__(self, paper: Paper, head: Head, tracer: ArcTracer) -> None:
        self.paper, self.head, self.tracer = paper, head, tracer
        self._views: dict[str, _View] = {}

    def __call__(self, arcs: Sequence[str], x: float, y: float) -> None:
        """The head with some arcs on it, in a square with its top left corner at (x, y)."""
        name = view_of(arcs[0])
        if name not in self._views:
            self._views[name] = _View(self.head, VIEWS[name])
        view, corner = self._views[name], np.array([x, y])

        def line(points: Floats, pen: Pen) -> None:
            self.paper.polyline([(float(a), float(b)) for a, b in points + corner], pen)

        for contour in view.lines:
            line(contour, _CONTOUR)
        for arc in arcs:
            path = self.tracer.run(arc).points_mm(np.linspace(0.0, 1.0, _STEPS + 1))
            normals = self._normals(path)
            flat = view.project(path + LIFT_MM * normals)
            # On the outline the skyline flickers: there the facing of the skin decides.
            facing = normals @ view.project.axes[2]
            seen = view.skyline.sees(flat) | (np.abs(facing) < _EDGE)
            places = view.on_paper(flat[:, :2])
            edges = np.flatnonzero(np.diff(seen.astype(int))) + 1
            for piece in np.split(np.arange(len(seen)), edges):
                if len(piece) > 1:
                    line(places[piece], _TAPE if seen[piece[0]] else _BEHIND)
            dot = places[0] + corner
            self.paper.dot(float(dot[0]), float(dot[1]), 0.8)

    def _normals(self, points_mm: Floats) -> Floats:
        """(n, 3) those of the vertices nearest to points (n, 3): at this size near enough."""
        vertices = self.head.vertices_mm
        farness = np.einsum("ij,ij->i", vertices, vertices) - 2 * points_mm @ vertices.T
        return np.asarray(self.head.surface.vertex_normals[farness.argmin(axis=1)])
