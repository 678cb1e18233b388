"""Files of marks that were dropped on the page, kept beside the case so that it opens again."""

from __future__ import annotations

import base64
import itertools
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from headfit.errors import InputError, sentence
from headfit.files.formats import POSITIONS, extensions, listed_extensions
from headfit.files.whole import write_new_folder

MOST_FILES = 4


@contextmanager
def checked_marks(files: object) -> Iterator[tuple[Path, str]]:
    """A folder that holds the dropped files for a while, and the name of the one of positions.

    Parameters
    ----------
    files : list of {"name": str, "text": str} or {"name": str, "base64": str}
        One file of positions, and what belongs to it, such as the coordsystem.json of BIDS; as text
        or, byte by byte, in base64.

    Raises
    ------
    InputError
        Not files with plain names, or with nothing in them that can be read.
    """
    if not isinstance(files, list) or not 0 < len(files) <= MOST_FILES:
        raise InputError(
            sentence("marks", f"be 1 to {MOST_FILES} files", "something else"), code="marks-files"
        )
    contents = dict(map(_read, files))
    beside = [name for name in contents if not name.endswith("coordsystem.json")]
    with tempfile.TemporaryDirectory() as held:
        folder = Path(held)
        for name, content in contents.items():
            (folder / name).write_bytes(content)
        yield folder, (beside or list(contents))[0]


def _read(file: object) -> tuple[str, bytes]:
    """Name and bytes of one file as the page sends it."""
    given = file if isinstance(file, dict) else {}
    name, text, packed = given.get("name"), given.get("text"), given.get("base64")
    if isinstance(name, str) and _plain(name):
        if isinstance(text, str):
            return name, text.encode("utf-8", "replace")
        if isinstance(packed, str):
            with suppress(ValueError):  # no base64
                return name, base64.b64decode(packed, validate=True)
    raise InputError(
        sentence(
            "a file of marks",
            f"be sent with a plain name that ends in {listed_extensions(*POSITIONS)}",
            repr(name)[:60],
        ),
        code="marks-files",
    )


def keep_marks(folder: Path, name: str, case_path: Path) -> Path:
    """The path of the file of positions, after all of a folder was written beside the case.

    Files that were dropped before stay: the case file, or changes of it that are not saved, may
    name them. The same files once more take the folder they have.
    """
    contents = {path.name: path.read_bytes() for path in folder.iterdir()}
    for kept in _folders_for(case_path):
        with suppress(FileExistsError):
            return write_new_folder(kept, contents) / name
        if {path.name: path.read_bytes() for path in kept.iterdir() if path.is_file()} == contents:
            return kept / name
    raise AssertionError  # there is always one more name


def _folders_for(case_path: Path) -> Iterator[Path]:
    """demo.marks, demo.marks-2, demo.marks-3 and so on, beside demo.toml."""
    first = case_path.with_name(f"{case_path.stem}.marks")
    yield first
    for number in itertools.count(2):
        yield first.with_name(f"{first.name}-{number}")


def _plain(name: str) -> bool:
    known = (
        name.lower().endswith(extensions(*POSITIONS))
        and not name.startswith(".")
        and len(name) <= 120
    )
    return known and Path(name).name == name and not set(name) & {"\\", "\0"}
