"""Every file format in one list: what it holds, how its files end, who reads and writes it.

Command line and app ask here which files they may take. A *kind* is what a file holds, whatever its
format: a case, marks, a surface, landmarks, derivations. Modules are loaded when one is used.
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
    """One kind of file.

    Attributes
    ----------
    kind : str
    title : str
        As a sentence calls such a file.
    extensions : tuple of str
        With their dot, lower case.
    reader, writer : str
        ``module:function``; the writer is empty where headfit writes none.
    """

    kind: str
    title: str
    extensions: tuple[str, ...]
    reader: str
    writer: str = ""


FORMATS: tuple[Format, ...] = (
    Format(
        "case",
        "a case file",
        (".toml",),
        "headfit.files.case_file:read_case",
        "headfit.files.case_file:write_case",
    ),
    Format(
        "marks",
        "a file of marks",
        (".tsv", ".csv", ".txt", ".json"),
        "headfit.files.marks_files:read_marks",
        "headfit.files.comparison_files:corrected_electrodes",
    ),
    Format(
        "surface",
        "a surface",
        (".ply", ".obj", ".stl"),
        "headfit.files.surfaces:read_head",
        "headfit.files.surfaces:ply_bytes",
    ),
    Format(
        "landmarks",
        "a file of landmarks",
        (".json",),
        "headfit.files.landmark_files:read_landmarks",
        "headfit.files.landmark_files:landmarks_json",
    ),
    Format(
        "derivations",
        "a list of derivations",
        (".csv", ".toml"),
        "headfit.files.montage_file:read_montage",
    ),
)


def format_of(kind: str) -> Format:
    """The format of a kind.

    Raises
    ------
    KeyError
        No such kind; only our own code asks.
    """
    return {each.kind: each for each in FORMATS}[kind]


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
        if path.suffix.casefold() in format_of(kind).extensions:
            return kind
    *first, last = format_of("surface").extensions
    raise InputError(
        sentence(
            "the head",
            f"be a case file CASE.toml or a surface {', '.join(first)} or {last}",
            path.name,
            "for repeat sessions add --sessions",
        ),
        code="command-line",
    )


def read(kind: str, path: Path, *more: Any, **options: Any) -> Any:
    """What a file of a kind holds, by the reader of that kind."""
    return _function(format_of(kind).reader)(path, *more, **options)


def _function(place: str) -> Callable[..., Any]:
    module, _, name = place.partition(":")
    found: Callable[..., Any] = getattr(import_module(module), name)
    return found
