"""Write the report of a case: one HTML file that opens anywhere, asks for nothing and prints."""

from __future__ import annotations

import argparse
from pathlib import Path

from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit report` takes."""
    parser.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    parser.add_argument(
        "-o", "--output", metavar="FILE.html", type=Path, required=True, help="report to write"
    )


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Solve the case and write the report."""
    from headfit.case.solved import solve_case
    from headfit.files.case_file import read_case
    from headfit.files.formats import check_ending
    from headfit.output.case_report import write_report

    check_ending("the report", arguments.output, ".html", ".htm")
    with screen.doing("Fitting the head"):
        solved = solve_case(read_case(arguments.case))
    with screen.doing("Writing"):
        path = write_report(solved, arguments.output, arguments.case.name)
    size = path.stat().st_size
    screen.say(f"Wrote {arguments.output}: {size / 1e6:.1f} MB, opens without a network.")
    screen.result({"file": str(arguments.output), "bytes": size})
    return 0
