"""The picture: what it shows, the same bytes twice, and one sentence where nothing can draw."""

import io
import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from demo_case import demo_result
from PIL import Image

from headfit.errors import DrawingError, UnknownNameError
from headfit.output import driver as driver_module
from headfit.output.case_view import CaseView
from headfit.output.driver import Driver, find_driver
from headfit.output.labels import View
from headfit.output.picture import WORDS_SHARE, open_window, png_bytes
from headfit.output.scene import STATES, Scene

SIZE = (400, 300)


def scene() -> Scene:
    return CaseView(demo_result()).scene


@cache
def picture(view: str) -> bytes:
    return png_bytes(scene(), view, SIZE)


def pixels(view: str) -> np.ndarray:
    with Image.open(io.BytesIO(picture(view))) as image:
        assert image.format == "PNG"
        return np.asarray(image.convert("RGB")).astype(int)


def test_the_picture_has_the_size_that_was_asked_for_and_a_white_ground() -> None:
    found = pixels("left")
    assert found.shape == (300, 400, 3)
    assert (found[:3] == 255).all()
    assert 0.2 < (found < 250).any(axis=2).mean() < 0.8


def test_the_same_scene_gives_the_same_bytes_in_another_process() -> None:
    script = (
        "import hashlib, sys\n"
        "from test_picture import picture\n"
        "print(hashlib.sha256(picture('left')).hexdigest())"
    )
    here = Path(__file__)
    found = subprocess.run(
        [sys.executable, "-c", script],
        capture_output=True,
        text=True,
        check=True,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join(
                [str(here.parent), str(here.parents[1]), str(here.parents[2])]
            ),
        },
    )
    import hashlib

    assert found.stdout.strip() == hashlib.sha256(picture("left")).hexdigest()


def is_marker_colour(colour: np.ndarray) -> np.ndarray:
    """Blue as the markers are, lit or in shadow."""
    red, green, blue = np.moveaxis(colour, -1, 0)
    return (blue > 1.25 * green) & (green > 1.1 * red)


@pytest.mark.parametrize("view", ["left", "right", "front", "back", "top"])
def test_sites_on_the_near_side_are_drawn_where_they_are(view: str) -> None:
    assert STATES["planned"].colour == "#0b5cad"
    found = pixels(view)
    shown = scene()
    camera = View(*shown.camera(view), SIZE, WORDS_SHARE)
    eye = shown.camera(view)[0]
    n_checked = 0
    for site in shown.sites:
        sight = eye - site.point_mm
        facing = sight @ site.normal / np.linalg.norm(sight)
        if facing < 0.6 or site.arc == "" or site.name in ("T9", "T10"):
            continue  # near the contour or beside an ear
        x, y = camera.pixels(site.point_mm[None] + site.normal)[0]
        patch = found[299 - round(y) - 1 : 299 - round(y) + 2, round(x) - 1 : round(x) + 2]
        assert is_marker_colour(patch).any(), site.name
        n_checked += 1
    assert n_checked >= (7 if view == "front" else 8)  # level with the eyes, fewer face it


def test_views_differ() -> None:
    assert len({picture(view) for view in ("left", "right", "front", "back", "top")}) == 5


def test_an_unknown_view_is_refused_before_anything_is_drawn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("headfit.output.picture.prepare", lambda *_: pytest.fail("asked for"))
    with pytest.raises(UnknownNameError, match="unknown view 'lefft': did you mean 'left'"):
        png_bytes(scene(), "lefft", SIZE)
    with pytest.raises(UnknownNameError, match="unknown view 'lefft': did you mean 'left'"):
        open_window(scene(), "lefft")


@pytest.mark.parametrize("renderer", ["llvmpipe (LLVM 15)", "AMD Radeon"])
def test_the_window_turns_to_a_named_view_by_a_key(
    monkeypatch: pytest.MonkeyPatch, renderer: str
) -> None:
    picture("left")  # VTK is loaded for drawing without a screen, so that the window is unseen
    import pyvista

    seen: dict[str, Any] = {}

    def press_keys(plotter: pyvista.Plotter) -> None:
        window = plotter.render_window
        assert window is not None
        monkeypatch.setattr(
            window, "ReportCapabilities", lambda: f"OpenGL renderer string:  {renderer}"
        )
        window.Render()
        seen["at first"] = plotter.camera.position
        assert plotter.iren is not None
        for callback in plotter.iren._key_press_event_callbacks["F2"]:
            callback()
        seen["after F2"] = plotter.camera.position
        seen["smooth"] = bool(plotter.renderer.GetUseFXAA())
        props = plotter.renderer.GetViewProps()
        texts = [props.GetItemAsObject(i) for i in range(props.GetNumberOfItems())]
        seen["words"] = [prop.GetInput() for prop in texts if prop.IsA("vtkTextActor")]
        plotter.close()

    monkeypatch.setattr("headfit.output.picture.prepare", lambda *_: None)
    monkeypatch.setattr(pyvista.Plotter, "show", press_keys)
    open_window(scene(), "top")
    np.testing.assert_allclose(seen["at first"], scene().camera("top")[0])
    np.testing.assert_allclose(seen["after F2"], scene().camera("left")[0])
    assert seen["smooth"] == (renderer == "AMD Radeon")
    words = [" ".join(text.split()) for text in seen["words"]]
    assert any("Turn with the mouse; F1 front, F2 left" in text for text in words)
    assert scene().title in seen["words"]


def machine_without(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, answer: str) -> None:
    """Put another probe in the place of the real one."""
    script = tmp_path / "driver.py"
    script.with_name("gl_probe.py").write_text(answer)
    monkeypatch.setattr(driver_module, "__file__", str(script))
    monkeypatch.delenv("VTK_DEFAULT_OPENGL_WINDOW", raising=False)
    monkeypatch.setattr(sys, "platform", "linux")
    find_driver.cache_clear()


CRASHES = {
    "finds nothing": "print('{}')",
    "crashes as a driver does": "import os, signal\nos.kill(os.getpid(), signal.SIGSEGV)",
    "answers, then crashes": (
        'import os, signal\nprint(\'{"window": "vtkEGLRenderWindow", "renderer": "x"}\', '
        "flush=True)\nos.kill(os.getpid(), signal.SIGSEGV)"
    ),
    "says nonsense": "print('?')",
}


@pytest.mark.parametrize("probe", CRASHES)
def test_without_a_driver_the_packages_are_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, probe: str
) -> None:
    machine_without(tmp_path, monkeypatch, CRASHES[probe])
    try:
        with pytest.raises(DrawingError, match=r"apt-get install libegl1 libgl1-mesa-dri\); every"):
            png_bytes(scene(), "left", SIZE)
        with pytest.raises(DrawingError, match=r"no window can be opened here.*package libgl1"):
            open_window(scene())
    finally:
        find_driver.cache_clear()


def test_what_the_user_told_vtk_is_believed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("VTK_DEFAULT_OPENGL_WINDOW", "vtkOSOpenGLRenderWindow")
    find_driver.cache_clear()
    try:
        assert find_driver() == Driver("vtkOSOpenGLRenderWindow", "")
    finally:
        find_driver.cache_clear()


def test_elsewhere_than_on_linux_nobody_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(subprocess, "run", lambda *_, **__: pytest.fail("asked"))
    find_driver.cache_clear()
    try:
        assert find_driver("window") == Driver("", "")
    finally:
        find_driver.cache_clear()


def test_software_drivers_are_known_by_name() -> None:
    assert Driver("", "llvmpipe (LLVM 15.0.6, 256 bits)").in_software
    assert not Driver("", "AMD Radeon (radeonsi)").in_software


def test_the_probe_answers_without_the_package() -> None:
    probe = Path(driver_module.__file__).with_name("gl_probe.py")
    for where in ("off-screen", "window"):
        done = subprocess.run(
            [sys.executable, "-I", "-S", probe, where], capture_output=True, text=True, check=True
        )
        answer = json.loads(done.stdout)
        assert answer == {} or answer["window"].startswith("vtk")
