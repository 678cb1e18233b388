"""Files of digitised marks: BIDS electrodes.tsv with its coordsystem.json, CSV, TSV, JSON, FIF."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path

from headfit.errors import UnitError, sentence
from headfit.files.coordsystem import Found, declared_by, find_coordsystem
from headfit.files.formats import extensions, reader
from headfit.files.limits import MARKS_BYTES
from headfit.files.marks_text import read_foreign_text
from headfit.marks.as_written import GivenMarks
from headfit.marks.cleaning import clean_marks
from headfit.marks.marks import Marks
from headfit.marks.remarks import note
from headfit.marks.unit_detection import declared_mm


def read_marks(
    path: str | os.PathLike[str],
    *,
    unit: str | None = None,
    coordsystem: str | os.PathLike[str] | None = None,
    strict: bool = False,
) -> Marks:
    """The marks of a file, cleaned; what was done to them is in their remarks.

    Parameters
    ----------
    path : path
        A BIDS ``..._electrodes.tsv`` (its coordsystem.json is found beside or above it), a CSV or
        TSV whose first line names the columns name, x, y and z (also x_mm, y_cm), or a JSON of
        name -> [x, y, z] with an optional "unit" and "landmarks". Or a FIF file of digitised
        points, or of a recording that carries them, by the optional extra `mne`.
    unit : str, optional
        Unit of the marks, when the file does not say or says it wrongly.
    coordsystem : path, optional
        A coordsystem.json to be taken instead of the one that inheritance finds.
    strict : bool
        Refuse a file in which anything had to be corrected or is in doubt.

    Raises
    ------
    FileFormatError
        No such file, too large, empty, no text, or not such a table.
    MarksError
        Nothing in it can be used, or `strict` found something to correct.
    UnitError
        `unit` is unknown.
    """
    if unit is not None and declared_mm(unit) is None:
        raise UnitError(
            sentence("unit of marks", "be one of mm, cm, m, inch", repr(unit)),
            code="unit-unknown",
            unit=unit,
        )
    return clean_marks(_declared(Path(path), unit, coordsystem), strict=strict)


def _declared(
    path: Path, unit: str | None, coordsystem: str | os.PathLike[str] | None
) -> GivenMarks:
    """What the file and its coordsystem.json say."""
    given: GivenMarks
    if path.suffix.casefold() in extensions("digitised points"):
        given = reader("digitised points", path.suffix)(path)
    else:
        text, remarks = read_foreign_text(path, MARKS_BYTES)
        # JSON is told by how it begins, whatever its file is called.
        extension = ".json" if text.lstrip().startswith("{") else path.suffix
        given = reader("marks", extension)(text, path.name)
        given = replace(given, remarks=(*remarks, *given.remarks))
    if coordsystem is not None:
        given = declared_by(given, Found((Path(coordsystem),)))
    elif path.name.endswith("electrodes.tsv"):
        given = declared_by(given, find_coordsystem(path))
    if unit is not None:
        said = f", the file says {given.unit}" if given.unit else ""
        remark = note("unit-given", f"marks are in {unit} as asked{said}", unit=unit)
        given = replace(given, unit=unit, remarks=(*given.remarks, remark))
    return given
