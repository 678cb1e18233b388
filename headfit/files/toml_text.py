"""TOML as a person writes it, and one sentence about what is none."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from headfit.errors import FileFormatError, sentence

# A case file of 400 places that must stay free has half of this.
MOST_LETTERS_OF_TOML = 200_000
# No person writes these, and reading them takes a time that grows with their square.
_NEVER_WRITTEN = re.compile(
    r"""(?<![\w-]) (?: (?: [\w-]+ | "[^"\n]{0,99}" | '[^'\n]{0,99}' ) [ \t]* \. [ \t]* ){20}
    | [=\[,] \s* 0[xob] [0-9a-fA-F_]{30}""",
    re.VERBOSE,
)
_DECIMAL_COMMA = re.compile(r"=\s*([+-]?\d+,\d+)")


def parse_toml(text: str, what: str = "a case file") -> dict[str, Any]:
    """The tables of a TOML text; `what` it is, for the sentence.

    Raises
    ------
    FileFormatError
        Not TOML; the sentence tells line and column, or the number with a decimal comma.
    """
    if len(text) > MOST_LETTERS_OF_TOML:
        raise FileFormatError(
            sentence(what, f"hold at most {MOST_LETTERS_OF_TOML} letters", f"{len(text)}"),
            code="file-too-long",
        )
    try:
        if _NEVER_WRITTEN.search(text):
            raise ValueError
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = str(error)
        _refuse_decimal_comma(text, found)
        reason, place = found[:1].lower() + found[1:], ""
        if match := re.fullmatch(r"(.*) \(at (.*)\)", found, re.DOTALL):
            reason, place = match[1][:1].lower() + match[1][1:], match[2]
        raise FileFormatError(
            sentence(what, "be TOML", reason, place), code="toml-syntax"
        ) from None
    except (RecursionError, ValueError):
        # Brackets nested a thousand deep, a number of thousands of digits, or a 13th month.
        raise FileFormatError(
            sentence(what, "be TOML that a person could have written", "something else"),
            code="toml-syntax",
        ) from None


def _refuse_decimal_comma(text: str, complaint: str) -> None:
    """Say so when the parser stopped at a number such as 36,0."""
    named = re.search(r"at line (\d+)", complaint)
    n_line = int(named[1]) if named else 0
    comma = _DECIMAL_COMMA.search(text.split("\n")[n_line - 1]) if named else None
    if comma is not None:
        raise FileFormatError(
            sentence(
                f"the number in line {n_line}",
                "be written with a decimal point",
                comma[1],
                f"write {comma[1].replace(',', '.')}",
            ),
            code="toml-decimal-comma",
            line=n_line,
        )
