"""`headfit cite` and `headfit completion`: a YAML reader and a shell are asked what they get."""

import json
import shutil
import subprocess
from pathlib import Path

import pytest
import yaml

import headfit
from headfit.cli import COMMANDS, main
from headfit.files.citation import citation, citation_file

# The required keys of the Citation File Format 1.2.0, from memory.
REQUIRED = {"authors", "cff-version", "message", "title"}


def printed(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(words) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def test_the_citation_is_what_a_yaml_reader_finds_in_the_file(
    capsys: pytest.CaptureFixture[str],
) -> None:
    told = yaml.safe_load(printed(capsys, "cite", "--cff"))
    assert told.keys() >= REQUIRED
    found = citation()
    assert (found.title, found.licence) == (told["title"], told["license"])
    assert found.version == str(told["version"]) == headfit.__version__
    assert list(found.authors) == [author["name"] for author in told["authors"]]
    assert json.loads(printed(capsys, "cite", "--json"))["title"] == told["title"]


def test_every_way_to_cite_names_title_version_and_authors(
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = citation()
    for words in (("cite",), ("cite", "--bibtex"), ("cite", "--cff")):
        out = printed(capsys, *words)
        assert all(part in out for part in (found.title, found.version, *found.authors))


def test_bibtex_closes_what_it_opens(capsys: pytest.CaptureFixture[str]) -> None:
    out = printed(capsys, "cite", "--bibtex")
    assert out.startswith("@misc{headfit,\n")
    assert out.count("{") == out.count("}") > 5


def test_the_citation_of_a_checkout_is_the_file_at_its_top() -> None:
    assert citation_file().read_bytes() == (Path(__file__).parents[1] / "CITATION.cff").read_bytes()


@pytest.mark.parametrize(
    ("typed", "offered"),
    [
        (["headfit", "comp"], {"compare", "completion"}),
        (["headfit", "fit", "--no"], {"--no-picture"}),
        (["headfit", "fit", "some"], {"some.toml"}),
        (["headfit", ""], set(COMMANDS)),
    ],
)
def test_bash_completes_commands_options_and_files(
    typed: list[str], offered: set[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    script = tmp_path / "script"
    script.write_text(printed(capsys, "completion", "bash"), encoding="utf-8")
    (tmp_path / "some.toml").touch()
    words = " ".join(f"'{word}'" for word in typed)
    asked = f"source {script}; COMP_WORDS=({words}); COMP_CWORD={len(typed) - 1}; _shtab_headfit"
    bash = shutil.which("bash")
    assert bash is not None
    done = subprocess.run(
        [bash, "--norc", "-c", f'{asked}; printf "%s\\n" "${{COMPREPLY[@]}}"'],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    assert set(done.stdout.split()) >= offered
    assert typed[-1] == "" or len(done.stdout.split()) == len(offered)


@pytest.mark.parametrize("shell", ["bash", "fish", "powershell", "tcsh", "zsh"])
def test_every_shell_that_is_named_has_a_script(
    shell: str, capsys: pytest.CaptureFixture[str]
) -> None:
    out = printed(capsys, "completion", shell)
    assert all(command in out for command in COMMANDS)


def test_another_shell_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", "bsh"]) == 2
    assert "unknown shell 'bsh': did you mean 'bash'?" in capsys.readouterr().err


def test_samples_written_into_the_empty_folder_one_stands_in_leave_one_there(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    printed(capsys, "samples", ".")
    assert Path.cwd() == tmp_path
    assert (tmp_path / "case.toml").is_file()
    printed(capsys, "sites", "scan.ply", "--landmarks", "marks.json", "-o", "sites.tsv")
    assert (tmp_path / "sites.tsv").is_file()
