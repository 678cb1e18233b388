"""The printed set-up record: what was charted stands there, the rest is a line to write on."""

import dataclasses
import io
import re
import subprocess
from pathlib import Path

import numpy as np
import pypdf
import pytest
from demo_case import solved_text

from headfit.case.record import ChartedElectrode, SetUpRecord
from headfit.case.solved import SolvedCase
from headfit.errors import InputError, UnknownNameError
from headfit.output.case_record import CAUTIONS, MARGIN_MM, record_pdf, write_record
from headfit.output.typesetting import PAPERS

CASE = """
[case]
label = "Invented head"
system = "{system}"
measured_by = "M. Example"
measured_on = 2024-05-07
move_alone = true
invented = true

[tape]
unit = "cm"
nasion_inion = 36.0
ring = [56.0, 56.2]
doubtful = ["inion"]

[[free]]
site = "P4"
radius_mm = 14
reason = "wound"
"""
LONG = "a very long word of what was seen there, and more of it than anybody would write down; " * 3


def planned(system: str = "10-20") -> SolvedCase:
    return solved_text(CASE.format(system=system))


@pytest.fixture(scope="module")
def plan() -> SolvedCase:
    return planned()


def charted(solved: SolvedCase, record: SetUpRecord) -> SolvedCase:
    made = dataclasses.replace(solved, case=dataclasses.replace(solved.case, record=record))
    vars(made)["sites"], vars(made)["displacement"] = solved.sites, solved.displacement
    return made


def full(solved: SolvedCase, words: str = "skin whole") -> SetUpRecord:
    """Every site charted: two high, one left out, one moved, words at each."""
    kohm = {name: 3.0 + 0.25 * (k % 5) for k, name in enumerate(solved.sites.names)}
    kohm |= {"F4": 12.5, "Cz": 11.0}
    sites = [
        ChartedElectrode(n, impedance_kohm=z, note=words) for n, z in kohm.items() if n != "O1"
    ]
    return SetUpRecord(
        (*sites, ChartedElectrode("O1", False, skin_before=words, note="left alone")),
        ChartedElectrode("REF", place="CPz", impedance_kohm=3.5),
        ChartedElectrode("GND", place="AFz", impedance_kohm=2.25),
        (ChartedElectrode("ECG", place="left wrist", impedance_kohm=8),),
        "cup",
        "gold",
        skin_before=words,
        skin_after=words,
        done_by="T. Example",
        done_on="2024-05-07 07:40",
        note=words,
    )


def pages_of(pdf: bytes) -> list[str]:
    return [page.extract_text() for page in pypdf.PdfReader(io.BytesIO(pdf)).pages]


def one_line(text: str) -> str:
    return " ".join(text.split())


def boxes_of(pdf: bytes) -> list[list[tuple[str, np.ndarray]]]:
    """Every word of every page and its box x0, y0, x1, y1 in mm, as poppler finds them."""
    found = subprocess.run(
        ["pdftotext", "-bbox", "-", "-"], input=pdf, capture_output=True, check=True
    ).stdout.decode()
    word = r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</w'
    return [
        [(w[4], np.array(w[:4], float) * 25.4 / 72) for w in re.findall(word, page)]
        for page in found.split("<page ")[1:]
    ]


def n_lines(pdf: bytes, width: float) -> int:
    """Strokes of a width in mm on all pages."""
    strokes, now = 0, ""
    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        for line in page.get_contents().get_data().decode("latin-1").splitlines():
            if line.endswith(" w"):
                now = line.removesuffix(" w")
            strokes += line.endswith(" l S") and abs(float(now) - width * 72 / 25.4) < 1e-3
    return strokes


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("system", ["10-20", "ifcn-25"])
def test_the_arrays_of_every_day_take_one_page(paper: str, system: str) -> None:
    solved = planned(system)
    for record in (SetUpRecord(), full(solved)):
        (text,) = pages_of(record_pdf(charted(solved, record), paper))
        assert "page 1 of 1" in text
        assert text.startswith("Invented head")


def test_everything_that_was_charted_is_printed(plan: SolvedCase) -> None:
    solved = charted(plan, full(plan))
    text = one_line(pages_of(record_pdf(solved))[0])
    for one in solved.case.record.electrodes:
        if one.impedance_kohm is not None:
            name = {"REF": "reference", "GND": "ground"}.get(one.name, one.name)
            assert re.search(rf"{name} .{{0,60}}\b{one.impedance_kohm:g} kΩ", text), one
    for said in ("T. Example", "2024-05-07 07:40", "at left wrist", "left alone", "cup", "gold"):
        assert said in text
    assert solved.record_sentences
    for sentence in solved.record_sentences:
        assert sentence in text
    assert text.count("above") == 2
    assert text.count("✓") == len(plan.sites) - 1 + 3 + 1  # and once in the line that tells signs
    assert text.count("✗") == 2


def test_what_was_measured_and_the_cautions_stand_on_it(plan: SolvedCase) -> None:
    text = one_line(pages_of(record_pdf(plan))[0])
    for said in (
        "nasion-inion arc 36.0 cm",
        "10 % ring 56.0 / 56.2 cm",
        "Measured by M. Example on 2024-05-07.",
        "Hard to find: inion.",
        "Invented data, no person.",
        "Never abrade or press on broken, inflamed or healing skin",
        "10 kΩ (common practice; local policy decides)",
        "Not a medical device.",
        *CAUTIONS,
    ):
        assert said in text


def test_an_empty_record_is_lines_to_write_on(plan: SolvedCase) -> None:
    blank, done = record_pdf(plan), record_pdf(charted(plan, full(plan)))
    n_rows = len(plan.sites) + 4  # and reference, ground, two other leads
    # Place and impedance of every row, but the place that is planned; two names; and who, when,
    # skin before and after, single sites, type, material, note.
    assert n_lines(blank, 0.2) == 2 * n_rows - 1 + 2 + 2 + 4 + 2 + 2 + 2
    assert n_lines(done, 0.2) == 0
    text = pages_of(blank)[0]
    assert "Findings" not in text
    assert "✓" not in text.replace("✓ applied", "")
    assert plan.displacement is not None
    assert f"plan: {plan.displacement.moves[0].toward}" in text


@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize(
    ("system", "words"), [("10-20", LONG), ("10-10", "whole"), ("10-10", LONG), ("10-5", "whole")]
)
def test_no_word_is_lost_over_an_edge_or_another_word(paper: str, system: str, words: str) -> None:
    solved = planned(system)
    record = dataclasses.replace(full(solved, words), done_by=words)
    pdf = record_pdf(charted(solved, record), paper)
    width, height = PAPERS[paper]
    pages = boxes_of(pdf)
    assert len(pages) >= 1
    for page in pages:
        boxes = np.array([box for _, box in page])
        assert len(boxes) > 50 or page is pages[-1]
        assert boxes[:, 0].min() >= MARGIN_MM - 0.1
        assert boxes[:, 2].max() <= width - MARGIN_MM + 0.1
        assert boxes[:, 1].min() > 5.0
        assert boxes[:, 3].max() < height - 3.0
        # A box is as high as its type allows; letters fill about the middle half of it.
        quarter = (boxes[:, 3] - boxes[:, 1]) / 4
        inner = boxes + np.column_stack([0 * quarter + 0.1, quarter, 0 * quarter - 0.1, -quarter])
        over = (
            (inner[:, None, 0] < inner[None, :, 2])
            & (inner[None, :, 0] < inner[:, None, 2])
            & (inner[:, None, 1] < inner[None, :, 3])
            & (inner[None, :, 1] < inner[:, None, 3])
        )
        np.fill_diagonal(over, val=False)
        assert [(page[i][0], page[j][0]) for i, j in np.argwhere(over)] == []
    # Words come column by column; a heading may stand between two lines of one sentence.
    text = one_line(" ".join(pages_of(pdf)))
    n_notes = sum(one.note == words for one in record.sites)
    assert text.count(words[:10]) >= n_notes >= len(solved.sites) - 1
    assert "…" not in text.replace(text[: text.index("Measured:")], "")
    assert all(f"{name} " in text for name in solved.sites.names)
    assert f"page {len(pages)} of {len(pages)}" in text


def test_the_same_record_gives_the_same_bytes(plan: SolvedCase, tmp_path: Path) -> None:
    solved = charted(plan, full(plan))
    path = write_record(solved, tmp_path / "record.pdf")
    assert path.read_bytes() == record_pdf(solved)
    assert pypdf.PdfReader(path).metadata.subject == "EEG set-up record"


def test_a_scan_without_a_tape_has_a_record_too(plan: SolvedCase) -> None:
    bare = dataclasses.replace(plan.case, tape=None, scan=plan.head, free=())
    from headfit.case.solved import solve_case

    text = one_line(pages_of(record_pdf(solve_case(bare)))[0])
    assert "Sites of 10-20" in text
    assert "Measured:" not in text


def test_a_letter_that_cannot_be_printed_is_refused(plan: SolvedCase) -> None:
    for record in (
        SetUpRecord(done_by="שלום"),
        SetUpRecord((ChartedElectrode("C3", note="שלום"),)),
        SetUpRecord(other_leads=(ChartedElectrode("שלום"),)),
        SetUpRecord(skin_after="שלום"),
    ):
        with pytest.raises(InputError, match="to be printed"):
            record_pdf(charted(plan, record))


def test_there_is_no_other_paper(plan: SolvedCase) -> None:
    with pytest.raises(UnknownNameError, match="unknown paper 'A5'"):
        record_pdf(plan, "A5")
