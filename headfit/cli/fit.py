"""Fit a head to the measurements of a case file and write its sites.

The folder gets head.ply and landmarks.json (the fitted head), marks.tsv (where each site is marked
on the tape of its arc), bids/ (predicted sites as a BIDS derivatives dataset), case.json
(everything), where this machine can draw picture.png, and headfit-manifest.json, the list of them.
What an earlier run left there and this one does not write is removed, unless it was changed since.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from headfit import __version__
from headfit.cli.screen import Screen
from headfit.errors import HeadfitError

if TYPE_CHECKING:
    from headfit.files.results import CaseResult
    from headfit.planning.displacement import Displacement


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit fit` takes."""
    parser.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    parser.add_argument(
        "-o", "--output", metavar="DIR", type=Path, required=True, help="folder to write"
    )
    parser.add_argument("--no-picture", action="store_true", help="do not draw picture.png")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Fit the case and write the folder."""
    from headfit.files.case_file import read_case
    from headfit.files.results import fit_case

    with screen.doing("Fitting the head"):
        result = fit_case(read_case(arguments.case))
    write_result(result, arguments.output, screen, {}, draw=not arguments.no_picture)
    return 0


def write_result(
    result: CaseResult, folder: Path, screen: Screen, more: dict[str, str | bytes], *, draw: bool
) -> None:
    """Write the folder of a fitted case and say what was found.

    Parameters
    ----------
    result : CaseResult
    folder : path
    screen : Screen
    more : dict
        Further files, relative path to contents.
    draw : bool
        Also picture.png, when this machine can.
    """
    from headfit.app.case_plan import displaced, free_sentences
    from headfit.cli.summary import show_summary
    from headfit.files.result_folder import write_folder
    from headfit.files.results import as_json, result_data

    moved = displaced(result.case, result.sites)
    free = free_sentences(moved)
    data = result_data(result, __version__) | {"free": list(free)}
    files = {**more, **_files(result, moved), "case.json": as_json(data)}
    picture, no_picture = _drawn(result, screen) if draw else (None, "none was asked for")
    if picture is not None:
        files["picture.png"] = picture
    with screen.doing("Writing"):
        written = write_folder(
            folder, files, run="fit", version=__version__, handed_over=["case.toml"]
        )
    show_summary(result, screen)
    screen.listed(free)
    made = ["case.json", "marks.tsv", "head.ply", "landmarks.json", "bids/", *more]
    made += [] if no_picture else ["picture.png"]
    screen.say()
    screen.say(f"Wrote {folder}/: {', '.join(made)}")
    screen.listed(written.sentences)
    if draw and no_picture:
        screen.say(f"No picture: {no_picture}", style="yellow")
    screen.result({"folder": str(folder), "files": made, "no_picture": no_picture or None} | data)


def _files(result: CaseResult, moved: Displacement | None) -> dict[str, str | bytes]:
    from headfit.files.bids import bids_files
    from headfit.files.landmark_files import landmarks_json
    from headfit.files.surfaces import ply_bytes
    from headfit.files.tables import marks_tsv

    head = result.fitted.head
    dataset = bids_files(
        result.case, head.landmarks, result.sites, result.spreads, __version__, moved
    )
    return {
        "head.ply": ply_bytes(head),
        "landmarks.json": landmarks_json(head.landmarks) + "\n",
        "marks.tsv": marks_tsv(result.sites, moved),
        **{f"bids/{name}": text for name, text in dataset.items()},
    }


def _drawn(result: CaseResult, screen: Screen) -> tuple[bytes | None, str]:
    """The picture, or the reason why there is none."""
    from headfit.cli.picture import scene_of
    from headfit.output.picture import png_bytes

    try:
        with screen.doing("Drawing"):
            return png_bytes(scene_of(result)), ""
    except HeadfitError as error:  # no driver, or a place to keep free that is off the head
        return None, str(error)
