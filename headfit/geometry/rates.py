"""How a section and the tape on it move when the surface moves: exact first derivatives.

A surface that depends on K parameters moves each vertex by a (3, K) rate. A row of a section lies
on a mesh edge and stays in the plane of the three named points; both conditions fix its rate. The
length of a tape is then the sum of the unit steps between touched rows against their rates.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike

from headfit.geometry.mesh import Floats, Integers, TriangleMesh
from headfit.geometry.sections import Curve, cross
from headfit.geometry.taperun import TapeRun

# (first vertices (r,), second vertices (r,), weights (r,)) -> (r, 3, K): the rate of a point that
# is fixed on its edge, weight 0 at the first vertex.
MaterialRates = Callable[[Integers, Integers, Floats], Floats]


def skew(vectors: Floats) -> Floats:
    """(..., 3, 3) matrices that take the cross product: skew(a) @ b is a x b.

    >>> (skew(np.array([1.0, 0, 0])) @ [0, 1, 0]).tolist()
    [0.0, 0.0, 1.0]
    """
    matrices = np.zeros((*vectors.shape, 3))
    for i, j, k in ((0, 1, 2), (1, 2, 0), (2, 0, 1)):
        matrices[..., i, j] = -vectors[..., k]
        matrices[..., j, i] = vectors[..., k]
    return matrices


def row_rates(
    curve: Curve,
    rows: Integers,
    mesh: TriangleMesh,
    material: MaterialRates,
    named_rates: tuple[Floats, Floats, Floats],
    *,
    via_turns_only: bool = False,
) -> Floats:
    """(r, 3, K) rates of some rows of a section.

    Parameters
    ----------
    curve : Curve
    rows : (r,) int64
    mesh : TriangleMesh
        The one that was cut.
    material : callable
        Rates of points fixed on mesh edges.
    named_rates : three (3, K) float64
        Rates of the start, via and end point.
    via_turns_only : bool
        The via point only turns the plane, as a hint does; its row rides between its neighbours,
        which must be among `rows` in order.
    """
    start, via, end = (curve.points_mm[row] for row in (curve.start, curve.via, curve.end))
    start_rate, via_rate, end_rate = named_rates
    normal = curve.normal
    across = cross(end - start, via - start)
    size = np.sqrt(across @ across)
    normal_rate = skew(end - start) @ (via_rate - start_rate)
    normal_rate = (normal_rate - skew(via - start) @ (end_rate - start_rate)) / size
    on_edge = curve.half_edges[rows] >= 0
    here = rows[on_edge]
    first, second, _ = mesh.half_edges
    one, other = first[curve.half_edges[here]], second[curve.half_edges[here]]
    stay = material(one, other, curve.weights[here])
    along = mesh.vertices_mm[other] - mesh.vertices_mm[one]
    climb = along @ normal
    leave = (curve.points_mm[here] - start) @ normal_rate
    leave += np.einsum("j,rjk->rk", normal, stay) - normal @ start_rate
    # An edge in the plane does not fix where the plane meets it; its row moves with the surface.
    flat = np.abs(climb) < 1e-9
    slide = -leave / np.where(flat, np.inf, climb)[:, None]
    rates = np.empty((len(rows), 3, start_rate.shape[1]))
    rates[on_edge] = stay + along[:, :, None] * slide[:, None, :]
    for row, rate in zip((curve.start, curve.via, curve.end), named_rates, strict=True):
        rates[rows == row] = rate
    if via_turns_only:
        place = int(np.flatnonzero(rows == curve.via)[0])
        before, here, after = curve.points_mm[curve.via - 1 : curve.via + 2]
        span = after - before
        share = float((here - before) @ span / (span @ span))
        rates[place] = (1 - share) * rates[place - 1] + share * rates[place + 1]
    return rates


@dataclass(frozen=True, eq=False)
class RunRates:
    """Rates of a tape run.

    Attributes
    ----------
    run : TapeRun
    path : (n, 3, K) float64
        Rates of all rows from the start to the end of the curve.
    """

    run: TapeRun
    path: Floats

    @cached_property
    def touched(self) -> Floats:
        """(k, 3, K) rates of the touched rows."""
        return self.path[self.run.rows - self.run.curve.start]

    @cached_property
    def reached(self) -> Floats:
        """(k, K) rates of the tape length from the start to each touched row."""
        steps = self.run.touched_mm[1:] - self.run.touched_mm[:-1]
        steps = steps / np.diff(self.run.reached_mm)[:, None]
        pull = self.touched[1:] - self.touched[:-1]
        rates = np.zeros((len(self.touched), self.touched.shape[2]))
        np.cumsum(np.einsum("ij,ijk->ik", steps, pull), axis=0, out=rates[1:])
        return rates

    @property
    def length(self) -> Floats:
        """(K,) rate of the tape length."""
        return np.asarray(self.reached[-1])

    @cached_property
    def over(self) -> Floats:
        """(n, K) rates of the tape length at which the tape passes over each row of the path."""
        run = self.run
        rows = np.arange(run.curve.start, run.curve.end + 1)
        piece = np.clip(run.rows.searchsorted(rows), 1, len(run.rows) - 1) - 1
        span, span_rate = np.diff(run.touched_mm, axis=0), np.diff(self.touched, axis=0)
        size = np.diff(run.reached_mm)[:, None]
        unit = span / size
        turn = span_rate - unit[:, :, None] * np.einsum("ij,ijk->ik", unit, span_rate)[:, None]
        turn /= size[:, :, None]
        gap = run.curve.path_mm - run.touched_mm[piece]
        gap_rate = self.path - self.touched[piece]
        along = np.einsum("ij,ijk->ik", unit[piece], gap_rate)
        return np.asarray(self.reached[piece] + along + np.einsum("ij,ijk->ik", gap, turn[piece]))

    @property
    def via(self) -> Floats:
        """(K,) rate of the tape length from the start to the via point."""
        return np.asarray(self.over[self.run.curve.via - self.run.curve.start])

    def distances(self, fractions: ArrayLike) -> Floats:
        """(m, K) rates of the tape length from the start to fractions (m,) of the arc."""
        share = np.asarray(fractions, dtype=np.float64)[:, None]
        if not self.run.pinned:
            return np.asarray(share * self.length)
        after = self.via + (2 * share - 1) * (self.length - self.via)
        return np.where(share <= 0.5, 2 * share * self.via, after)

    def points(self, fractions: ArrayLike) -> Floats:
        """(m, 3, K) rates of the places on the skin at fractions (m,) of the arc."""
        run, over = self.run, self.run.over_skin_mm
        wanted = run.distances_mm(fractions)
        row = np.clip(over.searchsorted(wanted, side="right") - 1, 0, len(over) - 2)
        step = over[row + 1] - over[row]
        step = np.where(step > 0.0, step, np.inf)[:, None]
        share = (wanted - over[row])[:, None] / step
        passed = (1 - share) * self.over[row] + share * self.over[row + 1]
        slide = self.distances(fractions) - passed
        path = run.curve.path_mm
        direction = ((path[row + 1] - path[row]) / step)[:, :, None]
        rest = (1 - share[:, :, None]) * self.path[row] + share[:, :, None] * self.path[row + 1]
        return np.asarray(rest + direction * slide[:, None])

    def point(self, fraction: float) -> Floats:
        """(3, K) rate of the place on the skin at one fraction of the arc."""
        return np.asarray(self.points([fraction])[0])


def run_rates(
    run: TapeRun,
    mesh: TriangleMesh,
    material: MaterialRates,
    named_rates: tuple[Floats, Floats, Floats],
    *,
    via_turns_only: bool = False,
) -> RunRates:
    """Rates of a tape run from those of the surface and of its three named points.

    Parameters as for `row_rates`.
    """
    curve = run.curve
    rows = np.arange(curve.start, curve.end + 1)
    path = row_rates(curve, rows, mesh, material, named_rates, via_turns_only=via_turns_only)
    return RunRates(run, path)


def rate_beyond(
    run: TapeRun,
    mesh: TriangleMesh,
    material: MaterialRates,
    named_rates: tuple[Floats, Floats, Floats],
    distance_mm: float,
    distance_rate: Floats,
    *,
    at_end: bool,
) -> Floats:
    """(3, K) rate of the place reached by going on along the skin beyond an end of a run.

    Parameters
    ----------
    run, mesh, material, named_rates
        As for `run_rates`.
    distance_mm : float
        How far beyond the end; within the curve.
    distance_rate : (K,) float64
        How that distance changes.
    at_end : bool
        Beyond the end of the curve, or before its start.
    """
    curve = run.curve
    n = len(curve.points_mm)
    rows = np.arange(curve.end, n) if at_end else np.arange(curve.start, -1, -1)
    steps = np.diff(curve.points_mm[rows], axis=0)
    sizes = np.linalg.norm(steps, axis=1)
    reached = np.concatenate([[0.0], np.cumsum(sizes)])
    last = int(np.clip(reached.searchsorted(distance_mm, side="right"), 1, len(rows) - 1))
    rates = row_rates(curve, rows[: last + 1], mesh, material, named_rates)
    directions = steps[:last] / np.maximum(sizes[:last], 1e-300)[:, None]
    stretch = np.einsum("ij,ijk->ik", directions, np.diff(rates, axis=0))
    share = (distance_mm - reached[last - 1]) / max(float(sizes[last - 1]), 1e-300)
    passed = stretch[: last - 1].sum(axis=0) + share * stretch[last - 1]
    rest = (1 - share) * rates[last - 1] + share * rates[last]
    return np.asarray(rest + directions[last - 1][:, None] * (distance_rate - passed))
