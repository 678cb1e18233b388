"""Where a tape may be laid: the stretches of it that touch no place that must stay free. mm.

A tape needs the clearance of a cup: nothing is laid or marked nearer to the edge of a place.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from headfit.geometry.mesh import Floats
from headfit.geometry.taperun import TapeRun
from headfit.planning.obstacles import Obstacle

# A place is looked for at every step along a tape; the smallest one is 2 mm across.
_STEP_MM = 0.5

Stretch = tuple[float, float]


def clear_stretches(
    path_mm: Floats, along_mm: Floats, obstacles: Sequence[Obstacle]
) -> list[Stretch]:
    """The stretches of a tape, as tape lengths from its start, that are clear of all places.

    Parameters
    ----------
    path_mm : (n, 3) float64
        Where it lies on the skin.
    along_mm : (n,) float64
        Tape length at each row.
    obstacles : sequence of Obstacle
    """
    length = float(along_mm[-1])
    if not obstacles:
        return [(0.0, length)]
    stations = np.linspace(0.0, length, max(int(np.ceil(length / _STEP_MM)), 1) + 1)
    points = np.stack([np.interp(stations, along_mm, path_mm[:, k]) for k in range(3)], axis=1)
    free = np.ones(len(stations), bool)
    for obstacle in obstacles:
        free &= ~obstacle.covers(points)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], free, [False]]).astype(int)))
    return [
        (float(stations[first]), float(stations[last - 1]))
        for first, last in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)
    ]


def run_stretches(run: TapeRun, obstacles: Sequence[Obstacle]) -> list[Stretch]:
    """The same for the tape on an arc."""
    return clear_stretches(run.curve.path_mm, run.over_skin_mm, obstacles)


def is_clear(path_mm: Floats, obstacles: Sequence[Obstacle]) -> bool:
    """Whether a tape along a path (n, 3) keeps off all places from its start to its end."""
    steps = np.linalg.norm(np.diff(path_mm, axis=0), axis=1)
    along = np.concatenate([[0.0], np.cumsum(steps)])
    if not along[-1]:
        return not any(bool(obstacle.covers(path_mm[:1])[0]) for obstacle in obstacles)
    return clear_stretches(path_mm, along, obstacles) == [(0.0, float(along[-1]))]


def obstacle_met(
    path_mm: Floats, obstacles: Sequence[Obstacle], *, tape: bool = True
) -> Obstacle | None:
    """The first place that a tape along a path, or a caliper set on its points, would touch."""
    for obstacle in obstacles:
        if tape and not is_clear(path_mm, (obstacle,)):
            return obstacle
        if not tape and bool(obstacle.covers(path_mm).any()):
            return obstacle
    return None
