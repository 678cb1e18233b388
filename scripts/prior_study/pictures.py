"""The mean head and its largest directions, from five sides, to be looked at.

No shelf at the inion, no bulge above the ears, no gap where they were taken off.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from headfit.fitting.shape import Prior, shape_model
from headfit.geometry.mesh import Floats

SIDES = {
    "front": ((0, 1, 0), (0, 0, 1)),
    "left": ((-1, 0, 0), (0, 0, 1)),
    "back": ((0, -1, 0), (0, 0, 1)),
    "top": ((0, 0, 1), (0, 1, 0)),
    "aslant": ((-0.6, -0.7, 0.4), (0, 0, 1)),
}
N_DIRECTIONS, AWAY_SD = 5, 2.0
_TILE = 300


def directions(prior: Prior) -> Floats:
    """(5, K) one standard deviation along each of the directions that move the skin most."""
    model = shape_model()
    rates = model.vertex_rates(prior.mean, model.template.scalp.used_vertices)
    root = np.linalg.cholesky(prior.covariance)
    moved = rates.reshape(-1, rates.shape[2]) @ root
    _, axes = np.linalg.eigh(moved.T @ moved)
    return np.asarray((root @ axes[:, ::-1][:, :N_DIRECTIONS]).T)


def draw(prior: Prior, folder: Path, *, bare: bool = True) -> list[Path]:
    """One sheet of pictures for the mean and one for each direction, both ways.

    Parameters
    ----------
    prior : Prior
    folder : Path
    bare : bool
        Without ears, as arcs run.
    """
    folder.mkdir(parents=True, exist_ok=True)
    shapes = {"mean": [prior.mean]}
    for number, direction in enumerate(directions(prior), start=1):
        shapes[f"direction-{number}"] = [prior.mean + s * AWAY_SD * direction for s in (-1, 1)]
    return [_sheet(folder / f"{name}.png", rows, bare) for name, rows in shapes.items()]


def _sheet(path: Path, rows: list[Floats], bare: bool) -> Path:
    import pyvista

    plotter = pyvista.Plotter(
        off_screen=True,
        shape=(len(rows), len(SIDES)),
        window_size=[_TILE * len(SIDES), _TILE * len(rows)],
        border=False,
    )
    for row, parameters in enumerate(rows):
        head = shape_model().head(parameters, "").in_own_frame()
        surface = head.bare if bare else head.surface
        mesh = pyvista.PolyData.from_regular_faces(surface.vertices_mm, head.faces)
        marks = pyvista.PolyData(head.landmarks.points_mm)
        for column, (towards, up) in enumerate(SIDES.values()):
            plotter.subplot(row, column)
            plotter.add_mesh(mesh, color="wheat", specular=0.3, smooth_shading=True)
            plotter.add_mesh(marks, color="red", point_size=9, render_points_as_spheres=True)
            plotter.view_vector(towards, up)
            plotter.enable_parallel_projection()
            plotter.camera.zoom(1.3)
    plotter.screenshot(path)
    plotter.close()
    return path
