"""TOML as a person writes it, and one sentence about what is none."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from headfit.errors import FileFormatError, sentence


def parse_toml(text: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises
    ------
    FileFormatError
        Not TOML; the sentence tells line and column.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = str(error)
        reason, place = found[:1].lower() + found[1:], ""
        if match := re.fullmatch(r"(.*) \(at (.*)\)", found, re.DOTALL):
            reason, place = match[1][:1].lower() + match[1][1:], match[2]
        raise FileFormatError(
            sentence("a case file", "be TOML", reason, place), code="toml-syntax"
        ) from None
    except (RecursionError, ValueError):
        # Brackets nested a thousand deep, a number of thousands of digits, or a 13th month.
        raise FileFormatError(
            sentence("a case file", "be TOML that a person could have written", "something else"),
            code="toml-syntax",
        ) from None
