"""The `headfit` command: reads, calls, writes; no mathematics in here.

One module a command: its first docstring line is the help, `add_arguments` declares what it takes,
`run` does it. They import what is heavy inside `run`, so that `headfit --help` answers at once.
"""

from __future__ import annotations

import argparse
import importlib
import os
import sys
import threading
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from headfit import __version__
from headfit.cli.screen import Screen
from headfit.cli.signs import print_plain_signs_where_needed
from headfit.errors import HeadfitError, InputError, unknown_name

if TYPE_CHECKING:
    from types import FrameType

# In the order of the help. A new command is a module of this name and an entry here.
COMMANDS = (
    "demo",
    "samples",
    "app",
    "fit",
    "compare",
    "study",
    "places",
    "report",
    "sheet",
    "chair",
    "record",
    "lesson",
    "derivations",
    "sites",
    "measurements",
    "picture",
    "window",
    "doctor",
    "cite",
    "completion",
)

BAD_INPUT = 2
INTERRUPTED = 130  # what shells report for Ctrl-C

_DESCRIPTION = (
    "From tape measurements of a head to its 10-20, 10-10 and 10-5 sites, how sure each is, and a "
    "picture of it. Not a medical device."
)


class Parser(argparse.ArgumentParser):
    """A parser whose complaint is one sentence, raised like any other bad input."""

    def error(self, message: str) -> NoReturn:
        """Raise the complaint instead of printing the whole usage.

        Raises
        ------
        InputError
            Always.
        """
        raise InputError(f"{message} (`{self.prog} --help` shows how)", code="command-line")


def build_parser(names: Sequence[str] = COMMANDS) -> argparse.ArgumentParser:
    """The parser of all commands, or of those that may be meant: each has a module to load."""
    parser = Parser(prog="headfit", description=_DESCRIPTION)
    parser.add_argument("--version", action="version", version=f"headfit {__version__}")
    # Not `choices` of argparse: it lists the names but does not say which one was meant.
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for name in names:
        module = importlib.import_module(f"headfit.cli.{name}")
        text = (module.__doc__ or "").strip()
        line = text.partition("\n")[0]
        command = commands.add_parser(
            name,
            help=line[0].lower() + line[1:].rstrip("."),
            description=text,
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        module.add_arguments(command)
        command.add_argument("--json", action="store_true", help="print the result for a machine")
        command.set_defaults(run=module.run)
    return parser


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; 0 when it did what was asked, 2 on bad input, with one sentence on why."""
    # Matrices here are small: more threads only wait for each other. Before numpy is loaded.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _have_outputs()
    print_plain_signs_where_needed()
    given = list(sys.argv[1:] if arguments is None else arguments)
    try:
        code = _answered(given, Screen(as_json="--json" in given))
        sys.stdout.flush()  # or a closed pipe would be found out after the last `except`
    except BrokenPipeError:  # whoever read our output closed it, as `head` does
        _close_output()
        return 1
    except OSError as error:  # a full disk behind our output
        _close_output()
        Screen().warn(f"what was found cannot be printed: {(error.strerror or str(error)).lower()}")
        return 1
    return code


def _have_outputs() -> None:
    """Give a process that was started without an output one that keeps nothing."""
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115


def _close_output() -> None:
    """Let nothing more be printed: Python would complain once more at exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


_interrupted = threading.Event()


def interrupt(_signal: int, _frame: FrameType | None) -> None:
    """Stop the command: what Ctrl-C does."""
    _interrupted.set()
    raise KeyboardInterrupt


def _answered(given: list[str], screen: Screen) -> int:
    try:
        return _run(given, screen)
    except HeadfitError as error:
        screen.fail(error)
        return BAD_INPUT
    except BaseException as error:
        # A library that is interrupted may raise an error of its own instead.
        if not (isinstance(error, KeyboardInterrupt) or _interrupted.is_set()):
            raise
        screen.warn("stopped; files that were not finished are not there")
        return INTERRUPTED


def _run(given: list[str], screen: Screen) -> int:
    command = next((word for word in given if not word.startswith("-")), None)
    if command is not None and command not in COMMANDS:
        raise unknown_name("command", command, COMMANDS)
    try:
        Path.cwd()
    except OSError:
        raise InputError(
            "the folder in which headfit was started is gone (go to one that is there)",
            code="folder-gone",
        ) from None
    parser = build_parser(given[:1] if command in given[:1] else COMMANDS)
    chosen = parser.parse_args(given)
    if chosen.command is None:
        parser.print_help()
        return BAD_INPUT
    code: int = chosen.run(chosen, screen)
    return code
