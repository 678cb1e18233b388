"""Write the set-up record: what was really done at the chair, with impedances and skin, as a PDF.

What the case has not charted in its [record] table is a line to write on, so that an empty record
is a form. With --from the record of a BIDS electrodes.tsv is taken instead of that of the case, or
what was done and typed on the page of `headfit chair` (a file that ends in .json); an output that
ends in .toml is the case with its record, one that ends in .pdf the page.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit record` takes."""
    parser.add_argument("case", metavar="CASE.toml", type=Path, help="the case file")
    parser.add_argument(
        "-o", "--output", metavar="FILE", type=Path, required=True, help="page or case to write"
    )
    parser.add_argument(
        "--from",
        dest="table",
        metavar="FILE",
        type=Path,
        help="take the record from electrodes.tsv, or chair-notes.json with its readings",
    )
    parser.add_argument("--paper", metavar="PAPER", default="A4", help="A4 (default) or letter")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Solve the case and write its record."""
    from dataclasses import replace

    from headfit.case.solved import solve_case
    from headfit.files.bids_record import read_record
    from headfit.files.case_file import read_case, write_case
    from headfit.files.chair_notes import with_chair_notes
    from headfit.files.formats import check_ending
    from headfit.output.case_record import write_record

    check_ending("the record", arguments.output, ".pdf", ".toml")
    case = read_case(arguments.case)
    if arguments.table is not None and arguments.table.suffix.casefold() == ".json":
        case = with_chair_notes(case, arguments.table)
    elif arguments.table is not None:
        case = replace(case, record=read_record(arguments.table))
    with screen.doing("Fitting the head"):
        solved = solve_case(case)
    if arguments.output.suffix.casefold() == ".toml":
        write_case(case, arguments.output)
    else:
        write_record(solved, arguments.output, arguments.paper)
    screen.say(f"Wrote {arguments.output}")
    screen.listed(solved.record_sentences)
    screen.result({"file": str(arguments.output), "record": solved.record_sentences})
    return 0
