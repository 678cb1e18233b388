"""The manifest of a result folder: which files one run wrote, each with its size and checksum.

It is written last. A file that is read from a result folder must be as the manifest tells: a folder
in which a run was stopped half-way, or in which files of two runs stand, is never read as one.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from headfit.errors import FileFormatError, sentence
from headfit.files.limits import SIDECAR_BYTES

MANIFEST = "headfit-manifest.json"
# Holds the files of a run until all are on the disk; with a manifest in it they are.
UNFINISHED_RUN = ".headfit-unfinished"
# FOLDER/bids/sub-01/eeg/electrodes.tsv lies this deep.
_MOST_FOLDERS = 4


@dataclass(frozen=True)
class WrittenFile:
    """One file of a run.

    Attributes
    ----------
    size_bytes : int
    sha256 : str
        Of its contents, 64 hexadecimal digits.
    handed_over : bool
        It is the person's to change from then on: never removed, and read as it is.
    """

    size_bytes: int
    sha256: str
    handed_over: bool

    @classmethod
    def of(cls, contents: bytes, *, handed_over: bool = False) -> WrittenFile:
        """What the manifest says of these contents."""
        return cls(len(contents), hashlib.sha256(contents).hexdigest(), handed_over)

    def is_as_written(self, contents: bytes) -> bool:
        """Whether these contents are those that were written."""
        return WrittenFile.of(contents, handed_over=self.handed_over) == self


@dataclass(frozen=True)
class Manifest:
    """What one run wrote into its folder.

    Attributes
    ----------
    run : str
        Which command of headfit.
    version : str
        Of headfit.
    files : mapping of str to WrittenFile
        By their paths below the folder, parted by slashes.
    """

    run: str
    version: str
    files: Mapping[str, WrittenFile]

    def text(self) -> str:
        r"""The manifest as JSON.

        >>> print(Manifest("fit", "1.0", {"a.txt": WrittenFile.of(b"1")}).text()[:47])
        {
          "made_by": "headfit 1.0",
          "run": "fit",
        """
        files = {
            name: {"bytes": file.size_bytes, "sha256": file.sha256}
            | ({"yours": True} if file.handed_over else {})
            for name, file in sorted(self.files.items())
        }
        content = {"made_by": f"headfit {self.version}", "run": self.run, "files": files}
        return json.dumps(content, indent=2, ensure_ascii=False) + "\n"


def read_manifest(folder: Path) -> Manifest | None:
    """The manifest of a folder; None when it has none.

    Raises
    ------
    FileFormatError
        A file of that name which is no manifest.
    """
    path = folder / MANIFEST
    try:
        if not path.is_file():
            return None
        with path.open("rb") as file:
            found = json.loads(file.read(SIDECAR_BYTES))
        return _manifest_of(found)
    except (OSError, ValueError, TypeError, KeyError, RecursionError) as error:
        raise FileFormatError(
            sentence(
                str(path),
                "be the manifest of a result folder",
                "something else",
                "choose another folder, or remove the file when it is not needed",
            ),
            code="manifest-form",
            path=str(path),
        ) from error


def _manifest_of(found: Any) -> Manifest:
    files = {}
    for name, entry in found["files"].items():
        size, digest = entry["bytes"], entry["sha256"]
        # A manifest may come from anywhere: its names must not lead out of the folder.
        if not is_inside(name) or type(size) is not int or not isinstance(digest, str):
            raise ValueError(name)
        files[name] = WrittenFile(size, digest, entry.get("yours") is True)
    run, made_by = found["run"], found["made_by"]
    if not isinstance(run, str) or not isinstance(made_by, str):
        raise TypeError
    return Manifest(run, made_by.removeprefix("headfit "), files)


def is_inside(name: str) -> bool:
    """Whether a relative path stays in its folder and is none of the files that keep order there.

    >>> is_inside("bids/README.md"), is_inside("../x"), is_inside("/etc/x"), is_inside("a//b")
    (True, False, False, False)
    """
    parts = PurePosixPath(name).parts
    return (
        bool(parts)
        and "/".join(parts) == name
        and ".." not in parts
        and not set(name) & {"\\", "\0", ":"}
        and parts[0] not in (MANIFEST, UNFINISHED_RUN)
    )


def is_unfinished(folder: Path) -> bool:
    """Whether a run was stopped while it moved its files into their places."""
    return (folder / UNFINISHED_RUN / MANIFEST).is_file()


def check_of_one_run(path: Path, contents: bytes) -> None:
    """Refuse a file of a result folder that is not as the run of that folder wrote it.

    Parameters
    ----------
    path : Path
    contents : bytes
        As just read.

    Raises
    ------
    FileFormatError
        A run was stopped half-way in this folder, or the file is not of its run.
    """
    given = path.absolute()
    for folder in given.parents[:_MOST_FOLDERS]:
        if is_unfinished(folder):
            raise FileFormatError(
                sentence(
                    f"the folder {folder}",
                    "be of one run",
                    "one in which a run was stopped half-way",
                    "run the command that writes it again",
                ),
                code="folder-unfinished",
                path=str(folder),
            )
        manifest = read_manifest(folder)
        if manifest is None:
            continue
        written = manifest.files.get(given.relative_to(folder).as_posix())
        if written and not written.handed_over and not written.is_as_written(contents):
            raise FileFormatError(
                sentence(
                    path.name,
                    f"be as headfit {manifest.run} wrote it",
                    "another one; this folder is of two runs, or the file was changed since",
                    "run it again, or copy the file elsewhere to use it as it is",
                ),
                code="folder-of-two-runs",
                path=str(path),
            )
        return
