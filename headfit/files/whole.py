"""Files written whole or not at all, and read with one clear sentence when that fails.

A file is written beside its place under another name, flushed to the disk, and moved there in one
step. Whoever is killed on the way leaves the old file whole. A new folder is made the same way.
"""

from __future__ import annotations

import os
import shutil
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from headfit.errors import FileFormatError, HeadfitError, InputError, sentence

UNFINISHED = ".unfinished-"
# Nobody writes for an hour: what is older was left by a process that was killed.
LEFT_OVER_S = 3600.0
TEXT_LIMIT = 32 * 1024 * 1024


def write_whole(path: str | Path, contents: str | bytes) -> Path:
    """The path, after the file there holds `contents` and nothing else.

    Text is written as UTF-8 with its line ends as they are. Missing folders are made. A symbolic
    link keeps pointing where it did. The permissions of an existing file stay.

    Raises
    ------
    InputError
        The file cannot be written; what was there before is untouched.
    """
    raw = contents.encode("utf-8") if isinstance(contents, str) else contents
    with writing_whole(path) as file:
        file.write(raw)
    return Path(path)


@contextmanager
def writing_whole(path: str | Path) -> Iterator[BinaryIO]:
    """A binary file to write to, which stands under `path` once all went well: else nothing does.

    For what is too long to be held at once; otherwise as `write_whole`.

    Raises
    ------
    InputError
        The file cannot be written; what was there before is untouched.
    """
    try:
        target = Path(os.path.realpath(path))
        target.parent.mkdir(parents=True, exist_ok=True)
        _clear_left_overs(target)
        unfinished = _beside(target)
        try:
            # "x" makes a new file with the usual permissions and never follows a planted link.
            with unfinished.open("xb") as file:
                yield file
                file.flush()
                os.fsync(file.fileno())
            with suppress(FileNotFoundError):
                shutil.copymode(target, unfinished)
            unfinished.replace(target)
        except BaseException:
            unfinished.unlink(missing_ok=True)
            raise
        _flush_folder(target.parent)
    except HeadfitError:  # of what is written, not of the writing
        raise
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        raise _not_written(path, error) from error


def write_folder(folder: str | Path, contents: Mapping[str, str | bytes]) -> Path:
    """The folder, after it holds every file of `contents`, a mapping of relative path to contents.

    A folder that is not there yet appears whole or not at all. In one that exists each file is
    replaced whole, and files that `contents` does not name stay.

    Raises
    ------
    InputError
        The folder cannot be written.

    >>> import tempfile
    >>> made = write_folder(Path(tempfile.mkdtemp()) / "case", {"a.txt": "1", "b/c.txt": "2"})
    >>> sorted(path.name for path in made.rglob("*.txt"))
    ['a.txt', 'c.txt']
    """
    target = Path(folder)
    if target.exists():
        if not target.is_dir():
            raise InputError(
                sentence("the output", "be a folder", f"a file at {target}", "choose another name"),
                code="not-a-folder",
                path=str(target),
            )
        for name, content in contents.items():
            write_whole(target / name, content)
        return target
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _clear_left_overs(target)
        unfinished = _beside(target)
    except (OSError, ValueError) as error:
        raise _not_written(folder, error) from error
    try:
        for name, content in contents.items():
            write_whole(unfinished / name, content)
        unfinished.replace(target)
        _flush_folder(target.parent)
    except OSError as error:
        raise _not_written(folder, error) from error
    finally:
        shutil.rmtree(unfinished, ignore_errors=True)
    return target


def read_bytes(path: str | Path, limit: int) -> bytes:
    """All of a file, when it is not empty and at most `limit` bytes long.

    Raises
    ------
    FileFormatError
        Not there, a folder, not readable, empty, or longer.
    """
    source = Path(path)
    try:
        if source.is_dir():
            raise FileFormatError(
                sentence(str(source), "be a file", "a folder"),
                code="file-is-folder",
                path=str(source),
            )
        with source.open("rb") as file:
            raw = file.read(limit + 1)
    except FileFormatError:  # ours, which the last clause would take for a ValueError
        raise
    except FileNotFoundError:
        raise FileFormatError(
            f"there is no file {source} (is the name right, and the folder?)",
            code="file-missing",
            path=str(source),
        ) from None
    except (OSError, ValueError) as error:
        raise FileFormatError(
            f"{source} cannot be read: {_reason(error)}", code="file-unreadable", path=str(source)
        ) from error
    if not raw:
        raise FileFormatError(
            sentence(
                str(source), "hold something", "an empty file", "was it saved or copied whole?"
            ),
            code="file-empty",
            path=str(source),
        )
    if len(raw) > limit:
        raise FileFormatError(
            sentence(
                str(source),
                f"be at most {limit // 1_000_000} MB long",
                "a longer file",
                "is this the right file?",
            ),
            code="file-too-long",
            path=str(source),
        )
    return raw


def read_text(path: str | Path) -> str:
    """All of a UTF-8 text file, without its byte order mark.

    Raises
    ------
    FileFormatError
        As `read_bytes`, or not UTF-8 text.
    """
    raw = read_bytes(path, TEXT_LIMIT)
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = raw.count(b"\n", 0, error.start) + 1
        raise FileFormatError(
            sentence(
                str(path),
                "be UTF-8 text",
                f"byte 0x{raw[error.start]:02x} in line {line}",
                "save it as UTF-8, or is it another kind of file?",
            ),
            code="not-utf-8",
            path=str(path),
            line=line,
        ) from None


@contextmanager
def about(path: str | Path) -> Iterator[None]:
    """Any sentence raised inside begins with the name of the file."""
    try:
        yield
    except HeadfitError as error:
        name = Path(path).name
        if str(error).startswith(name):
            raise
        raise type(error)(f"{name}: {error}", code=error.code, **error.facts) from error


def _beside(target: Path) -> Path:
    return target.with_name(f".{target.name[:100]}{UNFINISHED}{os.urandom(4).hex()}")


def _clear_left_overs(target: Path) -> None:
    """Remove what killed runs left beside this target."""
    start = f".{target.name[:100]}{UNFINISHED}"
    for path in target.parent.iterdir():
        if not path.name.startswith(start):
            continue
        with suppress(OSError):
            if time.time() - path.lstat().st_mtime > LEFT_OVER_S:
                if path.is_dir() and not path.is_symlink():
                    shutil.rmtree(path)
                else:
                    path.unlink()


def _flush_folder(folder: Path) -> None:
    """Make the new name itself survive a power cut, where folders can be opened (not Windows)."""
    if hasattr(os, "O_DIRECTORY"):
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def _reason(error: Exception) -> str:
    reason = error.strerror if isinstance(error, OSError) else None
    return (reason or str(error)).lower()


def _not_written(path: str | Path, error: Exception) -> InputError:
    return InputError(
        f"{path} cannot be written: {_reason(error)} (what was there before is untouched)",
        code="file-not-written",
        path=str(path),
    )
