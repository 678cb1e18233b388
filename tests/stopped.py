"""A process that is killed, or a disk that is full, at any step of what it does to files."""

from __future__ import annotations

import errno
import io
import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any
from unittest.mock import patch

# Everything by which a name appears, goes or changes, and by which contents get to the disk.
STEPS = ("fsync", "replace", "rename", "unlink", "rmdir", "mkdir", "truncate", "ftruncate")


_FTRUNCATE = os.ftruncate


class Killed(BaseException):
    """Nothing that this process tries from now on happens."""


@contextmanager
def killed_at(step: int, after: bool = False) -> Iterator[None]:
    """Kill this process at a step: before it, or after it was done; later steps never happen.

    Clean-up that a real process would no longer do runs here, but changes nothing. Of a file that
    was not brought to the disk only the first half is there.
    """
    count = 0

    def counted(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any, **more: Any) -> Any:
            nonlocal count
            count += 1
            if count > step or (count == step and not after):
                if name == "fsync" and count == step:
                    _half_written(*given)
                raise Killed
            done = real(*given, **more)
            if count == step:
                if name == "open":
                    done.close()  # empty, as a killed process leaves it
                raise Killed
            return done

        return call

    with _each(counted):
        yield


def _half_written(number: int) -> None:
    status = os.fstat(number)
    if stat.S_ISREG(status.st_mode):
        _FTRUNCATE(number, status.st_size // 2)


@contextmanager
def full_from(step: int) -> Iterator[None]:
    """No byte more reaches the disk from a step on; names can still be removed."""
    count = 0

    def counted(real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*given: Any, **more: Any) -> Any:
            nonlocal count
            count += 1
            if count >= step:
                raise OSError(errno.ENOSPC, "No space left on device")
            return real(*given, **more)

        return call

    with patch.object(os, "fsync", counted(os.fsync)), patch.object(os, "mkdir", counted(os.mkdir)):
        yield


@contextmanager
def _each(wrapped: Callable[[str, Callable[..., Any]], Callable[..., Any]]) -> Iterator[None]:
    real = {name: getattr(os, name) for name in STEPS}
    opened = io.open

    def opening(file: Any, mode: str = "r", *given: Any, **more: Any) -> Any:
        beginning = wrapped("open", opened) if set(mode) & set("wax") else opened
        return beginning(file, mode, *given, **more)

    try:
        io.open = opening  # by which pathlib opens
        for name in STEPS:
            setattr(os, name, wrapped(name, real[name]))
        yield
    finally:
        io.open = opened
        for name in STEPS:
            setattr(os, name, real[name])
