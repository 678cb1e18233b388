"""Input nobody writes by mistake: it is refused in one sentence, soon, and without a traceback."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from commands import refused, said
from demo_case import TEXT

from headfit import cli
from headfit.cli.screen import Screen
from headfit.errors import MOST_LETTERS, HeadfitError, InputError, plain_text
from headfit.files.case_file import case_of_text, read_case
from headfit.files.landmark_files import read_landmarks
from headfit.files.marks_files import read_marks
from headfit.files.montage_file import read_montage
from headfit.files.surfaces import read_surface
from headfit.fitting.tape import Tape
from headfit.units import to_mm

DIGITS = "9" * 310  # more than floating point holds


def run_headfit(*arguments: str | bytes | Path, **more: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(  # type: ignore[call-overload, no-any-return]
        [sys.executable, "-m", "headfit", *arguments],
        check=False,
        **{
            "stdin": subprocess.DEVNULL,
            "stdout": subprocess.PIPE,
            "stderr": subprocess.PIPE,
            "text": True,
            "timeout": 60,
            **more,
        },
    )


# --- Numbers and letters that are none ----------------------------------------------------------


@pytest.mark.parametrize(
    "text",
    [
        f'[tape]\nunit = "mm"\nring = {DIGITS}',
        f'[tape]\nunit = "mm"\nring = [560, {DIGITS}]',
        f'[tape]\nunit = "mm"\nring = 560\n[tape.spread]\nring = {DIGITS}',
        f'[case]\nage = {DIGITS}\n[tape]\nunit = "mm"\nring = 560',
        f'[tape]\nunit = "mm"\nring = 560\n[shape]\nvault_3_2 = {DIGITS}',
        f'[tape]\nunit = "mm"\nring = 560\n[[free]]\nsite = "Cz"\nradius_mm = {DIGITS}',
        f'[tape]\nunit = "mm"\nring = 560\n[[free]]\npoint_mm = [0, 0, {DIGITS}]\nradius_mm = 9',
        f'[tape]\nunit = "mm"\nring = 0x{"f" * 100_000}',
    ],
)
def test_a_whole_number_of_hundreds_of_digits_is_refused_like_any_other(text: str) -> None:
    with pytest.raises(InputError) as caught:
        case_of_text(text, Path())
    assert len(str(caught.value)) <= MOST_LETTERS


def test_the_same_from_python_and_from_json(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="must be a finite number"):
        Tape(ring_mm=10**400)
    with pytest.raises(InputError, match="must be a finite number"):
        to_mm(10**400, "mm")
    path = tmp_path / "landmarks.json"
    path.write_text(f'{{"unit": "mm", "nasion": [0, {DIGITS}, 0]}}')
    with pytest.raises(InputError, match="the nasion must be a finite number"):
        read_landmarks(path)


def test_half_letters_in_marks_are_read_compared_and_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    marks = {"unit": "mm", "\ud800": [1, 2, 3], "landmarks": {"\udfff": [0, 1, 2]}}
    places = [[0, 97, 0], [-74, 0, 0], [74, 0, 0], [0, 0, 130], [60, 0, 90], [-60, 0, 90]]
    marks |= dict(zip(("Fpz", "T7", "T8", "Cz", "C4", "C3"), places, strict=True))
    (tmp_path / "marks.json").write_text(json.dumps(marks))
    (tmp_path / "case.toml").write_text(TEXT, encoding="utf-8")
    for more in ([], ["--json"]):
        code, _, err = said(
            capsys,
            *("compare", tmp_path / "case.toml", tmp_path / "marks.json", "-o", tmp_path / "out"),
            *("--no-picture", *more),
        )
        assert (code, err) == (0, "")
    json.loads((tmp_path / "out" / "comparison.json").read_text(encoding="utf-8"))


def test_a_case_file_whose_name_is_no_text_is_reported_and_printed(tmp_path: Path) -> None:
    name = os.fsencode(tmp_path) + b"/K\xf6ln\x1b[31m.toml"
    Path(os.fsdecode(name)).write_text(TEXT, encoding="utf-8")
    done = run_headfit("report", name, "-o", tmp_path / "report.html")
    assert (done.returncode, done.stderr) == (0, "")
    done = run_headfit("report", name + b"x", "-o", tmp_path / "report.html")
    assert done.returncode == 2
    assert r"K\udcf6ln\x1b[31m.tomlx" in done.stderr


# --- Names and folders --------------------------------------------------------------------------


@pytest.mark.parametrize("command", ["fit", "report", "sheet"])
def test_a_name_that_is_too_long_for_the_system_is_refused(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "case.toml").write_text(TEXT, encoding="utf-8")
    ending = {"fit": [], "report": [".html"], "sheet": [".pdf"]}[command]
    place = tmp_path / ("x" * 300 + "".join(ending))
    picture = ["--no-picture"] if command == "fit" else []
    sentence = refused(capsys, command, tmp_path / "case.toml", "-o", place, *picture)
    assert "file name too long" in sentence
    assert len(sentence) <= MOST_LETTERS


def test_the_folder_that_was_removed_under_ones_feet_is_told(tmp_path: Path) -> None:
    script = 'cd "$1" && rmdir "$1" && exec "$0" -m headfit measurements'
    done = subprocess.run(
        ["sh", "-c", script, sys.executable, str(tmp_path / "gone")],
        capture_output=True,
        text=True,
        check=False,
        cwd=(tmp_path / "gone").mkdir() or tmp_path,
    )
    assert done.returncode == 2
    assert done.stderr.startswith("headfit: the folder in which headfit was started is gone")


# --- Outputs ------------------------------------------------------------------------------------


@pytest.mark.parametrize("arguments", [["measurements"], ["measurements", "--json"]])
def test_a_full_disk_behind_the_output_is_told(arguments: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = run_headfit(*arguments, stdout=full)
    assert done.returncode == 1
    assert done.stderr == "headfit: what was found cannot be printed: no space left on device\n"


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
def test_closed_outputs_are_no_traceback(closed: str, tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text(TEXT, encoding="utf-8")
    script = f'"$0" -m headfit fit case.toml -o out --no-picture {closed}'
    done = subprocess.run(
        ["sh", "-c", script, sys.executable],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "out" / "case.json").read_bytes().startswith(b"{")


HOSTILE = "a\x1b[2J\nb\u202ec\x9b31m\u2028d"


def test_nothing_that_steers_a_terminal_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    screen, machine = Screen(), Screen(as_json=True)
    screen.say(HOSTILE)
    screen.listed([HOSTILE])
    screen.table([HOSTILE], [[HOSTILE]])
    screen.warn(HOSTILE)
    screen.fail(InputError(HOSTILE, code="x"))
    machine.result({HOSTILE: HOSTILE})
    out, err = capsys.readouterr()
    assert out.count("\n") == 6  # a line each, and a rule under the title of the table
    assert err.count("\n") == 2
    assert (out + err).replace("\n", "").isprintable()
    assert json.loads(out.splitlines()[-1]) == {HOSTILE: HOSTILE}


def test_plain_text_is_short_keeps_both_ends_and_leaves_our_own_sentences_alone() -> None:
    assert plain_text("36,2 cm ± 3 – gut") == "36,2 cm ± 3 – gut"
    assert plain_text("12\u202fmm") == "12 mm"
    for most in (20, 299, 300):
        cut = plain_text("b" * 500 + "e" * 500, most)
        assert len(cut) == most
        assert cut[0] == "b"
        assert cut[-1] == "e"
    assert str(InputError("x" * 100_000, code="y")).count("x") < MOST_LETTERS


# --- What would keep one waiting ----------------------------------------------------------------


def pipe(path: Path) -> Path:
    os.mkfifo(path)
    return path


@pytest.mark.parametrize(
    ("read", "name"),
    [
        (read_case, "case.toml"),
        (read_landmarks, "landmarks.json"),
        (read_surface, "head.ply"),
        (read_montage, "own.csv"),
        (read_marks, "marks.tsv"),
    ],
)
def test_a_pipe_keeps_no_reader_waiting(read: object, name: str, tmp_path: Path) -> None:
    with pytest.raises(HeadfitError, match="must be a file, got a device or a pipe"):
        read(pipe(tmp_path / name))  # type: ignore[operator]


MEASURED = '[tape]\nunit = "mm"\nring = 560\n'
SLOW = {
    "a key of many parts": ("case.toml", MEASURED + "[" + ".".join("a" * 16_000) + "]\n"),
    "a quoted key of many parts": ("case.toml", MEASURED + '"a" . ' * 16_000 + "b = 1\n"),
    "an inline table of many parts": ("case.toml", MEASURED + f"x = {{{'a.' * 16_000}b = 1}}\n"),
    "a list of millions": ("case.toml", MEASURED + "x = [" + "1," * 5_000_000 + "]\n"),
    "a number of millions of digits": ("case.toml", MEASURED + "x = " + "9" * 30_000_000),
    "one long word": ("case.toml", MEASURED + "x" * 190_000),
    "many quotes": ("case.toml", MEASURED + '"' * 190_001),
    "derivations": ("own.toml", "[" + ".".join("a" * 16_000) + "]\n"),
    "landmarks beside marks": (
        "marks.json",
        json.dumps(
            {
                "unit": "mm",
                "landmarks": {f"n{k}": [k, 0, 0] for k in range(60_000)},
                "Cz": [0, 0, 9],
            }
        ),
    ),
    "a surface of digits": ("head.obj", "v 0 0 " + "1" * 50_000_000 + "\nf 1 1 1\n"),
}


@pytest.mark.parametrize("what", SLOW)
def test_what_takes_too_long_to_read_is_refused_soon(what: str, tmp_path: Path) -> None:
    name, text = SLOW[what]
    path = tmp_path / name
    path.write_text(text)
    read = {
        "case.toml": read_case,
        "own.toml": read_montage,
        "marks.json": read_marks,
        "head.obj": read_surface,
    }[name]
    start = time.perf_counter()
    with pytest.raises(HeadfitError) as caught:
        read(path)  # type: ignore[operator]
    assert time.perf_counter() - start < 5.0  # half a minute to hours before; a busy machine
    assert len(str(caught.value)) <= MOST_LETTERS


# --- Ctrl-C -------------------------------------------------------------------------------------


INTERRUPTED_AT = """
import os, signal, sys
import headfit.__main__ as command
awaited = sys.argv.pop(1)
class Finder:
    def find_spec(self, name, path=None, target=None):
        if name == awaited:
            os.kill(os.getpid(), signal.SIGINT)
sys.meta_path.insert(0, Finder())
sys.exit(command.main())
"""


@pytest.mark.parametrize(
    "module",
    ["headfit.cli", "argparse", "headfit.cli.fit", "numpy", "numpy.linalg", "headfit.fitting.fit"],
)
def test_ctrl_c_is_no_traceback_whichever_module_is_being_loaded(
    module: str, tmp_path: Path
) -> None:
    (tmp_path / "case.toml").write_text(TEXT, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", INTERRUPTED_AT, module, "fit", "case.toml", "-o", "out"],
        capture_output=True,
        text=True,
        check=False,
        cwd=tmp_path,
    )
    assert done.returncode == 130
    assert done.stderr in ("", "headfit: stopped; files that were not finished are not there\n")
    assert not (tmp_path / "out").exists()


def test_an_interrupted_library_that_says_something_else_is_no_traceback(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def half_loaded(*_: object) -> int:
        try:
            cli.interrupt(signal.SIGINT, None)
        except KeyboardInterrupt:
            raise ImportError("half loaded") from None
        return 0

    monkeypatch.setattr(cli, "_run", half_loaded)
    monkeypatch.setattr(cli, "_interrupted", type(cli._interrupted)())
    code, _, err = said(capsys, "doctor")
    assert code == 130
    assert err.startswith("headfit: stopped")
