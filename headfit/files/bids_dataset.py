"""The digitised positions of a BIDS dataset: whose they are, of which session and run.

BIDS 1.11: ``sub-<label>[/ses-<label>][/eeg]/..._electrodes.tsv``. A file applies to every deeper
folder (the inheritance principle), so one that lies above its sessions belongs to the person as a
whole. Only folders of these names are entered, so a link that leads back is never followed far.
Columns of participants.tsv, ``sub-*_sessions.tsv`` and ``*_scans.tsv`` come along.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from headfit.errors import FileFormatError, HeadfitError, sentence
from headfit.files.coordsystem import entities
from headfit.files.row_table import Row, read_rows

_SUFFIX = "_electrodes.tsv"
_LABEL = re.compile(r"[A-Za-z0-9+]+")
# Of several sets of one recording in different spaces the first of these is taken: those of a head
# come before "" (not said) and every other one, such as a scan or a template brain.
_SPACES = ("CapTrak", "EEGLAB", "EEGLAB-HJ", "CTF", "ElektaNeuromag", "4DBti", "KitYokogawa", "")


@dataclass(frozen=True)
class MarksFile:
    """One electrodes.tsv.

    Attributes
    ----------
    person : str
        Such as "sub-01".
    path : Path
    entities : dict of str to str
        Of its name and folders: ses, task, acq, run, space.
    columns : dict of str to str
        What sessions.tsv and scans.tsv say of it.
    """

    person: str
    path: Path
    entities: dict[str, str]
    columns: Row = field(default_factory=dict)

    @property
    def session(self) -> str:
        """Label of the session; empty where the dataset has none."""
        return self.entities.get("ses", "")


@dataclass(frozen=True)
class LeftOut:
    """Something that takes no part in a study, and why."""

    person: str
    what: str
    reason: str


@dataclass(frozen=True)
class Dataset:
    """What was found in a folder.

    Attributes
    ----------
    root : Path
    name, doi : str
        Of dataset_description.json; empty where it says nothing.
    people : dict of str to Row
        Everyone with a folder or a line of participants.tsv, in order of label, with the columns
        of that line.
    files : tuple of MarksFile
        In the order of people, sessions and names.
    left_out : tuple of LeftOut
    """

    root: Path
    name: str
    doi: str
    people: dict[str, Row]
    files: tuple[MarksFile, ...]
    left_out: tuple[LeftOut, ...]


def find_marks_files(root: str | os.PathLike[str]) -> Dataset:
    """Every person of a BIDS dataset with their files of digitised positions.

    Raises
    ------
    FileFormatError
        No such folder, not readable, or without any person.
    """
    folder = Path(root)
    left_out: list[LeftOut] = []
    if not folder.is_dir():
        got = "a file" if folder.exists() else "nothing of that name"
        raise FileFormatError(
            sentence(str(folder), "be the folder of a BIDS dataset", got), code="dataset-missing"
        )
    people = _participants(folder, left_out)
    files: list[MarksFile] = []
    for entry in _subfolders(folder, "sub", left_out):
        person = entry.name
        people.setdefault(person, {})
        files += _files_of(person, entry, left_out)
    if not people:
        raise FileFormatError(
            sentence(
                str(folder),
                "hold people in folders sub-<label>, or list them in participants.tsv",
                left_out[0].reason if left_out else "neither",
                "is this the root of the dataset?",
            ),
            code="dataset-empty",
        )
    described = _description(folder, left_out)
    return Dataset(
        folder,
        described.get("Name", ""),
        described.get("DatasetDOI", ""),
        dict(sorted(people.items())),
        tuple(sorted(files, key=lambda file: (file.person, file.session, str(file.path)))),
        tuple(left_out),
    )


def _participants(folder: Path, left_out: list[LeftOut]) -> dict[str, Row]:
    people: dict[str, Row] = {}
    for row in _rows(folder / "participants.tsv", left_out):
        label = row.pop("participant_id", "")
        label = label if label.startswith("sub-") else f"sub-{label}"
        if not _LABEL.fullmatch(label[4:]):
            left_out.append(
                LeftOut(label, "participants.tsv", f"{label!r} is no label of a person")
            )
        elif label in people:
            left_out.append(
                LeftOut(label, "participants.tsv", "listed twice, the first line counts")
            )
        else:
            people[label] = row
    return people


def _rows(path: Path, left_out: list[LeftOut], person: str = "") -> list[Row]:
    """The rows of a table that need not be there; one that cannot be read is left out."""
    if not os.path.lexists(path):
        return []
    try:
        return read_rows(path)
    except FileFormatError as error:
        left_out.append(LeftOut(person, path.name, str(error)))
        return []


def _subfolders(folder: Path, entity: str, left_out: list[LeftOut]) -> Iterator[Path]:
    """Folders ``<entity>-<label>`` of a folder, in order of name."""
    for name in _names(folder, left_out):
        if not name.startswith(f"{entity}-"):
            continue
        if not _LABEL.fullmatch(name.partition("-")[2]):
            left_out.append(LeftOut("", repr(name), f"{name!r} is no BIDS name of a folder"))
        elif (folder / name).is_dir():
            yield folder / name


def _names(folder: Path, left_out: list[LeftOut]) -> list[str]:
    try:
        return sorted(entry.name for entry in folder.iterdir())
    except OSError as error:
        reason = f"{folder.name} cannot be read: {(error.strerror or str(error)).lower()}"
        left_out.append(LeftOut(folder.name, folder.name, reason))
        return []


def _files_of(person: str, folder: Path, left_out: list[LeftOut]) -> list[MarksFile]:
    of_sessions = {
        row.get("session_id", ""): row
        for row in _rows(folder / f"{person}_sessions.tsv", left_out, person)
    }
    found: list[MarksFile] = []
    for session in ["", *(path.name for path in _subfolders(folder, "ses", left_out))]:
        inside = folder / session if session else folder
        scans = {
            Path(row.get("filename", "")).name: row
            for name in _names(inside, left_out)
            if name.endswith("_scans.tsv")
            for row in _rows(inside / name, left_out, person)
        }
        for place in (inside, inside / "eeg"):
            if place.is_dir():
                for name in _names(place, left_out):
                    if name.endswith(_SUFFIX):
                        found += _file(person, session, place / name, left_out)
        about = {k: v for k, v in of_sessions.get(session, {}).items() if k != "session_id"}
        found = [
            MarksFile(f.person, f.path, f.entities, about | _of_scan(f, scans))
            if f.session == session[4:]
            else f
            for f in found
        ]
    return _one_space_each(found, left_out)


def _file(person: str, session: str, path: Path, left_out: list[LeftOut]) -> list[MarksFile]:
    said = entities(path.name)
    if f"sub-{said.pop('sub', '')}" != person or said.get("ses", session[4:]) != session[4:]:
        reason = f"{path.name!r} is named for another person or session than its folder"
        left_out.append(LeftOut(person, repr(path.name), reason))
        return []
    if not all(_LABEL.fullmatch(value.replace("-", "")) for value in said.values()):
        left_out.append(
            LeftOut(person, repr(path.name), f"{path.name!r} is no BIDS name of a file")
        )
        return []
    return [MarksFile(person, path, said | ({"ses": session[4:]} if session else {}))]


def _of_scan(file: MarksFile, scans: dict[str, Row]) -> Row:
    """Columns of the recording that the marks belong to: the same entities but the space."""
    for name, row in scans.items():
        said = entities(name)
        if all(said.get(k) == v for k, v in file.entities.items() if k not in ("space", "sub")):
            return {k: v for k, v in row.items() if k != "filename"}
    return {}


def _one_space_each(files: list[MarksFile], left_out: list[LeftOut]) -> list[MarksFile]:
    """Of sets that differ in their space only, the one in the frame of a head."""
    groups: dict[tuple[tuple[str, str], ...], list[MarksFile]] = {}
    for file in files:
        key = tuple(sorted((k, v) for k, v in file.entities.items() if k != "space"))
        groups.setdefault(key, []).append(file)
    kept = []
    for group in groups.values():
        group.sort(key=lambda file: (_space_rank(file), file.path.name))
        kept.append(group[0])
        for other in group[1:]:
            reason = f"the same positions are taken from {group[0].path.name}"
            left_out.append(LeftOut(other.person, other.path.name, reason))
    return kept


def _space_rank(file: MarksFile) -> int:
    space = file.entities.get("space", "")
    return _SPACES.index(space) if space in _SPACES else len(_SPACES)


def _description(folder: Path, left_out: list[LeftOut]) -> dict[str, str]:
    """Name and DOI of the dataset, as far as it tells them."""
    from headfit.files.marks_json import parse_json
    from headfit.files.whole import read_text

    path = folder / "dataset_description.json"
    try:
        content = parse_json(read_text(path), path.name)
    except HeadfitError as error:
        left_out.append(LeftOut("", path.name, str(error)))
        return {}
    return {key: value for key, value in content.items() if isinstance(value, str)}
