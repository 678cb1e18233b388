"""The doctor: one sentence a part, true on a machine that lacks something."""

import webbrowser
from pathlib import Path

import pytest

from headfit.errors import DrawingError, FileFormatError
from headfit.output import doctor
from headfit.output.doctor import Finding, examine
from headfit.output.driver import Driver


def finding(part: str, folder: Path | None = None) -> Finding:
    (found,) = [entry for entry in examine("1.2.3", folder) if entry.part == part]
    return found


def test_every_part_gets_one_sentence() -> None:
    found = examine("1.2.3")
    assert [entry.part for entry in found] == [
        "headfit",
        "packages",
        "template heads",
        "pictures",
        "window",
        "browser",
        "folder for results",
        "folder for temporary files",
    ]
    assert found[0].sentence.startswith("version 1.2.3 on Python ")
    for entry in found:
        assert entry.sentence.endswith(".")
        assert "\n" not in entry.sentence
        assert entry.sign in "✓!×"


def test_here_the_tested_packages_and_templates_are_fine() -> None:
    assert finding("packages").state == "fine"
    assert "numpy" in finding("packages").sentence
    assert finding("template heads").sentence.startswith("6 ages,")


def test_a_missing_package_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(doctor, "NEEDED_BY", {"no-such-package": "the sheet"})
    found = finding("packages")
    assert (found.state, found.sign) == ("limited", "!")
    assert "without no-such-package, no the sheet" in found.sentence
    monkeypatch.setattr(doctor, "ALWAYS_NEEDED", ("numpy", "no-such-package"))
    found = finding("packages")
    assert (found.state, found.sign) == ("broken", "×")
    assert found.sentence == "no-such-package not installed: install headfit again."


def test_broken_templates_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def missing() -> None:
        raise FileFormatError("template meshes are gone", code="template-missing")

    monkeypatch.setattr("headfit.anatomy.template.template_set", missing)
    found = finding("template heads")
    assert found.state == "broken"
    assert "template meshes are gone" in found.sentence


def test_drivers_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def none(_: str) -> Driver:
        raise DrawingError("no driver here", code="no-driver")

    monkeypatch.setattr(doctor, "find_driver", none)
    assert finding("pictures") == Finding("pictures", "limited", "No driver here.")
    assert finding("window") == Finding("window", "limited", "No driver here.")
    monkeypatch.setattr(doctor, "find_driver", lambda _: Driver("", "llvmpipe"))
    assert finding("pictures").sentence == "drawn by the processor (llvmpipe)."
    assert finding("window").state == "fine"
    monkeypatch.setattr(doctor, "find_driver", lambda _: Driver("", ""))
    assert finding("pictures").sentence == "drawn by the graphics driver (not asked)."


def test_browsers_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    def none() -> None:
        raise webbrowser.Error("could not locate runnable browser")

    monkeypatch.setattr(webbrowser, "get", none)
    assert finding("browser").state == "limited"
    monkeypatch.setattr(webbrowser, "get", lambda: webbrowser.GenericBrowser("no-such-browser"))
    assert finding("browser").sentence == "report and app open in no-such-browser."


def test_folders_are_tried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert finding("folder for results", tmp_path).state == "fine"
    found = finding("folder for results", tmp_path / "nowhere")
    assert found.state == "broken"
    assert "cannot be written (no such file or directory)" in found.sentence
    monkeypatch.setattr("tempfile.gettempdir", lambda: str(tmp_path / "gone"))
    assert finding("folder for temporary files").state == "limited"
