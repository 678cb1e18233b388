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

from headfit.cli.screen import Screen

if TYPE_CHECKING:
    from headfit.case.solved import SolvedCase


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit fit` takes."""
    parser.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    parser.add_argument(
        "-o", "--output", metavar="DIR", type=Path, required=True, help="folder to write"
    )
    parser.add_argument("--no-picture", action="store_true", help="do not draw picture.png")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Solve the case and write the folder."""
    from headfit.case.solved import solve_case
    from headfit.files.case_file import read_case

    with screen.doing("Fitting the head"):
        solved = solve_case(read_case(arguments.case))
    write_results(solved, arguments.output, screen, {}, picture=not arguments.no_picture)
    return 0


def write_results(
    solved: SolvedCase, folder: Path, screen: Screen, more: dict[str, str | bytes], *, picture: bool
) -> None:
    """Write the folder of a solved case and say what was found.

    Parameters
    ----------
    solved : SolvedCase
    folder : path
    screen : Screen
    more : dict
        Further files, relative path to contents.
    picture : bool
        Also picture.png, when this machine can.
    """
    from headfit.cli.summary import show_summary
    from headfit.output.case_folder import save

    with screen.doing("Writing"):
        saved = save(solved, folder, picture=picture, more=more)
    show_summary(solved, screen)
    screen.listed(solved.free_sentences)
    screen.say()
    screen.say(f"Wrote {folder}/: {', '.join(saved.files)}")
    screen.listed(saved.of_the_run_before)
    if picture and saved.no_picture:
        screen.say(f"No picture: {saved.no_picture}", style="yellow")
    screen.result(
        {"folder": str(folder), "files": list(saved.files), "no_picture": saved.no_picture or None}
        | saved.data
    )
