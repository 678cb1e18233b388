"""The folder a run writes: of one run and no other, whoever is stopped on the way.

1. A lock keeps a second writer out.
2. All files and the manifest are written aside, in the folder itself, and flushed to the disk.
3. They are moved into their places one by one, what the earlier run wrote and this one does not is
   removed, and the manifest comes last.

Who is stopped before the manifest is aside has changed nothing. Who is stopped later leaves a
folder that no reader of ours takes (`headfit.files.manifest`), and the next run finishes the move
before it does anything else. Files of nobody's run stay as they are, always.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from headfit import __version__
from headfit.errors import InputError, sentence
from headfit.files.lock import FileLock
from headfit.files.manifest import (
    MANIFEST,
    UNFINISHED_RUN,
    Manifest,
    WrittenFile,
    is_inside,
    is_unfinished,
    read_manifest,
)
from headfit.files.whole import (
    as_bytes,
    flush_folder,
    not_written,
    write_aside,
    write_new_folder,
    write_whole,
)

_LOCK = ".headfit-lock"
# Writing takes a second; who waits longer than this waits for something that hangs.
_PATIENCE_S = 20.0


@dataclass(frozen=True)
class ResultFolder:
    """A folder after a run was written into it.

    Attributes
    ----------
    path : Path
    removed : tuple of str
        Files of the earlier run that this one does not write.
    kept : tuple of str
        Files of the earlier run that were changed since and therefore stay, though this run does
        not write them, or was to hand them over anew.
    """

    path: Path
    removed: tuple[str, ...] = ()
    kept: tuple[str, ...] = ()

    @property
    def sentences(self) -> tuple[str, ...]:
        """What must be said about files of the earlier run.

        >>> ResultFolder(Path("out"), ("sheet.pdf",), ("marks.tsv",)).sentences
        ('Removed, because it was of the run before: sheet.pdf.', \
'Kept, because it was changed since the run before; it does not belong to this one: marks.tsv.')
        """
        said = []
        if self.removed:
            said.append(f"Removed, because it was of the run before: {', '.join(self.removed)}.")
        if self.kept:
            said.append(
                "Kept, because it was changed since the run before; it does not belong to this "
                f"one: {', '.join(self.kept)}."
            )
        return tuple(said)


def write_folder(
    folder: str | Path,
    contents: Mapping[str, str | bytes],
    *,
    run: str,
    handed_over: Collection[str] = (),
    inputs: Collection[Path] = (),
) -> ResultFolder:
    """The folder, after it holds every file of `contents` and nothing else of an earlier run.

    Parameters
    ----------
    folder : path
        A folder that is not there yet appears whole or not at all.
    contents : mapping of str to str or bytes
        Path below the folder, parted by slashes, to contents.
    run : str
        Which command of headfit; a folder takes runs of one kind only.
    handed_over : collection of str
        Files of `contents` that the person goes on writing, such as a case file to start from: what
        was changed there is kept, and no later run removes it.
    inputs : collection of Path
        Files this run has read: it must not be the one that removes them.

    Raises
    ------
    InputError
        The folder cannot be written, somebody else is writing it, or it holds another kind of run;
        what was there before is untouched. Only when the move itself fails the folder is unfinished
        and said to be.

    >>> import tempfile
    >>> folder = Path(tempfile.mkdtemp()) / "case"
    >>> made = write_folder(folder, {"a.txt": "1", "b/c.txt": "2"}, run="fit")
    >>> sorted(path.name for path in made.path.rglob("*"))
    ['a.txt', 'b', 'c.txt', 'headfit-manifest.json']
    >>> write_folder(folder, {"a.txt": "3"}, run="fit").removed
    ('b/c.txt',)
    """
    target = Path(folder)
    raw = {name: as_bytes(content) for name, content in contents.items()}
    wrong = [name for name in raw if not is_inside(name)]
    if wrong:
        raise ValueError(wrong)
    files = {n: WrittenFile.of(c, handed_over=n in handed_over) for n, c in raw.items()}
    manifest = Manifest(run, __version__, files)
    try:
        if not os.path.lexists(target):
            with suppress(FileExistsError):  # somebody was faster: then it is a folder like others
                write_new_folder(target, {**raw, MANIFEST: manifest.text()})
                return ResultFolder(target)
        if not target.is_dir():
            raise _no_folder(target)
        with _alone(target):
            return _written_over(target, raw, manifest, inputs)
    except (OSError, ValueError) as error:
        if isinstance(error, InputError):
            raise
        raise not_written(folder, error) from error


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    lock = FileLock(folder / _LOCK)
    if not lock.take(_PATIENCE_S):
        raise InputError(
            sentence(
                f"the folder {folder}",
                "be written by one headfit at a time",
                "another one that is writing it",
                "wait until it has ended",
            ),
            code="folder-busy",
            path=str(folder),
        )
    try:
        yield
    finally:
        lock.release()


def _written_over(
    folder: Path, raw: Mapping[str, bytes], manifest: Manifest, inputs: Collection[Path]
) -> ResultFolder:
    """Write a run into a folder that is there, while the lock is ours."""
    aside = folder / UNFINISHED_RUN
    if is_unfinished(folder):
        _move(folder)
    _clear(aside)
    earlier = read_manifest(folder)
    if earlier is not None and earlier.run != manifest.run:
        raise InputError(
            sentence(
                f"the folder {folder}",
                f"be a new one, or one that headfit {manifest.run} wrote",
                f"one that headfit {earlier.run} wrote",
                "choose another name: a folder holds one run",
            ),
            code="folder-of-another",
            path=str(folder),
        )
    if earlier is not None:
        _check_inputs(folder, earlier.files.keys() - raw.keys(), inputs)
    files = dict(manifest.files)
    kept = []
    for name, contents in raw.items():
        _check_place(folder, name)
        if files[name].handed_over and _was_changed(folder, name, earlier, contents):
            kept.append(name)
    new = {name: contents for name, contents in raw.items() if name not in kept}
    try:
        write_aside(aside, new)
        write_whole(aside / MANIFEST, manifest.text())  # it is there whole, or not at all
    except BaseException:
        _clear(aside)
        raise
    try:
        removed, changed = _move(folder)
    except KeyboardInterrupt:
        _move(folder)  # a moment more, and the folder is whole
        raise
    except OSError as error:
        raise InputError(
            f"{folder} is left half-written: {(error.strerror or str(error)).lower()} (run the "
            "same command again when that is mended; until then nothing is read from it)",
            code="folder-half-written",
            path=str(folder),
        ) from error
    return ResultFolder(folder, tuple(removed), tuple(kept + changed))


def _check_inputs(folder: Path, leaving: Collection[str], inputs: Collection[Path]) -> None:
    """Refuse to remove, as of the run before, what this run was made from."""
    real = {os.path.realpath(path) for path in inputs}
    for name in sorted(leaving):
        if os.path.realpath(folder / name) in real:
            raise InputError(
                sentence(
                    f"the folder {folder}",
                    "be another one than that of the input",
                    f"the one of {name}, which the new run would remove",
                    "choose another name",
                ),
                code="folder-of-input",
                path=str(folder),
            )


def _was_changed(folder: Path, name: str, earlier: Manifest | None, new: bytes) -> bool:
    """Whether a file that is handed over holds something of the person's own."""
    try:
        there = (folder / name).read_bytes()
    except FileNotFoundError:
        return False
    written = None if earlier is None else earlier.files.get(name)
    return there != new and (written is None or not written.is_as_written(there))


def _check_place(folder: Path, name: str) -> None:
    """Refuse, before anything is changed, a place to which a file cannot be moved."""
    place = Path(os.path.realpath(folder / name))
    if place.is_dir():
        raise IsADirectoryError(errno.EISDIR, f"{name} is a directory")
    above = place.parent
    while not above.exists():
        above = above.parent
    if not above.is_dir():
        raise NotADirectoryError(errno.ENOTDIR, f"{above.name} is not a directory")
    if not os.access(above, os.W_OK | os.X_OK):
        raise PermissionError(errno.EACCES, "permission denied")


def _move(folder: Path) -> tuple[list[str], list[str]]:
    """Move the files aside into their places, the manifest last; may be stopped and done again.

    Returns what was removed of the earlier run, and what of it stays because it was changed.
    """
    aside = folder / UNFINISHED_RUN
    new, earlier = read_manifest(aside), read_manifest(folder)
    assert new is not None  # or it is not unfinished
    for name in new.files:
        source = aside / name
        if source.is_file() and not source.is_symlink():  # or moved already, or left as changed
            _move_file(source, Path(os.path.realpath(folder / name)))
    removed, changed = [], []
    for name, written in ({} if earlier is None else earlier.files).items():
        place = folder / name
        real = Path(os.path.realpath(place))
        if name in new.files or written.handed_over or not real.is_file():
            continue
        # A link that leads out of the folder is somebody's own.
        if real.is_relative_to(os.path.realpath(folder)) and written.is_as_written(
            real.read_bytes()
        ):
            place.unlink()
            _remove_empty(place.parent, folder)
            removed.append(name)
        else:
            changed.append(name)
    (aside / MANIFEST).replace(folder / MANIFEST)
    flush_folder(folder)
    _clear(aside)
    return removed, changed


def _move_file(source: Path, place: Path) -> None:
    place.parent.mkdir(parents=True, exist_ok=True)
    with suppress(FileNotFoundError):
        shutil.copymode(place, source)
    try:
        source.replace(place)
    except OSError as error:
        if error.errno != errno.EXDEV:
            raise
        write_whole(place, source.read_bytes())  # in a subfolder that is another drive
        source.unlink()
    flush_folder(place.parent)


def _remove_empty(folder: Path, up_to: Path) -> None:
    """Remove a folder and those above it that hold nothing any more."""
    while folder != up_to:
        try:
            folder.rmdir()
        except OSError:  # something else is in it
            return
        folder = folder.parent


def _clear(aside: Path) -> None:
    """Remove what is aside: the manifest first, so that no half of it is taken for the whole."""
    if aside.is_symlink():
        aside.unlink()
    elif aside.is_dir():
        (aside / MANIFEST).unlink(missing_ok=True)
        shutil.rmtree(aside)


def _no_folder(target: Path) -> InputError:
    return InputError(
        sentence("the output", "be a folder", f"a file at {target}", "choose another name"),
        code="not-a-folder",
        path=str(target),
    )
