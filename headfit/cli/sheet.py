"""Write the sheet for the chair: what to mark, the head map and the set-up card, as a PDF."""

from __future__ import annotations

import argparse
from pathlib import Path

from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit sheet` takes."""
    parser.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    parser.add_argument(
        "-o", "--output", metavar="FILE.pdf", type=Path, required=True, help="sheet to write"
    )
    parser.add_argument("--paper", metavar="PAPER", default="A4", help="A4 (default) or letter")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Solve the case and write the sheet."""
    from headfit.case.solved import solve_case
    from headfit.errors import SheetError
    from headfit.files.case_file import read_case
    from headfit.files.formats import check_ending
    from headfit.output.case_sheet import write_refused_sheet, write_sheet

    file, paper, label = arguments.output, arguments.paper, arguments.case.stem
    check_ending("the sheet", file, ".pdf")
    try:
        with screen.doing("Fitting the head"):
            case = read_case(arguments.case)
            label, solved = case.label, solve_case(case)
        with screen.doing("Writing"):
            write_sheet(solved, file, paper)
    except SheetError as error:
        if error.code == "sheet-empty":  # nothing was read yet, so nothing is wrong
            raise
        write_refused_sheet(error, file, label, paper)
        screen.warn(f"{file} has no marks, only what follows and lines for new readings")
        raise
    screen.say(
        f"Wrote {arguments.output} ({arguments.paper}). Print it at 100 % and hold a tape against "
        "its 100 mm rule."
    )
    free = solved.free_sentences
    screen.listed(free)
    screen.result({"file": str(arguments.output), "paper": arguments.paper, "free": free})
    return 0
