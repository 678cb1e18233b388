"""Safety copies: changes of a case that are not saved, in files beside the case file.

A copy is a case file whose first line tells on which case file the changes were made. The first
copy of ``demo.toml`` is ``demo.toml.unsaved``, a second one ``demo.toml.unsaved-2``, and so on:

- A copy belongs to the app that wrote it, as long as that app lives or until it saves or discards.
  Nobody else writes, renames or removes it; a lock that ends with the process holds that.
- A copy that belongs to nobody is taken over by the next app that opens the case.
- A copy that cannot be read is put aside under another name and never written over.
"""

from __future__ import annotations

import hashlib
import itertools
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from headfit.files.lock import FileLock
from headfit.files.whole import not_written, read_text, write_whole

UNSAVED = ".unsaved"
_UNREADABLE = ".unreadable"
_NAME = re.compile(rf"(.+\.toml){re.escape(UNSAVED)}(?:-[2-9]\d*|-1\d+)?", re.DOTALL)
_MADE_ON = re.compile(r"# Changes that are not saved, made on (no file|sha256 ([0-9a-f]{64}))\n")


def lock_beside(path: Path) -> FileLock:
    """The lock of a file, in its folder; short, however long the name of the file is."""
    digest = hashlib.sha256(os.fsencode(path.name)).hexdigest()[:16]
    return FileLock(path.with_name(f".headfit-{digest}.lock"))


@dataclass
class SafetyCopy:
    """One safety copy.

    Attributes
    ----------
    path : Path
    lock : FileLock
        Held by the app to which the copy belongs.
    """

    path: Path
    lock: FileLock = field(init=False)

    def __post_init__(self) -> None:
        self.lock = lock_beside(self.path)

    def take(self) -> bool:
        """Whether the copy is ours now.

        Raises
        ------
        InputError
            No lock can be made in that folder.
        """
        try:
            return self.lock.take()
        except OSError as error:
            raise not_written(self.path, error) from error

    def write(self, text: str, made_on: str | None) -> None:
        """Keep the text of a case, and the checksum of the case file it was changed from.

        Raises
        ------
        InputError
            It cannot be written.
        """
        told = "no file" if made_on is None else f"sha256 {made_on}"
        write_whole(self.path, f"# Changes that are not saved, made on {told}\n{text}")

    def read(self) -> tuple[str, str | None]:
        """The text of the case, and the checksum of the case file it was changed from.

        The checksum is None without such a file and empty when the copy does not tell.

        Raises
        ------
        FileFormatError
            It cannot be read.
        """
        text = read_text(self.path)
        told = _MADE_ON.match(text)
        return text, (told[2] if told else "")

    def remove(self) -> None:
        """Remove a copy that is ours and let it go.

        Raises
        ------
        InputError
            It cannot be removed; it stays ours.
        """
        try:
            self.path.unlink(missing_ok=True)
        except OSError as error:
            raise not_written(self.path, error) from error
        self.lock.release()

    def put_aside(self) -> Path:
        """The new path of a copy that cannot be read, which is ours; nothing is written over."""
        for number in itertools.count(1):
            aside = self.path.with_name(f"{self.path.name}{_UNREADABLE}-{number}")
            if not os.path.lexists(aside):
                break
        try:
            self.path.rename(aside)
        except OSError as error:
            raise not_written(aside, error) from error
        self.lock.release()
        return aside


def copies_of(case_path: Path) -> list[SafetyCopy]:
    """The safety copies of a case that are there, the first one first."""
    try:
        there = {path.name for path in case_path.parent.iterdir()}
    except OSError:
        there = set()
    found = [n for n in there if (m := _NAME.fullmatch(n)) and m[1] == case_path.name]
    return [SafetyCopy(case_path.with_name(name)) for name in sorted(found, key=_number)]


def new_copy(case_path: Path) -> SafetyCopy:
    """A safety copy that is ours, not written yet, under a name no other copy has.

    Raises
    ------
    InputError
        The folder cannot be written.
    """
    for copy in _named(case_path):
        if copy.take():
            if not os.path.lexists(copy.path):
                return copy
            copy.lock.release()
    raise AssertionError  # there is always one more name


def case_of_copy(name: str) -> str | None:
    """The name of the case file to which a safety copy belongs; None when it is no such copy.

    >>> case_of_copy("demo.toml.unsaved-2"), case_of_copy("demo.toml.unsaved.unreadable-1")
    ('demo.toml', None)
    """
    found = _NAME.fullmatch(name)
    return found[1] if found else None


def _named(case_path: Path) -> Iterator[SafetyCopy]:
    first = case_path.with_name(case_path.name + UNSAVED)
    yield SafetyCopy(first)
    for number in itertools.count(2):
        yield SafetyCopy(first.with_name(f"{first.name}-{number}"))


def _number(name: str) -> int:
    return int(name.rpartition("-")[2]) if name[-1].isdigit() else 1
