"""The case files of a folder: their names, and what each is called, for a list to choose from."""

from __future__ import annotations

import datetime as dt
import tomllib
import unicodedata
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from headfit.app.safety_copy import case_of_copy, copies_of
from headfit.errors import HeadfitError
from headfit.files.case_entries import text_of
from headfit.files.whole import read_text

NEW_NAME = "new-case.toml"
# A case file, its safety copy and their endings must have room in a name of 255 bytes.
_MOST_NAME_BYTES = 200
_MOST_STEM_LETTERS = 60


@dataclass(frozen=True)
class CaseEntry:
    """A case file in a list.

    Attributes
    ----------
    name : str
        Of the file.
    label : str
    date : str
        When it was measured, or else when the file was changed, as YYYY-MM-DD.
    saved : bool
        False when nothing but changes that were never saved are there.
    """

    name: str
    label: str
    date: str
    saved: bool


def is_plain(name: str) -> bool:
    r"""Whether a name can be given to a case file, and shown anywhere.

    >>> [is_plain(name) for name in ("a head.toml", "../a.toml", "-a.toml", "a\x1b.toml")]
    [True, False, False, False]
    """
    return (
        name.endswith(".toml")
        and name.isprintable()
        and not name.startswith((".", "-"))
        and not set(name) & {"/", "\\"}
        and len(name.encode("utf-8", "replace")) <= _MOST_NAME_BYTES
    )


def is_new_name(name: str) -> bool:
    """Whether a case of this name got it because it had none.

    >>> (
    ...     is_new_name("new-case.toml"),
    ...     is_new_name("new-case-12.toml"),
    ...     is_new_name("new-case-x.toml"),
    ... )
    (True, True, False)
    """
    number = name.removeprefix("new-case").removesuffix(".toml")
    return name.endswith(".toml") and (not number or number.removeprefix("-").isdigit())


def stem_of(label: str) -> str:
    """What a file is called after a label: letters, digits and dashes; "new-case" for none.

    >>> stem_of("Morning list, second head"), stem_of("Zoë / 3"), stem_of("...")
    ('morning-list-second-head', 'zoë-3', 'new-case')
    """
    plain = unicodedata.normalize("NFC", label.casefold())
    words = "".join(letter if letter.isalnum() else " " for letter in plain).split()
    stem = "-".join(words)[:_MOST_STEM_LETTERS].strip("-")
    while not is_plain(f"{stem or 'new-case'}-99.toml"):
        stem = stem[:-1]
    return stem or "new-case"


def free_name(stem: str, taken: Iterable[str]) -> str:
    """A file name that no case of the folder has.

    >>> free_name("a", ["a.toml", "a-2.toml"])
    'a-3.toml'
    """
    names = {name.casefold() for name in taken}  # some file systems hold them for one
    name, number = f"{stem}.toml", 2
    while name.casefold() in names:
        name, number = f"{stem}-{number}.toml", number + 1
    return name


def case_names(folder: Path) -> list[str]:
    """Names of the case files in a folder, and of those that were never saved."""
    there = [path.name for path in folder.iterdir()]
    names = {case_of_copy(name) or name for name in there}
    return sorted(name for name in names if is_plain(name))


def listed_cases(folder: Path) -> list[CaseEntry]:
    """Every case of a folder, the newest first; a file that is no case is left out."""
    entries = [_entry(folder / name) for name in case_names(folder)]
    found = [entry for entry in entries if entry is not None]
    return sorted(found, key=lambda entry: entry.date, reverse=True)


def newest_text(path: Path) -> tuple[str, bool]:
    """The text of a case, and whether it is that of its file and not of a copy of changes.

    Raises
    ------
    HeadfitError
        There is none, or it cannot be read.
    """
    if path.is_file():
        return read_text(path), True
    copy = next(iter(copies_of(path)))
    return read_text(copy.path), False


def _entry(path: Path) -> CaseEntry | None:
    try:
        text, saved = newest_text(path)
        found: dict[str, Any] = tomllib.loads(text)
    except (HeadfitError, tomllib.TOMLDecodeError, RecursionError, StopIteration, OSError):
        return None
    about = found.get("case", {})
    if not isinstance(about, dict) or not (about or "tape" in found):
        return None
    label, date = "unnamed case", ""
    with suppress(HeadfitError):
        label = text_of(about.get("label", label), "label")
    with suppress(HeadfitError):
        date = text_of(about.get("measured_on", ""), "measured_on")
    return CaseEntry(path.name, label, date or _changed_on(path), saved)


def _changed_on(path: Path) -> str:
    try:
        seconds = path.stat().st_mtime
    except OSError:
        return ""
    return dt.datetime.fromtimestamp(seconds, tz=dt.UTC).astimezone().date().isoformat()
