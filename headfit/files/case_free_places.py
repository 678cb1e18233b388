"""The [[free]] tables of a case file: places that must stay free, in mm in the head frame."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from headfit.anatomy.sites import canonical_name
from headfit.case.case import FreePlace
from headfit.files.case_entries import check_names, point_of, text_of, wrong_entry
from headfit.units import to_mm


def free_places_of(given: object) -> tuple[FreePlace, ...]:
    """The places of the [[free]] tables of a case file.

    Raises
    ------
    InputError
        A place that is none; the sentence names the entry.
    """
    if not isinstance(given, list) or not all(isinstance(place, dict) for place in given):
        raise wrong_entry("free", "be tables that each begin with [[free]]", given)
    return tuple(_free_place(place) for place in given)


def _free_place(given: dict[str, Any]) -> FreePlace:
    known = ("site", "point_mm", "polygon_mm", "radius_mm", "reason")
    check_names("entry of [[free]]", given, known)
    where = [name for name in ("site", "point_mm", "polygon_mm") if name in given]
    if len(where) != 1:
        raise wrong_entry(
            "a [[free]] place", "name exactly one of site, point_mm, polygon_mm", where
        )
    site = point = None
    polygon: tuple[tuple[float, float, float], ...] = ()
    if where == ["site"]:
        site = canonical_name(text_of(given["site"], "site of [[free]]"))
    elif where == ["point_mm"]:
        point = point_of(given["point_mm"], "point_mm of [[free]]")
    else:
        corners = given["polygon_mm"]
        if not isinstance(corners, list) or len(corners) < 3:
            raise wrong_entry(
                "polygon_mm of [[free]]", "be three or more points [x, y, z]", corners
            )
        polygon = tuple(point_of(corner, "a corner of polygon_mm") for corner in corners)
    radius_mm = 0.0
    if not polygon:
        if "radius_mm" not in given:
            raise wrong_entry("a [[free]] place", "give its radius_mm", given)
        radius_mm = to_mm(given["radius_mm"], "mm", "radius_mm of [[free]]")
        if not 0 < radius_mm <= 150:
            raise wrong_entry("radius_mm of [[free]]", "lie in 0 to 150 mm", radius_mm)
    return FreePlace(site, point, polygon, radius_mm, text_of(given.get("reason", ""), "reason"))


def tables_of_free_places(places: tuple[FreePlace, ...]) -> list[dict[str, Any]]:
    """The [[free]] tables as they are written to a file."""
    return [
        {name: _plain(value) for name, value in asdict(place).items() if value} for place in places
    ]


def _plain(value: Any) -> Any:
    return [_plain(part) for part in value] if isinstance(value, tuple) else value
