"""Locks between processes: a file that one process holds until it lets go or ends, however it ends.

The system itself frees the lock of a process that was killed. Where it has no such locks (Windows,
some network drives) everybody gets the lock: what two writers then do to each other is found out by
the checksums of `headfit.files.manifest`, not prevented.
"""

from __future__ import annotations

import errno
import os
import time
import weakref
from contextlib import suppress
from pathlib import Path

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]

_TAKEN = (errno.EAGAIN, errno.EACCES)
_PAUSE_S = 0.05


class FileLock:
    """A lock on a file that exists only while somebody holds it.

    Parameters
    ----------
    path : Path
        In a folder that can be written.

    >>> import tempfile
    >>> path = Path(tempfile.mkdtemp()) / ".lock"
    >>> mine, other = FileLock(path), FileLock(path)
    >>> mine.take(), other.take()
    (True, False)
    >>> mine.release()
    >>> other.take(), path.exists()
    (True, True)
    >>> other.release()
    >>> path.exists()
    False
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._let_go: weakref.finalize[[Path, int], FileLock] | None = None

    @property
    def held(self) -> bool:
        """Whether it is ours."""
        return self._let_go is not None

    def take(self, wait_s: float = 0.0) -> bool:
        """Whether the lock is ours now, after waiting for it at most so long.

        Raises
        ------
        OSError
            The file cannot be made.
        """
        until = time.monotonic() + wait_s
        while not self.held and not self._tried():
            if time.monotonic() >= until:
                return False
            time.sleep(_PAUSE_S)
        return True

    def _tried(self) -> bool:
        descriptor = os.open(self.path, os.O_RDWR | os.O_CREAT | getattr(os, "O_CLOEXEC", 0), 0o666)
        try:
            if fcntl is not None:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
            # Whoever held it may have removed the file meanwhile: then this is a lock on nothing.
            there = self.path.stat()
            mine = os.fstat(descriptor)
        except OSError as error:
            if error.errno in _TAKEN or isinstance(error, FileNotFoundError):
                os.close(descriptor)
                return False
            self._keep(descriptor)  # a drive without locks
            return True
        if (there.st_dev, there.st_ino) != (mine.st_dev, mine.st_ino):
            os.close(descriptor)
            return False
        self._keep(descriptor)
        return True

    def _keep(self, descriptor: int) -> None:
        # Also let go when nobody knows this lock any more, and when the program ends.
        self._let_go = weakref.finalize(self, _let_go, self.path, descriptor)

    def release(self) -> None:
        """Let go; nothing when it is not ours."""
        let_go, self._let_go = self._let_go, None
        if let_go is not None:
            let_go()


def _let_go(path: Path, descriptor: int) -> None:
    try:
        with suppress(OSError):
            path.unlink()
    finally:
        os.close(descriptor)
