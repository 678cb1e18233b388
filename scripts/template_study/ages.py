"""The ages of the template: what each head is made of and the norm it is scaled to.

The children have the adult vault, bent and scaled. They illustrate; they are no sample of
children, and every label says so.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from template_study.average_mri import LANDMARKS, VAULT_CENTRE_MM
from template_study.tape import Proportions
from template_study.vault import Floats, Vault, bump, settle, smooth_step, spread_directions, unit

WHO = (
    "WHO Child Growth Standards (2007), head circumference-for-age, "
    "mean of the medians of boys and girls at {}"
)


@dataclass(frozen=True)
class Child:
    """How a child differs from the adult.

    The circumference has a published norm. The other values were set by eye and from memory:
    no source was kept for them.

    Parameters
    ----------
    face_mix : shares of the ages of the body mesh (baby, child) in face, ears and neck.
    cephalic_index : breadth over length, fraction.
    height_to_length : vertex height over length, fraction.
    base_to_breadth : preauricular width over breadth, fraction.
    brow_bump_mm, parietal_bump_mm : height of the bulges of the forehead and above the ears,
        on a vault of adult size.
    ear_scale : size of the ears relative to the body mesh, as a factor.
    """

    face_mix: tuple[tuple[str, float], ...]
    cephalic_index: float
    height_to_length: float
    base_to_breadth: float
    brow_bump_mm: float
    parietal_bump_mm: float
    ear_scale: float


@dataclass(frozen=True)
class Age:
    """One template head: its label and the largest circumference it is scaled to."""

    months: int
    label: str
    largest_circumference_mm: float
    norm: str
    child: Child | None = None


BABY = (("baby", 1.0),)
AGES = {
    "newborn": Age(
        0,
        "newborn, illustrative, norm-scaled",
        342.0,
        WHO.format("birth"),
        Child(BABY, 0.79, 0.645, 0.85, 3.0, 3.0, 0.95),
    ),
    "m06": Age(
        6,
        "6 months, illustrative, norm-scaled",
        428.0,
        WHO.format("6 months"),
        Child(BABY, 0.808, 0.65, 0.86, 3.5, 2.5, 1.0),
    ),
    "m12": Age(
        12,
        "12 months, illustrative, norm-scaled",
        455.0,
        WHO.format("12 months"),
        Child(BABY, 0.797, 0.655, 0.87, 3.5, 2.0, 1.0),
    ),
    "y05": Age(
        60,
        "5 years, illustrative, norm-scaled",
        503.0,
        WHO.format("60 months"),
        Child((("baby", 0.45), ("child", 0.55)), 0.80, 0.66, 0.90, 2.0, 1.0, 1.05),
    ),
    # The WHO standards end at 60 months. Carried on by the growth from 5 to 10 years in the
    # UK 1990 reference they give 521 mm; that reference itself, known for large heads, 541 mm.
    "y10": Age(
        120,
        "10 years, illustrative, norm-scaled",
        528.0,
        "chosen between two readings of the UK 1990 reference (reanalysed 2009), 521 and 541 mm; "
        "the WHO standards end at 60 months",
        Child((("child", 1.0),), 0.79, 0.662, 0.915, 1.0, 0.5, 1.1),
    ),
    "adult": Age(
        240,
        "adult",
        568.0,
        "ANSUR II (2012), head circumference, midway between the means of men (574.4 mm) "
        "and women (561.1 mm)",
    ),
}


def child_vault(
    child: Child, adult: Vault, proportions: Proportions
) -> tuple[Vault, dict[str, Floats]]:
    """Return the vault of a child and its landmarks, both in the size of the adult.

    adult is the adult vault and proportions the adult's, from which the factors follow.
    """
    wider = child.cephalic_index / (proportions.breadth_mm / proportions.length_mm)
    higher = child.height_to_length / (proportions.vertex_height_mm / proportions.length_mm)
    narrower_base = child.base_to_breadth / (
        proportions.preauricular_width_mm / proportions.breadth_mm
    )
    ear_level = (LANDMARKS["left_preauricular"][2] + LANDMARKS["right_preauricular"][2]) / 2.0

    def bent(points_mm: Floats) -> Floats:
        toward_base = smooth_step((20.0 - points_mm[:, 2]) / 70.0)
        x = points_mm[:, 0] * wider * (1.0 + (narrower_base - 1.0) * toward_base)
        z = (points_mm[:, 2] - ear_level) * higher + ear_level
        return np.column_stack([x, points_mm[:, 1], z])

    directions = spread_directions(20000)
    points = VAULT_CENTRE_MM + directions * adult.distances_mm(directions)[:, None]
    centre = settle(bent(VAULT_CENTRE_MM[None])[0])
    from_centre = bent(points) - centre
    distances = np.linalg.norm(from_centre, axis=1)
    directions = unit(from_centre)
    distances += child.brow_bump_mm * bump(directions, (0.0, 0.8, 0.6), 40.0)
    for side in (-0.75, 0.75):
        distances += child.parietal_bump_mm * bump(directions, (side, -0.4, 0.55), 32.0)
    above_neck = points[:, 2] > -85.0
    vault = Vault.through(centre, directions[above_neck], settle(distances[above_neck]))
    return vault, {name: settle(bent(point[None])[0]) for name, point in LANDMARKS.items()}
