"""`headfit` and `python -m headfit`: the command, silent on Ctrl-C from the first moment on.

While modules are loaded a Ctrl-C would show as a traceback out of any of them. Nothing is written
yet, so the process just ends, as shells expect it: with 130.
"""

from __future__ import annotations

import os
import signal
import sys

INTERRUPTED = 130


def end_at_once(_signal: int, _frame: object) -> None:
    """End without a word."""
    os._exit(INTERRUPTED)


def main() -> int:
    """Run the command of the command line."""
    ours = signal.getsignal(signal.SIGINT) is signal.default_int_handler
    if ours:  # not where whoever started us wants it ignored
        signal.signal(signal.SIGINT, end_at_once)
    # `from headfit import cli` would ask for a public name, and load what finds those.
    from headfit.cli import interrupt
    from headfit.cli import main as run_command

    if ours:
        signal.signal(signal.SIGINT, interrupt)
    code = run_command()
    if ours:
        signal.signal(signal.SIGINT, end_at_once)
    return code


if __name__ == "__main__":
    sys.exit(main())
