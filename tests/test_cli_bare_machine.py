"""The command line on a machine that lacks something: letters, a library, a graphics driver.

Each command runs in a process of its own, as on that machine.
"""

import json
import os
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

import pytest
from demo_case import TEXT

from headfit.cli import COMMANDS
from headfit.cli.signs import PLAIN_SIGNS

# A library that is asked for as if it were not installed.
WITHOUT = """
import sys
class Missing:
    def find_spec(self, name, path=None, target=None):
        if name.partition(".")[0] in {missing!r}:
            raise ModuleNotFoundError(f"No module named {{name!r}}", name=name)
sys.meta_path.insert(0, Missing())
from headfit.cli import main
sys.exit(main(sys.argv[1:]))
"""
MARKS = (
    "name\tx\ty\tz\nFz\t0\t62\t98\nCz\t0\t0\t122\nPz\t0\t-60\t98\nC3\t-56\t2\t90\nC4\t56\t2\t90\n"
)


@pytest.fixture
def case(tmp_path: Path) -> Path:
    path = tmp_path / "case.toml"
    path.write_text(TEXT, encoding="utf-8")
    (tmp_path / "marks.tsv").write_text(MARKS)
    return path


def run_without(missing: tuple[str, ...], *arguments: str | Path) -> tuple[int, str, str]:
    return run([sys.executable, "-c", WITHOUT.format(missing=missing), *map(str, arguments)], {})


def run(command: list[str], more: Mapping[str, str]) -> tuple[int, str, str]:
    done = subprocess.run(
        command,
        capture_output=True,
        check=False,
        env={**os.environ, **more},
        stdin=subprocess.DEVNULL,
    )
    out, err = (text.decode("latin-1") for text in (done.stdout, done.stderr))
    assert "Traceback" not in err
    return done.returncode, out, err


# The tables of each, without what only a drawing library makes.
TABLES = {
    "fit": (["fit", "case.toml", "-o", "out"], ["case.json", "marks.tsv"]),
    "demo": (["demo", "out", "--no-open"], ["case.json", "report.html", "sheet.pdf"]),
    "compare": (
        ["compare", "case.toml", "marks.tsv", "--unit", "mm", "-o", "out"],
        ["comparison.json", "deviations.tsv"],
    ),
}


@pytest.mark.parametrize("missing", ["pyvista", "vtkmodules"])
@pytest.mark.parametrize("command", TABLES)
def test_without_a_drawing_library_the_tables_are_there_and_a_sentence_says_so(
    case: Path, monkeypatch: pytest.MonkeyPatch, command: str, missing: str
) -> None:
    monkeypatch.chdir(case.parent)
    arguments, tables = TABLES[command]
    code, out, err = run_without((missing,), *arguments)
    assert (code, err) == (0, "")
    told = [line for line in out.splitlines() if line.startswith("No picture: ")]
    assert len(told) == 1
    assert f"No module named '{missing}" in told[0]
    assert told[0].endswith("or do without: everything else works")
    there = {path.name for path in Path("out").iterdir()}
    assert there >= set(tables)
    assert "picture.png" not in there


def test_without_a_drawing_library_picture_and_window_refuse_in_a_sentence(
    case: Path, tmp_path: Path
) -> None:
    for arguments in (["picture", case, "-o", tmp_path / "head.png"], ["window", case]):
        code, out, err = run_without(("pyvista",), *arguments)
        assert (code, out) == (2, "")
        assert err.startswith("headfit: no ")
        assert err.count("\n") == 1
    assert not (tmp_path / "head.png").exists()


def test_without_a_graphics_driver_the_tables_are_there(case: Path, tmp_path: Path) -> None:
    nowhere = {
        "__EGL_VENDOR_LIBRARY_FILENAMES": "/nowhere",
        "LIBGL_DRIVERS_PATH": "/nowhere",
        "VTK_DEFAULT_OPENGL_WINDOW": "",
    }
    command = [sys.executable, "-m", "headfit"]
    code, out, err = run([*command, "fit", str(case), "-o", str(tmp_path / "out")], nowhere)
    assert (code, err) == (0, "")
    assert "No picture: no picture can be drawn here: there is no OpenGL driver" in out
    assert (tmp_path / "out" / "marks.tsv").is_file()


def in_letters(encoding: str, *arguments: str | Path) -> tuple[int, str, str]:
    """A command whose output takes the letters of an encoding alone, with no help of Python."""
    return run(
        [sys.executable, "-m", "headfit", *map(str, arguments)],
        {
            "PYTHONIOENCODING": encoding,
            "PYTHONUTF8": "0",
            "PYTHONCOERCECLOCALE": "0",
            "LC_ALL": "C",
        },
    )


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437", "latin-1"])
def test_an_output_without_our_signs_shows_plain_ones(case: Path, encoding: str) -> None:
    code, out, _ = in_letters(encoding, "doctor")
    assert code == 0
    assert "+ template heads: 6 ages" in out or encoding == "cp437"  # which has a tick of its own
    code, out, err = in_letters(encoding, "fit", case, "-o", case.parent / "out", "--no-picture")
    assert (code, err) == (0, "")
    assert "10 % ring" in out
    assert "mm" in out
    assert "?" not in out.replace("right?", "")


def test_ascii_output_of_every_command_is_ascii(case: Path, tmp_path: Path) -> None:
    for name in COMMANDS:
        code, out, err = in_letters("ascii", name, "--help")
        assert (code, err) == (0, "")
        assert out.isascii()
    code, out, err = in_letters("ascii", "fit", case, "-o", tmp_path / "out", "--no-picture")
    assert (code, err) == (0, "")
    assert out.isascii()
    assert "+/- " in out


def test_a_machine_gets_every_letter_whatever_the_output_can_show(
    case: Path, tmp_path: Path
) -> None:
    case.write_text(TEXT.replace('label = "', 'label = "Zoë ✓ ', 1), encoding="utf-8")
    arguments = ("fit", case, "-o", tmp_path / "out", "--no-picture", "--json")
    for encoding in ("ascii", "cp1252", "utf-8"):
        code, out, _ = in_letters(encoding, *arguments)
        assert code == 0
        label = json.loads(out.encode("latin-1").decode(encoding))["case"]["label"]
        assert label.startswith("Zoë ✓ ")


def test_a_complaint_about_a_name_of_other_letters_is_still_one_sentence(tmp_path: Path) -> None:
    code, out, err = in_letters("ascii", "fit", tmp_path / "Zoë.toml", "-o", tmp_path / "out")
    assert (code, out) == (2, "")
    # Python reads the two bytes of the letter as they are; each is shown by its escape.
    assert err.endswith("Zo\\udcc3\\udcab.toml (is the name right, and the folder?)\n")


def test_every_plain_sign_is_ascii_and_says_something() -> None:
    assert all(plain.isascii() and plain for plain in PLAIN_SIGNS.values())
    assert not any(sign.isascii() for sign in PLAIN_SIGNS)
