"""The question after OpenGL: what is answered where libraries are missing or refuse."""

import json
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest

from headfit.output import gl_probe

Libraries = Callable[..., Any]


def only(*present: str) -> Libraries:
    """A machine with these libraries alone; each is a mere name."""
    return lambda *names: next((name for name in names if name in present), None)


def test_here_it_finds_a_driver_and_a_process_of_its_own_finds_the_same() -> None:
    found = gl_probe.probe("off-screen")
    assert found["renderer"]
    done = subprocess.run(
        [sys.executable, "-I", "-S", gl_probe.__file__, "off-screen"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert json.loads(done.stdout) == found


def test_a_library_that_is_not_there_is_none() -> None:
    assert gl_probe._library("libno-such-thing.so.9") is None
    assert gl_probe._library("libno-such-thing.so.9", "libc.so.6") is not None


def test_without_libraries_nothing_draws(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gl_probe, "_library", only())
    assert gl_probe.probe("off-screen") == {}
    assert gl_probe.probe("window") == {}


def test_osmesa_serves_where_egl_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gl_probe, "_library", only("libEGL.so.1", "libOSMesa.so.6"))
    monkeypatch.setattr(gl_probe, "_egl_renderer", lambda _: None)
    assert gl_probe.probe("off-screen")["window"] == "vtkOSOpenGLRenderWindow"
    monkeypatch.setattr(gl_probe, "_library", only("libEGL.so.1"))
    assert gl_probe.probe("off-screen") == {}


@pytest.mark.parametrize(("display", "expected"), [(0, {}), (1, {"window", "renderer"})])
def test_a_window_needs_a_display_that_opens(
    monkeypatch: pytest.MonkeyPatch, display: int, expected: set[str]
) -> None:
    class X11:
        XOpenDisplay = staticmethod(lambda _: display)

    monkeypatch.setattr(
        gl_probe, "_library", lambda name: X11() if name == "libX11.so.6" else object()
    )
    assert set(gl_probe.probe("window")) == set(expected)


REFUSALS = ["eglInitialize", "eglBindAPI", "eglChooseConfig", "eglMakeCurrent", "eglGetProcAddress"]


@pytest.mark.parametrize("refuses", REFUSALS)
def test_a_driver_that_refuses_is_no_driver(refuses: str) -> None:
    class Function:
        restype: object = None
        argtypes: object = None

        def __init__(self, name: str) -> None:
            self.name = name

        def __call__(self, *arguments: Any) -> int:
            if self.name == "eglChooseConfig" and refuses != self.name:
                arguments[4]._obj.value = 1
            return 0 if self.name in (refuses, "eglGetProcAddress") else 1

    class Egl:
        def __init__(self) -> None:
            self.functions: dict[str, Function] = {}

        def __getattr__(self, name: str) -> Function:
            return self.functions.setdefault(name, Function(name))

    assert gl_probe._egl_renderer(Egl()) is None  # type: ignore[arg-type]
