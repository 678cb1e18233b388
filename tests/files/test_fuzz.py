"""Whatever lies in a file, a reader gives a value or one sentence, never another error."""

import json
from collections.abc import Callable
from functools import partial
from pathlib import Path

import pytest
import trimesh
from demo_case import TEXT
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from headfit.errors import HeadfitError
from headfit.files.bids_record import read_record
from headfit.files.case_file import read_case
from headfit.files.landmark_files import read_landmarks
from headfit.files.surfaces import read_surface

BALL = trimesh.creation.icosphere(subdivisions=1, radius=90.0)
LANDMARKS = json.dumps(
    {
        "unit": "mm",
        "nasion": [0, 97, 0],
        "inion": [0, -92, 8],
        "left_preauricular": [-74, 0, 0],
        "right_preauricular": [74, 0, 0],
    }
)

RECORD = """
[record]
done_by = "nobody"
limit_kohm = 8
reference = { place = "CPz", impedance_kohm = 3 }
sites = [{ name = "F3", impedance_kohm = 4.5 }, { name = "O1", applied = false }]
other_leads = [{ name = "ECG", place = "left wrist" }]
"""
ELECTRODES = (
    "name\tx\ty\tz\ttype\tmaterial\timpedance\trole\tcharted\tstands_at\tskin_before\n"
    "F3\t-46.9\t76.1\t78.0\tcup\tgold\t4.5\tsite\tapplied\tn/a\tgraze\n"
    "O1\tn/a\tn/a\tn/a\tn/a\tn/a\tn/a\tsite\tleft_out\tn/a\tn/a\n"
    "REF\t0.0\t-15.0\t137.4\tcup\tgold\t3\treference\tapplied\tCPz\t'=whole\n"
)


def raw(text: str | bytes) -> bytes:
    return text.encode() if isinstance(text, str) else text


READERS: dict[str, tuple[str, bytes, Callable[[Path], object]]] = {
    "case": ("case.toml", raw(TEXT), read_case),
    "case with a record": ("case.toml", raw(TEXT + RECORD), read_case),
    "record": ("electrodes.tsv", raw(ELECTRODES), read_record),
    "landmarks": ("marks.json", raw(LANDMARKS), read_landmarks),
    "ply": ("head.ply", raw(BALL.export(file_type="ply")), read_surface),
    "text ply": (
        "head.ply",
        raw(trimesh.exchange.ply.export_ply(BALL, encoding="ascii")),
        read_surface,
    ),
    "obj": ("head.obj", raw(BALL.export(file_type="obj")), read_surface),
    "stl": ("head.stl", raw(BALL.export(file_type="stl")), partial(read_surface, unit="cm")),
    "text stl": ("head.stl", raw(BALL.export(file_type="stl_ascii")), read_surface),
}
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
    assert [said for said in refused if name not in said or "\n" in said or len(said) > 700] == []
