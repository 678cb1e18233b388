"""Every file format in one list: what it holds, how its files end, what reads and writes it.

A *kind* is what a file holds, whatever its format: a case, marks, a surface, landmarks, a set-up
record, derivations, a lesson. Command line, app and readers ask here which files of a kind there
are, so that a new format is known everywhere by one entry. Modules are loaded when a file of theirs
is read.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any

from headfit.errors import InputError, sentence


@dataclass(frozen=True)
class Format:
    """One way in which files of a kind are written.

    Attributes
    ----------
    kind : str
    extensions : tuple of str
        With their dot, lower case.
    reader : str
        ``module:function``. Of marks it takes a text and a name and returns `GivenMarks`; of
        digitised points, which are no text, a path and returns the same; of derivations a text; of
        all others a path.
    writer : str
        ``module:function``; empty where headfit writes none.
    """

    kind: str
    extensions: tuple[str, ...]
    reader: str
    writer: str = ""


FORMATS: list[Format] = [
    Format(
        "case",
        (".toml",),
        "headfit.files.case_file:read_case",
        "headfit.files.case_file:write_case",
    ),
    Format(
        "marks",
        (".tsv", ".csv", ".txt"),
        "headfit.files.marks_table:parse_table",
        "headfit.files.comparison_files:corrected_electrodes",
    ),
    Format("marks", (".json",), "headfit.files.marks_json:parse_marks_json"),
    Format("digitised points", (".fif",), "headfit.files.mne_positions:read_fif"),
    Format(
        "surface",
        (".ply",),
        "headfit.files.surfaces:read_surface",
        "headfit.files.surfaces:ply_bytes",
    ),
    Format(
        "surface",
        (".obj", ".stl", ".off", ".glb", ".vtp", ".gii"),
        "headfit.files.surfaces:read_surface",
    ),
    Format(
        "landmarks",
        (".json",),
        "headfit.files.landmark_files:read_landmarks",
        "headfit.files.landmark_files:landmarks_json",
    ),
    Format(
        "record",
        (".tsv",),
        "headfit.files.bids_record:read_record",
        "headfit.files.bids:bids_files",
    ),
    Format("chair notes", (".json",), "headfit.files.chair_notes:with_chair_notes"),
    Format("derivations", (".csv",), "headfit.planning.montages:montage_from_csv"),
    Format("derivations", (".toml",), "headfit.files.montage_file:montage_from_toml"),
    Format("lesson", (".toml",), "headfit.files.lesson_file:read_lesson"),
]


# What `read_marks` takes, and whatever asks for a file of positions.
POSITIONS = ("marks", "digitised points")


def extensions(*kinds: str) -> tuple[str, ...]:
    """How the files of some kinds end, all formats together.

    >>> extensions(*POSITIONS)
    ('.tsv', '.csv', '.txt', '.json', '.fif')
    """
    return tuple(end for each in FORMATS if each.kind in kinds for end in each.extensions)


def reader(kind: str, extension: str) -> Callable[..., Any]:
    """What reads a file of a kind with this ending; the first format where none is known."""
    of_kind = [each for each in FORMATS if each.kind == kind]
    chosen = next((f for f in of_kind if extension.casefold() in f.extensions), of_kind[0])
    module, _, name = chosen.reader.partition(":")
    found: Callable[..., Any] = getattr(import_module(module), name)
    return found


def kind_of_head(path: Path) -> str:
    """Whether a file that stands for a head is a "case" or a "surface".

    Raises
    ------
    InputError
        Neither.

    >>> kind_of_head(Path("scan.PLY"))
    'surface'
    """
    for kind in ("case", "surface"):
        if path.suffix.casefold() in extensions(kind):
            return kind
    raise InputError(
        sentence(
            "the head",
            f"be a case file CASE.toml or a surface {listed_extensions('surface')}",
            path.name,
            "for repeat sessions add --sessions",
        ),
        code="command-line",
    )


def listed_extensions(*kinds: str) -> str:
    """How the files of some kinds end, in a sentence.

    >>> listed_extensions("surface")
    '.ply, .obj, .stl, .off, .glb, .vtp or .gii'
    """
    return _listed(extensions(*kinds))


def _listed(endings: tuple[str, ...]) -> str:
    *first, last = endings
    return f"{', '.join(first)} or {last}" if first else last


def check_ending(what: str, path: str | Path, *endings: str) -> None:
    """Refuse a name for a file to write that promises another format than it will hold.

    Parameters
    ----------
    what : str
        What is written, for the sentence.
    path : path
    *endings : str
        Those that are right, with their dot, lower case; the first is proposed.

    Raises
    ------
    InputError
        The name ends in none of them.

    >>> check_ending("the report", "head.HTML", ".html", ".htm")
    """
    name = Path(path).name
    if Path(name).suffix.casefold() in endings:
        return
    proposed = Path(name if name.strip(".") else "head").with_suffix(endings[0])
    raise InputError(
        sentence(
            what, f"be a file that ends in {_listed(endings)}", name or ".", f"write {proposed}"
        ),
        code="output-name",
    )
