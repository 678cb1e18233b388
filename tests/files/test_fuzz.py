"""Whatever lies in a file, a reader gives a value or one sentence, never another error."""

from pathlib import Path

import pytest
from attacked_readers import READERS
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from headfit.errors import MOST_LETTERS, HeadfitError

WORDS = [
    b"nan",
    b"-",
    b"1e999",
    b"\n",
    b"\x00",
    b'"',
    b"[",
    b"9" * 40,
    b"element vertex 9999999999\n",
]


@st.composite
def damaged(draw: st.DrawFn, whole: bytes) -> bytes:
    """Bytes of a good file cut short, with bytes changed, taken out or put in; or mere noise."""
    how = draw(st.integers(0, 4))
    if how == 0:
        return draw(st.binary(max_size=300))
    at = draw(st.integers(0, len(whole)))
    if how == 1:
        return whole[:at]
    if how == 2:
        return whole[:at] + draw(st.sampled_from(WORDS)) + whole[at:]
    if how == 3:
        return whole[:at] + whole[at + draw(st.integers(1, 60)) :]
    changed = bytearray(whole)
    for place in draw(st.lists(st.integers(0, len(whole) - 1), min_size=1, max_size=20)):
        changed[place] = draw(st.integers(0, 255))
    return bytes(changed)


@pytest.mark.parametrize("kind", READERS)
def test_a_reader_gives_a_value_or_one_sentence(kind: str, tmp_path: Path) -> None:
    name, whole, read = READERS[kind]
    path = tmp_path / name
    path.write_bytes(whole)
    read(path)  # the undamaged file is good
    refused: list[str] = []

    @settings(suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
    @given(damaged(whole))
    def never_another_error(contents: bytes) -> None:
        path.write_bytes(contents)
        try:
            read(path)
        except HeadfitError as error:
            refused.append(str(error))

    never_another_error()
    assert refused  # the damage was real
    assert [said for said in refused if not said.isprintable() or len(said) > MOST_LETTERS] == []
    # What the page sends has no name; of marks most sentences name the file in their middle.
    if kind != "change" and not kind.startswith("marks"):
        assert [said for said in refused if name not in said] == []
