"""The head laid flat for a map: the ring in its true shape, all else by fractions of the arcs.

The 10 % ring is drawn as it lies on the head, seen from above, so that a long, broad or skewed head
looks it. From the vertex every half plane through the axis of the head becomes a straight ray; a
place stands on its ray by the fraction of the arc from vertex to ring, as the midline and the
coronal arc are divided. No sphere is laid through anything, so no site falls outside.

Map coordinates: millimetres of the true ring, x to the right, y to the nose, origin at the vertex.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from headfit.anatomy.arcs import ArcTracer
from headfit.geometry.mesh import Floats
from headfit.geometry.sections import cut_all

RING_FRACTION = 0.8  # of the way from the vertex to the landmarks
N_RAYS_PER_SIDE = 20
N_RING_POINTS_PER_SIDE = 90


@dataclass(frozen=True, eq=False)
class Flattening:
    """From places on the scalp to the map.

    Attributes
    ----------
    vertex_mm, centre_mm : (3,) float64
        Cz, and the place inside the head from which heights are told.
    axes : (3, 3) float64
        Rows: to the right, to the nose, up along the axis of the head; unit vectors.
    ring_turn, ring_map : (m,) and (m, 2) float64
        Angle round the axis of points of the ring, rising, and where they stand on the map.
    ray_turn : (k,) float64
        Angles of the rays along which arcs were measured, rising.
    ray_polar, ray_fraction : (k, p) float64
        Along each ray: angle at the centre away from the vertex, rising, and fraction of the arc.
    """

    vertex_mm: Floats
    centre_mm: Floats
    axes: Floats
    ring_turn: Floats
    ring_map: Floats
    ray_turn: Floats
    ray_polar: Floats
    ray_fraction: Floats

    def places(self, points_mm: Floats) -> Floats:
        """(n, 2) where places (n, 3) of the scalp stand on the map."""
        points = np.atleast_2d(points_mm)
        turn = _turn(points - self.vertex_mm, self.axes)
        from_centre = (points - self.centre_mm) @ self.axes.T
        polar = np.arctan2(np.hypot(from_centre[:, 0], from_centre[:, 1]), from_centre[:, 2])
        after = np.searchsorted(self.ray_turn, turn).clip(1, len(self.ray_turn) - 1)
        before = after - 1
        share = (turn - self.ray_turn[before]) / (self.ray_turn[after] - self.ray_turn[before])
        fraction = np.empty(len(points))
        for row, (i, j, w, angle) in enumerate(zip(before, after, share, polar, strict=True)):
            low = np.interp(angle, self.ray_polar[i], self.ray_fraction[i])
            high = np.interp(angle, self.ray_polar[j], self.ray_fraction[j])
            fraction[row] = (1 - w) * low + w * high
        return self._on_rays(turn, fraction)

    def outline(self, fraction: float = 1.0, n_points: int = 360) -> Floats:
        """(n_points, 2) the closed line at a fraction of the way from the vertex to the landmarks.

        From behind over the left, the nose and the right; row n_points / 2 is the nose.
        """
        turn = np.linspace(-np.pi, np.pi, n_points, endpoint=False)
        return self._on_rays(turn, np.full(n_points, fraction))

    def _on_rays(self, turn: Floats, fraction: Floats) -> Floats:
        ring = np.stack(
            [np.interp(turn, self.ring_turn, self.ring_map[:, axis]) for axis in range(2)], axis=1
        )
        return np.asarray(ring * (fraction / RING_FRACTION)[:, None])


def _turn(from_vertex: Floats, axes: Floats) -> Floats:
    """(n,) angle round the axis: 0 to the nose, right positive, -pi..pi."""
    return np.asarray(np.arctan2(from_vertex @ axes[0], from_vertex @ axes[1]))


def flatten(tracer: ArcTracer) -> Flattening:
    """The map of a head.

    Raises
    ------
    MeshError
        The surface is broken between vertex and ring.
    """
    nasion, inion, left, right = (
        tracer.point(name)
        for name in ("nasion", "inion", "left_preauricular", "right_preauricular")
    )
    vertex = tracer.point("Cz")
    # The planes of the midline and the coronal arc meet in the axis of the head.
    across = np.cross(nasion - vertex, inion - vertex)
    axis = np.cross(across, np.cross(right - vertex, left - vertex))
    middle = (nasion + inion + left + right) / 4
    axis = axis * np.sign(axis @ (vertex - middle)) / np.linalg.norm(axis)
    forward = (nasion - inion) - ((nasion - inion) @ axis) * axis
    forward = forward / np.linalg.norm(forward)
    axes = np.array([np.cross(forward, axis), forward, axis])
    centre = vertex - ((vertex - middle) @ axis) * axis

    fractions = np.linspace(0.0, 1.0, N_RING_POINTS_PER_SIDE + 1)
    ring = _ring(tracer, fractions)
    ring_turn = _unwrapped(_turn(ring - vertex, axes))
    ring_map = _seen_from_above(ring, tracer, vertex)

    rays = _ring(tracer, np.linspace(0.0, 1.0, N_RAYS_PER_SIDE + 1))
    # A hint well outside keeps the section on the near side of the head.
    hints = (vertex + rays) / 2 + 0.4 * ((rays - centre) + (vertex - centre))
    curves = cut_all(
        tracer.mesh,
        [(vertex, hint, end) for hint, end in zip(hints, rays, strict=True)],
        via_is_hint=True,
    )
    polar_grid = np.linspace(0.0, 0.9 * np.pi, 160)
    fraction = np.empty((len(curves), len(polar_grid)))
    for row, curve in enumerate(curves):
        path = curve.points_mm[curve.start :]
        reached = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
        seen = (path - centre) @ axes.T
        polar = np.arctan2(np.hypot(seen[:, 0], seen[:, 1]), seen[:, 2])
        # Below chin and nape a section comes back; only its first way down is on the map.
        down = np.append(True, np.diff(np.maximum.accumulate(polar)) > 0)
        share = RING_FRACTION * reached / reached[curve.end - curve.start]
        fraction[row] = np.interp(polar_grid, polar[down], share[down])
    return Flattening(
        vertex,
        centre,
        axes,
        ring_turn,
        ring_map,
        _unwrapped(_turn(rays - vertex, axes)),
        np.broadcast_to(polar_grid, fraction.shape),
        fraction,
    )


def _ring(tracer: ArcTracer, fractions: Floats) -> Floats:
    """(2 n - 1, 3) the ring from behind over the left, the nose and the right to behind."""
    left, right = (tracer.run(f"{side} ring").points_mm(fractions) for side in ("left", "right"))
    return np.concatenate([left[::-1], right[1:]])


def _unwrapped(turn: Floats) -> Floats:
    """Angles that rise from -pi to pi along the ring, whose ends are one point."""
    turn = np.array(turn)
    turn[0], turn[-1] = -np.pi, np.pi
    return np.asarray(np.maximum.accumulate(turn))


def _seen_from_above(ring: Floats, tracer: ArcTracer, vertex: Floats) -> Floats:
    """(n, 2) the ring on the map, where midline and coronal arc are straight and meet in (0, 0)."""
    front, back, left, right = (tracer.point(name) for name in ("Fpz", "Oz", "T7", "T8"))
    y = (front - back) / np.linalg.norm(front - back)
    x = (right - left) - ((right - left) @ y) * y
    x = x / np.linalg.norm(x)
    flat = np.stack([(ring - vertex) @ x, (ring - vertex) @ y], axis=1)
    ends = np.array([[(p - vertex) @ x, (p - vertex) @ y] for p in (front, left, right)])
    share = (ends[0, 0] - ends[1, 0]) / (ends[2, 0] - ends[1, 0])
    return np.asarray(flat - (ends[1] + share * (ends[2] - ends[1])))
