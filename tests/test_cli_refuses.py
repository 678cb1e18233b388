"""The command line on bad input, and in a process of its own."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from commands import refused, said
from demo_case import TEXT

from headfit import __version__
from headfit import cli as cli_package
from headfit.cli import COMMANDS, main
from headfit.output.cameras import CAMERAS


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "case.toml"
    path.write_text(TEXT, encoding="utf-8")
    return path


WRONG: dict[str, tuple[list[str], str]] = {
    "a misspelt command": (["fitt"], "unknown command 'fitt': did you mean 'fit'?"),
    "a missing option": (
        ["fit", "case.toml"],
        "the following arguments are required: -o/--output (`headfit fit --help` shows how)",
    ),
    "an unknown option": (
        ["fit", "case.toml", "-o", "out", "--fast"],
        "unrecognized arguments: --fast (`headfit --help` shows how)",
    ),
    "no such case": (
        ["fit", "nowhere.toml", "-o", "out"],
        "there is no file nowhere.toml (is the name right, and the folder?)",
    ),
    "a rule without a choice": (
        ["sites", "a.ply", "--landmarks", "a.json", "-o", "a.tsv", "--rule", "inner"],
        "--rule must be written NAME=CHOICE, got 'inner' (inner=parasagittal)",
    ),
    "an unknown rule": (
        ["sites", "a.ply", "--landmarks", "a.json", "-o", "a.tsv", "--rule", "iner=row"],
        "unknown rule 'iner': did you mean 'inner'?",
    ),
    "an unknown choice": (
        ["sites", "a.ply", "--landmarks", "a.json", "-o", "a.tsv", "--rule", "inner=rwo"],
        "unknown rule for inner 'rwo': did you mean 'row'?",
    ),
    "a rule twice": (
        [
            "sites",
            "a.ply",
            "--landmarks",
            "a.json",
            "-o",
            "a.tsv",
            "--rule",
            "inner=row",
            "--rule",
            "inner=crossing",
        ],
        "--rule inner must be given once, got it twice",
    ),
    "no such surface": (
        ["sites", "a.ply", "--landmarks", "a.json", "-o", "a.tsv"],
        "there is no file a.ply (is the name right, and the folder?)",
    ),
    "a picture of another format": (
        ["picture", "case.toml", "-o", "p.jpg"],
        "the picture must be a file that ends in .png, got p.jpg (write p.png)",
    ),
    "a picture without an ending": (
        ["picture", "case.toml", "-o", "p"],
        "the picture must be a file that ends in .png, got p (write p.png)",
    ),
    "a report of another format": (
        ["report", "case.toml", "-o", "head.pdf"],
        "the report must be a file that ends in .html or .htm, got head.pdf (write head.html)",
    ),
    "a page for the chair of another format": (
        ["chair", "case.toml", "-o", "chair"],
        "the page must be a file that ends in .html or .htm, got chair (write chair.html)",
    ),
    "a sheet of another format": (
        ["sheet", "case.toml", "-o", "sheet.docx"],
        "the sheet must be a file that ends in .pdf, got sheet.docx (write sheet.pdf)",
    ),
    "a record of another format": (
        ["record", "case.toml", "-o", "record.tsv"],
        "the record must be a file that ends in .pdf or .toml, got record.tsv (write record.pdf)",
    ),
    "sites in another format": (
        ["sites", "a.ply", "--landmarks", "a.json", "-o", "sites.xlsx"],
        "the table must be a file that ends in .tsv, got sites.xlsx (write sites.tsv)",
    ),
    "guesses in another format": (
        ["places", "marks.tsv", "-o", "table"],
        "the table must be a file that ends in .tsv, got table (write table.tsv)",
    ),
    "an output that is a folder": (
        ["report", "case.toml", "-o", "."],
        "the report must be a file that ends in .html or .htm, got . (write head.html)",
    ),
    "a size that is none": (
        ["picture", "case.toml", "-o", "p.png", "--size", "big"],
        "--size must be WIDTHxHEIGHT in pixels, each 100 to 8000, got 'big' (1600x1200)",
    ),
    "a size too large": (
        ["picture", "case.toml", "-o", "p.png", "--size", "9000x1200"],
        "--size must be WIDTHxHEIGHT in pixels, each 100 to 8000, got '9000x1200' (1600x1200)",
    ),
}


@pytest.mark.parametrize("kind", WRONG)
def test_bad_input_gets_one_sentence(
    kind: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    arguments, sentence = WRONG[kind]
    assert refused(capsys, *arguments) == sentence
    assert list(tmp_path.iterdir()) == []


def test_a_head_nobody_has_is_refused_and_nothing_is_written(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    case.write_text('[tape]\nunit = "cm"\nnasion_inion = 362')
    sentence = refused(capsys, "fit", case, "-o", tmp_path / "out")
    assert sentence == (
        "case.toml: nasion-inion arc must lie in 15 to 48 cm, got 362 cm (should it say "
        'unit = "mm"?)'
    )
    assert not (tmp_path / "out").exists()


def test_a_file_in_the_place_of_the_folder_is_kept(
    case: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "out").write_text("mine")
    assert "the output must be a folder" in refused(capsys, "fit", case, "-o", tmp_path / "out")
    assert (tmp_path / "out").read_text() == "mine"


def test_the_help_names_every_command_and_no_command_shows_the_help(
    capsys: pytest.CaptureFixture[str],
) -> None:
    code, out, _ = said(capsys)
    assert code == 2
    for name in COMMANDS:
        assert re.search(rf"^    {name}\s", out, re.MULTILINE), name
    with pytest.raises(SystemExit) as stopped:
        main(["--version"])
    assert stopped.value.code == 0
    assert capsys.readouterr().out == f"headfit {__version__}\n"


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_has_its_own_help(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as stopped:
        main([name, "--help"])
    assert stopped.value.code == 0
    assert f"usage: headfit {name}" in capsys.readouterr().out


def test_ctrl_c_is_no_traceback(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr(cli_package, "_run", interrupted)
    code, _, err = said(capsys, "doctor")
    assert code == 130
    assert err.startswith("headfit: stopped")


def run_command(*arguments: str | Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "headfit", *arguments],
        capture_output=True,
        text=True,
        check=False,
        stdin=subprocess.DEVNULL,
    )


def test_in_a_process_of_its_own_the_exit_codes_are_the_same(tmp_path: Path) -> None:
    (tmp_path / "bad.toml").write_bytes(b"\xff\xfe[case]")
    done = run_command("fit", tmp_path / "bad.toml", "-o", tmp_path / "out")
    assert done.returncode == 2
    assert done.stdout == ""
    assert "must be UTF-8 text" in done.stderr
    assert "Traceback" not in done.stderr
    assert run_command("measurements").returncode == 0


def test_fitting_without_a_picture_loads_no_drawing_library(case: Path, tmp_path: Path) -> None:
    script = (
        "import sys; from headfit.cli import main; code = main(sys.argv[1:]); "
        "heavy = {'vtkmodules', 'pyvista', 'pandas', 'matplotlib'} & set(sys.modules); "
        "sys.exit(f'{code} {sorted(heavy)}')"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "fit", case, "-o", tmp_path / "out", "--no-picture"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.stderr == "0 []\n"


@pytest.mark.parametrize(
    "arguments",
    [["measurements"], ["measurements", "--json"], ["fit", "nowhere.toml", "-o", "x", "--json"]],
    ids=["for a person", "for a machine", "a short answer"],
)
def test_a_reader_that_goes_away_is_no_traceback(arguments: list[str]) -> None:
    with subprocess.Popen(
        [sys.executable, "-m", "headfit", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        # Unbuffered, the short answer would fail at once and not at exit.
        env={name: text for name, text in os.environ.items() if name != "PYTHONUNBUFFERED"},
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        said_on_error = process.stderr.read()
    assert "Traceback" not in said_on_error
    assert "BrokenPipe" not in said_on_error


@pytest.mark.parametrize("command", ["picture", "window"])
def test_the_help_lists_every_view(capsys: pytest.CaptureFixture[str], command: str) -> None:
    with pytest.raises(SystemExit):
        main([command, "--help"])
    shown = " ".join(capsys.readouterr().out.split())
    listed = shown.partition("--view VIEW ")[2].partition(" --")[0].replace(" (default)", "")
    assert sorted(listed.split(", ")) == sorted(CAMERAS)
