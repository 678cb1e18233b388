"""The command `headfit record`: the page, the sentences, and the way back from a BIDS table."""

import json
from pathlib import Path

import pypdf
import pytest
from commands import refused, said
from demo_case import DEMO

from headfit.files.case_file import read_case

RECORD = """
[record]
done_by = "T. Example"
reference = { place = "CPz", impedance_kohm = 3 }
sites = [{ name = "F3", impedance_kohm = 4 }, { name = "F4", impedance_kohm = 14 }]
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    Path("case.toml").write_text(DEMO + RECORD, encoding="utf-8")
    Path("plain.toml").write_text(DEMO, encoding="utf-8")
    return tmp_path


def test_the_page_is_written_and_what_to_look_at_is_said(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said(capsys, "record", "case.toml", "-o", "record.pdf", "--paper", "letter")
    assert (code, err) == (0, "")
    assert "Above 10 kΩ (common practice; local policy decides): F4 14 kΩ." in out
    (page,) = pypdf.PdfReader("record.pdf").pages
    assert float(page.mediabox.width) == pytest.approx(215.9 / 25.4 * 72, abs=0.1)
    assert "T. Example" in page.extract_text()


def test_an_empty_record_is_a_form_and_nothing_is_said(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = said(capsys, "record", "plain.toml", "-o", "form.pdf")
    assert (code, out, err) == (0, "Wrote form.pdf\n", "")
    assert len(pypdf.PdfReader("form.pdf").pages) == 1


def test_a_record_comes_back_from_the_bids_table_into_a_case(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert said(capsys, "fit", "case.toml", "-o", "out", "--no-picture")[0] == 0
    table = next(Path("out/bids").rglob("*_electrodes.tsv"))
    code, out, err = said(
        capsys, "record", "plain.toml", "--from", table, "-o", "new.toml", "--json"
    )
    assert (code, err) == (0, "")
    assert json.loads(out)["record"][0].endswith("F4 14 kΩ.")
    assert read_case("new.toml").record == read_case("case.toml").record
    assert read_case("new.toml").label == read_case("plain.toml").label
    assert read_case("plain.toml").record.blank


def test_what_cannot_be_done_is_one_sentence(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert refused(capsys, "record", "case.toml", "-o", "r.pdf", "--paper", "A5").startswith(
        "unknown paper 'A5'"
    )
    assert "there is no file" in refused(
        capsys, "record", "case.toml", "-o", "r.pdf", "--from", "no_electrodes.tsv"
    )
    assert not Path("r.pdf").exists()
