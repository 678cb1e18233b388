"""Tell how long each derivation of a case is, left against right, and what is uneven."""

from __future__ import annotations

import argparse
from pathlib import Path

from headfit.cli.screen import Screen
from headfit.errors import InputError, sentence


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit derivations` takes."""
    parser.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    parser.add_argument(
        "--set", metavar="NAME", help="a declared set, instead of that of the case file"
    )
    parser.add_argument("--file", metavar="FILE", type=Path, help="your own list: CSV or TOML")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Fit the case, measure its derivations along the scalp."""
    from dataclasses import replace

    from headfit.app.case_plan import montage_of
    from headfit.app.case_view import view_case
    from headfit.files.case_file import read_case
    from headfit.files.montage_file import read_montage
    from headfit.planning.montages import standard_montages

    case = read_case(arguments.case)
    if arguments.set is not None:
        case = replace(case, derivations=arguments.set, derivations_file=None)
    if arguments.file is not None:
        case = replace(case, derivations=None, derivations_file=arguments.file.resolve())
    # The app shows a case whose own list is wrong all the same; here that is the answer.
    if case.derivations_file is not None:
        read_montage(case.derivations_file)
    elif case.derivations is not None:
        montage_of(case.derivations)
    with screen.doing("Measuring"):
        view = view_case(case)
    measured = view.montage
    if measured is None:
        raise InputError(
            sentence(
                "a case",
                "name its derivations",
                "none",
                f'add [derivations] set = "...", or --set: {", ".join(standard_montages())}',
            ),
            code="derivations-missing",
        )
    table = view.tables["derivations"]
    screen.say(table.caption)
    screen.table(
        [f"{c.title} ({c.unit})" if c.unit else c.title for c in table.columns],
        [row.cells for row in table.rows if not row.heading],
    )
    screen.listed(view.sentences.get("derivations", ()))
    free = view.sentences.get("free", ())
    screen.listed(free)
    screen.result(
        {
            "set": measured.montage.name,
            "derivations": [
                {"name": d.name, "length_mm": round(d.length_mm, 2)} for d in measured.derivations
            ],
            "missing": measured.missing,
            "findings": list(measured.findings),
            "free": list(free),
        }
    )
    return 0
