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
    """Solve the case, tell its derivations along the scalp."""
    from headfit.case.solved import solve_case
    from headfit.files.case_file import read_case
    from headfit.files.montage_file import read_montage
    from headfit.output.tables import derivation_table
    from headfit.planning.montages import standard_montages

    case = read_case(arguments.case)
    if arguments.set is not None:
        case = case.with_derivations(arguments.set)
    if arguments.file is not None:
        file = arguments.file.resolve()
        case = case.with_derivations(None, read_montage(file), file)
    # The app shows a case whose own list is wrong all the same; here that is the answer.
    if "derivations" in case.problems:
        raise case.problems["derivations"]
    with screen.doing("Measuring"):
        solved = solve_case(case)
        measured = solved.derivations
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
    table = derivation_table(measured)
    screen.say(table.caption)
    screen.table(
        [f"{c.title} ({c.unit})" if c.unit else c.title for c in table.columns],
        [row.cells for row in table.rows if not row.heading],
    )
    screen.listed(measured.findings)
    screen.listed(solved.free_sentences)
    screen.result(
        {
            "set": measured.montage.name,
            "derivations": [
                {"name": d.name, "length_mm": round(d.length_mm, 2)} for d in measured.derivations
            ],
            "missing": measured.missing,
            "findings": list(measured.findings),
            "free": list(solved.free_sentences),
        }
    )
    return 0
