"""Signs for an output that cannot show ours: a terminal in ASCII, Latin-1 or a Windows code page.

Set once, before anything is printed; what has no likeness becomes a question mark.
"""

from __future__ import annotations

import codecs
import io
import sys

_HANDLER = "headfit-plain-signs"
# What our own sentences and tables hold, and the least that says the same.
PLAIN_SIGNS = {
    "✓": "+",
    "×": "x",
    "±": "+/-",
    "–": "-",
    "…": "...",
    "→": "->",
    "•": "*",
    "‼": "!!",
    "Ω": " ohm",
}


def _plain_signs(error: UnicodeError) -> tuple[str, int]:
    if not isinstance(error, UnicodeEncodeError):
        raise error
    unknown = error.object[error.start : error.end]
    return "".join(PLAIN_SIGNS.get(sign, "?") for sign in unknown), error.end


def print_plain_signs_where_needed() -> None:
    """Let standard output and standard error show plain signs where theirs has no others."""
    codecs.register_error(_HANDLER, _plain_signs)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # else None, or what a notebook puts there
            stream.reconfigure(errors=_HANDLER)
