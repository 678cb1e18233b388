"""`headfit lesson`: the list, a check, one file, stills and a handout."""

from __future__ import annotations

import io
import json
import re
from collections import Counter
from pathlib import Path

import numpy as np
import pypdf
import pytest
from PIL import Image

from headfit.cli import main
from headfit.files.lesson_file import FOLDER, lesson_names
from headfit.teaching.words import DRAGS, FIGURES, NUMBERS

RING = str(FOLDER / "04_ring.toml")


def test_the_list_for_a_machine_names_every_lesson(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lesson", "--list", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert [each["name"] for each in found] == list(lesson_names())
    assert all(set(each) == {"name", "title"} and each["title"] for each in found)


def test_the_list_for_a_person(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lesson", "--list"]) == 0
    assert "Four marks hold the ring" in capsys.readouterr().out


def test_a_good_lesson_is_told_with_its_captions(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["lesson", "--check", RING]) == 0
    said = capsys.readouterr().out
    assert "5 steps, nothing wrong" in said
    assert "27.4 cm on the left" in said


def test_a_bad_lesson_is_told_with_file_and_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "own.toml"
    path.write_text(Path(RING).read_text(encoding="utf-8").replace("Fpz T7", "Fpzz T7", 1))
    assert main(["lesson", "--check", str(path)]) == 2
    said = capsys.readouterr().err
    assert "own.toml: line 17: unknown site 'Fpzz': did you mean 'Fpz'?" in said


def test_one_file_on_the_head_of_a_case(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    case = tmp_path / "case.toml"
    case.write_text(
        '[case]\nlabel = "Newborn, invented"\nage = "newborn"\n[tape]\nunit = "cm"\nring = 34.0'
    )
    path = tmp_path / "ring.html"
    assert main(["lesson", "ring", str(case), "-o", str(path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["files"] == [str(path)]
    page = path.read_text(encoding="utf-8")
    assert "Newborn, invented" in page
    assert "17.0 cm" in page  # half of 34.0
    assert len(page.encode()) <= 2_000_000


def test_stills_are_one_picture_a_step_and_the_same_again(tmp_path: Path) -> None:
    folder = tmp_path / "stills"
    assert main(["lesson", "ring", "-o", str(folder), "--format", "png"]) == 0
    stills = sorted(folder.glob("*.png"))
    assert [path.name for path in stills][:2] == ["01-four-marks.png", "02-snap.png"]
    assert len(stills) == 5
    first = stills[0].read_bytes()
    image = Image.open(io.BytesIO(first))
    assert image.size == (1890, 1063)
    dark = sum(image.convert("L").histogram()[:128]) / (1890 * 1063)
    assert 0.005 < dark < 0.2  # a drawing and words, and white around them
    assert main(["lesson", "ring", "-o", str(folder), "--format", "png"]) == 0
    assert stills[0].read_bytes() == first


def test_a_handout_has_every_caption_and_the_answers_at_its_end(tmp_path: Path) -> None:
    path = tmp_path / "ring.pdf"
    assert main(["lesson", "ring", "-o", str(path), "--format", "pdf"]) == 0
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(path).pages]
    assert len(pages) == 4
    assert "27.4 cm on the left" in pages[0]
    assert "How far from Fpz is F7?" in pages[2]
    assert "F7 stands at three tenths" not in " ".join(pages[:3])
    assert "F7 stands at three tenths" in pages[3]
    assert "Not a medical device." in pages[3]


def test_a_printed_mix_up_can_be_found_and_its_answer_stands_at_the_end(tmp_path: Path) -> None:
    path = tmp_path / "exchange.pdf"
    assert main(["lesson", "exchange", "-o", str(path), "--format", "pdf"]) == 0
    pages = [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(path).pages]
    rows = re.findall(
        r"(\w+)(?: \(T\d\))? to (\w+)(?: \(T\d\))?: taped ([\d.]+), due ([\d.]+)",
        " ".join(pages[:-1]),
    )
    assert len(rows) == 10
    wrong = Counter(
        name for a, b, taped, due in rows if abs(float(taped) - float(due)) > 1 for name in (a, b)
    )
    found = re.search(r"(\w+) and (\w+) carry each other's names", pages[-1])
    assert found is not None
    # The names that most wrong rows share are the exchanged ones.
    assert {name for name, _ in wrong.most_common(2)} == set(found.groups())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["lesson"], "must be told a lesson and where to write it, got no lesson"),
        (["lesson", "ring"], "got no output"),
        (["lesson", "rign", "-o", "x.html"], "did you mean 'ring'?"),
        (["lesson", "ring", "-o", "x", "--format", "gif"], "must be one of html, png, pdf"),
        (
            ["lesson", "ring", "-o", "x.docx"],
            "that ends in .html or .htm, got x.docx (write x.html)",
        ),
        (["lesson", "quiz", "-o", "x.png"], "that ends in .html or .htm, got x.png (write x.html)"),
        (["lesson", "--check", "nowhere.toml"], "nowhere.toml"),
    ],
)
def test_what_is_missing_is_said_in_one_sentence(
    arguments: list[str],
    said: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    assert main(arguments) == 2
    assert said in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []


def test_a_quiz_is_one_file_and_another_seed_draws_other_heads(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    first, other = tmp_path / "quiz.html", tmp_path / "other.html"
    assert main(["lesson", "quiz", "-o", str(first), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["heads"] == 6
    assert main(["lesson", "quiz", "-o", str(other), "--seed", "1"]) == 0
    assert first.read_bytes() != other.read_bytes()
    assert main(["lesson", "quiz", "-o", str(tmp_path / "q.pdf"), "--format", "pdf"]) == 2
    assert "a quiz must be written as html, got pdf" in capsys.readouterr().err


def test_every_word_a_lesson_may_use_is_told_with_what_it_takes(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["lesson", "--words", "--json"]) == 0
    found = {each["word"]: each for each in json.loads(capsys.readouterr().out)}
    assert set(found) >= {"{length}", "show tape", "drag push"}
    assert len(found) == len(NUMBERS) + len(FIGURES) + len(DRAGS)
    assert found["{moved}"]["takes"] == ["site", "landmark", "way", "millimetres"]
    assert all(each["means"] for each in found.values())
    assert main(["lesson", "--words"]) == 0
    assert "push a landmark off its place" in capsys.readouterr().out


def test_two_rules_have_two_colours_on_paper(tmp_path: Path) -> None:
    folder = tmp_path / "stills"
    assert main(["lesson", "two-rules", "-o", str(folder), "--format", "png"]) == 0
    with Image.open(folder / "03-gap.png") as still:
        pixels = np.asarray(still.convert("RGB")).reshape(-1, 3)
    blue = (pixels == (0x0B, 0x5C, 0xAD)).all(axis=1).sum()  # the first tape, as on the page
    black = (pixels == 0).all(axis=1).sum()
    assert blue > 2000
    assert black > 2000
