"""Tell at which site each mark lies that bears no name of a site.

For marks that are numbered or lettered. The head is a case file, a surface with --landmarks, or,
with neither, the one under the marks, and without landmarks the template of the age. A site is sure
only where no other one is nearly as near; nothing is renamed. The table has a row for each mark.
"""

from __future__ import annotations

import argparse
from dataclasses import asdict
from pathlib import Path

from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit places` takes."""
    parser.add_argument(
        "files",
        metavar="FILE",
        nargs="+",
        type=Path,
        help="[CASE.toml or SURFACE] MARKS: a BIDS electrodes.tsv, a CSV, TSV or JSON",
    )
    parser.add_argument("--landmarks", metavar="FILE.json", type=Path, help="of the surface")
    parser.add_argument(
        "--system", metavar="NAME", default="10-10", help="sites that may be meant (10-10)"
    )
    parser.add_argument("--unit", metavar="UNIT", help="of the marks, when the file is wrong")
    parser.add_argument("--age", metavar="AGE", default="adult", help="when the marks are the head")
    parser.add_argument("-o", "--output", metavar="FILE.tsv", type=Path, help="table to write")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Read the marks and the head, guess, write the table."""
    from headfit.anatomy.sites import place_sites
    from headfit.case.solved import solve_case
    from headfit.cli.compare import case_of, head_and_marks, say_of_marks
    from headfit.comparing.unnamed_marks import guess_places
    from headfit.files.formats import check_ending
    from headfit.files.marks_files import read_marks
    from headfit.files.tables import tsv
    from headfit.files.whole import write_whole

    if arguments.output is not None:
        check_ending("the table", arguments.output, ".tsv")
    head_file, marks_file = head_and_marks(arguments, "headfit places")
    with screen.doing("Reading"):
        marks = read_marks(marks_file, unit=arguments.unit)
        case = case_of(head_file, arguments)
        if marks.frame is not None and not head_file:  # else nothing tells how they lie on it
            case = case.with_marks(marks, marks_file)
    with screen.doing("Guessing"):
        head = solve_case(case).head
        guesses = guess_places(place_sites(head, arguments.system), marks)
    rows = [
        [g.name, g.site, g.distance_mm, g.next_site, g.next_distance_mm, "yes" if g.sure else "no"]
        for g in guesses
    ]
    header = ("name", "site", "distance_mm", "next_site", "next_distance_mm", "sure")
    sure = sum(g.sure for g in guesses)
    screen.say(f"{len(marks.other_names)} marks: {sure} lie at a site for sure.")
    for name, site, distance, *_, certain in rows:
        screen.say(f"  {name}: {site}, {distance:.0f} mm{'' if certain == 'yes' else ', not sure'}")
    say_of_marks(marks, screen)
    if arguments.output is not None:
        write_whole(arguments.output, tsv(header, rows, decimals=2))
        screen.say(f"Wrote {arguments.output}")
    screen.result({"guesses": [{**asdict(g), "sure": g.sure} for g in guesses]})
    return 0
