"""Files written whole or not at all, and read with one clear sentence when that fails.

A file is written beside its place under another name, flushed to the disk, and moved there in one
step. Whoever is killed on the way leaves the old file whole. A new folder is made the same way; a
folder that is there already is the task of `headfit.files.result_folder`.
"""

from __future__ import annotations

import errno
import os
import shutil
import stat
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from headfit.errors import FileFormatError, HeadfitError, InputError, plain_text, sentence
from headfit.files.limits import TEXT_BYTES
from headfit.files.manifest import check_of_one_run

UNFINISHED = ".unfinished-"
# Nobody writes for an hour: what is older was left by a process that was killed.
LEFT_OVER_S = 3600.0
# Bytes of a name that are left to the name of an unfinished file; systems take 255 in all.
_MOST_NAME_BYTES = 100
_READING = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)


def write_whole(path: str | Path, contents: str | bytes) -> Path:
    """The path, after the file there holds `contents` and nothing else.

    Text is written as UTF-8 with its line ends as they are. Missing folders are made. A symbolic
    link keeps pointing where it did. The permissions of an existing file stay.

    Raises
    ------
    InputError
        The file cannot be written; what was there before is untouched.
    """
    raw = as_bytes(contents)
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
        flush_folder(target.parent)
    except HeadfitError:  # of what is written, not of the writing
        raise
    except (OSError, ValueError) as error:  # ValueError: a null character in the name
        raise not_written(path, error) from error


def write_new_folder(folder: str | Path, contents: Mapping[str, str | bytes]) -> Path:
    """The folder, after it appeared whole with every file of `contents`.

    Parameters
    ----------
    folder : path
    contents : mapping of str to str or bytes
        Path below the folder, parted by slashes, to contents.

    Raises
    ------
    FileExistsError
        Something of that name is there.
    InputError
        The folder cannot be written.

    >>> import tempfile
    >>> made = write_new_folder(Path(tempfile.mkdtemp()) / "new", {"a.txt": "1", "b/c.txt": "2"})
    >>> sorted(path.name for path in made.rglob("*.txt"))
    ['a.txt', 'c.txt']
    """
    target = Path(folder)
    unfinished = None
    try:
        target = Path(os.path.realpath(target))
        target.parent.mkdir(parents=True, exist_ok=True)
        _clear_left_overs(target)
        unfinished = _beside(target)
        write_aside(unfinished, contents)
        there = not _moved(unfinished, target)
        flush_folder(target.parent)
    except (OSError, ValueError) as error:
        raise not_written(folder, error) from error
    finally:
        if unfinished is not None:
            shutil.rmtree(unfinished, ignore_errors=True)
    if there:
        raise FileExistsError(errno.EEXIST, "there is a folder already", str(folder))
    return Path(folder)


def _moved(folder: Path, target: Path) -> bool:
    """Whether a folder took a name; not when a folder with something in it has that name."""
    try:
        folder.replace(target)
    except OSError as error:
        if error.errno in (errno.ENOTEMPTY, errno.EEXIST):
            return False
        raise
    return True


def as_bytes(contents: str | bytes) -> bytes:
    r"""Contents as they are written; a name of a file that is no UTF-8 must not stop that.

    >>> as_bytes("K\xf6ln \udcff")
    b'K\xc3\xb6ln \\udcff'
    """
    return contents.encode("utf-8", "backslashreplace") if isinstance(contents, str) else contents


def write_aside(folder: Path, contents: Mapping[str, str | bytes]) -> None:
    """Write a folder that nobody reads yet, in the order of `contents`; all of it is on the disk.

    Raises
    ------
    OSError
        Where a file cannot be written, the folder holds those before it.
    """
    for name, given in contents.items():
        raw = as_bytes(given)
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        with path.open("xb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        for above in (path.parent, *path.parent.parents):
            flush_folder(above)
            if above == folder:
                break


def read_bytes(path: str | Path, limit: int) -> bytes:
    """All of a file, when it is not empty and at most `limit` bytes long.

    Raises
    ------
    FileFormatError
        Not there, no ordinary file, not readable, empty, or longer; or of a result folder and not
        as its run wrote it (`headfit.files.manifest`).
    """
    source = Path(path)
    try:
        raw = _read(source, limit)
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
        size = f"{limit // 1_000_000} MB" if limit >= 1_000_000 else f"{limit // 1000} kB"
        raise FileFormatError(
            sentence(
                str(source), f"be at most {size} long", "a longer file", "is this the right file?"
            ),
            code="file-too-long",
            path=str(source),
        )
    check_of_one_run(source, raw)
    return raw


def _read(source: Path, limit: int) -> bytes:
    """Up to one byte more than the limit of an ordinary file.

    Raises
    ------
    FileFormatError
        A folder, a device or a pipe.
    """
    if source.is_dir():
        raise FileFormatError(
            sentence(str(source), "be a file", "a folder"), code="file-is-folder", path=str(source)
        )
    # A pipe nobody writes to would keep us waiting for ever: opened so, it does not.
    descriptor = os.open(source, _READING)
    try:
        if not stat.S_ISREG(os.fstat(descriptor).st_mode):
            raise FileFormatError(
                sentence(str(source), "be a file", "a device or a pipe"),
                code="file-special",
                path=str(source),
            )
        file = os.fdopen(descriptor, "rb")
    except BaseException:
        os.close(descriptor)
        raise
    with file:
        return file.read(limit + 1)


def read_text(path: str | Path) -> str:
    """All of a UTF-8 text file, without its byte order mark.

    Raises
    ------
    FileFormatError
        As `read_bytes`, or not UTF-8 text.
    """
    raw = read_bytes(path, TEXT_BYTES)
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
        name = plain_text(Path(path).name)
        if str(error).startswith(name):
            raise
        raise type(error)(f"{name}: {error}", code=error.code, **error.facts) from error


def _beside(target: Path) -> Path:
    return target.with_name(_start_beside(target) + os.urandom(4).hex())


def _start_beside(target: Path) -> str:
    """How names of unfinished files of this target begin; never too long for the system."""
    short = os.fsencode(target.name)[:_MOST_NAME_BYTES].decode("utf-8", "ignore")
    return f".{short}{UNFINISHED}"


def _clear_left_overs(target: Path) -> None:
    """Remove what killed runs left beside this target."""
    start = _start_beside(target)
    for path in target.parent.iterdir():
        if not path.name.startswith(start):
            continue
        with suppress(OSError):
            # Whatever the clock says: what is dated far in the future is nobody's work of now.
            if abs(time.time() - path.lstat().st_mtime) > LEFT_OVER_S:
                if path.is_dir() and not path.is_symlink():
                    shutil.rmtree(path)
                else:
                    path.unlink()


def flush_folder(folder: Path) -> None:
    """Flush the names in a folder to the disk, where the system can; they are valid either way.

    It comes after the name took its place: a failure here must not be told as one of writing.
    """
    if hasattr(os, "O_DIRECTORY"):  # not Windows
        with suppress(OSError):
            descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)


def _reason(error: Exception) -> str:
    reason = error.strerror if isinstance(error, OSError) else None
    return (reason or str(error)).lower()


def not_written(path: str | Path, error: Exception) -> InputError:
    """The error for a file or folder that could not be written."""
    return InputError(
        f"{path} cannot be written: {_reason(error)} (what was there before is untouched)",
        code="file-not-written",
        path=str(path),
    )
