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
import shlex
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from headfit import __version__
from headfit.cli.screen import Screen
from headfit.errors import DrawingError, HeadfitError, InputError, sentence, unknown_name

if TYPE_CHECKING:
    from headfit.case.case import Case
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
        "--bands", metavar="NEAR,FAR", help="limits in mm, 5,10 unless given here or in the case"
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
    from headfit.case.solved import solve_case
    from headfit.comparing.verdict import summary
    from headfit.files.comparison_files import comparison_json, corrected_electrodes, deviations_tsv
    from headfit.files.marks_files import read_marks
    from headfit.files.result_folder import write_folder
    from headfit.output.comparison_scene import comparison_scene

    if arguments.sessions:
        return _run_sessions(arguments, screen)
    head_file, marks_file = head_and_marks(arguments, "headfit compare")
    chosen = _chosen(arguments)
    with screen.doing("Reading"):
        marks = read_marks(marks_file, unit=arguments.unit, strict=arguments.strict)
        case = replace(case_of(head_file, arguments).with_marks(marks, marks_file), **chosen)
    try:
        with screen.doing("Comparing"):
            solved = solve_case(case)
            comparison = solved.comparison
    except HeadfitError:
        say_of_marks(marks, screen)  # what was found in the file may be why
        raise
    assert comparison is not None  # there are marks
    files: dict[str, str | bytes] = {
        "deviations.tsv": deviations_tsv(comparison),
        "comparison.json": comparison_json(
            comparison,
            __version__,
            command=_command(arguments),
            read_files=[*arguments.files, *([arguments.landmarks] if arguments.landmarks else [])],
            head_from=solved.head_from,
        ),
    }
    if arguments.corrected:
        files |= {f"corrected/{k}": text for k, text in corrected_electrodes(marks).items()}
    no_picture = ""
    if not arguments.no_picture:
        from headfit.output.picture import png_bytes

        try:
            with screen.doing("Drawing"):
                files["picture.png"] = png_bytes(comparison_scene(comparison, solved.head))
        except DrawingError as error:
            no_picture = str(error)
    written = write_folder(arguments.output, files, run="compare", inputs=arguments.files)
    for line in summary(comparison):
        screen.say(line)
    screen.say()
    screen.say(f"Wrote {arguments.output}/: {', '.join(files)}")
    screen.listed(written.sentences)
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


def _chosen(arguments: argparse.Namespace) -> dict[str, Any]:
    """What the command line says of the comparison, which goes before what the case says."""
    from headfit.comparing.alignment_kinds import ALIGNMENTS

    chosen: dict[str, Any] = {}
    if arguments.align is not None:
        if arguments.align not in ALIGNMENTS:
            raise unknown_name("alignment", arguments.align, ALIGNMENTS)
        chosen["align"] = arguments.align
    if arguments.bands is not None:
        chosen["bands_mm"] = bands_of(arguments.bands)
    return chosen


def _run_sessions(arguments: argparse.Namespace, screen: Screen) -> int:
    """Read the sessions, compare them, write the folder."""
    from headfit.comparing.repeatability import compare_sessions
    from headfit.comparing.verdict import sessions_summary
    from headfit.files.comparison_files import repeats_json, repeats_tsv
    from headfit.files.marks_files import read_marks
    from headfit.files.result_folder import write_folder

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
    written = write_folder(
        arguments.output, files, run="compare --sessions", inputs=arguments.files
    )
    for line in sessions_summary(found, sessions):
        screen.say(line)
    screen.say()
    screen.say(f"Wrote {arguments.output}/: {', '.join(files)}")
    screen.listed(written.sentences)
    screen.result(
        {
            "folder": str(arguments.output),
            "files": list(files),
            "repeats": json.loads(files["repeats.json"]),
        }
    )
    return 0


def head_and_marks(arguments: argparse.Namespace, command: str) -> tuple[list[Path], Path]:
    """The file of the head, if there is one, and that of the marks.

    Raises
    ------
    InputError
        More than two files.
    """
    *head_file, marks_file = arguments.files
    if len(head_file) > 1:
        raise InputError(
            sentence(
                command,
                "be given one head and one file of marks at most",
                f"{len(arguments.files)} files",
                "for repeat sessions add --sessions",
            ),
            code="command-line",
        )
    return head_file, marks_file


def say_of_marks(marks: Marks, screen: Screen) -> None:
    """What was found in a file of marks and what was done: units, axes, templates, copies."""
    told = [remark for remark in marks.remarks if remark.kind != "note"]
    if told:
        screen.say()
        screen.say(f"About {marks.source}:")
    for remark in told:
        screen.say(f"  {remark.kind}: {remark.sentence}")


def _command(arguments: argparse.Namespace) -> str:
    """The command that makes the comparison again; files by their names, no machine's paths."""
    parts = ["headfit", "compare", *(path.name for path in arguments.files)]
    for option in ("landmarks", "align", "bands", "unit"):
        value = getattr(arguments, option)
        if value is not None:
            parts += [f"--{option}", value.name if isinstance(value, Path) else str(value)]
    if arguments.age != "adult":
        parts += ["--age", str(arguments.age)]
    if arguments.strict:
        parts.append("--strict")
    return shlex.join(parts)


def case_of(head_file: list[Path], arguments: argparse.Namespace) -> Case:
    """What is known of the head: a case file, a scan, or only the age."""
    from headfit.case.case import Case
    from headfit.files.case_file import read_case
    from headfit.files.formats import kind_of_head
    from headfit.files.surfaces import read_head

    if not head_file:
        return Case(age=arguments.age, label=arguments.files[-1].name)
    path = head_file[0]
    if kind_of_head(path) == "case":
        return read_case(path)
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
    return Case(scan=read_head(path, arguments.landmarks), label=path.name)


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
