"""Heads drawn from the prior, and what a technologist would read on them."""

from __future__ import annotations

from functools import cache

import numpy as np

from headfit import Head, Tape
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.model_measures import measures_at
from headfit.fitting.shape import shape_model

THREE = ("nasion_inion", "preauricular_arc", "ring")
SIX = (*THREE, "ear_arc_oz", "ear_arc_fpz", "frontal_row")
EAR_CHORDS = (
    "left_preauricular_nasion_chord",
    "right_preauricular_nasion_chord",
    "left_preauricular_inion_chord",
    "right_preauricular_inion_chord",
)
TEN = (
    *THREE,
    "frontal_row",
    "parietal_row",
    "left_parasagittal",
    "right_parasagittal",
    "head_length",
    "head_breadth",
    "ear_arc_oz",
)


@cache
def drawn(number: int, share: float = 0.8) -> tuple[Head, dict[str, float]]:
    """Head `number` of a fixed series, and every measurement on it."""
    model = shape_model()
    generator = np.random.default_rng([7, number])
    root = np.linalg.cholesky(model.prior.covariance)
    parameters = model.prior.mean + share * root @ generator.normal(size=model.n_parameters)
    measures = measures_at(model, parameters)
    values = {name: measures.value_mm(name) for name in MEASUREMENTS}
    return model.head(parameters, "drawn").in_own_frame(), values


def sheet_of(values: dict[str, float], names: tuple[str, ...]) -> Tape:
    """A sheet of some measurements."""
    return Tape(**{f"{name}_mm": values[name] for name in names})  # type: ignore[arg-type]
