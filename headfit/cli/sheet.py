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
    """Fit the case and write the sheet."""
    from headfit.app.case_plan import content_of, plan_case
    from headfit.files.case_file import read_case
    from headfit.files.whole import write_whole
    from headfit.output.sheet import sheet_pdf

    with screen.doing("Fitting the head"):
        plan = plan_case(read_case(arguments.case))
    with screen.doing("Writing"):
        pdf = sheet_pdf(content_of(plan), arguments.paper)
        write_whole(arguments.output, pdf)
    screen.say(
        f"Wrote {arguments.output} ({arguments.paper}). Print it at 100 % and hold a tape against "
        "its 100 mm rule."
    )
    screen.listed(plan.free)
    screen.result({"file": str(arguments.output), "paper": arguments.paper, "free": plan.free})
    return 0
