"""How picture and window look, at the size of a small screen and of a large one."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from demo_case import TEXT
from dirty_marks import dirty_marks
from looks import MOST_BLOCK, MOST_MEAN, assert_looks_as_stored, differences
from PIL import Image

from headfit.case.case import FreePlace
from headfit.case.solved import solve_case
from headfit.files.case_file import case_of_text
from headfit.files.marks_files import read_marks
from headfit.output.case_view import CaseView
from headfit.output.picture import open_window, png_bytes
from headfit.output.scene import Scene

SIZES = [(1280, 720), (1920, 1080)]
VIEWS = {(1280, 720): "left", (1920, 1080): "back"}


def name_of(size: tuple[int, int]) -> str:
    return f"{size[0]}x{size[1]}"


@cache
def easy() -> Scene:
    return CaseView(solve_case(case_of_text(TEXT, Path()))).scene


@pytest.fixture(scope="module")
def difficult(tmp_path_factory: pytest.TempPathFactory) -> Scene:
    """Marks two of which are exchanged, a place that must stay free, derivations, a set shape."""
    folder = tmp_path_factory.mktemp("difficult")
    (folder / "marks.tsv").write_text(dirty_marks(), encoding="utf-8")
    case = replace(
        case_of_text(TEXT, folder),
        derivations="longitudinal",
        marks=read_marks(folder / "marks.tsv"),
        free=(FreePlace(site="P3", radius_mm=18.0, reason="dressing"),),
        shape={"vault_2_m2": 1.0},
    )
    return CaseView(solve_case(case)).scene


@pytest.mark.parametrize("size", SIZES, ids=name_of)
def test_the_picture_of_an_easy_case(size: tuple[int, int]) -> None:
    assert_looks_as_stored(png_bytes(easy(), VIEWS[size], size), f"picture-{name_of(size)}")


def test_the_picture_of_a_difficult_case(difficult: Scene) -> None:
    assert len(difficult.arrows) >= 2
    assert_looks_as_stored(png_bytes(difficult, "left", (1280, 720)), "picture-difficult-1280x720")


def test_a_picture_without_its_marks_would_be_noticed(difficult: Scene) -> None:
    pictures = [
        Image.open(io.BytesIO(png_bytes(scene, "left", (1280, 720))))
        for scene in (difficult, replace(difficult, chains=(), arrows=(), regions=()))
    ]
    mean, worst = differences(*pictures)
    assert mean > MOST_MEAN or worst > MOST_BLOCK


@pytest.mark.parametrize("size", SIZES, ids=name_of)
def test_the_window(size: tuple[int, int], monkeypatch: pytest.MonkeyPatch) -> None:
    png_bytes(easy(), "left", (100, 100))  # VTK is loaded for drawing without a screen
    import pyvista
    from pyvista.plotting.utilities.regression import image_from_window

    taken: list[bytes] = []

    def show(plotter: pyvista.Plotter) -> None:
        window = plotter.render_window
        assert window is not None
        monkeypatch.setattr(window, "ReportCapabilities", lambda: "renderer string: llvmpipe")
        window.Render()
        out = io.BytesIO()
        Image.fromarray(image_from_window(window, ignore_alpha=True)).save(out, "PNG")
        taken.append(out.getvalue())
        plotter.close()

    monkeypatch.setattr("headfit.output.picture.prepare", lambda *_: None)
    monkeypatch.setattr(pyvista.Plotter, "show", show)
    open_window(easy(), VIEWS[size], size)
    (shot,) = taken
    assert_looks_as_stored(shot, f"window-{name_of(size)}")
