"""The journal of a study: one line a person solved, appended as they come, in any order.

A line begins with a digest of the rest, so that one cut short by a kill or a full disk is known and
passed over. A later line of a person counts before an earlier one. What is already there under the
checksum of a person's data need not be computed again.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO, NamedTuple

from headfit.cohort.person_row import PersonRow
from headfit.errors import InputError

_DIGEST = 16
_FLUSH_S = 1.0


class _Place(NamedTuple):
    checksum: str
    offset: int


class Journal:
    """Rows on disk, by label; only their places are held in memory.

    Parameters
    ----------
    path : Path

    Raises
    ------
    InputError
        The file cannot be written.
    """

    def __init__(self, path: Path) -> None:
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._file: BinaryIO = path.open("a+b")
        except OSError as error:
            raise InputError(
                f"{path} cannot be written: {(error.strerror or str(error)).lower()}",
                code="file-not-written",
                path=str(path),
            ) from error
        self._places: dict[str, _Place] = {}
        self._flushed = time.monotonic()
        self._index()

    def __enter__(self) -> Journal:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.flush()
        self._file.close()

    def __len__(self) -> int:
        return len(self._places)

    def _index(self) -> None:
        self._file.seek(0)
        offset, ended = 0, True
        for line in self._file:
            entry = _entry(line)
            if entry is not None:
                self._places[entry["person"]] = _Place(entry["checksum"], offset)
            offset += len(line)
            ended = line.endswith(b"\n")
        if not ended:  # the next line must not be joined to a torn one
            self._file.write(b"\n")

    def holds(self, label: str, checksum: str) -> bool:
        """Whether the row of a person was made from the same data."""
        place = self._places.get(label)
        return place is not None and place.checksum == checksum

    def add(self, label: str, checksum: str, row: PersonRow) -> None:
        """Append a row."""
        payload = json.dumps(
            {"person": label, "checksum": checksum, "row": row},
            ensure_ascii=False,
            allow_nan=False,
            separators=(",", ":"),
        ).encode()
        offset = self._file.seek(0, os.SEEK_END)
        self._file.write(_digest(payload) + b" " + payload + b"\n")
        self._places[label] = _Place(checksum, offset)
        if time.monotonic() - self._flushed > _FLUSH_S:
            self.flush()

    def flush(self) -> None:
        """Bring what was added to the disk."""
        self._file.flush()
        os.fsync(self._file.fileno())
        self._flushed = time.monotonic()

    def row(self, label: str) -> PersonRow:
        """The row of a person.

        Raises
        ------
        KeyError
            None was added; only our own code asks.
        """
        self._file.seek(self._places[label].offset)
        entry = _entry(self._file.readline())
        assert entry is not None  # its digest was right when it was indexed
        row: PersonRow = entry["row"]
        return row


def _digest(payload: bytes) -> bytes:
    return hashlib.sha256(payload).hexdigest()[:_DIGEST].encode()


def _entry(line: bytes) -> dict[str, Any] | None:
    digest, _, payload = line.rstrip(b"\n").partition(b" ")
    if digest != _digest(payload):
        return None
    found: dict[str, Any] = json.loads(payload)
    return found
