"""What README.md and DEVELOPERS.md say is so."""

import io
import json
import re
import shlex
from contextlib import redirect_stdout
from pathlib import Path

import pytest
from PIL import Image
from running_app import running
from snippets import snippets

from headfit.anatomy.sites import F9_APART_MM
from headfit.case.solved import solve_case
from headfit.cli import COMMANDS, build_parser, main
from headfit.files.case_file import case_of_text
from headfit.files.samples import FOLDER as SAMPLES

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    return snippets(README, language)


def test_every_command_in_the_readme_is_understood() -> None:
    lines = [line for block in blocks("sh") for line in block.splitlines() if line]
    shown = [line for line in lines if line.startswith("headfit ")]
    assert len(shown) >= 5
    for line in shown:
        chosen = build_parser().parse_args(shlex.split(line, comments=True)[1:])
        assert chosen.command in COMMANDS
    for script in ("./scripts/demo", "./scripts/test"):
        assert any(line.startswith(script) for line in lines)
        assert (ROOT / script).is_file()


# What each line of the README leaves behind.
LEFT_BEHIND = {
    "fit": "results/case.json",
    "sheet": "sheet.pdf",
    "record": "record.pdf",
    "report": "head.html",
    "compare": "compared/deviations.tsv",
    "compare --sessions": "repeated/repeats.tsv",
    "picture": "head.png",
    "sites": "sites.tsv",
    "study": "study/report.html",
}


def test_every_command_in_the_readme_runs_on_the_samples(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["samples", str(tmp_path / "samples")]) == 0
    monkeypatch.chdir(tmp_path / "samples")
    shown = [line for block in blocks("sh") for line in block.splitlines() if line]
    shown = [line for line in shown if line.startswith("headfit ")]
    commands = [shlex.split(line, comments=True)[1:] for line in shown]
    assert len(commands) >= 11
    left = set()
    for words in commands:
        if words[0] == "app":
            with running(Path(words[1]).absolute()) as app:
                assert words[1] in json.dumps(app.get("state"))
            continue
        assert main(words) == 0, words
        assert capsys.readouterr().err == ""
        name = " ".join(words[:2]) if words[1:2] == ["--sessions"] else words[0]
        if name in LEFT_BEHIND:
            assert Path(LEFT_BEHIND[name]).stat().st_size > 100
            left.add(name)
    assert left == LEFT_BEHIND.keys()


def test_the_sample_case_is_the_one_of_the_readme_and_says_that_it_is_invented() -> None:
    text, record = blocks("toml")
    assert case_of_text(text + record, Path()).record.site("P3").place == "PPO3h"
    sample = (SAMPLES / "case.toml").read_text(encoding="utf-8")
    assert sample.partition("\n\n")[2].replace("invented = true\n", "") == text
    assert case_of_text(sample, SAMPLES).invented
    told = (SAMPLES / "README.txt").read_text(encoding="utf-8")
    assert "invented" in told
    for path in SAMPLES.iterdir():
        assert path.name == "README.txt" or path.name in told
    assert sum(path.stat().st_size for path in SAMPLES.iterdir()) < 100_000


def test_the_case_file_in_the_readme_fits() -> None:
    text, _ = blocks("toml")
    result = solve_case(case_of_text(text, ROOT))
    assert result.fitted.flags == ()
    assert result.advice.disagrees is None
    assert result.advice.slips == ()


def test_the_python_in_the_readme_runs(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (code,) = blocks("python")
    monkeypatch.chdir(tmp_path)
    out = io.StringIO()
    with redirect_stdout(out):
        exec(compile(code, "README.md", "exec"), {})
    assert out.getvalue().count("[") == 2
    assert (tmp_path / "results" / "case.json").is_file()


def test_the_picture_in_the_readme_is_there() -> None:
    with Image.open(ROOT / "docs" / "pictures" / "faces.png") as image:
        assert image.width >= 1200
    assert "![Four pictures: " in README
    assert "](docs/pictures/faces.png)" in README


def test_the_readme_has_the_distance_between_both_definitions_of_f9() -> None:
    said = f"F9 of the one lies {F9_APART_MM} mm from F9 of the other on the adult template"
    assert said in " ".join(README.split())


def test_the_readme_says_what_it_is_not_once() -> None:
    assert README.count("Not a medical device") == 1


@pytest.mark.parametrize(
    "name", re.findall(r"`((?:headfit|meshes|tests|viewer|docs)/[^`* ]*)`", DEVELOPERS)
)
def test_every_path_the_contributors_read_about_exists(name: str) -> None:
    assert (ROOT / name).exists()


def test_every_folder_of_the_package_is_on_the_map() -> None:
    folders = {path.parent.name for path in (ROOT / "headfit").glob("*/__init__.py")}
    assert len(folders) >= 8
    for folder in folders:
        assert f"`headfit/{folder}/`" in DEVELOPERS
