"""Run a command of headfit in this process and see what it says."""

from pathlib import Path

import pytest

from headfit.cli import main


def said(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of one command."""
    capsys.readouterr()
    code = main([str(argument) for argument in arguments])
    found = capsys.readouterr()
    return code, found.out, found.err


def refused(capsys: pytest.CaptureFixture[str], *arguments: str | Path) -> str:
    """The one sentence of a command that must refuse."""
    code, out, err = said(capsys, *arguments)
    assert code == 2
    assert out == ""
    assert err.startswith("headfit: ")
    assert err.count("\n") == 1
    return err.removeprefix("headfit: ").rstrip("\n")
