"""Files of marks that were dropped on the page, kept beside the case so that it opens again."""

from __future__ import annotations

from pathlib import Path

from headfit.errors import InputError, sentence
from headfit.files.whole import write_folder

_ENDINGS = (".tsv", ".csv", ".txt", ".json")
MOST_FILES = 4


def keep_marks(files: object, case_path: Path) -> Path:
    """The path of the file of positions, after all were written beside the case.

    Parameters
    ----------
    files : list of {"name": str, "text": str}
        One file of positions, and what belongs to it, such as the coordsystem.json of BIDS.
    case_path : Path

    Raises
    ------
    InputError
        Not files of text with plain names, or none holds positions.
    """
    if not isinstance(files, list) or not 0 < len(files) <= MOST_FILES:
        raise InputError(
            sentence("marks", f"be 1 to {MOST_FILES} files", "something else"), code="marks-files"
        )
    contents: dict[str, str | bytes] = {}
    for file in files:
        name, text = (file.get("name"), file.get("text")) if isinstance(file, dict) else ("", "")
        if not isinstance(name, str) or not isinstance(text, str) or not _plain(name):
            raise InputError(
                sentence("a file of marks",
                         f"be text with a plain name that ends in one of {', '.join(_ENDINGS)}",
                         repr(name)[:60]),
                code="marks-files",
            )  # fmt: skip
        contents[name] = text
    folder = case_path.with_name(f"{case_path.stem}.marks")
    write_folder(folder, contents)
    beside = [name for name in contents if not name.endswith("coordsystem.json")]
    return folder / (beside or list(contents))[0]


def _plain(name: str) -> bool:
    known = name.lower().endswith(_ENDINGS) and not name.startswith(".")
    return (
        known
        and Path(name).name == name
        and "\\" not in name
        and "\0" not in name
        and len(name) <= 120
    )
