"""Damaged files of marks: whatever lies in one, it is read or refused in one sentence."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from mark_files import CENTIMETRES, DATA, DECLARED, GOOD, LANDMARKS, METRES, SITES, bids, written

from headfit.comparing.compare import compare_marks
from headfit.comparing.verdict import summary
from headfit.errors import HeadfitError
from headfit.files.marks_files import read_marks
from headfit.marks.marks import Marks

# Whatever lies in a file, the reader gives marks or one sentence, never another error.

SEEDS = [
    METRES.read_bytes(),
    CENTIMETRES.read_bytes(),
    (DATA / "dirty/marks.csv").read_bytes(),
    (DATA / "dirty/marks.json").read_bytes(),
]
SIDECARS = [
    METRES.with_name("sub-01_space-CapTrak_coordsystem.json").read_bytes(),
    json.dumps(DECLARED).encode(),
]
WORDS = [
    b"nan",
    b"n/a",
    b"-",
    b"1e999",
    b"1e-320",
    b"\n",
    b"\r",
    b"\x00",
    b'"',
    b"[",
    b"{",
    b",",
    b"\t",
    b"9" * 40,
    b"\xef\xbb\xbf",
    b"\xff",
    b"mm",
    b"NAS",
    b"Cz",
    b"0,5",
]


@st.composite
def damaged(draw: st.DrawFn, wholes: list[bytes]) -> bytes:
    """Bytes of a good file cut short, with bytes changed, taken out or put in; or mere noise."""
    whole = draw(st.sampled_from(wholes))
    how = draw(st.integers(0, 4))
    if how == 0:
        return draw(st.binary(max_size=300))
    if how == 1:
        return whole[: draw(st.integers(0, len(whole)))]
    for _ in range(draw(st.integers(1, 6))):
        at = draw(st.integers(0, len(whole)))
        span = draw(st.integers(0, 8))
        put = draw(st.one_of(st.binary(max_size=6), st.sampled_from(WORDS)))
        whole = whole[:at] + put + whole[at + span :]
    return whole


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz")


def read_or_sentence(path: Path) -> Marks | None:
    """Marks, or None after one sentence of a bearable length on one line."""
    refused = ""
    try:
        return read_marks(path)
    except HeadfitError as error:
        refused = str(error)
    assert refused.isprintable()
    assert 10 < len(refused) < 400
    return None


@settings(max_examples=400, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(damaged(SEEDS), st.sampled_from(["marks.tsv", "marks.csv", "marks.json", "marks"]))
def test_damaged_tables_and_json_give_marks_or_one_sentence(
    folder: Path, raw: bytes, name: str
) -> None:
    path = written(folder, name, raw)
    marks = read_or_sentence(path)
    if marks is None:
        return
    assert np.isfinite(marks.all_points_mm).all()


@settings(max_examples=200, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(damaged(SIDECARS), damaged(SEEDS[:2]), st.booleans())
def test_damaged_coordsystems_beside_damaged_tables_give_marks_or_one_sentence(
    folder: Path, sidecar: bytes, table: bytes, whole_table: bool
) -> None:
    path = written(folder, "sub-01/eeg/sub-01_electrodes.tsv", SEEDS[0] if whole_table else table)
    written(folder, "sub-01/eeg/sub-01_coordsystem.json", sidecar)
    marks = read_or_sentence(path)
    if marks is None:
        return
    assert np.isfinite(marks.all_points_mm).all()
    assert all(np.isfinite(point).all() for point in marks.landmarks.values())


CELLS = [
    "0",
    "-0.0",
    "1e-33",
    "0.095",
    "95",
    "-73",
    "1e7",
    "1e300",
    "n/a",
    "",
    "Cz",
    "cz",
    "FP1",
    "T3",
    "A1",
    "B17",
    "C32",
    "EEG Fz-REF",
    "NAS",
    "LPA",
    "RPA",
    "Iz",
    "REF",
    "ECG",
    "M1",
]


@st.composite
def retyped(draw: st.DrawFn) -> str:
    """A good table in which somebody typed other names and numbers into some cells."""
    rows = [line.split("\t") for line in GOOD.splitlines()[: draw(st.integers(2, 40))]]
    names, numbers = CELLS[10:], CELLS[:10]
    for _ in range(draw(st.integers(1, 40))):
        row, column = draw(st.integers(1, len(rows) - 1)), draw(st.integers(0, 3))
        rows[row][column] = draw(st.sampled_from(names if column == 0 else numbers))
    return "\n".join("\t".join(row) for row in rows) + "\n"


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(retyped(), st.sampled_from([None, "landmarks", "best-fit", "surface"]))
def test_retyped_tables_are_read_and_compared_or_refused_in_one_sentence(
    folder: Path, text: str, align: str | None
) -> None:
    marks = read_or_sentence(written(folder, "marks.tsv", text))
    if marks is None:
        return
    try:
        comparison = compare_marks(SITES, marks, align)  # type: ignore[arg-type]
    except HeadfitError:
        return
    assert all(np.isfinite(d.distance_mm) for d in comparison.deviations)
    assert summary(comparison)


def as_file(folder: Path, unit: str, landmark_unit: str) -> Path:
    """The same marks and landmarks, declared mm and written in other units."""
    size = {"mm": 1.0, "cm": 0.1, "m": 0.001}
    shifted = SITES.points_mm + np.array([0.3, 2.0, -0.2])
    rows = "".join(
        f"{n}\t" + "\t".join(repr(float(v * size[unit])) for v in p) + "\n"
        for n, p in zip(SITES.names, shifted, strict=True)
    )
    landmarks = {key: [v * size[landmark_unit] for v in place] for key, place in LANDMARKS.items()}
    declared = {**DECLARED, "AnatomicalLandmarkCoordinates": landmarks}
    return bids(folder, declared, f"name\tx\ty\tz\n{rows}")


@pytest.mark.parametrize("unit", ["mm", "cm", "m"])
@pytest.mark.parametrize("landmark_unit", ["mm", "cm", "m"])
def test_the_unit_of_the_file_never_changes_the_comparison(
    tmp_path: Path, unit: str, landmark_unit: str
) -> None:
    plain = compare_marks(SITES, read_marks(as_file(tmp_path / "plain", "mm", "mm")))
    other = compare_marks(SITES, read_marks(as_file(tmp_path / "other", unit, landmark_unit)))
    for a, b in zip(plain.deviations, other.deviations, strict=True):
        assert (a.along_mm, a.across_mm, a.off_surface_mm) == pytest.approx(
            (b.along_mm, b.across_mm, b.off_surface_mm), abs=1e-6
        )
    assert max(d.over_scalp_mm for d in plain.deviations) > 1.0
