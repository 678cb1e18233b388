"""The template heads: one topology, six ages, found beside the package or in the checkout.

Children are the adult vault scaled to published norms: "illustrative, norm-scaled". Head frame,
millimetres. meshes/README.md tells origin and licences.
"""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import NAMES, Landmarks
from headfit.errors import FileFormatError, sentence, unknown_name
from headfit.geometry.mesh import Floats, Integers
from headfit.geometry.surface import SurfacePoints

ADULT_MONTHS = 240.0


@dataclass(frozen=True, eq=False)
class TemplateSet:
    """All ages as stored.

    Attributes
    ----------
    faces : (m, 3) int64
    mirror : (n,) int64
        The vertex on the other side of each vertex.
    part : (n,) int64
    landmarks : SurfacePoints
        Nasion, inion, left, right, as points that ride on any age.
    ages : dict of str to (months, label, largest circumference in mm)
    vertices_mm : dict of str to (n, 3) float64
    """

    faces: Integers
    mirror: Integers
    part: Integers
    landmarks: SurfacePoints
    ages: dict[str, tuple[float, str, float]]
    vertices_mm: dict[str, Floats]


def meshes_folder() -> Path:
    """The folder of the template meshes: inside an installed wheel, or in the checkout.

    Raises
    ------
    FileFormatError
        Neither is there.
    """
    installed = Path(__file__).resolve().parents[1] / "meshes"
    if (installed / "heads.npz").is_file():
        return installed
    checkout = installed.parents[1] / "meshes"
    if (checkout / "heads.npz").is_file():
        return checkout
    raise FileFormatError(
        sentence(
            "template meshes",
            "lie beside the package",
            f"nothing in {checkout}",
            "install headfit again",
        ),
        code="template-missing",
    )


@cache
def template_set() -> TemplateSet:
    """The stored template heads, read once."""
    folder = meshes_folder()
    about = json.loads((folder / "heads.json").read_text(encoding="utf-8"))
    ages = {
        key: (float(age["months"]), str(age["label"]), float(age["largest_circumference_mm"]))
        for key, age in about["ages"].items()
    }
    corners = np.array([about["landmarks"][name]["vertices"] for name in NAMES], dtype=np.int64)
    weights = np.array([about["landmarks"][name]["weights"] for name in NAMES])
    with (folder / "heads.npz").open("rb") as file, np.load(file) as arrays:
        return TemplateSet(
            arrays["faces"].astype(np.int64),
            arrays["mirror"].astype(np.int64),
            arrays["part"].astype(np.int64),
            SurfacePoints(corners, weights),
            ages,
            {key: arrays[key].astype(np.float64) for key in ages},
        )


def age_in_months(age: str | float) -> float:
    """Months from a template age ("adult", "newborn", "y05", ...) or a number of years.

    Raises
    ------
    UnknownNameError
        No such age, or a number below 0 or above 120.

    >>> age_in_months("m06"), age_in_months(2.5)
    (6.0, 30.0)
    """
    ages = template_set().ages
    if isinstance(age, str):
        if age not in ages:
            raise unknown_name("age", age, ages)
        return ages[age][0]
    if not 0 <= age <= 120:
        raise unknown_name("age in years", age, ["0 to 120"])
    return 12.0 * float(age)


# Days of a unit as people say it; a year of 365.25 days (Julian, IAU).
_DAYS = {"day": 1.0, "week": 7.0, "month": 365.25 / 12, "year": 365.25}
_AGE_TEXT = re.compile(
    r"(\d+(?:[.,]\d+)?)\s*(d|days?|w|wk|wks|weeks?|m|mo|months?|y|yr|yrs|years?)?", re.IGNORECASE
)


def age_from_text(text: str) -> str | float:
    """A template age or years, from an age as a person types it.

    Raises
    ------
    UnknownNameError
        Not an age.

    >>> age_from_text("18 months"), age_from_text("2,5"), age_from_text("newborn")
    (1.5, 2.5, 'newborn')
    >>> age_words(age_from_text("3 weeks"))
    '3 weeks'
    """
    given = text.strip()
    if given in template_set().ages:
        return given
    found = _AGE_TEXT.fullmatch(given)
    if found is None:
        raise unknown_name("age", text[:40], ["adult", "newborn", "3 weeks", "6 months", "4 years"])
    letter = (found[2] or "y")[0].lower()
    unit = next(unit for unit in _DAYS if unit.startswith(letter))
    years = round(float(found[1].replace(",", ".")) * _DAYS[unit] / _DAYS["year"], 6)
    age_in_months(years)
    return years


def age_words(age: str | float) -> str:
    """An age as a person says it: weeks up to three months, then months up to two years.

    >>> age_words(3.5), age_words("m06"), age_words(0.25), age_words(1.5)
    ('3.5 years', '6 months', '3 months', '18 months')
    """
    if isinstance(age, str):
        return template_set().ages[age][1].partition(",")[0]
    years = float(age)
    unit = "week" if years < 0.249 else "month" if years < 2 else "year"
    count = years * _DAYS["year"] / _DAYS[unit]
    near = round(count) if abs(count - round(count)) < 0.01 else round(count, 1)
    return f"{near:g} {unit}{'' if near == 1 else 's'}"


def load_template(age: str | float = "adult") -> Head:
    """The template head of an age, in the head frame.

    Parameters
    ----------
    age : str or float
        "newborn", "m06", "m12", "y05", "y10", "adult", or years; between two stored ages the heads
        are blended.

    Raises
    ------
    UnknownNameError
        No such age.

    >>> load_template("newborn").label
    'newborn, illustrative, norm-scaled'
    >>> load_template(2.0).label
    '2 years, illustrative, norm-scaled'
    """
    return _head_at(age_in_months(age))


@cache
def _head_at(months: float) -> Head:
    stored = template_set()
    keys = sorted(stored.ages, key=lambda key: stored.ages[key][0])
    at = np.array([stored.ages[key][0] for key in keys])
    upper = int(np.searchsorted(at, months))
    if upper >= len(keys) or months == at[upper]:
        key = keys[min(upper, len(keys) - 1)]
        vertices, label = stored.vertices_mm[key], stored.ages[key][1]
    else:
        before, after = keys[upper - 1], keys[upper]
        share = (months - at[upper - 1]) / (at[upper] - at[upper - 1])
        vertices = (1 - share) * stored.vertices_mm[before] + share * stored.vertices_mm[after]
        label = f"{age_words(months / 12)}, illustrative, norm-scaled"
    landmarks = Landmarks.from_points(stored.landmarks.on(vertices))
    return Head(vertices, stored.faces, landmarks, stored.part, label).in_own_frame()
