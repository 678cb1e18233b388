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

from headfit.geometry.mesh import Floats, Integers, TriangleMesh
from headfit.geometry.sections import Curve
from headfit.geometry.taperun import TapeRun

# (first vertices (r,), second vertices (r,), weights (r,)) -> (r, 3, K): the rate of a point that
# is fixed on its edge, weight 0 at the first vertex.
MaterialRates = Callable[[Integers, Integers, Floats], Floats]


def row_rates(
    curve: Curve, rows: Integers, mesh: TriangleMesh, material: MaterialRates,
    named_rates: tuple[Floats, Floats, Floats],
) -> Floats:  # fmt: skip
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
    """
    start, via, end = (curve.points_mm[row] for row in (curve.start, curve.via, curve.end))
    start_rate, via_rate, end_rate = named_rates
    normal = curve.normal
    size = float(np.linalg.norm(np.cross(end - start, via - start)))
    normal_rate = (
        np.cross(end_rate - start_rate, via - start, axisa=0, axisb=0, axisc=0)
        + np.cross(end - start, via_rate - start_rate, axisa=0, axisb=0, axisc=0)
    ) / size
    on_edge = curve.half_edges[rows] >= 0
    here = rows[on_edge]
    first, second, _ = mesh.half_edges
    one, other = first[curve.half_edges[here]], second[curve.half_edges[here]]
    stay = material(one, other, curve.weights[here])
    along = mesh.vertices_mm[other] - mesh.vertices_mm[one]
    climb = along @ normal
    leave = (curve.points_mm[here] - start) @ normal_rate
    leave += np.einsum("j,rjk->rk", normal, stay) - normal @ start_rate
    # An edge that lies in the plane gives no hold; its row rides on the material.
    flat = np.abs(climb) < 1e-9
    slide = -leave / np.where(flat, np.inf, climb)[:, None]
    rates = np.empty((len(rows), 3, start_rate.shape[1]))
    rates[on_edge] = stay + along[:, :, None] * slide[:, None, :]
    for row, rate in zip((curve.start, curve.via, curve.end), named_rates, strict=True):
        rates[rows == row] = rate
    return rates


@dataclass(frozen=True, eq=False)
class RunRates:
    """Rates of a tape run.

    Attributes
    ----------
    run : TapeRun
    touched : (k, 3, K) float64
        Rates of the touched rows.
    """

    run: TapeRun
    touched: Floats

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

    def via(self, via_rate: Floats) -> Floats:
        """(K,) rate of the tape length from the start to the via point of rate (3, K)."""
        run = self.run
        place = int(np.searchsorted(run.rows, run.curve.via))
        if run.rows[place] == run.curve.via:
            return np.asarray(self.reached[place])
        span = run.touched_mm[place] - run.touched_mm[place - 1]
        return np.asarray(
            self.reached[place - 1]
            + (span / np.linalg.norm(span)) @ (via_rate - self.touched[place - 1])
        )

    def distance(self, fraction: float, via_rate: Floats) -> Floats:
        """(K,) rate of the tape length from the start to `fraction` of the arc."""
        if not self.run.pinned:
            return fraction * self.length
        via = self.via(via_rate)
        if fraction <= 0.5:
            return 2 * fraction * via
        return via + (2 * fraction - 1) * (self.length - via)

    def point(self, fraction: float, via_rate: Floats) -> Floats:
        """(3, K) rate of the place at `fraction` of the arc."""
        run = self.run
        index, share = run.piece(run.distance_mm(fraction))
        span = run.touched_mm[index + 1] - run.touched_mm[index]
        step = run.reached_mm[index + 1] - run.reached_mm[index]
        wanted = self.distance(fraction, via_rate)
        slide = wanted - (1 - share) * self.reached[index] - share * self.reached[index + 1]
        material = (1 - share) * self.touched[index] + share * self.touched[index + 1]
        return np.asarray(material + span[:, None] * (slide / step))
