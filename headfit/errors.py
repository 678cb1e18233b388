"""The errors of headfit, each also a built-in so that ordinary handlers catch it.

    HeadfitError
    |-- InputError (ValueError)         something given cannot be used
    |   |-- UnitError                   a unit is missing, unknown or contradicts the value
    |   |-- MeshError                   a surface that cannot be measured
    |   |-- LandmarkError               a landmark missing, off the surface or exchanged
    |   |-- SheetError                  a tape value missing, out of range or contradictory
    |   |-- UnknownNameError (KeyError)   a site, system, age or command nobody declared
    |   |-- MarksError                  digitised positions that cannot be used
    |   `-- FileFormatError             a file that is empty, truncated or of another kind
    |-- ConvergenceError (ArithmeticError)   an iteration that did not settle, with its numbers
    `-- DrawingError (RuntimeError)     no picture can be drawn on this machine

A message is one sentence: subject, must, got, hint; at most `MOST_LETTERS` letters, and nothing in
it that a terminal would obey. `code` is stable and listed in docs/messages.md.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import Any

MOST_LETTERS = 300


class HeadfitError(Exception):
    """Base of every error raised on purpose.

    Attributes
    ----------
    code : str
        Stable name of the message, e.g. ``"tape-range"``.
    facts : dict
        The numbers and names the sentence was made from.
    """

    def __init__(self, message: str, *, code: str, **facts: object) -> None:
        super().__init__(plain_text(message, MOST_LETTERS))
        self.code = code
        self.facts = facts

    def __str__(self) -> str:
        # KeyError and friends quote their argument; a person reads this sentence.
        return str(self.args[0])

    def __reduce__(self) -> tuple[Any, ...]:
        # An exception is pickled as its positional arguments alone: a worker's error would be lost.
        made = partial(type(self), *self.args, code=self.code)
        return made, (), {"facts": self.facts}


class InputError(HeadfitError, ValueError):
    """Something given cannot be used."""


class UnitError(InputError):
    """A unit is missing, unknown or contradicts the value."""


class MeshError(InputError):
    """A surface that cannot be measured."""


class LandmarkError(InputError):
    """A landmark is missing, off the surface or exchanged with another."""


class SheetError(InputError):
    """A value of the measurement sheet is missing, out of range or contradictory."""


class UnknownNameError(InputError, KeyError):
    """A name nobody declared."""


class MarksError(InputError):
    """Digitised positions that cannot be used."""


class FileFormatError(InputError):
    """A file that is empty, truncated or of another kind."""


class ConvergenceError(HeadfitError, ArithmeticError):
    """An iteration did not settle."""


class DrawingError(HeadfitError, RuntimeError):
    """No picture can be drawn on this machine."""


def plain_text(text: str, most: int | None = None) -> str:
    r"""Text on one line that can be shown anywhere: what is no letter, sign or space is escaped.

    Names of files and contents of files may hold line ends, signs that steer a terminal or turn
    the direction of writing, and bytes that are no text; nobody shall be shown them raw.

    Parameters
    ----------
    text : str
    most : int, optional
        Letters it may have; of a longer one the middle is left out.

    >>> plain_text("a\x1b[31m\nb"), plain_text("a" * 40 + "b" * 9, most=20)
    ('a\\x1b[31m\\nb', 'aaaaaaaaa ... bbbbbb')
    """
    if not text.isprintable():
        text = "".join(map(_plain_letter, text))
    if most is None or len(text) <= most:
        return text
    tail = (most - 5) * 2 // 5
    return f"{text[: most - 5 - tail]} ... {text[-tail:]}"


def _plain_letter(letter: str) -> str:
    if letter.isprintable():
        return letter
    if letter.isspace() and not letter.isascii():  # typographic spaces; line ends are escaped
        return " " if letter not in "\u2028\u2029\x85" else "\\n"
    return letter.encode("unicode_escape").decode("ascii")


def sentence(what: str, must: str, got: str, hint: str = "") -> str:
    """One sentence that says what is wrong and what to do.

    >>> sentence("nasion-inion arc", "lie in 150 to 480 mm", "36.0 mm", "are these centimetres?")
    'nasion-inion arc must lie in 150 to 480 mm, got 36.0 mm (are these centimetres?)'
    >>> sentence("face indices", "be below 12", "17")
    'face indices must be below 12, got 17'
    """
    return f"{what} must {must}, got {got}" + (f" ({hint})" if hint else "")


def missing_library(library: str, purpose: str, extra: str = "") -> InputError:
    """The error when an optional library is not installed; `extra` brings it, else its namesake.

    >>> str(missing_library("mne", "make a montage"))
    "the library mne must be installed to make a montage, got none (pip install 'headfit[mne]')"
    """
    return InputError(
        sentence(
            f"the library {library}",
            f"be installed to {purpose}",
            "none",
            f"pip install 'headfit[{extra or library}]'",
        ),
        code="extra-missing",
        extra=extra or library,
    )


def unknown_name(kind: str, name: object, known: Iterable[str]) -> UnknownNameError:
    """The error for a name nobody declared, with the nearest declared spelling.

    >>> str(unknown_name("site", "Fzz", ["Fz", "Cz"]))
    "unknown site 'Fzz': did you mean 'Fz'?"
    >>> str(unknown_name("age", "old", ["adult", "newborn"]))
    "unknown age 'old': choose one of adult, newborn"
    """
    choices = list(known)
    folded = {choice.casefold(): choice for choice in choices}
    import difflib  # only a slip needs it

    near = difflib.get_close_matches(str(name).casefold(), folded, n=1, cutoff=0.6)
    listed = ", ".join(choices[:12]) + (", ..." if len(choices) > 12 else "")
    hint = f"did you mean {folded[near[0]]!r}?" if near else f"choose one of {listed}"
    return UnknownNameError(
        f"unknown {kind} {name!r}: {hint}", code="unknown-name", kind=kind, name=name
    )
