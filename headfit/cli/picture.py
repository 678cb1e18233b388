"""Draw the fitted head of a case file as a PNG."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from headfit.cli.screen import Screen
from headfit.errors import InputError, sentence
from headfit.output.cameras import DEFAULT_VIEW, VIEW_HELP


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit picture` takes."""
    parser.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    parser.add_argument(
        "-o", "--output", metavar="FILE.png", type=Path, required=True, help="picture to write"
    )
    parser.add_argument("--view", metavar="VIEW", default=DEFAULT_VIEW, help=VIEW_HELP)
    parser.add_argument(
        "--size", metavar="WxH", default="1600x1200", help="in pixels, 1600x1200 unless given"
    )


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Solve the case and draw it."""
    from headfit.case.solved import solve_case
    from headfit.files.case_file import read_case
    from headfit.files.formats import check_ending
    from headfit.output.picture import write_picture

    size = size_of(arguments.size)
    check_ending("the picture", arguments.output, ".png")
    with screen.doing("Fitting the head"):
        solved = solve_case(read_case(arguments.case))
    with screen.doing("Drawing"):
        write_picture(solved, arguments.output, arguments.view, size)
    screen.say(f"Wrote {arguments.output}: {arguments.size} pixels, seen from {arguments.view}.")
    screen.result({"file": str(arguments.output), "view": arguments.view, "size": size})
    return 0


def size_of(text: str) -> tuple[int, int]:
    """Width and height in pixels of text such as ``1600x1200``.

    Raises
    ------
    InputError
        Not two whole numbers from 100 to 8000.

    >>> size_of("1600x1200")
    (1600, 1200)
    """
    match = re.fullmatch(r"(\d{3,4})[xX](\d{3,4})", text.strip())
    if match is None or not all(100 <= int(n) <= 8000 for n in match.groups()):
        raise InputError(
            sentence(
                "--size", "be WIDTHxHEIGHT in pixels, each 100 to 8000", repr(text), "1600x1200"
            ),
            code="picture-size",
        )
    return int(match[1]), int(match[2])
