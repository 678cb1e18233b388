"""Starting headfit is quick, because drawing and table libraries load only when they are used."""

import inspect
import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

import headfit
from headfit import errors

HEAVY = {
    *("dask", "distributed", "matplotlib", "mne", "pandas", "pyarrow", "pyvista", "statsmodels"),
    *("vtk", "vtkmodules"),
}

IMPORT_HEADFIT = ["-c", "import headfit"]
SHOW_HELP = ["-m", "headfit", "--help"]


def run_python(arguments: list[str]) -> subprocess.CompletedProcess[str]:
    """Run a fresh interpreter that sees neither the tester's settings nor a terminal."""
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith("PYTHON")
    }
    return subprocess.run(
        [sys.executable, *arguments],
        check=True,
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        env=environment,
    )


def modules_loaded_by(arguments: list[str]) -> set[str]:
    """Names of all modules a fresh interpreter imports, as `-X importtime` lists them."""
    listing = run_python(["-X", "importtime", *arguments]).stderr
    return {line.rpartition("|")[2].strip() for line in listing.splitlines() if "|" in line}


@pytest.mark.parametrize(
    ("arguments", "must_be_there"),
    [(IMPORT_HEADFIT, "headfit"), (SHOW_HELP, "headfit.cli")],
    ids=["import headfit", "headfit --help"],
)
def test_starting_loads_no_drawing_or_table_library(
    arguments: list[str], must_be_there: str
) -> None:
    loaded = modules_loaded_by(arguments)
    assert must_be_there in loaded
    assert not {name.partition(".")[0] for name in loaded} & HEAVY


def test_a_heavy_library_would_be_noticed() -> None:
    assert "matplotlib" in modules_loaded_by(["-c", "import matplotlib"])


def test_every_public_name_is_there_and_listed() -> None:
    assert len(headfit.__all__) >= 42
    assert list(headfit.__all__) == sorted(headfit.__all__)
    for name in headfit.__all__:
        if name != "SYSTEMS":  # the one that is data
            assert getattr(headfit, name).__name__ == name
        assert name in dir(headfit)
    assert "10-20" in headfit.SYSTEMS


def test_every_error_is_public() -> None:
    ours = [
        name
        for name, kind in vars(errors).items()
        if inspect.isclass(kind) and issubclass(kind, errors.HeadfitError)
    ]
    assert len(ours) >= 11
    for name in ours:
        assert getattr(headfit, name) is getattr(errors, name)


def test_a_type_checker_sees_the_public_names_with_their_types(tmp_path: Path) -> None:
    asking = tmp_path / "asking.py"
    asking.write_text("import headfit\nreveal_type(headfit.fit_head)\nheadfit.nonsense\n")
    found = subprocess.run(
        [sys.executable, "-m", "mypy", str(asking)],
        capture_output=True,
        text=True,
        check=False,
        cwd=Path(headfit.__file__).parents[1],
    ).stdout
    assert "headfit.fitting.fit.FittedHead" in found
    assert 'Module has no attribute "nonsense"' in found


def test_a_name_that_is_not_public_is_refused_as_python_does() -> None:
    with pytest.raises(AttributeError, match="No headfit attribute nonsense"):
        headfit.nonsense  # noqa: B018 - asking is the test


def test_the_headfit_command_says_the_same_as_the_module() -> None:
    page = (Path(__file__).parents[1] / "pyproject.toml").read_text(encoding="utf-8")
    assert tomllib.loads(page)["project"]["scripts"] == {"headfit": "headfit.__main__:main"}
    installed = Path(sys.executable).with_name("headfit")
    assert run_python([str(installed), "--help"]).stdout == run_python(SHOW_HELP).stdout


def test_help_loads_little_more_than_bare_python() -> None:
    """A quarter of a second on an old machine, told by what is loaded: clocks differ."""
    more = modules_loaded_by(SHOW_HELP) - modules_loaded_by(["-c", "pass"])
    assert not {"numpy", "scipy", "rich"} & {name.partition(".")[0] for name in more}
    assert len(more) <= 120
