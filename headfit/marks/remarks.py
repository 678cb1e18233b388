"""What was found while marks were read or compared: a code, a sentence, the evidence.

Three kinds. A note tells of something the format allows; nothing was changed. A correction tells
that the file is read otherwise than it is written. A doubt tells of something that makes the file
doubtful and was left as it is. Strict reading refuses corrections and doubts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Literal

from headfit.errors import MOST_LETTERS, MarksError, plain_text

Kind = Literal["note", "correction", "doubt"]


@dataclass(frozen=True)
class Remark:
    """One thing found.

    Attributes
    ----------
    code : str
        Stable; its page is in docs/messages.md.
    kind : {"note", "correction", "doubt"}
    sentence : str
        For a person.
    evidence : mapping
        The numbers and names the sentence was made from, fit for JSON.
    """

    code: str
    kind: Kind
    sentence: str
    evidence: Mapping[str, object] = field(default_factory=dict, hash=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "sentence", plain_text(self.sentence, MOST_LETTERS))


def note(code: str, sentence: str, **evidence: object) -> Remark:
    """Something the format allows; nothing was changed."""
    return Remark(code, "note", sentence, evidence)


def correction(code: str, sentence: str, **evidence: object) -> Remark:
    """The file is read otherwise than it is written."""
    return Remark(code, "correction", sentence, evidence)


def doubt(code: str, sentence: str, **evidence: object) -> Remark:
    """Something that makes the file doubtful and was left as it is."""
    return Remark(code, "doubt", sentence, evidence)


def refuse_if_strict(remarks: Iterable[Remark], source: str) -> None:
    """Stop when anything had to be corrected or is in doubt.

    Raises
    ------
    MarksError
        With the first such sentence and the number of the others.

    >>> refuse_if_strict([note("crlf", "lines end in CR LF")], "a.tsv")
    >>> refuse_if_strict([correction("unit-deduced", "unit is taken as cm")], "a.tsv")
    Traceback (most recent call last):
        ...
    headfit.errors.MarksError: a.tsv must need no correction when read strictly, got: unit is \
taken as cm
    """
    against = [remark for remark in remarks if remark.kind != "note"]
    if not against:
        return
    others = len(against) - 1
    more = f", and {others} more" if others else ""
    raise MarksError(
        f"{source} must need no correction when read strictly, got: {against[0].sentence}{more}",
        code="marks-strict",
        remarks=tuple(against),
    )


def listed(names: Iterable[str], most: int = 6) -> str:
    """Names in one phrase, the rest counted.

    >>> listed(["Fp1", "Fp2"]), listed("abcdefgh", most=3)
    ('Fp1, Fp2', 'a, b, c and 5 more')
    """
    every = list(names)
    if len(every) <= most:
        return ", ".join(every)
    return f"{', '.join(every[:most])} and {len(every) - most} more"
