"""Tell how this version of headfit is cited.

One line for a list of references; for a reference manager as BibTeX or in the Citation File Format.
"""

from __future__ import annotations

import argparse
from dataclasses import asdict

from headfit.cli.screen import Screen


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit cite` takes."""
    which = parser.add_mutually_exclusive_group()
    which.add_argument("--bibtex", action="store_true", help="as BibTeX")
    which.add_argument("--cff", action="store_true", help="the file CITATION.cff as it stands")


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Print it."""
    from headfit.files.citation import citation, citation_file

    found = citation()
    if arguments.bibtex:
        text = found.bibtex
    elif arguments.cff:
        text = citation_file().read_text(encoding="utf-8").rstrip("\n")
    else:
        text = found.sentence
    for line in text.splitlines():
        screen.say(line)
    screen.result(asdict(found))
    return 0
