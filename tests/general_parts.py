"""Sites and fit from general parts: a slow oracle for tests, and the other column of the bench.

Plane cuts by trimesh.section, tapes by scipy's ConvexHull, the nearest skin by trimesh.proximity,
the fit by scipy's least_squares with finite differences. Of headfit only the tables are used, which
say where a site stands, and the shape model, for which there is no general part. Nothing here is
slow on purpose: an arc is cut once, and the vertex is found by bisecting both arcs in turn.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial import ConvexHull
from scipy.special import softmax

from headfit import Landmarks, Tape
from headfit.anatomy.arcs import ARCS, CZ_SETTLED_MM, MARKS
from headfit.anatomy.landmarks import NAMES
from headfit.anatomy.sites import SYSTEMS, TABLE, BesideEar, OnArc
from headfit.fitting.leftover import LEFTOVER_SAFE, leftover_effects, reading_noise
from headfit.fitting.shape import shape_model

Floats = NDArray[np.float64]


def travelled(points: Floats) -> Floats:
    """(n,) length along a polyline (n, 3) up to each of its points."""
    return np.append(0.0, np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1)))


class GeneralArc:
    """A section of a closed mesh from a start through a via to an end point, and its taut tape."""

    def __init__(
        self,
        mesh: trimesh.Trimesh,
        start: Floats,
        via: Floats,
        end: Floats,
        *,
        pinned: bool = False,
        hint: bool = False,
    ) -> None:
        self.normal = np.cross(end - start, via - start)
        self.normal /= np.linalg.norm(self.normal)
        self.pinned = pinned
        section = mesh.section(plane_normal=self.normal, plane_origin=start)
        # Of several loops the one on which the via point lies.
        loop = min(section.discrete, key=lambda points: np.linalg.norm(points - via, axis=1).min())
        along = travelled(loop)
        around = along[-1]
        origin, *at = (self._place(loop, along, point) for point in (start, via, end))
        at_via, at_end = ((place - origin) % around for place in at)
        along = (along[:-1] - origin) % around
        order = np.argsort(along)
        loop, along = loop[order], along[order]
        if at_via > at_end:  # the other way round
            loop, along = loop[::-1], around - along[::-1]
            at_via, at_end = around - at_via, around - at_end
        if hint:
            via = np.array([np.interp(at_via, along, axis) for axis in loop.T])
        half = (at_end + around) / 2  # what is left over goes to both ends

        def between(low: float, high: float) -> Floats:
            return loop[(along > low + 1e-9) & (along < high - 1e-9)]

        first, second = between(0.0, at_via), between(at_via, at_end)
        self.path = np.vstack([start, first, via, second, end])
        self.at_via = 1 + len(first)
        self.beyond = np.vstack([end, between(at_end, half)])
        self.ahead = np.vstack([start, between(half, around)[::-1]])

    @staticmethod
    def _place(loop: Floats, along: Floats, point: Floats) -> float:
        span = np.diff(loop, axis=0)
        gap = point - loop[:-1]
        share = np.clip(np.sum(gap * span, axis=1) / np.sum(span**2, axis=1), 0.0, 1.0)
        nearest = int(np.linalg.norm(gap - share[:, None] * span, axis=1).argmin())
        return float(along[nearest] + share[nearest] * (along[nearest + 1] - along[nearest]))

    def _tight(self, first: int, last: int) -> Floats:
        """Rows of the path a tape touches that is held at two of its rows: its convex hull."""
        points = self.path[first : last + 1]
        chord = points[-1] - points[0]
        flat = points @ np.column_stack([chord, np.cross(self.normal, chord)])
        corners = ConvexHull(flat).vertices
        outside = corners[flat[corners, 1] > flat[0, 1]]  # of the chord; inside is the hollow
        return first + np.union1d(outside, [0, len(points) - 1])

    @cached_property
    def over_skin_mm(self) -> Floats:
        """(n,) tape length at which the tape passes over each point of the path."""
        last = len(self.path) - 1
        rows = self._tight(0, last)
        if self.pinned:
            rows = np.union1d(self._tight(0, self.at_via), self._tight(self.at_via, last))
        touched = self.path[rows]
        reached = travelled(touched)
        piece = np.searchsorted(rows, np.arange(last + 1), side="right") - 1
        piece = np.minimum(piece, len(rows) - 2)
        unit = np.diff(touched, axis=0) / np.diff(reached)[:, None]
        over = reached[piece] + np.sum((self.path - touched[piece]) * unit[piece], axis=1)
        return np.maximum.accumulate(over)

    @property
    def length_mm(self) -> float:
        """Tape length."""
        return float(self.over_skin_mm[-1])

    def point(self, fraction: float) -> Floats:
        """(3,) the place on the skin at a fraction of the tape."""
        over = self.over_skin_mm
        via = over[self.at_via] if self.pinned else over[-1] / 2
        wanted = np.interp(fraction, [0.0, 0.5, 1.0], [0.0, via, over[-1]])
        return np.array([np.interp(wanted, over, axis) for axis in self.path.T])

    def further(self, distance_mm: float, *, at_end: bool) -> Floats:
        """(3,) the place reached by going on along the skin."""
        path = self.beyond if at_end else self.ahead
        return np.array([np.interp(distance_mm, travelled(path), axis) for axis in path.T])


class GeneralHead:
    """Arcs and sites of a closed head, each arc cut when first asked for."""

    def __init__(
        self,
        vertices_mm: Floats,
        faces: Floats,
        landmarks: Landmarks,
        with_ears_mm: Floats | None = None,
    ) -> None:
        self.mesh = trimesh.Trimesh(vertices_mm, faces, process=False)
        skin = vertices_mm if with_ears_mm is None else with_ears_mm
        self.skin = trimesh.Trimesh(skin, faces, process=False)
        self.points = dict(zip(NAMES, landmarks, strict=True))
        self.arcs: dict[str, GeneralArc] = {}
        nasion, inion, left, right = landmarks
        above = landmarks.points_mm.mean(axis=0) + 1.5 * np.linalg.norm(right - left) * landmarks.up
        vertex = GeneralArc(self.mesh, nasion, above, inion, hint=True).point(0.5)
        ends = [(left, right), (nasion, inion)]
        for turn in range(50):
            start, end = ends[turn % 2]
            middle = GeneralArc(self.mesh, start, vertex, end).point(0.5)
            if np.linalg.norm(middle - vertex) < CZ_SETTLED_MM:
                break
            vertex = middle
        self.points["Cz"] = vertex

    def arc(self, name: str) -> GeneralArc:
        """A named arc."""
        if name not in self.arcs:
            arc = ARCS[name]
            start, via, end = (self.point(mark) for mark in arc.marks)
            self.arcs[name] = GeneralArc(self.mesh, start, via, end, pinned=arc.pinned)
        return self.arcs[name]

    def point(self, name: str) -> Floats:
        """(3,) a landmark or mark."""
        if name not in self.points:
            arc, fraction = MARKS[name]
            self.points[name] = self.arc(arc).point(fraction)
        return self.points[name]

    def sites(self, system: str) -> Floats:
        """(n, 3) the sites of a system."""
        placed, beside = [], []
        left, right, nasion = (self.point(NAMES[k]) for k in (2, 3, 0))
        width = np.linalg.norm(right - left)
        x = (right - left) / width
        y = nasion - (left + right) / 2
        y -= (y @ x) * x
        y /= np.linalg.norm(y)
        axes = np.array([x, y, np.cross(x, y)])
        for name in SYSTEMS[system]:
            place = TABLE[name]
            if isinstance(place, OnArc):
                placed.append(self.arc(place.arc).point(place.fraction))
            elif isinstance(place, BesideEar):
                ear, out = (left, -1.0) if place.left else (right, 1.0)
                offset = np.array(place.offset_mm) * [out, 1.0, 1.0]
                beside.append((len(placed), self.skin if place.on_ear else self.mesh))
                placed.append(ear + width / 145.0 * (offset @ axes))
            else:
                down = place.coronal_share * self.arc("coronal").length_mm
                placed.append(self.arc(place.arc).further(down, at_end=place.at_end))
        points = np.array(placed)
        for row, mesh in beside:
            points[row] = trimesh.proximity.closest_point(mesh, points[row][None])[0][0]
        return points

    def measurement_mm(self, name: str) -> float:
        """One measurement of the sheet, of those that the bench takes."""
        if name in _ARCS_OF:
            return sum(self.arc(arc).length_mm for arc in _ARCS_OF[name])
        left, right, nasion = (self.point(NAMES[k]) for k in (2, 3, 0))
        middle, x = (left + right) / 2, right - left
        scale = np.linalg.norm(x) / 145.0
        x = x / np.linalg.norm(x)
        up = np.cross(x, nasion - middle)
        up /= np.linalg.norm(up)
        if name == "head_breadth":
            placed = (self.mesh.vertices - middle) @ np.array([x, up]).T
            return float(np.ptp(placed[placed[:, 1] > 40.0 * scale, 0]))
        fractions, brow = np.linspace(0.5, 1.0, 61), self.point("NFpz")
        behind = np.array([self.arc("midline").point(fraction) for fraction in fractions])
        shares = softmax(np.linalg.norm(behind - brow, axis=1) / 0.5)
        return float(np.linalg.norm(self.arc("midline").point(shares @ fractions) - brow))


_ARCS_OF = {
    "nasion_inion": ("midline",),
    "preauricular_arc": ("coronal",),
    "ring": ("left ring", "right ring"),
    "frontal_row": ("row F",),
    "parietal_row": ("row P",),
    "left_parasagittal": ("left parasagittal",),
    "right_parasagittal": ("right parasagittal",),
    "ear_arc_oz": ("ear to ear over Oz",),
}


def fit_by_scipy(tape: Tape) -> Floats:
    """(K,) the parameters a sheet speaks of, by finite differences of sections."""
    model = shape_model()
    readings = np.array(list(tape.values_mm.values()))
    names = tuple(tape.values_mm)
    spreads = reading_noise(np.array([tape.spread_mm(name) for name in names]), names)
    leftover = leftover_effects(model).on_measurements(names) / LEFTOVER_SAFE
    root = np.linalg.cholesky(np.diag(spreads**2) + leftover @ leftover.T)
    if len(readings) <= 3:  # met exactly, as fit_head does
        root = 0.02 * root
    whiten = np.linalg.cholesky(model.prior.information).T
    faces = model.template.faces

    def misfit(parameters: Floats) -> Floats:
        pose = model.pose(parameters)
        head = GeneralHead(pose.mesh.vertices_mm, faces, pose.landmarks)
        values = np.array([head.measurement_mm(name) for name in tape.values_mm])
        away = whiten @ (parameters - model.prior.mean)
        return np.append(np.linalg.solve(root, values - readings), away)

    return least_squares(
        misfit, model.prior.mean, diff_step=1e-4, x_scale=model.prior.spread, xtol=1e-4
    ).x
