"""A tape read in inches is told in inches, at every door: page, sheet, record, terminal, chair."""

import re
from pathlib import Path

import pypdf
import pytest
from chair_cases import WOUND
from commands import said
from demo_case import solved_text

from headfit.case.solved import SolvedCase
from headfit.files.case_file import read_case
from headfit.output.case_record import record_pdf
from headfit.output.case_report import report_text
from headfit.output.case_sheet import sheet_content, write_sheet
from headfit.output.case_view import CaseView
from headfit.output.chair_page import chair_html
from headfit.output.chair_steps import chair_of
from headfit.output.sheet import sheet_pdf

INCHES = (
    WOUND.replace('unit = "cm"', 'unit = "inch"')
    .replace("36.0", "14.25")
    .replace("36.4", "14.5")
    .replace("56.0", "22.0")
)
CM = re.compile(r"\d cm\b|\(cm\)")


@pytest.fixture(scope="module")
def solved() -> SolvedCase:
    return solved_text(INCHES)


def test_tables_and_sentences_of_the_page(solved: SolvedCase) -> None:
    view = CaseView(solved)
    rows = {row.key: row for row in view.tables["sites"].rows if hasattr(row, "key")}
    told = str(view.tables["sites"].as_data()) + str(view.sentences) + str(rows)
    # 30 % of 14.25 inches, to the nearest 16th: 4.275 is 4 1/4.
    assert "4 1/4" in told
    assert "14 1/4 inch own reading" in told
    assert "half of your 22" in told
    doubt = "if it is 1 cm lower"  # a distance on the head that nobody tapes
    assert not CM.search(told.replace(doubt, ""))


def test_sheet_and_record_on_paper(solved: SolvedCase) -> None:
    for pdf in (sheet_pdf(sheet_content(solved)), record_pdf(solved)):
        text = "".join(page.extract_text() for page in pypdf.PdfReader(_file(pdf)).pages)
        assert "14 1/4" in text
        nape = "4 cm below the inion"  # where the cables are gathered: nobody tapes it
        assert not re.search(r"\d cm\b", " ".join(text.split()).replace(nape, ""))
    assert "Inches from the zero of each arc" in _text(sheet_pdf(sheet_content(solved)))


def test_the_chair_and_the_report(solved: SolvedCase) -> None:
    steps = {step.key: step for step in chair_of(solved).steps}
    assert "1 5/8 inch" in steps["mark P4"].line or " inch from " in steps["mark P4"].line
    listed = chair_html(chair_of(solved)).partition('<script type="application/json"')[0]
    assert "7 1/8 inch" in listed  # Cz
    assert not CM.search(listed.partition("<body")[2].replace("1 cm lower", ""))
    body = report_text(CaseView(solved), "case.toml").partition("<body")[2]
    tables = body.partition("<script")[0]
    assert "14 1/4" in tables
    assert not CM.search(re.sub(r"(good to [\d.]+ cm|1 cm lower)", "", tables))


def test_the_terminal(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "case.toml"
    path.write_text(INCHES, encoding="utf-8")
    code, out, _ = said(capsys, "fit", path, "-o", tmp_path / "out", "--no-picture")
    assert code == 0
    assert "14 1/4 inch" in out
    assert not CM.search(out)
    assert read_case(path).unit == "inch"
    # What was told in inches does not spill into the next case.
    path.write_text(WOUND, encoding="utf-8")
    out = said(capsys, "fit", path, "-o", tmp_path / "out", "--no-picture")[1]
    assert "36.0 cm" in out
    assert "inch" not in out


def test_a_sheet_in_inches_is_of_as_many_pages(tmp_path: Path, solved: SolvedCase) -> None:
    pages = [
        len(pypdf.PdfReader(write_sheet(each, tmp_path / "sheet.pdf")).pages)
        for each in (solved, solved_text(WOUND))
    ]
    assert pages[0] == pages[1]


def _file(pdf: bytes):  # type: ignore[no-untyped-def]
    import io

    return io.BytesIO(pdf)


def _text(pdf: bytes) -> str:
    return "".join(page.extract_text() for page in pypdf.PdfReader(_file(pdf)).pages)
