"""Draw the fitted head of a case file as a PNG."""

from __future__ import annotations

import argparse
import re
from pathlib import Path
from typing import TYPE_CHECKING

from headfit.cli.screen import Screen
from headfit.errors import InputError, sentence
from headfit.output.cameras import DEFAULT_VIEW, VIEW_HELP

if TYPE_CHECKING:
    from headfit.files.results import CaseResult
    from headfit.output.scene import Scene


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
    """Fit the case and draw it."""
    from headfit.files.case_file import read_case
    from headfit.files.results import fit_case
    from headfit.files.whole import write_whole
    from headfit.output.picture import check_png_name, png_bytes

    check_png_name(arguments.output)
    size = size_of(arguments.size)
    with screen.doing("Fitting the head"):
        scene = scene_of(fit_case(read_case(arguments.case)))
    with screen.doing("Drawing"):
        picture = png_bytes(scene, arguments.view, size)
    write_whole(arguments.output, picture)
    screen.say(f"Wrote {arguments.output}: {arguments.size} pixels, seen from {arguments.view}.")
    screen.result({"file": str(arguments.output), "view": arguments.view, "size": size})
    return 0


def scene_of(result: CaseResult) -> Scene:
    """What is drawn of a fitted case."""
    from headfit.app.case_view import view_case

    return view_case(result.case, result=result).scene


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
