"""The wheel: built here, unpacked elsewhere and used there, without a checkout beside it."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from email import message_from_string
from email.message import Message
from pathlib import Path

import pytest
import readme_renderer.markdown
from trove_classifiers import classifiers

import headfit

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(folder)]
    subprocess.run(command, cwd=ROOT, check=True, capture_output=True)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def unpacked(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


@pytest.fixture(scope="module")
def metadata(unpacked: Path) -> Message:
    (file,) = unpacked.glob("*.dist-info/METADATA")
    return message_from_string(file.read_text(encoding="utf-8"))


def run(unpacked: Path, folder: Path, *words: str) -> str:
    home = folder / "home"
    home.mkdir(exist_ok=True)
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "headfit", *words],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": str(unpacked), "HOME": str(home)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert list(home.iterdir()) == []
    return done.stdout


def test_the_wheel_is_what_runs_here(unpacked: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-c", "import headfit; print(headfit.__file__)"]
    environment = {**os.environ, "PYTHONPATH": str(unpacked)}
    done = subprocess.run(
        command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=True
    )
    assert Path(done.stdout.strip()).is_relative_to(unpacked)


def test_the_wheel_works_without_a_checkout_and_leaves_nothing_at_home(
    unpacked: Path, tmp_path: Path
) -> None:
    assert "electrodes.tsv" in run(unpacked, tmp_path, "samples", "s")
    run(unpacked, tmp_path, "fit", "s/case.toml", "-o", "results", "--no-picture")
    run(unpacked, tmp_path, "sheet", "s/case.toml", "-o", "sheet.pdf")
    run(unpacked, tmp_path, "report", "s/case.toml", "-o", "head.html")
    run(unpacked, tmp_path, "sites", "s/scan.ply", "--landmarks", "s/marks.json", "-o", "sites.tsv")
    assert headfit.__version__ in run(unpacked, tmp_path, "cite")
    for name in ("results/case.json", "sheet.pdf", "head.html", "sites.tsv"):
        assert (tmp_path / name).stat().st_size > 500


def test_the_wheel_holds_the_package_and_is_small(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    assert {name.partition("/")[0] for name in names} == {
        "headfit",
        f"headfit-{headfit.__version__}.dist-info",
    }
    assert "headfit/CITATION.cff" in names
    assert "headfit/py.typed" in names
    assert wheel.stat().st_size < 2_500_000


def test_classifiers_are_known_and_name_each_python_from_the_lowest(metadata: Message) -> None:
    named = metadata.get_all("Classifier", [])
    assert set(named) <= classifiers
    minors = [name.rpartition(".")[2] for name in named if "Python :: 3." in name]
    assert metadata["Requires-Python"] == f">=3.{minors[0]}"
    assert minors == [str(minor) for minor in range(int(minors[0]), int(minors[-1]) + 1)]


def test_the_readme_renders_where_nothing_lies_beside_it(metadata: Message) -> None:
    text = metadata.get_payload()
    assert isinstance(text, str)
    assert metadata["Description-Content-Type"] == "text/markdown"
    html = readme_renderer.markdown.render(text)
    assert html is not None
    assert ">headfit<" in html.partition("</h1>")[0]
    assert html.count("<table>") == 1
    assert "<img" not in html
    assert "](" not in text
