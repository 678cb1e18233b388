"""The graphics driver of this machine, asked for before VTK is imported."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Literal

from headfit.errors import DrawingError

# VTK reads this when it is imported.
_WINDOW_CLASS = "VTK_DEFAULT_OPENGL_WINDOW"
_PROBE_SECONDS = 30.0
_SOFTWARE = ("llvmpipe", "softpipe", "swrast", "software rasterizer", "osmesa", "microsoft basic")

Where = Literal["off-screen", "window"]


@dataclass(frozen=True)
class Driver:
    """A way to draw.

    Attributes
    ----------
    window : str
        The VTK class that uses it; empty where VTK needs no telling.
    renderer : str
        As the driver calls itself; empty when nobody asked.
    """

    window: str
    renderer: str

    @property
    def in_software(self) -> bool:
        """Whether the processor draws, which makes antialiasing cost 2.7 times as much."""
        return any(name in self.renderer.casefold() for name in _SOFTWARE)


@cache
def find_driver(where: Where = "off-screen") -> Driver:
    """The driver for pictures without a screen, or for a window.

    Raises
    ------
    DrawingError
        There is none; the sentence says what to install.
    """
    if sys.platform != "linux":  # there VTK brings or finds what it needs
        return Driver("", "")
    if where == "off-screen" and os.environ.get(_WINDOW_CLASS):
        return Driver(os.environ[_WINDOW_CLASS], "")
    script = Path(__file__).with_name("gl_probe.py")
    try:
        done = subprocess.run(
            [sys.executable, "-I", "-S", str(script), where],
            check=False,
            capture_output=True,
            stdin=subprocess.DEVNULL,
            timeout=_PROBE_SECONDS,
            env={**os.environ, "EGL_LOG_LEVEL": "fatal"},
        )
        found = json.loads(done.stdout) if done.returncode == 0 else {}
    except (OSError, subprocess.SubprocessError, ValueError):
        found = {}
    if found:
        return Driver(found["window"], found["renderer"])
    if where == "window":
        raise DrawingError(
            "no window can be opened here: there is no display, or no OpenGL library for it (draw "
            "to a file with `headfit picture`, or install the package libgl1)",
            code="no-display",
        )
    raise DrawingError(
        "no picture can be drawn here: there is no OpenGL driver (on Debian or Ubuntu: apt-get "
        "install libegl1 libgl1-mesa-dri); everything else works without it",
        code="no-driver",
    )


def prepare(where: Where = "off-screen") -> Driver:
    """Tell VTK which window class to use; call it before the first import of pyvista.

    Raises
    ------
    DrawingError
        As `find_driver`.
    """
    driver = find_driver(where)
    if where == "off-screen" and driver.window:
        os.environ[_WINDOW_CLASS] = driver.window
    return driver
