"""Marks as JSON: name -> [x, y, z], beside them a unit and the landmarks if they are known.

    {"unit": "mm", "landmarks": {"NAS": [0, 95, 0]}, "Cz": [0, 12, 128], "C3": [-60, 9, 99]}

The marks may also stand together under "marks".
"""

from __future__ import annotations

import json
import math
from collections import Counter
from typing import Any

import numpy as np

from headfit.errors import FileFormatError, sentence
from headfit.files.marks_table import MOST_ROWS
from headfit.files.marks_text import shown
from headfit.marks.as_written import GivenMarks
from headfit.marks.remarks import Remark, correction, listed

MOST_LANDMARKS = 1000

_KINDS = {
    list: "a list",
    str: "a text",
    bool: "a truth value",
    int: "a number",
    float: "a number",
    type(None): "null",
}

Place = tuple[float, float, float]
NO_PLACE: Place = (math.nan, math.nan, math.nan)


class JsonObject(dict[str, Any]):
    """An object that remembers keys given twice."""

    pairs: list[tuple[str, Any]]


def _object(pairs: list[tuple[str, Any]]) -> JsonObject:
    made = JsonObject(pairs)
    made.pairs = pairs
    return made


def parse_json(text: str, name: str) -> JsonObject:
    """The object a JSON text holds.

    Raises
    ------
    FileFormatError
        Broken, nested too deeply, or not an object.
    """
    try:
        value = json.loads(text, object_pairs_hook=_object)
    except (ValueError, RecursionError) as error:
        where = f"line {error.lineno}" if isinstance(error, json.JSONDecodeError) else "an error"
        reason = error.msg if isinstance(error, json.JSONDecodeError) else str(error)
        raise FileFormatError(
            sentence(name, "be JSON", f"{where}: {reason}", "is the file cut short?"),
            code="json-broken",
        ) from error
    if not isinstance(value, JsonObject):
        raise FileFormatError(
            sentence(name, "hold a JSON object of names and places", _KINDS[type(value)]),
            code="json-no-object",
        )
    return value


def place_of(value: object) -> Place | None:
    """Three numbers from [x, y, z] or {"x": .., "y": .., "z": ..}; None when it is neither.

    >>> place_of([1, 2, 3.5]), place_of({"x": 1, "y": 2, "z": 3}), place_of("1 2 3")
    ((1.0, 2.0, 3.5), (1.0, 2.0, 3.0), None)
    """
    if isinstance(value, dict):
        value = [value.get(axis) for axis in "xyz"]
    if not isinstance(value, list) or len(value) != 3:
        return None
    if any(isinstance(v, bool) or not isinstance(v, int | float) for v in value):
        return None
    try:
        return (float(value[0]), float(value[1]), float(value[2]))
    except OverflowError:
        return (math.inf, math.inf, math.inf)


def parse_marks_json(text: str, name: str) -> GivenMarks:
    """The marks of a JSON text.

    Raises
    ------
    FileFormatError
        Broken JSON, or something else than names and places in it.

    >>> given = parse_marks_json('{"unit": "cm", "Cz": [0, 1, 13], "Oz": null}', "a.json")
    >>> given.names, given.unit
    (('Cz', 'Oz'), 'cm')
    """
    whole = parse_json(text, name)
    about: dict[str, Any] = {
        key.casefold(): value
        for key, value in whole.items()
        if key.casefold() in ("unit", "units", "landmarks", "marks", "system")
    }
    marks = about.get("marks")
    rows = marks.pairs if isinstance(marks, JsonObject) else whole.pairs
    names, places = [], []
    if rows and not any(value is None or place_of(value) for _, value in rows):
        # No marks: what such a file holds is nobody's to be told.
        raise FileFormatError(
            sentence(
                name,
                "hold names and places of three numbers",
                "other things",
                "a BIDS coordsystem.json goes with its electrodes.tsv; name that one"
                if any("CoordinateSystem" in key for key, _ in rows)
                else "",
            ),
            code="json-no-place",
        )
    for key, value in rows:
        if key.casefold() in about and rows is whole.pairs:
            continue
        place = NO_PLACE if value is None else place_of(value)
        if place is None:
            raise FileFormatError(
                sentence(f"the place of {shown(key)} in {name}", "be three numbers", shown(value)),
                code="json-no-place",
                key=key,
            )
        names.append(key)
        places.append(place)
    if len(names) > MOST_ROWS:
        raise FileFormatError(
            sentence(name, f"hold at most {MOST_ROWS} marks", f"{len(names)}"),
            code="table-too-long",
            n_lines=len(names),
        )
    unit = about.get("unit", about.get("units"))
    landmarks, remarks = landmarks_of(about.get("landmarks"), name)
    system = about.get("system")
    return GivenMarks(
        name,
        tuple(names),
        np.array(places, np.float64),
        unit if isinstance(unit, str) else None,
        landmarks,
        None,
        system if isinstance(system, str) else None,
        tuple(remarks),
    )


def landmarks_of(value: object, name: str) -> tuple[dict[str, Place], list[Remark]]:
    """Landmarks from an object of keys and places; what is no place becomes NaN.

    Raises
    ------
    FileFormatError
        More landmarks than anybody digitises.
    """
    if value is None:
        return {}, []
    if not isinstance(value, JsonObject):
        text = f"landmarks of {name} are no object of names and places and are left out"
        return {}, [correction("landmark-unread", text)]
    if len(value.pairs) > MOST_LANDMARKS:
        raise FileFormatError(
            sentence(name, f"hold at most {MOST_LANDMARKS} landmarks", f"{len(value.pairs)}"),
            code="table-too-long",
            n_lines=len(value.pairs),
        )
    counted = Counter(key for key, _ in value.pairs)
    twice = sorted(key for key, count in counted.items() if count > 1)
    remarks = []
    if twice:
        text = f"landmarks of {name} that come twice are left out: {listed(twice)}"
        remarks.append(correction("landmark-unread", text, keys=twice))
    places = {key: place_of(v) or NO_PLACE for key, v in value.items() if key not in twice}
    return places, remarks
