"""The people of a study: each with age, sex, tape sheet and sets of marks, as they were stated.

Plain data, small enough to travel to another machine; nothing in here is computed.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from headfit.anatomy.template import age_in_months
from headfit.errors import HeadfitError, unknown_name
from headfit.files.bids_dataset import Dataset, LeftOut, MarksFile, find_marks_files
from headfit.files.coordsystem import find_coordsystem
from headfit.files.limits import MARKS_BYTES
from headfit.files.row_table import Row
from headfit.files.tape_table import read_tape_table, tape_of_rows
from headfit.fitting.tape import Tape

# Whose digitised heads, among others, the shape prior was made from (meshes/README.md).
PRIOR_DATASETS = ("ds003645", "ds004024", "ds004561", "ds005403")
ADULT_YEARS = 18.0


@dataclass(frozen=True)
class Person:
    """One person of a study.

    Attributes
    ----------
    label : str
        Such as "sub-01".
    age : float or None
        Years; None where the dataset does not say.
    sex : {"female", "male"} or None
    columns : dict of str to str
        Further columns of participants.tsv.
    tape : Tape or None
    tape_problem : str
        Why a sheet that is there cannot be used.
    files : tuple of MarksFile
    invented : tuple of two int, or None
        Seed and number of a simulated person, who has no files.
    """

    label: str
    age: float | None = None
    sex: str | None = None
    columns: Row = field(default_factory=dict)
    tape: Tape | None = None
    tape_problem: str = ""
    files: tuple[MarksFile, ...] = ()
    invented: tuple[int, int] | None = None

    @property
    def child(self) -> bool:
        """Whether the person is known to be younger than 18 years."""
        return self.age is not None and self.age < ADULT_YEARS


@dataclass(frozen=True)
class Cohort:
    """Everyone who was found.

    Attributes
    ----------
    name : str
    people : sequence of Person
        In order of their labels.
    left_out : tuple of LeftOut
    in_prior : str
        The dataset of the shape prior that these people belong to, or "".
    by : str
        The column by which people or sets are told apart, or "".
    """

    name: str
    people: Sequence[Person]
    left_out: tuple[LeftOut, ...] = ()
    in_prior: str = ""
    by: str = ""


def find_people(folder: str | Path, tape_table: str | Path | None = None, by: str = "") -> Cohort:
    """Everyone of a BIDS dataset.

    Parameters
    ----------
    folder : path
    tape_table : path, optional
        Tape readings; else those of participants.tsv serve, where it has any.
    by : str
        A column of participants.tsv, sessions.tsv or scans.tsv, or an entity: ses, run, acq, task.

    Raises
    ------
    FileFormatError
        No dataset, or the tape table cannot be read.
    SheetError
        The tape table has no column of a measurement.
    UnknownNameError
        No line of the dataset has the column `by`.
    """
    dataset = find_marks_files(folder)
    sheets = None if tape_table is None else read_tape_table(tape_table)
    left_out = list(dataset.left_out)
    if sheets is not None:
        left_out += [
            LeftOut(label, Path(str(tape_table)).name, "no such person in the dataset")
            for label in sorted(sheets.keys() - dataset.people.keys())
        ]
    files: dict[str, list[MarksFile]] = {}
    for file in dataset.files:
        files.setdefault(file.person, []).append(file)
    people = []
    for label, row in dataset.people.items():
        sheet = _sheet(row) if sheets is None else sheets.get(label)
        person = Person(
            label,
            _age(label, row, left_out),
            _sex(row),
            row,
            None if isinstance(sheet, HeadfitError) else sheet,
            str(sheet) if isinstance(sheet, HeadfitError) else "",
            tuple(files.get(label, ())),
        )
        if person.tape_problem:
            left_out.append(LeftOut(label, "tape sheet", person.tape_problem))
        if person.files or person.tape is not None:
            people.append(person)
        else:
            left_out.append(LeftOut(label, "person", "no electrodes.tsv and no tape sheet"))
    _check_column(by, people)
    return Cohort(
        dataset.name or Path(folder).absolute().name,
        people,
        tuple(left_out),
        _prior_of(dataset),
        by,
    )


def _sheet(row: Row) -> Tape | HeadfitError | None:
    try:
        return tape_of_rows([row])
    except HeadfitError as error:
        return error


def _age(label: str, row: Row, left_out: list[LeftOut]) -> float | None:
    """Years; BIDS lets ages of 89 and beyond be written 89+."""
    if "age" not in row:
        return None
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\+?", row["age"])
    try:
        if match is None:
            raise ValueError
        years = float(match[1])
        age_in_months(years)
    except ValueError:  # ours included
        reason = f"age {row['age']!r} is no number of years in 0 to 120: taken as an adult"
        left_out.append(LeftOut(label, "age", reason))
        return None
    return years


def _sex(row: Row) -> str | None:
    said = row.get("sex", row.get("gender", "")).casefold()
    return {"f": "female", "female": "female", "m": "male", "male": "male"}.get(said)


def _prior_of(dataset: Dataset) -> str:
    said = f"{dataset.doi} {dataset.name} {dataset.root.absolute().name}"
    return next((known for known in PRIOR_DATASETS if known in said), "")


def _check_column(by: str, people: Sequence[Person]) -> None:
    if not by:
        return
    known = {name for person in people for name in person.columns}
    known |= {k for p in people for f in p.files for k in (*f.columns, *f.entities)}
    if by not in known:
        raise unknown_name("column", by, sorted(known))


def level_of(person: Person, file: MarksFile, by: str) -> str:
    """What the column `by` says of one set of marks; empty where it says nothing."""
    return file.columns.get(by) or file.entities.get(by) or person.columns.get(by, "")


def checksum(person: Person, rules: str) -> str:
    """A digest of all that the results of a person depend on: statements, files, rules, version.

    A file that cannot be read counts by the reason.
    """
    from headfit import __version__

    digest = hashlib.sha256(f"{__version__}\n{rules}\n{person.invented}\n".encode())
    tape = {} if person.tape is None else {k: list(v) for k, v in person.tape.readings_mm.items()}
    stated = [person.label, person.age, person.sex, person.columns, tape, person.tape_problem]
    digest.update(json.dumps(stated, sort_keys=True).encode())
    for file in person.files:
        digest.update(json.dumps([file.path.name, file.entities, file.columns]).encode())
        for path in (file.path, *find_coordsystem(file.path).paths):
            digest.update(_contents(path))
    return digest.hexdigest()


def _contents(path: Path) -> bytes:
    try:
        if not path.is_file():
            return b"no file"
        with path.open("rb") as opened:
            return hashlib.sha256(opened.read(MARKS_BYTES)).digest()
    except OSError as error:
        return f"unreadable: {error.strerror}".encode()
