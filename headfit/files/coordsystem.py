"""The coordsystem.json that belongs to a BIDS electrodes.tsv, found by inheritance.

BIDS 1.10, "The Inheritance Principle": a file applies when every entity of its name is in the name
of the data file; it may lie in any folder from that of the data file up to the root of the data
set; what a deeper one says goes before what a higher one says.
"""

from __future__ import annotations

import os
from dataclasses import dataclass, replace
from pathlib import Path

from headfit.errors import FileFormatError
from headfit.files.limits import SIDECAR_BYTES
from headfit.files.marks_json import JsonObject, landmarks_of, parse_json
from headfit.files.marks_text import read_foreign_text
from headfit.marks.as_written import GivenMarks
from headfit.marks.remarks import Remark, correction, doubt, listed, note

_MOST_FOLDERS = 5
_SUFFIX = "coordsystem.json"


@dataclass(frozen=True)
class Found:
    """Files that apply, the deepest first, and what was met on the way."""

    paths: tuple[Path, ...]
    remarks: tuple[Remark, ...] = ()


def entities(name: str) -> dict[str, str]:
    """The entities of a BIDS file name.

    >>> entities("sub-01_ses-2_electrodes.tsv")
    {'sub': '01', 'ses': '2'}
    """
    parts = [part.partition("-") for part in name.split("_")[:-1]]
    return {key: value for key, dash, value in parts if dash}


def find_coordsystem(path: Path) -> Found:
    """The coordsystem.json files that apply to an electrodes.tsv.

    Parameters
    ----------
    path : Path
        Of the electrodes.tsv.
    """
    wanted = entities(path.name)
    exact: list[Path] = []
    loose: list[Path] = []
    for folder in _folders(path):
        offered = [(entities(name), folder / name) for name in _names_in(folder)]
        fitting = [(len(e), p) for e, p in offered if e.items() <= wanted.items()]
        if fitting:
            exact.append(max(fitting, key=lambda pair: (pair[0], str(pair[1])))[1])
        if not loose:
            loose = [p for e, p in offered if all(wanted.get(k, v) == v for k, v in e.items())]
    if exact:
        return Found(tuple(exact))
    if len(loose) == 1:
        text = (
            f"{loose[0].name} is taken for {path.name}, though its name says more than that of the "
            "electrodes file; no other one contradicts it"
        )
        return Found((loose[0],), (correction("coordsystem-loose", text, path=loose[0].name),))
    if loose:
        names = [p.name for p in loose]
        text = f"several coordsystem.json could belong to {path.name}, none is taken: "
        return Found((), (doubt("coordsystem-several", text + listed(names), paths=names),))
    text = f"{path.name} has no coordsystem.json beside or above it; BIDS asks for one"
    return Found((), (doubt("coordsystem-missing", text),))


def _folders(path: Path) -> list[Path]:
    """Folders from that of the file up to the one above its sub-... folder."""
    folders = [path.absolute().parent]
    while len(folders) < _MOST_FOLDERS and any(
        part.startswith("sub-") for part in folders[-1].parts
    ):
        folders.append(folders[-1].parent)
    return folders


def _names_in(folder: Path) -> list[str]:
    try:
        with os.scandir(folder) as entries:
            return sorted(entry.name for entry in entries if entry.name.endswith(_SUFFIX))
    except OSError:
        return []


def declared_by(given: GivenMarks, found: Found) -> GivenMarks:
    """The marks with unit, system and landmarks as their coordsystem.json files declare them."""
    remarks = [*given.remarks, *found.remarks]
    whole: dict[str, object] = {}
    for path in reversed(found.paths):
        try:
            text, said = read_foreign_text(path, SIDECAR_BYTES)
            content: JsonObject = parse_json(text, path.name)
        except FileFormatError as error:
            remarks.append(doubt("coordsystem-unreadable", f"{error}; it is left out"))
            continue
        remarks += said
        if not content:
            remarks.append(doubt("coordsystem-empty", f"{path.name} declares nothing"))
        whole |= content
    kind = "AnatomicalLandmark" if whole.get("AnatomicalLandmarkCoordinates") else "Fiducials"
    landmarks, said = landmarks_of(whole.get(f"{kind}Coordinates") or None, given.source)
    if landmarks and kind == "Fiducials":
        text = (
            "FiducialsCoordinates serve as landmarks, AnatomicalLandmarkCoordinates are not given"
        )
        said = [*said, note("landmarks-fiducials", text)]
    return replace(
        given,
        unit=_text(whole.get("EEGCoordinateUnits")) or given.unit,
        system=_text(whole.get("EEGCoordinateSystem")) or given.system,
        landmarks=landmarks,
        landmark_unit=_text(whole.get(f"{kind}CoordinateUnits")),
        remarks=(*remarks, *said),
    )


def _text(value: object) -> str | None:
    return value if isinstance(value, str) and value.strip() else None
