"""A noun as a small drawing for a notebook: from the left and from above, sites and marks on it.

Plain SVG with its colours inside, so that it needs no style sheet, no script and no graphics
driver; white behind it, whatever the theme of the notebook.
"""

from __future__ import annotations

from dataclasses import replace
from html import escape

import numpy as np

from headfit.anatomy.head import NECK, SCALP, Head
from headfit.anatomy.sites import Sites, place_sites
from headfit.case.solved import SolvedCase
from headfit.comparing.comparison import Comparison
from headfit.comparing.tolerance import judged
from headfit.fitting.fit import FittedHead
from headfit.output.case_view import CaseView
from headfit.output.comparison_scene import STATE_OF, comparison_arrows
from headfit.output.drawing import line_drawing
from headfit.output.scene import LINE_COLOURS, STATES, Scene, Surface, make_scene, scene_on

CAMERAS = ("left", "top")
WIDTH_PX = 240
_LOOKS = {
    "contour": 'stroke="#222" stroke-width="0.9"',
    "arc": f'stroke="{LINE_COLOURS["arcs"]}" stroke-width="0.6"',
    "move moved": f'stroke="{STATES["moved"].colour}" stroke-width="1.6"',
    "move": f'stroke="{LINE_COLOURS["moves"]}" stroke-width="1.6"',
    "region": f'stroke="{LINE_COLOURS["regions"]}" stroke-width="0.8"',
}

Drawable = Head | FittedHead | Sites | Comparison | SolvedCase


def small_drawing(noun: Drawable) -> str:
    """A figure of two drawings and one line of words."""
    scene = _scene(noun)
    drawings = "".join(inked(line_drawing(scene, camera)) for camera in CAMERAS)
    return f"<figure>{drawings}<figcaption>{escape(repr(noun))}</figcaption></figure>"


def inked(drawing: str) -> str:
    """A line drawing with the colours that a style sheet gives it elsewhere."""
    size = f'width="{WIDTH_PX}" height="{WIDTH_PX}" fill="none" stroke-linecap="round"'
    font = 'font-family="sans-serif" font-weight="600" font-size="6.5" style="background:#fff"'
    drawing = drawing.replace("<svg ", f"<svg {size} {font} ", 1)
    drawing = drawing.replace("<text ", '<text fill="#111" ')
    for kind, look in _LOOKS.items():
        drawing = drawing.replace(f'class="{kind}"', f'class="{kind}" {look}')
    return drawing


def _scene(noun: Drawable) -> Scene:
    if isinstance(noun, SolvedCase):
        return CaseView(noun).scene
    if isinstance(noun, Head | FittedHead):
        head = noun if isinstance(noun, Head) else noun.head
        return make_scene(head, place_sites(head, "10-20"))
    if isinstance(noun, Sites):
        return scene_on(_bare_scalp(noun), noun)
    sites = noun.targets.sites
    scene = scene_on(_bare_scalp(sites), sites)
    found = [
        replace(scene.site(d.site), state=STATE_OF[judged(d, noun.bands_mm)])
        for d in noun.deviations
        if d.site in sites
    ]
    return replace(scene.with_sites(found), arrows=comparison_arrows(noun))


def _bare_scalp(sites: Sites) -> Surface:
    """The skin that the arcs of the sites run on; the vertices below it count as neck."""
    mesh = sites.tracer.mesh
    part = np.full(len(mesh.vertices_mm), NECK)
    part[mesh.used_vertices] = SCALP
    return Surface(mesh.vertices_mm, mesh.faces, part)
