"""Hold digitised marks against where the sites should be.

The head comes from a case file, from a surface with --landmarks, or, with neither, from the marks
themselves. The folder gets deviations.tsv (a row for each mark), comparison.json (everything) and,
where this machine can draw, picture.png. Nothing is corrected silently: every correction is listed,
and --strict refuses instead. Mixed-up names are reported and never exchanged.

With --sessions the files are repeat sessions of one person, and the folder gets repeats.tsv and
repeats.json: how far each site comes back to its place.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from headfit import __version__
from headfit.cli.screen import Screen
from headfit.errors import DrawingError, InputError, sentence

if TYPE_CHECKING:
    from headfit.anatomy.head import Head
    from headfit.anatomy.sites import Sites
    from headfit.fitting.spreads import SiteSpreads
    from headfit.marks.marks import Marks


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit compare` takes."""
    parser.add_argument(
        "files",
        metavar="FILE",
        nargs="+",
        type=Path,
        help="[CASE.toml or SURFACE] MARKS: a BIDS electrodes.tsv, a CSV, TSV or JSON",
    )
    parser.add_argument(
        "-o", "--output", metavar="DIR", type=Path, required=True, help="folder to write"
    )
    parser.add_argument("--landmarks", metavar="FILE.json", type=Path, help="of the surface")
    parser.add_argument(
        "--align",
        metavar="HOW",
        help="landmarks (where measured), best-fit, robust or surface; both of the first two are "
        "always told",
    )
    parser.add_argument(
        "--bands", metavar="NEAR,FAR", default="5,10", help="limits in mm, 5,10 unless given"
    )
    parser.add_argument("--unit", metavar="UNIT", help="of the marks, when the file is wrong")
    parser.add_argument("--age", metavar="AGE", default="adult", help="when the marks are the head")
    parser.add_argument(
        "--strict", action="store_true", help="refuse marks that need any correction"
    )
    parser.add_argument(
        "--corrected", action="store_true", help="also write the cleaned marks in BIDS form"
    )
    parser.add_argument(
        "--sessions",
        action="store_true",
        help="all files are marks of one person, session by session",
    )
    parser.add_argument("--no-picture", action="store_true", help="do not draw picture.png")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Read marks and head, compare, write the folder."""
    from headfit.comparing.compare import compare_marks
    from headfit.comparing.verdict import summary
    from headfit.files.comparison_files import comparison_json, corrected_electrodes, deviations_tsv
    from headfit.files.marks_files import read_marks
    from headfit.files.whole import write_folder
    from headfit.output.comparison_scene import comparison_scene

    if arguments.sessions:
        return _run_sessions(arguments, screen)
    bands = bands_of(arguments.bands)
    *head_file, marks_file = arguments.files
    if len(head_file) > 1:
        raise InputError(
            sentence(
                "headfit compare",
                "be given one head and one file of marks at most",
                f"{len(arguments.files)} files",
                "for repeat sessions add --sessions",
            ),
            code="command-line",
        )
    with screen.doing("Reading"):
        marks = read_marks(marks_file, unit=arguments.unit, strict=arguments.strict)
        head, sites, spreads, marks = _sites_for(head_file, marks, arguments)
    with screen.doing("Comparing"):
        comparison = compare_marks(sites, marks, arguments.align, bands_mm=bands, spreads=spreads)
    files: dict[str, str | bytes] = {
        "deviations.tsv": deviations_tsv(comparison),
        "comparison.json": comparison_json(comparison, __version__),
    }
    if arguments.corrected:
        files |= {f"corrected/{k}": text for k, text in corrected_electrodes(marks).items()}
    no_picture = ""
    if not arguments.no_picture:
        from headfit.output.picture import png_bytes

        try:
            with screen.doing("Drawing"):
                files["picture.png"] = png_bytes(comparison_scene(comparison, head))
        except DrawingError as error:
            no_picture = str(error)
    write_folder(arguments.output, files)
    if no_picture:
        # A picture of another comparison beside these numbers would be worse than none.
        (arguments.output / "picture.png").unlink(missing_ok=True)
    for line in summary(comparison):
        screen.say(line)
    screen.say()
    screen.say(f"Wrote {arguments.output}/: {', '.join(files)}")
    if no_picture:
        screen.say(f"No picture: {no_picture}", style="yellow")
    screen.result(
        {
            "folder": str(arguments.output),
            "files": list(files),
            "comparison": json.loads(files["comparison.json"]),
            "no_picture": no_picture or None,
        }
    )
    return 0


def _run_sessions(arguments: argparse.Namespace, screen: Screen) -> int:
    """Read the sessions, compare them, write the folder."""
    from headfit.comparing.repeatability import compare_sessions
    from headfit.comparing.verdict import sessions_summary
    from headfit.files.comparison_files import repeats_json, repeats_tsv
    from headfit.files.marks_files import read_marks
    from headfit.files.whole import write_folder

    with screen.doing("Reading"):
        sessions = [
            read_marks(path, unit=arguments.unit, strict=arguments.strict)
            for path in arguments.files
        ]
        found = compare_sessions(sessions)
    files: dict[str, str | bytes] = {
        "repeats.tsv": repeats_tsv(found),
        "repeats.json": repeats_json(found, sessions, __version__),
    }
    write_folder(arguments.output, files)
    for line in sessions_summary(found, sessions):
        screen.say(line)
    screen.say()
    screen.say(f"Wrote {arguments.output}/: {', '.join(files)}")
    screen.result(
        {
            "folder": str(arguments.output),
            "files": list(files),
            "repeats": json.loads(files["repeats.json"]),
        }
    )
    return 0


def _sites_for(
    head_file: list[Path], marks: Marks, arguments: argparse.Namespace
) -> tuple[Head, Sites, SiteSpreads | None, Marks]:
    """The head, its sites, how sure they are, and the marks with what to say of the head."""
    from headfit.anatomy.sites import place_sites
    from headfit.comparing.head_from_marks import head_under
    from headfit.files.case_file import read_case
    from headfit.files.results import fit_case
    from headfit.files.surfaces import read_head

    if not head_file:
        found, remark = head_under(marks, age=arguments.age)
        sites = place_sites(found.head, marks.names)
        marks = replace(marks, remarks=(*marks.remarks, remark))
        return found.head, sites, found.spreads(sites), marks
    path = head_file[0]
    if path.suffix.casefold() == ".toml":
        case = read_case(path)
        result = fit_case(case)
        sites = place_sites(result.fitted.head, marks.names, result.sites.rules)
        return result.fitted.head, sites, result.fitted.spreads(sites), marks
    if path.suffix.casefold() not in (".ply", ".obj", ".stl"):
        raise InputError(
            sentence(
                "the head",
                "be a case file CASE.toml or a surface .ply, .obj or .stl",
                path.name,
                "for repeat sessions add --sessions",
            ),
            code="command-line",
        )
    if arguments.landmarks is None:
        raise InputError(
            sentence(
                "a surface",
                "come with its landmarks",
                "none",
                f"add --landmarks FILE.json for {path.name}, or give a case file CASE.toml",
            ),
            code="command-line",
        )
    head = read_head(path, arguments.landmarks)
    return head, place_sites(head, marks.names), None, marks


def bands_of(text: str) -> tuple[float, float]:
    """Two limits in mm of text such as ``5,10``.

    Raises
    ------
    InputError
        Not two rising numbers.

    >>> bands_of("5,10")
    (5.0, 10.0)
    """
    try:
        near, far = (float(part) for part in text.split(","))
    except ValueError:
        near, far = 0.0, 0.0
    if not 0.0 < near < far < 100.0:
        raise InputError(
            sentence("--bands", "be two rising numbers of mm", repr(text), "such as 5,10"),
            code="bands",
        )
    return near, far
