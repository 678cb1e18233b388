"""The four landmarks that every arc starts from, and the head frame they define.

Nasion: the deepest point of the nasal root. Inion: the tip of the external occipital protuberance.
Preauricular points: just in front of the tragus, at the posterior root of the zygomatic arch; not
the tragion of anthropometry (Klem et al. 1999).

Head frame: origin midway between the preauricular points, +x to the right one, +y towards the
nasion (at a right angle to x), +z up; millimetres.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike

from headfit.errors import LandmarkError, sentence
from headfit.geometry.mesh import Floats, frozen
from headfit.geometry.sections import cross
from headfit.nouns import Noun

NAMES = ("nasion", "inion", "left_preauricular", "right_preauricular")

TITLES = {
    "nasion": "nasion",
    "inion": "inion",
    "left_preauricular": "left preauricular point",
    "right_preauricular": "right preauricular point",
}

# How a finger finds each on a head: common practice, no source.
FINDING = {
    "nasion": "Slide down the forehead: the dip at the root of the nose, between the eyes.",
    "inion": "Slide up the middle of the neck: the first bony knob.",
    "left_preauricular": "In front of the ear, above the small flap: a dip that moves when the "
    "mouth opens.",
    "right_preauricular": "In front of the ear, above the small flap: a dip that moves when the "
    "mouth opens.",
}
FLAT_INION = (
    "No knob? Follow the bony ridge from behind each ear: where both meet in the midline. Let the "
    "head nod: the neck muscles end just below. Still unsure: mark it, and say that it is doubtful."
)


@dataclass(frozen=True, eq=False)
class Landmarks(Noun):
    """Four points, each (3,) in mm, in any one frame.

    Raises
    ------
    LandmarkError
        A point is not three finite numbers, or two points are less than 20 mm apart.

    >>> Landmarks([0, 95, 0], [0, -95, 30], [-72, 0, 0], [72, 0, float("nan")])
    Traceback (most recent call last):
        ...
    headfit.errors.LandmarkError: right preauricular point must be three finite numbers in mm, got \
[72.0, 0.0, nan]
    """

    nasion: Floats
    inion: Floats
    left_preauricular: Floats
    right_preauricular: Floats

    def __post_init__(self) -> None:
        for name in NAMES:
            given: ArrayLike = getattr(self, name)
            try:
                point = frozen(given)
            except (TypeError, ValueError):
                point = frozen([])
            if point.shape != (3,) or not np.isfinite(point).all():
                raise LandmarkError(
                    sentence(
                        TITLES[name], "be three finite numbers in mm", str(point.tolist() or given)
                    ),
                    code="landmark-not-finite",
                    landmark=name,
                )
            object.__setattr__(self, name, point)
        points = self.points_mm
        gaps = np.linalg.norm(points[:, None] - points, axis=2)
        near = np.tril(gaps < 20.0, -1)
        if near.any():
            i, j = np.argwhere(near)[0].tolist()
            raise LandmarkError(
                sentence(
                    f"{TITLES[NAMES[j]]} and {TITLES[NAMES[i]]}",
                    "be at least 20 mm apart",
                    f"{gaps[i, j]:.1f} mm",
                    "are these metres or centimetres?"
                    if gaps.max() < 40.0
                    else "was one point recorded twice?",
                ),
                code="landmark-too-near",
                landmarks=(NAMES[j], NAMES[i]),
            )

    def __repr__(self) -> str:
        places = (
            f"{field.name} ({', '.join(f'{c:.1f}' for c in point)})"
            for field, point in zip(fields(self), self, strict=True)
        )
        return f"Landmarks({', '.join(places)})"

    def __iter__(self) -> Iterator[Floats]:
        return (getattr(self, field.name) for field in fields(self))

    @property
    def points_mm(self) -> Floats:
        """(4, 3) in the order nasion, inion, left, right."""
        return np.array(list(self))

    @classmethod
    def from_points(cls, points_mm: Floats) -> Landmarks:
        """From (4, 3) in the order nasion, inion, left, right."""
        return cls(*points_mm)

    def moved(self, rotation: Floats, translation_mm: Floats) -> Landmarks:
        """Each point p as rotation (3, 3) @ p + translation (3,)."""
        return Landmarks.from_points(self.points_mm @ rotation.T + translation_mm)

    @property
    def up(self) -> Floats:
        """(3,) unit vector to the top of the head, square to both axes of the landmarks."""
        up = cross(self.right_preauricular - self.left_preauricular, self.nasion - self.inion)
        return np.asarray(up / np.linalg.norm(up))

    @property
    def frame(self) -> tuple[Floats, Floats]:
        """Rotation (3, 3) and translation (3,) that take a point into the head frame.

        >>> head = Landmarks([0, 95, 5], [0, -95, 30], [-72, 0, 5], [72, 0, 5])
        >>> rotation, translation = head.frame
        >>> (rotation @ head.nasion + translation).tolist()
        [0.0, 95.0, 0.0]
        """
        origin = (self.left_preauricular + self.right_preauricular) / 2
        x = self.right_preauricular - self.left_preauricular
        x = x / np.linalg.norm(x)
        y = self.nasion - origin
        y = y - (y @ x) * x
        y = y / np.linalg.norm(y)
        rotation = np.array([x, y, cross(x, y)])
        return rotation, -rotation @ origin
