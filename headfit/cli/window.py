"""Show the fitted head of a case file in a window to turn with the mouse."""

from __future__ import annotations

import argparse
from pathlib import Path

from headfit.cli.screen import Screen
from headfit.output.cameras import DEFAULT_VIEW, VIEW_HELP


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit window` takes."""
    parser.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    parser.add_argument("--view", metavar="VIEW", default=DEFAULT_VIEW, help=VIEW_HELP)


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Solve the case and open the window; returns when it is closed."""
    from headfit.case.solved import solve_case
    from headfit.files.case_file import read_case
    from headfit.output.case_view import CaseView
    from headfit.output.picture import open_window

    with screen.doing("Fitting the head"):
        scene = CaseView(solve_case(read_case(arguments.case))).scene
    open_window(scene, view=arguments.view)
    screen.result({"closed": True})
    return 0
