"""The folder of results of a solved case: what `headfit fit` writes.

head.ply and landmarks.json (the fitted head), marks.tsv (where on the tape each site is marked),
bids/ (predicted sites as a BIDS derivatives dataset), case.json (everything) and, where this
machine can draw, picture.png.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from headfit.case.solved import SolvedCase
from headfit.errors import DrawingError
from headfit.files.bids import bids_files
from headfit.files.case_json import solved_data
from headfit.files.landmark_files import landmarks_json
from headfit.files.plain_json import as_json
from headfit.files.result_folder import write_folder
from headfit.files.surfaces import ply_bytes
from headfit.files.tables import marks_tsv
from headfit.output.case_view import CaseView

PICTURE = "picture.png"


@dataclass(frozen=True)
class SavedResults:
    """What was written.

    Attributes
    ----------
    folder : Path
    files : tuple of str
        As a person is told them: a dataset counts as its folder.
    data : dict
        The content of case.json.
    no_picture : str
        Why there is no picture; empty when there is one.
    of_the_run_before : tuple of str
        What was removed of the run before, and what is kept because it was changed, in sentences.
    """

    folder: Path
    files: tuple[str, ...]
    data: dict[str, Any]
    no_picture: str
    of_the_run_before: tuple[str, ...]


def save(
    solved: SolvedCase,
    folder: str | Path,
    *,
    picture: bool = True,
    more: Mapping[str, str | bytes] | None = None,
) -> SavedResults:
    """Write the results of a solved case into a folder.

    Parameters
    ----------
    solved : SolvedCase
    folder : path
        Made when it is not there.
    picture : bool
        Also draw picture.png; where this machine cannot, the rest is written all the same.
    more : mapping of str to str or bytes, optional
        Further files, relative path to contents.

    Raises
    ------
    InputError
        Nothing is measured, or the folder cannot be written.
    """
    folder = Path(folder)
    head, data = solved.tape_fit.head, solved_data(solved)
    files: dict[str, str | bytes] = {
        **(more or {}),
        "head.ply": ply_bytes(head),
        "landmarks.json": landmarks_json(head.landmarks) + "\n",
        "marks.tsv": marks_tsv(
            solved.sites, solved.displacement, plan=solved.marking, tape_on=solved.tape_on
        ),
        **{f"bids/{name}": text for name, text in bids_files(solved).items()},
        "case.json": as_json(data),
    }
    no_picture = "none was asked for"
    if picture:
        from headfit.output.picture import png_bytes

        try:
            files[PICTURE] = png_bytes(CaseView(solved).scene)
            no_picture = ""
        except DrawingError as error:
            no_picture = str(error)
    written = write_folder(folder, files, run="fit", handed_over=["case.toml"])
    told = ("case.json", "marks.tsv", "head.ply", "landmarks.json", "bids/", *(more or {}))
    made = (*told, *([] if no_picture else [PICTURE]))
    return SavedResults(folder, made, data, no_picture, written.sentences)
