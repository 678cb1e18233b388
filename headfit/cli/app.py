"""Open a case in the browser: form, head, comparison, derivations. On this computer only.

Nothing leaves this computer: the app listens on the loopback address, and only a page that knows
the key in the printed address is answered. Every change is kept at once in CASE.toml.unsaved; the
case file itself changes when you save. Ctrl-C ends it; nothing is lost.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from headfit.cli.screen import Screen
from headfit.errors import InputError, sentence


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what `headfit app` takes."""
    parser.add_argument(
        "case",
        metavar="CASE.toml",
        nargs="?",
        type=Path,
        help="the case file; without it a new case begins in this folder",
    )
    parser.add_argument(
        "--port", metavar="PORT", type=int, default=0, help="a free one unless given"
    )
    parser.add_argument(
        "--no-browser", action="store_true", help="print the address only, open nothing"
    )
    parser.add_argument(
        "--end-after",
        metavar="MINUTES",
        type=float,
        help="end when no page has asked for so long; changes are kept as always",
    )


def run(arguments: argparse.Namespace, screen: Screen) -> int:
    """Serve until interrupted."""
    from headfit.app.serve import serve

    def say(address: str) -> None:
        # The address is longer than many a terminal is wide and must not be broken.
        screen.say("The app runs on this computer only; Ctrl-C ends it. Its address:")
        screen.result({"address": address})
        if not screen.as_json:
            print(address, flush=True)  # noqa: T201

    minutes = arguments.end_after
    if minutes is not None and not 0 < minutes <= 10_000:
        raise InputError(
            sentence("--end-after", "lie in 0 to 10000 minutes", f"{minutes:g}"),
            code="command-line",
        )
    serve(
        arguments.case,
        port=arguments.port,
        open_browser=not arguments.no_browser,
        end_after_s=None if minutes is None else 60.0 * minutes,
        say=say,
    )
    return 0
