"""Fit the demo case that comes with headfit: invented data, nothing to prepare.

Writes the case file beside its results, so that you can change a number and run `headfit fit`; ends
in the report, which opens in a browser without a network.
"""

from __future__ import annotations

import argparse
import os
import sys
from pathlib import Path

from headfit.cli.screen import Screen
from headfit.errors import InputError, sentence

FOLDER = Path("demo-output")
REPORT = "report.html"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit demo` takes."""
    parser.add_argument(
        "folder",
        metavar="DIR",
        nargs="?",
        type=Path,
        default=FOLDER,
        help=f"folder to write, {FOLDER} unless given",
    )
    parser.add_argument("--no-open", action="store_true", help="do not open the result")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Fit the demo case, write the folder, open what a person looks at first."""
    from headfit.case.solved import solve_case
    from headfit.cli.fit import write_results
    from headfit.files.case_file import case_of_text
    from headfit.output.case_report import report_text
    from headfit.output.case_sheet import sheet_content
    from headfit.output.case_view import CaseView
    from headfit.output.sheet import sheet_pdf

    text = (Path(__file__).parents[1] / "demo" / "case.toml").read_text(encoding="utf-8")
    case = arguments.folder / "case.toml"
    _check_unchanged(case, text)
    with screen.doing("Fitting the head"):
        solved = solve_case(case_of_text(text, arguments.folder))
    with screen.doing("Writing report and sheet"):
        more: dict[str, str | bytes] = {
            "case.toml": text,
            REPORT: report_text(CaseView(solved), "case.toml"),
            "sheet.pdf": sheet_pdf(sheet_content(solved)),
        }
    write_results(solved, arguments.folder, screen, more, picture=True)
    screen.say(f"Open {arguments.folder / REPORT} to turn the head; print sheet.pdf for the chair.")
    screen.say(f"Change a number in {case}, then: headfit fit {case} -o {arguments.folder}")
    if not arguments.no_open and not screen.as_json:
        _open(arguments.folder)
    return 0


def _check_unchanged(case: Path, text: str) -> None:
    """Refuse to write over a case file that somebody changed.

    Raises
    ------
    InputError
    """
    from headfit.files.whole import read_text

    if case.exists() and read_text(case) != text:
        raise InputError(
            sentence(
                "the demo",
                "find its own case.toml or none",
                f"a changed one, {case}",
                f"to keep it: headfit fit {case} -o {case.parent}; else name another folder",
            ),
            code="demo-changed",
        )


def _open(folder: Path) -> None:
    """Open the result where somebody sits in front of a display."""
    import webbrowser

    has_display = sys.platform in ("darwin", "win32") or any(
        os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY")
    )
    first = folder / REPORT
    if has_display and sys.stdout.isatty() and first.is_file():
        webbrowser.open(first.absolute().as_uri())
