"""A scene as a PNG or in a desktop window, drawn by PyVista.

The same scene, view, size and driver give the same bytes. Without a graphics driver a
`DrawingError` names the packages that bring one; it is asked for before VTK is imported, which
would crash.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any

import numpy as np

from headfit.anatomy.head import CAP
from headfit.case.solved import SolvedCase
from headfit.errors import DrawingError
from headfit.files.formats import check_ending
from headfit.files.whole import write_whole
from headfit.geometry.mesh import Floats, TriangleMesh
from headfit.output.cameras import CAMERAS, VIEW_ANGLE_DEGREES, edge_words, levelled
from headfit.output.case_view import CaseView
from headfit.output.driver import Driver, prepare
from headfit.output.labels import (
    TITLE_SHARE,
    TITLE_STEP,
    View,
    marker_mm,
    named,
    place_names,
    size_of,
    title_lines,
)
from headfit.output.lesson_scene import step_scene
from headfit.output.scene import HEAD_COLOUR, LINE_COLOURS, STATES, Scene
from headfit.teaching.stage import StagedStep

_INK = "#1b1b1b"
_FONT_FILE = 4  # VTK_FONT_FILE of vtkTextProperty.h, which Python is not told
WORDS_SHARE = 0.27  # of the width of the picture, left of the head
_LETTER_WIDTH = 0.58  # of the size of the letters, in running text
# A picture is drawn this many times as large and averaged: smooth edges without the antialiasing of
# the driver, which differs from driver to driver.
_OVERSAMPLING = 2
# Where the words of an edge stand, as shares of the picture.
_EDGES = {"left": (0.0, 0.6), "right": (1.0, 0.6), "top": (0.64, 1.0), "near": (1.0, 1.0)}
_EAR_MM = 22.0  # an ear stands off the head by less
# Function keys, because letters and digits mean something to VTK already.
_KEYS = {f"F{i}": name for i, name in enumerate(CAMERAS, start=1)}


def png_bytes(scene: Scene, view: str = "left", size: tuple[int, int] = (1600, 1200)) -> bytes:
    """A PNG of the scene.

    Parameters
    ----------
    scene : Scene
    view : str
        Name of a camera of the scene.
    size : (width, height)
        In pixels.

    Raises
    ------
    UnknownNameError
        No such view.
    DrawingError
        No graphics driver on this machine, or a library that draws is missing.
    """
    scene.camera(view)  # complains about its name before anything slow
    prepare()
    load_libraries("vtkmodules.vtkRenderingCore", "pyvista")
    from PIL import Image

    large = (_OVERSAMPLING * size[0], _OVERSAMPLING * size[1])
    plotter = _plotter(scene, view, large, off_screen=True)
    try:
        image = np.asarray(plotter.screenshot(return_img=True))
    finally:
        plotter.close()
    blocks = image.reshape(size[1], _OVERSAMPLING, size[0], _OVERSAMPLING, 3)
    mean = np.rint(blocks.mean(axis=(1, 3), dtype=np.float64)).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(mean).save(out, "PNG")
    return out.getvalue()


def write_picture(
    solved: SolvedCase, path: str | Path, view: str = "left", size: tuple[int, int] = (1600, 1200)
) -> Path:
    """The path, after the picture of a solved case stands there as a PNG.

    Parameters
    ----------
    solved : SolvedCase
    path : path
    view : str
        A name of `headfit.output.scene.CAMERAS`.
    size : (int, int)
        Width and height in pixels.

    Raises
    ------
    UnknownNameError
        No such view.
    DrawingError
        This machine cannot draw.
    InputError
        The name does not end in .png, or the file cannot be written.
    """
    check_ending("the picture", path, ".png")
    return write_whole(path, png_bytes(CaseView(solved).scene, view, size))


def load_libraries(*names: str) -> None:
    """Import what draws, so that one sentence tells what is missing: tables need none of it.

    Raises
    ------
    DrawingError
        A library is not installed, or lacks a part of the system.
    """
    for name in names:
        try:
            import_module(name)
        except ImportError as error:
            reason = " ".join(str(error).split())
            raise DrawingError(
                f"no picture can be drawn here: {name.partition('.')[0]} cannot be loaded "
                f"({reason}); install headfit again, or do without: everything else works",
                code="no-drawing-library",
                library=name,
            ) from error


def open_window(scene: Scene, view: str = "left", size: tuple[int, int] = (1200, 900)) -> None:
    """Show the scene in a window; returns when it is closed.

    Raises
    ------
    UnknownNameError
        No such view.
    DrawingError
        No display, no OpenGL for it, or a library that draws is missing.
    """
    scene.camera(view)
    prepare("window")
    load_libraries("vtkmodules.vtkRenderingCore", "pyvista")
    plotter = _plotter(scene, view, size, off_screen=False)
    for key, name in _KEYS.items():
        plotter.add_key_event(key, lambda name=name: _look(plotter, scene, name))
    plotter.iren.add_observer("InteractionEvent", lambda *_: keep_level(plotter.camera))
    plotter.renderer.AddObserver("EndEvent", _smooth_where_it_is_cheap(plotter))
    plotter.show()


def keep_level(camera: Any) -> None:
    """Keep the horizon of a camera that is turned by hand, and the nose up."""
    focus = np.array(camera.focal_point)
    toward = np.array(levelled(np.array(camera.position) - focus))
    camera.position = tuple(focus + toward)
    above = float(np.hypot(toward[0], toward[1])) < 0.05 * float(np.linalg.norm(toward))
    camera.up = (0.0, 1.0, 0.0) if above else (0.0, 0.0, 1.0)


def _smooth_where_it_is_cheap(plotter: Any) -> Callable[..., None]:
    """After the first frame the driver can be asked for its name."""
    asked = False

    def ask(*_: object) -> None:
        nonlocal asked
        if asked:
            return
        asked = True
        lines = plotter.render_window.ReportCapabilities().splitlines()
        renderer = next((line for line in lines if "renderer string" in line), "")
        if not Driver("", renderer).in_software:
            plotter.renderer.SetUseFXAA(True)

    return ask


def _plotter(scene: Scene, view: str, size: tuple[int, int], *, off_screen: bool) -> Any:
    import pyvista

    plotter: Any = pyvista.Plotter(
        off_screen=off_screen, window_size=list(size), title="headfit", lighting="none"
    )
    plotter.set_background("white")
    # In software antialiasing takes three times as long; a picture is averaged instead.
    plotter.disable_anti_aliasing()
    _add_lights(plotter)
    _add_head(plotter, scene)
    _add_lines(plotter, scene)
    _add_sites(plotter, scene)
    _look(plotter, scene, view)
    if off_screen:
        title = CAMERAS[view].title
        how = f"Seen from the {title}." if CAMERAS[view].focus == "head" else f"At the {title}."
    else:
        keys = ", ".join(f"{key} {CAMERAS[name].title}" for key, name in _KEYS.items())
        how = f"Turn with the mouse; {keys}."
    _write_words(plotter, scene, how, letter_px=size[1] / 52)
    return plotter


def step_to_pyvista(step: StagedStep) -> Any:
    """A `pyvista.Plotter` of a step of a lesson as it begins, seen from its camera.

    Raises
    ------
    DrawingError
        No graphics driver on this machine, or a library that draws is missing.
    """
    prepare()
    load_libraries("vtkmodules.vtkRenderingCore", "pyvista")
    plotter = _plotter(step_scene(step), "left", (1600, 1200), off_screen=True)
    distance = step.height_mm / 2 / np.tan(np.radians(VIEW_ANGLE_DEGREES / 2))
    place = step.focus_mm + distance * step.toward
    plotter.camera_position = [tuple(place), tuple(step.focus_mm), (0.0, 0.0, 1.0)]
    plotter.camera.view_angle = VIEW_ANGLE_DEGREES
    plotter.reset_camera_clipping_range()
    return plotter


def _look(plotter: Any, scene: Scene, view: str) -> None:
    plotter.camera_position = [tuple(part) for part in scene.camera(view)]
    plotter.camera.view_angle = VIEW_ANGLE_DEGREES
    plotter.camera.SetWindowCenter(-WORDS_SHARE, 0.0)  # the words stand beside the head, not on it
    plotter.reset_camera_clipping_range()
    plotter.render()


def _add_lights(plotter: Any) -> None:
    """A main light over the left shoulder of the viewer, a weak one from the right and below."""
    import pyvista

    for place, strength in (((-0.4, 0.6, 1.0), 0.80), ((0.8, -0.3, 0.6), 0.25)):
        plotter.add_light(
            pyvista.Light(position=place, light_type="camera light", intensity=strength)
        )


def _add_head(plotter: Any, scene: Scene) -> None:
    import pyvista

    # Without the lid of the neck, whose normals would fray the shading of the rim.
    part = scene.head.part[scene.head.faces]
    mesh = TriangleMesh(scene.head.vertices_mm, scene.head.faces[(part != CAP).all(axis=1)])
    skin = pyvista.PolyData.from_regular_faces(mesh.vertices_mm, mesh.faces.tolist())
    skin.point_data.active_normals = mesh.vertex_normals
    plotter.add_mesh(
        skin,
        color=HEAD_COLOUR,
        smooth_shading=True,
        ambient=0.25,
        diffuse=0.85,
        specular=0.08,
        pickable=False,
    )


def _over_the_head(start_mm: Floats, end_mm: Floats, focus_mm: Floats) -> Floats:
    """A curve outside the head between two places on it; the chord would go through."""
    share = np.linspace(0.0, 1.0, 25)[:, None]
    chord = (1 - share) * (start_mm - focus_mm) + share * (end_mm - focus_mm)
    size = (1 - share) * np.linalg.norm(start_mm - focus_mm)
    size = size + share * np.linalg.norm(end_mm - focus_mm)
    height = 1.0 + 0.12 * np.linalg.norm(end_mm - start_mm) * np.sin(np.pi * share)
    way = chord / np.linalg.norm(chord, axis=1, keepdims=True)
    return np.asarray(focus_mm + (size + height) * way)


def _tube(points_mm: Floats, radius_mm: float, *, closed: bool = False) -> Any:
    import pyvista

    line = pyvista.lines_from_points(np.asarray(points_mm, dtype=np.float64), close=closed)
    return line.tube(radius=radius_mm, n_sides=8)


def _tip(move_mm: Floats, size: float) -> Any:
    """The head of an arrow, before the site to which it points."""
    import pyvista

    way = move_mm[-1] - move_mm[-3]
    length = min(6.0 * size, 0.5 * float(np.linalg.norm(np.diff(move_mm, axis=0), axis=1).sum()))
    way = way / np.linalg.norm(way)
    middle = move_mm[-1] - (2.0 * size + length / 2) * way
    return pyvista.Cone(
        center=middle, direction=way, height=length, radius=0.45 * length, resolution=20
    )


def _joined(parts: list[Any]) -> Any:
    import pyvista

    return pyvista.merge(parts) if len(parts) > 1 else parts[0]


def _add_all(plotter: Any, parts: list[Any], colour: str, **look: Any) -> None:
    if parts:
        plotter.add_mesh(_joined(parts), color=colour, pickable=False, **look)


def _add_lines(plotter: Any, scene: Scene) -> None:
    size = size_of(scene)
    arcs = [
        _tube(arc.points_mm, (0.35 if arc.name.startswith("row") else 0.60) * size)
        for arc in scene.arcs
    ]
    _add_all(plotter, arcs, LINE_COLOURS["arcs"])
    _add_seen_through(plotter, arcs, LINE_COLOURS["arcs"])
    rims = [_tube(region.outline_mm, 1.0 * size, closed=True) for region in scene.regions]
    _add_all(plotter, rims, LINE_COLOURS["regions"])
    pairs = [pair for chain in scene.chains for pair in chain.derivations]
    _add_all(plotter, [_tube(pair.path_mm, 0.9 * size) for pair in pairs], LINE_COLOURS["chains"])
    for kind, colour in (("mark", LINE_COLOURS["moves"]), ("moved", STATES["moved"].colour)):
        moves = [
            _over_the_head(a.start_mm, a.end_mm, scene.focus_mm)
            for a in scene.arrows
            if a.kind == kind
        ]
        tips = [_tip(move, size) for move in moves]
        _add_all(plotter, [*(_tube(move, 0.9 * size) for move in moves), *tips], colour)


def _add_seen_through(plotter: Any, parts: list[Any], colour: str) -> None:
    """What an ear or a fold of skin hides is drawn pale: the same tubes, nearer to the camera.

    Drawn towards the eye by less than a head is thick, they pass over an ear and not over the head.
    """
    if not parts:
        return
    actor = plotter.add_mesh(_joined(parts), color=colour, opacity=0.45, pickable=False)

    def nearer(*_: object) -> None:
        eye = np.array(plotter.camera.position)
        share = 1.0 - _EAR_MM / float(np.linalg.norm(eye - np.array(plotter.camera.focal_point)))
        actor.user_matrix = np.vstack(
            [np.column_stack([share * np.eye(3), (1.0 - share) * eye]), [0.0, 0.0, 0.0, 1.0]]
        )

    plotter.renderer.AddObserver("StartEvent", nearer)


def _add_sites(plotter: Any, scene: Scene) -> None:
    import pyvista

    size = size_of(scene)
    # Rings of 10-5 would lie over each other like chain mail.
    lift = {site.name: 0.8 * site.normal for site in scene.sites if site.rank < 2}
    rings = [
        _tube(ellipse.outline_mm() + lift[ellipse.site], 0.28 * size, closed=True)
        for ellipse in scene.ellipses
        if ellipse.site in lift
    ]
    _add_all(plotter, rings, LINE_COLOURS["uncertainty"])
    bodies = {
        "ball": pyvista.Sphere(radius=1.0, theta_resolution=24, phi_resolution=16),
        "box": pyvista.Cube(x_length=1.75, y_length=1.75, z_length=1.75),
        "octahedron": pyvista.Octahedron(radius=1.4),
        "cone": pyvista.Cone(direction=(0, 0, 1), height=2.5, radius=1.15, resolution=24),
    }
    for name, state in STATES.items():
        sites = [site for site in scene.sites if site.state == name]
        if sites:
            cloud = pyvista.PolyData(np.array([site.point_mm for site in sites]))
            cloud["radius"] = [marker_mm(scene, site) for site in sites]
            marks = cloud.glyph(geom=bodies[state.body], scale="radius", orient=False)
            plotter.add_mesh(marks, color=state.colour, smooth_shading=True, pickable=False)
    corners = np.array([spot.point_mm for spot in scene.landmarks])
    if len(corners):
        small = pyvista.Sphere(radius=1.7 * size, theta_resolution=20, phi_resolution=12)
        marks = pyvista.PolyData(corners).glyph(geom=small, scale=False, orient=False)
        plotter.add_mesh(marks, color=_INK, smooth_shading=True, pickable=False)


def _key(scene: Scene) -> list[str]:
    """What the marks mean, of those that are there."""
    present = {site.state for site in scene.sites}
    said = [
        f"{state.sign} {state.words}."
        for name, state in STATES.items()
        if name in present and name != "planned"
    ]
    if scene.ellipses:
        said.insert(0, f"Ring: {scene.ellipse_words}.")
    kinds = {arrow.kind for arrow in scene.arrows}
    if "mark" in kinds:
        said.append(f"Red arrow to a site: {scene.arrow_words}.")
    if "moved" in kinds:
        said.append("Purple arrow: from the own place of a site to where it was moved.")
    if scene.chains:
        said.append("Thick lines: derivations.")
    if scene.regions:
        said.append("Closed outline: must stay free.")
    return said


def _write_words(plotter: Any, scene: Scene, how: str, letter_px: float) -> None:
    """Names that follow the camera, the title above and the captions below."""
    from vtkmodules.vtkRenderingCore import vtkTextActor

    fonts = Path(__file__).parent / "fonts"

    def text(words: str, px: float, *, bold: bool) -> Any:
        actor = vtkTextActor()
        actor.SetInput(words)
        style = actor.GetTextProperty()
        style.SetFontFamily(_FONT_FILE)
        style.SetFontFile(str(fonts / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")))
        style.SetFontSize(round(px))
        style.SetColor(0.07, 0.07, 0.07)
        return actor

    names = {site.name: text(named(site), letter_px, bold=True) for site in scene.sites}
    for actor in names.values():
        actor.SetVisibility(False)
        actor.GetTextProperty().SetBackgroundColor(1.0, 1.0, 1.0)
        actor.GetTextProperty().SetBackgroundOpacity(0.6)
        plotter.renderer.AddActor(actor)
    width_px = plotter.render_window.GetSize()[0]
    headline = title_lines(scene.title, width_px, letter_px)
    title = text("\n".join(headline), TITLE_SHARE * letter_px, bold=True)
    title.GetTextProperty().SetLineSpacing(TITLE_STEP / TITLE_SHARE)
    title_low_px = (2.4 + (len(headline) - 1) * TITLE_STEP) * letter_px
    said = [how, *_key(scene), *scene.captions]
    n_letters = round(WORDS_SHARE * width_px / (0.85 * letter_px * _LETTER_WIDTH))
    lines = [line for words in said for line in textwrap.wrap(words, n_letters)]
    captions = text("\n".join(lines), 0.85 * letter_px, bold=False)
    captions.GetTextProperty().SetLineSpacing(1.25)
    captions.GetTextProperty().SetBackgroundColor(1.0, 1.0, 1.0)
    captions.GetTextProperty().SetBackgroundOpacity(0.75)
    edges = {place: text(" ", 1.2 * letter_px, bold=True) for place in _EDGES}
    for actor in edges.values():
        plotter.renderer.AddActor(actor)
    plotter.renderer.AddActor(title)
    plotter.renderer.AddActor(captions)

    def arrange(*_: object) -> None:
        """Put every word in its place for the camera as it is now."""
        size = plotter.render_window.GetSize()
        camera = plotter.camera
        now = View(
            np.array(camera.position),
            np.array(camera.focal_point),
            np.array(camera.up),
            size,
            WORDS_SHARE,
        )
        placed = {name.name: name for name in place_names(scene, now, letter_px)}
        for name, actor in names.items():
            actor.SetVisibility(name in placed)
            if name in placed:
                actor.SetDisplayPosition(round(placed[name].x), round(placed[name].y))
        title.SetDisplayPosition(round(letter_px), round(size[1] - title_low_px))
        captions.SetDisplayPosition(round(letter_px), round(letter_px))
        words = edge_words(*now.axes)
        for place, actor in edges.items():
            actor.SetInput(getattr(words, place) or " ")
            box = [0.0] * 4
            actor.GetBoundingBox(plotter.renderer, box)
            x, y = _EDGES[place]
            actor.SetDisplayPosition(
                round(letter_px + x * (size[0] - 2 * letter_px - box[1])),
                round(letter_px + y * (size[1] - 3.4 * letter_px)),
            )

    plotter.renderer.AddObserver("StartEvent", arrange)
