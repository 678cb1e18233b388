"""What works on this machine: one finding, one sentence for each part that headfit needs."""

from __future__ import annotations

import platform
import shutil
import tempfile
import webbrowser
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import Literal

from headfit.errors import DrawingError, HeadfitError
from headfit.output.driver import find_driver

ALWAYS_NEEDED = ("numpy", "scipy", "potpourri3d", "rich", "trimesh", "tomli-w")
NEEDED_BY = {
    "pyvista": "picture and window",
    "pillow": "picture",
    "reportlab": "the sheet",
    "starlette": "the app",
    "uvicorn": "the app",
}
_SIGNS = {"fine": "✓", "limited": "!", "broken": "×"}


@dataclass(frozen=True)
class Finding:
    """One part of the machine.

    Attributes
    ----------
    part : str
    state : {"fine", "limited", "broken"}
        "limited": something optional is missing; "broken": every command needs it.
    sentence : str
        What was found, and what to do where it is not fine.
    """

    part: str
    state: Literal["fine", "limited", "broken"]
    sentence: str

    @property
    def sign(self) -> str:
        """One character, told apart without colour."""
        return _SIGNS[self.state]


def examine(headfit_version: str, folder: Path | None = None) -> list[Finding]:
    """All findings; results would be written to `folder`, the current one unless given."""
    return [
        Finding(
            "headfit",
            "fine",
            f"version {headfit_version} on Python "
            f"{platform.python_version()}, {platform.system()} {platform.machine()}.",
        ),
        _packages(),
        _templates(),
        _drawing(),
        _window(),
        _browser(),
        _folder("folder for results", Path.cwd() if folder is None else folder, "broken"),
        _folder("folder for temporary files", Path(tempfile.gettempdir()), "limited"),
    ]


def _installed(package: str) -> str | None:
    try:
        return version(package)
    except PackageNotFoundError:
        return None


def _packages() -> Finding:
    missing = [name for name in ALWAYS_NEEDED if _installed(name) is None]
    absent = {name: what for name, what in NEEDED_BY.items() if _installed(name) is None}
    if missing:
        return Finding(
            "packages", "broken", f"{', '.join(missing)} not installed: install headfit again."
        )
    if absent:
        without = "; ".join(f"without {name}, no {what}" for name, what in absent.items())
        return Finding("packages", "limited", f"{without}: install headfit again.")
    shown = ", ".join(f"{name} {_installed(name)}" for name in (*ALWAYS_NEEDED, *NEEDED_BY))
    return Finding("packages", "fine", f"{shown}.")


def _templates() -> Finding:
    from headfit.anatomy.template import load_template, template_set

    try:
        ages = template_set().ages
        n_vertices = len(load_template().vertices_mm)
    except (HeadfitError, OSError, ValueError, KeyError) as error:
        return Finding("template heads", "broken", f"they cannot be read ({error}).")
    return Finding("template heads", "fine", f"{len(ages)} ages, {n_vertices} vertices each.")


def _drawing() -> Finding:
    try:
        driver = find_driver("off-screen")
    except DrawingError as error:
        return Finding("pictures", "limited", f"{_capital(str(error))}.")
    how = "by the processor" if driver.in_software else "by the graphics driver"
    return Finding("pictures", "fine", f"drawn {how} ({driver.renderer or 'not asked'}).")


def _window() -> Finding:
    try:
        find_driver("window")
    except DrawingError as error:
        return Finding("window", "limited", f"{_capital(str(error))}.")
    return Finding("window", "fine", "`headfit window` can open one.")


def _browser() -> Finding:
    try:
        name = getattr(webbrowser.get(), "name", "") or "a browser"
    except webbrowser.Error:
        return Finding(
            "browser", "limited", "None found: the report is one file, open it on another machine."
        )
    found = shutil.which(name) or name
    return Finding("browser", "fine", f"report and app open in {found}.")


def _folder(part: str, folder: Path, state: Literal["limited", "broken"]) -> Finding:
    try:
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        return Finding(part, state, f"{folder} cannot be written ({reason}): choose another.")
    free_gb = shutil.disk_usage(folder).free / 1e9
    return Finding(part, "fine", f"{folder} can be written, {free_gb:.1f} GB free.")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
