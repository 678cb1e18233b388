"""Write a lesson on a head: one HTML file for a projector, stills, or a handout.

NAME is a lesson that comes with headfit (--list tells them), a lesson file of your own, or "quiz",
a quiz on this head and others. Without a case the head is that of the demo. --check reads a lesson
file, computes all its numbers and tells what is wrong, with its line; --words tells what may stand
in one.
"""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from headfit.cli.screen import Screen
from headfit.errors import InputError, sentence
from headfit.files.formats import check_ending

if TYPE_CHECKING:
    from headfit.teaching.stage import StagedLesson

_QUIZ = "quiz"
_ENDINGS = {"html": (".html", ".htm"), "pdf": (".pdf",)}
_FORMATS = {"html": "one offline file", "png": "a folder of stills", "pdf": "a handout"}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit lesson` takes."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="a lesson, or its file")
    parser.add_argument("case", metavar="CASE.toml", nargs="?", type=Path, help="whose head it is")
    parser.add_argument("-o", "--output", metavar="FILE", type=Path, help="file or folder to write")
    parser.add_argument(
        "--format",
        metavar="FORMAT",
        default="html",
        help="; ".join(f"{name}: {words}" for name, words in _FORMATS.items()),
    )
    parser.add_argument(
        "--seed", metavar="N", type=int, default=0, help="of a quiz: another number, other heads"
    )
    parser.add_argument("--list", action="store_true", help="tell the lessons there are")
    parser.add_argument("--words", action="store_true", help="tell the words a lesson may use")
    parser.add_argument("--check", metavar="FILE.toml", type=Path, help="read a lesson of your own")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """List, check, or stage and write."""
    if arguments.list:
        return _list(screen)
    if arguments.words:
        return _words(screen)
    if arguments.check is not None:
        return _check(arguments.check, arguments.case, screen)
    if arguments.name is None or arguments.output is None:
        raise InputError(
            sentence(
                "headfit lesson",
                "be told a lesson and where to write it",
                "no output" if arguments.name else "no lesson",
                "headfit lesson ring -o ring.html; headfit lesson --list tells the lessons",
            ),
            code="command-line",
        )
    if arguments.format not in _FORMATS:
        raise InputError(
            sentence("--format", f"be one of {', '.join(_FORMATS)}", arguments.format),
            code="command-line",
        )
    # Stills go into a folder, which may be called anything.
    if endings := _ENDINGS.get(arguments.format):
        check_ending(f"the output of --format {arguments.format}", arguments.output, *endings)
    if arguments.name == _QUIZ:
        return _quiz(arguments, screen)
    staged = _staged(arguments.name, arguments.case, screen)
    with screen.doing("Writing"):
        files = _WRITTEN[arguments.format](staged, arguments.output)
    told = {"html": "opens without a network", "png": "stills", "pdf": "print it on A4"}
    screen.say(f"Wrote {arguments.output}: {len(staged.steps)} steps, {told[arguments.format]}.")
    screen.result({"lesson": staged.lesson.name, "steps": len(staged.steps), "files": files})
    return 0


def _staged(name: str, case: Path | None, screen: Screen) -> StagedLesson:
    from headfit.case.solved import solve_case
    from headfit.files.case_file import read_case
    from headfit.files.lesson_file import lesson

    with screen.doing("Computing the lesson"):
        return lesson(name, None if case is None else solve_case(read_case(case)))


def _quiz(arguments: argparse.Namespace, screen: Screen) -> int:
    from headfit.case.solved import solve_case
    from headfit.files.case_file import demo_case, read_case
    from headfit.files.whole import write_whole
    from headfit.output.lesson_page import quiz_html
    from headfit.teaching.quiz import make_quiz

    if arguments.format != "html":
        raise InputError(
            sentence("a quiz", "be written as html", arguments.format), code="command-line"
        )
    with screen.doing("Drawing heads"):
        case = demo_case() if arguments.case is None else read_case(arguments.case)
        quiz = make_quiz(solve_case(case), arguments.seed)
    write_whole(arguments.output, quiz_html(quiz))
    screen.say(
        f"Wrote {arguments.output}: {len(quiz.heads)} heads; answers stay on the device, and are "
        "handed out there as CSV."
    )
    screen.result({"lesson": _QUIZ, "heads": len(quiz.heads), "files": [str(arguments.output)]})
    return 0


def _list(screen: Screen) -> int:
    from headfit.files.lesson_file import built_in_lesson, lesson_names

    found = [built_in_lesson(name) for name in lesson_names()]
    screen.table(("name", "title"), [(each.name, each.title) for each in found])
    screen.result([{"name": each.name, "title": each.title} for each in found])
    return 0


def _words(screen: Screen) -> int:
    from headfit.teaching.words import DRAGS, FIGURES, NUMBERS

    told = [(f"{{{name}}}", word.takes, word.means) for name, word in NUMBERS.items()]
    told += [(f"show {name}", word.takes, word.means) for name, word in FIGURES.items()]
    told += [(f"drag {name}", tuple(kind.options), kind.means) for name, kind in DRAGS.items()]
    for word, takes, means in told:
        screen.say(f"{word}{': ' if takes else ''}{', '.join(takes)} - {means}")
    screen.result([{"word": a, "takes": list(b), "means": c} for a, b, c in told])
    return 0


def _check(path: Path, case: Path | None, screen: Screen) -> int:
    from headfit.files.whole import about

    with about(path):
        staged = _staged(str(path), case, screen)
    screen.say(f"{path}: {staged.lesson.title}, {len(staged.steps)} steps, nothing wrong.")
    for step in staged.steps:
        screen.say(f"  {step.step.name}: {''.join(words for words, _ in step.caption)}")
    screen.result({"lesson": staged.lesson.name, "steps": len(staged.steps)})
    return 0


def _write_html(staged: StagedLesson, path: Path) -> list[str]:
    from headfit.output.lesson_page import write_lesson

    return [str(write_lesson(staged, path))]


def _write_stills(staged: StagedLesson, folder: Path) -> list[str]:
    from headfit.files.result_folder import write_folder
    from headfit.output.lesson_paper import still_png

    stills: dict[str, str | bytes] = {
        f"{k + 1:02d}-{step.step.name}.png": still_png(step) for k, step in enumerate(staged.steps)
    }
    write_folder(folder, stills, run="lesson")
    return [str(folder / name) for name in stills]


def _write_handout(staged: StagedLesson, path: Path) -> list[str]:
    from headfit.files.whole import write_whole
    from headfit.output.lesson_paper import handout_pdf

    return [str(write_whole(path, handout_pdf(staged)))]


_WRITTEN = {"html": _write_html, "png": _write_stills, "pdf": _write_handout}
