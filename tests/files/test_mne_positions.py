"""Positions from the library `mne`: what it wrote or reads comes back as marks, landmarks included.

A third source are the positions on an average head (colin27) that `mne` carries and reads itself.
"""

from __future__ import annotations

from pathlib import Path

import mne
import numpy as np
import pytest

from headfit import compare_marks, load_template, marks_from_mne, place_sites, read_marks
from headfit.cli import main
from headfit.errors import FileFormatError, HeadfitError, InputError
from headfit.files import apart, mne_positions
from headfit.marks.marks import head_frame

SITES = place_sites(load_template())


@pytest.fixture
def digitised(tmp_path: Path) -> Path:
    path = tmp_path / "head-dig.fif"
    SITES.to_mne().save(path)
    return path


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """A recording of ten samples with one channel that has no place."""
    info = mne.create_info([*SITES.names, "ECG"], 250.0, ["eeg"] * len(SITES) + ["ecg"])
    raw = mne.io.RawArray(np.zeros((len(SITES) + 1, 10)), info, verbose="error")
    raw.set_montage(SITES.to_mne())
    path = tmp_path / "rest_raw.fif"
    with mne.utils.use_log_level("error"):
        raw.save(path)
    return path


@pytest.mark.parametrize("kind", ["digitised", "recording"])
def test_what_mne_saved_comes_back_where_it_was(kind: str, request: pytest.FixtureRequest) -> None:
    marks = read_marks(request.getfixturevalue(kind))
    assert set(marks.names) == set(SITES.names)
    frame = head_frame(marks.landmarks)
    assert frame is not None
    for name in SITES:  # FIF holds single precision of metres
        np.testing.assert_allclose(frame.on(marks[name]), SITES[name], atol=0.02)
    assert set(marks.landmarks) == {"nasion", "left_preauricular", "right_preauricular"}
    # They are the sites of a template, which is seen.
    assert [doubt.code for doubt in marks.of_kind("doubt")] == ["template-symmetric"]


def test_compared_with_its_own_sites_nothing_is_off(digitised: Path) -> None:
    comparison = compare_marks(SITES, read_marks(digitised))
    assert max(abs(d.along_mm) + abs(d.across_mm) for d in comparison.deviations) < 0.1


def test_a_montage_from_any_file_that_mne_reads_becomes_marks() -> None:
    montage = mne.channels.make_standard_montage("colin27_1020", head_size=None)
    marks = marks_from_mne(montage)
    assert len(marks) >= 19
    places = montage.get_positions()["ch_pos"]
    far = np.linalg.norm(np.subtract(marks["Cz"], marks["Oz"]))
    assert far == pytest.approx(1000 * np.linalg.norm(places["Cz"] - places["Oz"]), rel=1e-6)
    # mne says metres, and so it is taken.
    assert "unit-wrong" not in [remark.code for remark in marks.remarks]


def test_channels_without_a_place_are_left_out() -> None:
    places = {name: SITES[name] / 1000 for name in ("Fz", "Cz", "Pz", "C3", "C4")}
    montage = mne.channels.make_dig_montage(places | {"ECG": np.full(3, np.nan)})
    marks = marks_from_mne(montage)
    assert set(marks.names) == set(places)
    assert marks.other_names == ()


def test_the_command_takes_such_a_file(digitised: Path, tmp_path: Path) -> None:
    assert main(["samples", str(tmp_path / "s")]) == 0
    words = ["compare", str(tmp_path / "s" / "case.toml"), str(digitised), "--no-picture"]
    assert main([*words, "-o", str(tmp_path / "compared")]) == 0
    assert "Cz" in (tmp_path / "compared" / "deviations.tsv").read_text(encoding="utf-8")


def test_a_recording_without_positions_is_refused(tmp_path: Path) -> None:
    raw = mne.io.RawArray(np.zeros((1, 10)), mne.create_info(["Cz"], 250.0, "eeg"), verbose="error")
    with mne.utils.use_log_level("error"):
        raw.save(tmp_path / "rest_raw.fif")
    with pytest.raises(FileFormatError, match="hold digitised positions, got a file without any"):
        read_marks(tmp_path / "rest_raw.fif")


def test_a_file_that_is_missing_or_damaged_gives_one_sentence(
    digitised: Path, tmp_path: Path
) -> None:
    with pytest.raises(FileFormatError, match=r"gone\.fif"):
        read_marks(tmp_path / "gone.fif")
    digitised.write_bytes(digitised.read_bytes()[:200])
    with pytest.raises(FileFormatError, match=r"^head-dig\.fif: a FIF file must hold") as caught:
        read_marks(digitised)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("at", [12, 40, 150, 400])
@pytest.mark.parametrize("change", [b"\x00\x00\x00\x00", b"\xff\xff\xff\xff", b"\x00\x00\x00\x10"])
def test_damage_gives_marks_or_a_sentence_in_bounded_time(
    at: int, change: bytes, digitised: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(apart, "SECONDS", 20)
    whole = digitised.read_bytes()
    digitised.write_bytes(whole[:at] + change + whole[at + 4 :])
    said = ""
    try:
        read_marks(digitised)
    except HeadfitError as error:
        said = str(error)
    assert said == "" or "head-dig.fif" in said


def test_a_reader_that_never_comes_back_is_ended(
    digitised: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(apart, "SECONDS", 1)
    with pytest.raises(RuntimeError, match="its library was not done in 1 s"):
        apart.read_apart("while True: pass", digitised)
    with pytest.raises(RuntimeError, match="its library gives up"):
        apart.read_apart("import os; os.abort()", digitised)
    with pytest.raises(RuntimeError, match="no such thing in it"):
        apart.read_apart('sys.exit("no such thing in it")', digitised)


def test_without_mne_the_extra_is_named(digitised: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mne_positions, "find_spec", lambda _name: None)
    with pytest.raises(InputError, match=r"pip install 'headfit\[mne\]'"):
        read_marks(digitised)


def test_a_table_of_another_ending_is_told_the_way_by_mne(tmp_path: Path) -> None:
    path = tmp_path / "positions.dat"
    path.write_text("Cz 1 2 3\n", encoding="utf-8")
    with pytest.raises(FileFormatError, match=r"marks_from_mne takes what mne can read\)$"):
        read_marks(path)
