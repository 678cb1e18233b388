"""The four landmarks in a JSON file, headfit's own or a BIDS coordsystem.json.

Our own::

    {
        "unit": "mm",
        "nasion": [0, 97, 0],
        "inion": [0, -92, 8],
        "left_preauricular": [-74, 0, 0],
        "right_preauricular": [74, 0, 0],
    }

A coordsystem.json (BIDS 1.11, "Landmark coordinates") names NAS, LPA and RPA; the inion, for
which the standard has no keyword, is looked for as INI, Iz or inion.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from headfit.anatomy.landmarks import NAMES, TITLES, Landmarks
from headfit.errors import FileFormatError, LandmarkError, UnitError, sentence
from headfit.files.whole import about, read_text
from headfit.units import to_mm

# The keyword written to BIDS first; the others are read too.
BIDS_NAMES: dict[str, tuple[str, ...]] = {
    "nasion": ("NAS", "Nz", "nasion"),
    "inion": ("INI", "Iz", "inion"),
    "left_preauricular": ("LPA", "left_preauricular"),
    "right_preauricular": ("RPA", "right_preauricular"),
}


def read_json(path: str | Path) -> dict[str, Any]:
    """The object in a JSON file, without NaN or Infinity and without a name given twice.

    Raises
    ------
    FileFormatError
        Not there, empty, not UTF-8, not JSON, or not an object.
    """
    text = read_text(path)
    with about(path):
        try:
            found = json.loads(text, parse_constant=_refuse_constant, object_pairs_hook=_once)
        except json.JSONDecodeError as error:
            raise FileFormatError(
                sentence(
                    "the file",
                    "be JSON",
                    f"{error.msg[:1].lower()}{error.msg[1:]}",
                    f"line {error.lineno}, column {error.colno}",
                ),
                code="json-syntax",
                line=error.lineno,
            ) from None
        except (RecursionError, ValueError) as error:
            if isinstance(error, FileFormatError):
                raise
            # Brackets nested a thousand deep, or a number of thousands of digits.
            raise FileFormatError(
                sentence("the file", "be JSON that a person could have written", "something else"),
                code="json-syntax",
            ) from None
        if not isinstance(found, dict):
            raise FileFormatError(
                sentence("the file", "hold one JSON object {...}", f"a {_kind(found)}"),
                code="json-not-object",
            )
        return found


def _refuse_constant(name: str) -> float:
    raise FileFormatError(
        sentence("every number", "be finite", name, "leave out what is not known"),
        code="json-constant",
    )


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name, value in pairs:
        if name in found:
            raise FileFormatError(
                sentence("every name", "stand once", f"{name!r} twice"), code="json-twice"
            )
        found[name] = value
    return found


def _kind(value: object) -> str:
    kinds = {list: "list", str: "text", bool: "truth value", int: "number", float: "number"}
    return kinds.get(type(value), "null")


def read_landmarks(path: str | Path) -> Landmarks:
    """The landmarks of a file, in mm, in the frame of the file.

    Raises
    ------
    FileFormatError
        The file is missing, empty or of another kind.
    LandmarkError
        A landmark is missing, or is not three finite numbers.
    UnitError
        No unit, or an unknown one.
    """
    found = read_json(path)
    with about(path):
        if "AnatomicalLandmarkCoordinates" in found:
            return _from_coordsystem(found)
        unit = found.get("unit")
        return Landmarks(**{name: _point(found, name, (name,), unit) for name in NAMES})


def _from_coordsystem(found: dict[str, Any]) -> Landmarks:
    unit = found.get("AnatomicalLandmarkCoordinateUnits")
    given = found["AnatomicalLandmarkCoordinates"]
    if not isinstance(given, dict):
        raise LandmarkError(
            sentence(
                "AnatomicalLandmarkCoordinates", "be an object of named points", f"a {_kind(given)}"
            ),
            code="landmark-missing",
        )
    return Landmarks(**{name: _point(given, name, BIDS_NAMES[name], unit) for name in NAMES})


def _point(given: dict[str, Any], name: str, keys: tuple[str, ...], unit: object) -> Any:
    """Three numbers in mm of the first of `keys` that is there."""
    folded = {key.casefold(): value for key, value in given.items()}
    key = next((key for key in keys if key.casefold() in folded), None)
    if key is None:
        raise LandmarkError(
            sentence(
                f"the {TITLES[name]}",
                f"be given as {' or '.join(map(repr, keys))}",
                f"only {', '.join(map(repr, list(given)[:8])) or 'nothing'}",
                "a landmark is never invented",
            ),
            code="landmark-missing",
            landmark=name,
        )
    if unit is None:
        raise UnitError(
            sentence(
                "landmarks",
                "name their unit",
                "none",
                'write "unit": "mm"'
                if keys == (name,)
                else 'write "AnatomicalLandmarkCoordinateUnits": "mm"',
            ),
            code="unit-missing",
        )
    numbers = folded[key.casefold()]
    if not isinstance(numbers, list) or len(numbers) != 3:
        raise LandmarkError(
            sentence(f"the {TITLES[name]}", "be three numbers [x, y, z]", _shown(numbers)),
            code="landmark-not-finite",
            landmark=name,
        )
    return [to_mm(number, str(unit), f"the {TITLES[name]}") for number in numbers]


def _shown(value: object) -> str:
    text = json.dumps(value)
    return text if len(text) <= 40 else f"{text[:40]}..."


def landmarks_json(landmarks: Landmarks) -> str:
    """The text of a landmark file in mm, to a hundredth.

    >>> print(landmarks_json(Landmarks([0, 95, 0], [0, -95, 30], [-72, 0, 0], [72, 0, 0])))
    {
      "unit": "mm",
      "nasion": [0.0, 95.0, 0.0],
      "inion": [0.0, -95.0, 30.0],
      "left_preauricular": [-72.0, 0.0, 0.0],
      "right_preauricular": [72.0, 0.0, 0.0]
    }
    """
    lines = ['"unit": "mm"']
    for name, point in zip(NAMES, landmarks, strict=True):
        lines.append(f'"{name}": {[round(float(x), 2) + 0.0 for x in point]}')
    return "{\n  " + ",\n  ".join(lines) + "\n}"
