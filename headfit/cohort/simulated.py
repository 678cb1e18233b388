"""Invented people of known truth: heads drawn from the shape prior, tapes and marks as hands do.

For planning a study and for checking one. Every person comes from the seed and their number alone,
whoever draws them. The spreads below are stated with their source; no real person is in here.
"""

from __future__ import annotations

from functools import cache
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.site_table import TABLE, BesideEar
from headfit.anatomy.sites import SYSTEMS, place_sites
from headfit.case.case import Case
from headfit.comparing.alignment import LANDMARK_SPREAD_MM
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.model_measures import measures_at
from headfit.fitting.shape import ShapeModel, shape_model
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats
from headfit.geometry.surface import nearest
from headfit.marks.marks import Marks

TAPES = ("nasion_inion", "preauricular_arc", "ring", "ear_arc_oz", "head_breadth")
# Slides of a cap put on unmeasured have an SD of 3 to 13 mm over sessions (Atcherson 2007); marks
# by a trained hand come back to 1.4 mm on average (Towle 1993). A set put down by tape is between.
SLIDE_SD_MM, TURN_SD_DEGREES, MARK_SD_MM = 3.0, 2.0, 2.0
# How often two names are exchanged, or one mark lies 15 mm off: judgements, no source.
EXCHANGED_SHARE, OFF_SHARE, OFF_MM = 0.02, 0.05, 15.0


def invented_case(seed: int, number: int, system: str) -> tuple[Case, dict[str, Any]]:
    """A person as they would be stated, and the truth about their marks.

    Parameters
    ----------
    seed, number : int
    system : str
        Of the sites to predict.
    """
    rng = np.random.default_rng([seed, number])
    model, root = _model()
    parameters = model.prior.mean + root @ rng.normal(size=model.n_parameters)
    values = measures_at(model, parameters)
    head = model.head(parameters, "invented").in_own_frame()
    tape = Tape(
        **{  # type: ignore[arg-type]  # the names of measurements are fields of Tape
            f"{name}_mm": values.value_mm(name) + rng.normal(scale=MEASUREMENTS[name].spread_mm)
            for name in TAPES
        }
    )
    sites = place_sites(head, _marked_names())
    points, truth = _put_down(sites.points_mm, list(sites.names), rng)
    on_skin, _ = nearest(sites.tracer.mesh, points)
    spread = np.array([LANDMARK_SPREAD_MM[name] for name in LANDMARK_NAMES])[:, None] / np.sqrt(3)
    landmarks = np.array(list(head.landmarks)) + rng.normal(size=(4, 3)) * spread
    marks = Marks(
        sites.names,
        on_skin.on(sites.tracer.mesh.vertices_mm),
        dict(zip(LANDMARK_NAMES, landmarks, strict=True)),
        source="invented",
    )
    label = f"sub-sim{number + 1:07d}"
    return Case(tape, label, system=system, marks=marks, invented=True), truth


def _put_down(
    sites: Floats, names: list[str], rng: np.random.Generator
) -> tuple[Floats, dict[str, Any]]:
    """(n, 3) the marks before they are pressed on the skin, and what was done to them."""
    turn = rng.normal(scale=TURN_SD_DEGREES, size=3)
    slide = rng.normal(scale=SLIDE_SD_MM, size=3)
    middle = sites.mean(axis=0)
    points = Rotation.from_rotvec(turn, degrees=True).apply(sites - middle) + middle + slide
    points = points + rng.normal(scale=MARK_SD_MM, size=points.shape)
    truth: dict[str, Any] = {
        "turn_degrees": np.round(turn, 3).tolist(),
        "slide_mm": np.round(slide, 3).tolist(),
        "off": "",
        "exchanged": [],
    }
    off, one, other = rng.choice(len(names), 3, replace=False).tolist()
    way = rng.normal(size=3)
    if rng.uniform() < OFF_SHARE:
        points[off] += OFF_MM * way / np.linalg.norm(way)
        truth["off"] = names[off]
    if rng.uniform() < EXCHANGED_SHARE:
        points[[one, other]] = points[[other, one]]
        truth["exchanged"] = [names[one], names[other]]
    return points, truth


@cache
def _model() -> tuple[ShapeModel, Floats]:
    model = shape_model()
    return model, np.asarray(np.linalg.cholesky(model.prior.covariance), np.float64)


@cache
def _marked_names() -> tuple[str, ...]:
    """64 sites of 10-10 on the scalp; Fpz is left to the ground, as on many caps."""
    lower = {"FT9", "FT10", "P9", "P10"}
    return tuple(
        name
        for name in SYSTEMS["10-10"]
        if name in lower
        or not (
            name in ("Nz", "Iz", "Fpz")
            or name.endswith(("9", "10"))
            or isinstance(TABLE[name], BesideEar)
        )
    )
