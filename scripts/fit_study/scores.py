"""How far the sites of a fitted head lie from the true ones, and whether its rings hold them.

Shared by `scripts/bench_fit` and `scripts/build_prior`. The 19 scalp sites of 10-20, millimetres.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.spatial.transform import Rotation

from headfit import Head, Tape, measure_head, place_sites
from headfit.anatomy.sites import SYSTEMS
from headfit.fitting.fit import FittedHead
from headfit.fitting.spreads import CHI2_95

SITES = SYSTEMS["10-20"][:19]
NOISE_MM = 2.0
THREE = ("nasion_inion", "preauricular_arc", "ring")
ROWS = (*THREE, "frontal_row", "parietal_row", "left_parasagittal", "right_parasagittal")
CALIPERS = (*ROWS, "head_length", "head_breadth")
QUARTERS = (
    *CALIPERS, "left_ring_front", "left_ring_back", "right_ring_front", "right_ring_back",
    "preauricular_width", "nasion_inion_chord",
)  # fmt: skip
FULL = (*QUARTERS, "ear_arc_fpz", "ear_arc_fz", "ear_arc_pz", "ear_arc_oz", "cz_height")
EAR_CHORDS = (
    "left_preauricular_nasion_chord", "right_preauricular_nasion_chord",
    "left_preauricular_inion_chord", "right_preauricular_inion_chord",
)  # fmt: skip
FIVE = (*THREE, "ear_arc_oz", "head_breadth")
SHEETS = {  # each but the last two holds all of the one before
    "ring only": ("ring",),
    "three tapes": THREE,
    "+ rows, parasagittals": ROWS,
    "+ length, breadth": CALIPERS,
    "+ ring quarters, width, chord": QUARTERS,
    "full: + ear arcs, Cz height": FULL,
    "full + four ear chords": (*FULL, *EAR_CHORDS),
    "three tapes + Oz arc + breadth": FIVE,
    "these five + four ear chords": (*FIVE, *EAR_CHORDS),
}


@dataclass(frozen=True, eq=False)
class Subject:
    """A head whose sites are known, and what is read on it.

    Attributes
    ----------
    name : str
    head : Head
    values_mm : dict of str to float
        Every measurement.
    sites_mm : (19, 3) float64
    """

    name: str
    head: Head
    values_mm: dict[str, float]
    sites_mm: np.ndarray

    def sheet(self, names: Sequence[str]) -> Tape:
        """Some measurements without error."""
        return Tape(**{f"{name}_mm": self.values_mm[name] for name in names})

    def noisy_sheet(self, names: Sequence[str], generator: np.random.Generator) -> Tape:
        """Some measurements, each with an error of 2 mm that the sheet tells."""
        values = {f"{n}_mm": self.values_mm[n] + generator.normal(0, NOISE_MM) for n in names}
        return Tape(**values, spreads_mm=dict.fromkeys(names, NOISE_MM))


def subject(name: str, head: Head) -> Subject:
    """A head measured by computer."""
    return Subject(name, head, measure_head(head).values_mm, place_sites(head, SITES).points_mm)


def carried(points: np.ndarray, source: np.ndarray, target: np.ndarray) -> np.ndarray:
    """`points` moved by the rigid motion that best takes `source` to `target`."""
    turn, _ = Rotation.align_vectors(target - target.mean(0), source - source.mean(0))
    return np.asarray(turn.apply(points - source.mean(0)) + target.mean(0))


@dataclass(frozen=True, eq=False)
class Score:
    """The sites of one fitted head against the true ones.

    Attributes
    ----------
    off_mm : (19, 3) float64
        True less found, in the frame of the four landmarks.
    rigid_mm : (19,) float64
        Distances after the best rigid fit of the sites.
    plane_mm : (19, 2) float64
        `off_mm` along and across the arcs.
    covariance_mm2 : (19, 2, 2) float64
        What the fit said of that.
    """

    off_mm: np.ndarray
    rigid_mm: np.ndarray
    plane_mm: np.ndarray
    covariance_mm2: np.ndarray

    @cached_property
    def distance_mm(self) -> np.ndarray:
        """(19,) distances in the frame of the landmarks."""
        return np.linalg.norm(self.off_mm, axis=1)

    @cached_property
    def inside(self) -> np.ndarray:
        """(19,) whether the 95 % ring holds the site."""
        inverse = np.linalg.inv(self.covariance_mm2)
        return np.einsum("ni,nij,nj->n", self.plane_mm, inverse, self.plane_mm) <= CHI2_95


def scored(fitted: FittedHead, true: Subject) -> Score:
    """Errors of a fitted head."""
    sites = place_sites(fitted.head, SITES)
    spreads = fitted.spreads(sites)
    own = fitted.head.landmarks.points_mm
    back = carried(true.sites_mm, true.head.landmarks.points_mm, own)
    off = back - sites.points_mm
    plane = np.stack([(off * spreads.along).sum(1), (off * spreads.across).sum(1)], axis=1)
    rigid = carried(sites.points_mm, sites.points_mm, back) - back
    return Score(off, np.linalg.norm(rigid, axis=1), plane, spreads.covariance_mm2)
