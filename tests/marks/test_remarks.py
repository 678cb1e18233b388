"""Remarks of a reading, and strict reading."""

import pytest

from headfit.errors import MarksError
from headfit.marks.remarks import doubt, listed, note, refuse_if_strict


def test_strict_lets_notes_pass_and_names_the_first_of_the_others() -> None:
    refuse_if_strict([note("crlf", "lines end in CR LF")], "a.tsv")
    with pytest.raises(MarksError) as caught:
        refuse_if_strict([doubt("a", "first"), doubt("b", "second")], "a.tsv")
    assert str(caught.value) == (
        "a.tsv must need no correction when read strictly, got: first, and 1 more"
    )


def test_long_lists_are_counted() -> None:
    assert listed("abc") == "a, b, c"
    assert listed("abcdefgh") == "a, b, c, d, e, f and 2 more"
