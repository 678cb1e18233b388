"""Write the steps at the chair: one HTML file for a tablet or a phone, one step at a time.

It opens without a network and sends nothing. What is done and typed there is kept in that browser;
carry it back with `headfit record CASE.toml --from chair-notes.json -o CASE.toml`.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit chair` takes."""
    parser.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    parser.add_argument(
        "-o", "--output", metavar="FILE.html", type=Path, required=True, help="page to write"
    )


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Solve the case and write its steps."""
    from headfit.case.solved import solve_case
    from headfit.files.case_file import read_case
    from headfit.files.formats import check_ending
    from headfit.output.chair_page import write_chair

    check_ending("the page", arguments.output, ".html", ".htm")
    with screen.doing("Fitting the head"):
        solved = solve_case(read_case(arguments.case))
    with screen.doing("Writing"):
        path = write_chair(solved, arguments.output)
    size = path.stat().st_size
    screen.say(f"Wrote {arguments.output}: {size / 1e6:.1f} MB, opens without a network.")
    screen.listed(solved.urgent_sentences)
    screen.result({"file": str(arguments.output), "bytes": size})
    return 0
