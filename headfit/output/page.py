"""A scene as the browser reads it: JSON with arrays in base64, little-endian. Millimetres.

The app sends it, the report carries it in its page; viewer/src/data.ts declares the same shape.
"""

from __future__ import annotations

import base64
import json
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from headfit.fitting.shape import shape_model
from headfit.geometry.mesh import Floats
from headfit.output.cameras import CAMERAS, VIEW_ANGLE_DEGREES
from headfit.output.scene import (
    HEAD_COLOUR,
    LAYERS,
    LINE_COLOURS,
    STATES,
    DrawnSite,
    Scene,
    Surface,
)

# Points of a curve nearer than this are left out: the eye sees no corner, the page stays small.
_CURVE_STEP_MM = 5.0


def packed(array: ArrayLike, kind: str = "<f4") -> str:
    """Base64 of an array as little-endian numbers of a NumPy kind.

    >>> packed([1.0])
    'AACAPw=='
    """
    return base64.b64encode(np.ascontiguousarray(array, dtype=kind).tobytes()).decode("ascii")


def legend() -> dict[str, Any]:
    """What every page must know: states, cameras, layers, colours."""
    return {
        "states": {name: asdict(state) for name, state in STATES.items()},
        "cameras": {name: asdict(camera) for name, camera in CAMERAS.items()},
        "layers": LAYERS,
        "view_angle_degrees": VIEW_ANGLE_DEGREES,
        "head_colour": HEAD_COLOUR,
        "line_colours": LINE_COLOURS,
    }


def head_data(head: Surface) -> dict[str, str]:
    """The skin. Corner numbers are uint32, since a scan may have more than 65,535 vertices."""
    return {
        "vertices_mm": packed(head.vertices_mm),
        "faces": packed(head.faces, "<u4"),
        "part": packed(head.part, "u1"),
    }


def model_data(age: str | float) -> dict[str, Any]:
    """The deformable head of an age: a page blends it itself and so follows a slider at once.

    A vertex is origin + (template - origin) * exp(scales) + sum over columns of mode * parameter,
    in the frame of the model; columns that move nothing are left out.
    """
    model = shape_model(age)
    moving = np.flatnonzero(np.abs(model.modes).max(axis=(0, 1)) > 0)
    head = model.template
    part = head.part if head.part is not None else np.zeros(len(head.vertices_mm))
    return {
        "age": age,
        "head": head_data(Surface(head.vertices_mm, head.faces, np.asarray(part))),
        "origin_mm": model.origin.tolist(),
        "columns": moving.tolist(),
        "modes": packed(model.modes.transpose(2, 0, 1)[moving]),
    }


def scene_data(scene: Scene) -> dict[str, Any]:
    """All of a scene but the skin."""
    return {
        "title": scene.title,
        "captions": list(scene.captions),
        "focus_mm": _point(scene.focus_mm),
        "height_mm": round(scene.height_mm, 2),
        "landmarks": [
            {"name": spot.name, "point_mm": _point(spot.point_mm)} for spot in scene.landmarks
        ],
        "arcs": [
            {
                "name": arc.name,
                "points_mm": packed(thinned(arc.points_mm)),
                "length_mm": round(arc.length_mm, 2),
                "taped": arc.taped,
                "words": arc.words,
            }
            for arc in scene.arcs
        ],
        "sites": [_site(site) for site in scene.sites],
        "ellipses": [
            {"site": ellipse.site, "outline_mm": packed(ellipse.outline_mm(28))}
            for ellipse in scene.ellipses
        ],
        "arrows": [
            {
                "site": arrow.site,
                "kind": arrow.kind,
                "start_mm": _point(arrow.start_mm),
                "end_mm": _point(arrow.end_mm),
                "words": arrow.words,
            }
            for arrow in scene.arrows
        ],
        "chains": [
            {
                "name": chain.name,
                "derivations": [
                    {
                        "first": each.first,
                        "second": each.second,
                        "path_mm": packed(thinned(each.path_mm)),
                        "length_mm": round(each.length_mm, 2),
                        "note": each.note,
                    }
                    for each in chain.derivations
                ],
            }
            for chain in scene.chains
        ],
        "regions": [
            {"name": region.name, "outline_mm": packed(region.outline_mm), "reason": region.reason}
            for region in scene.regions
        ],
    }


def script_text(data: object) -> str:
    r"""JSON that may stand inside a script tag: no text in it, a case label say, can end the tag.

    >>> script_text({"title": "</script>"})
    '{"title":"\\u003c/script>"}'
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")


def thinned(curve_mm: Floats) -> Floats:
    """(k, 3) a curve without the points that lie nearer than 5 mm to the last one that was kept."""
    kept = [0]
    for i in range(1, len(curve_mm) - 1):
        if np.linalg.norm(curve_mm[i] - curve_mm[kept[-1]]) >= _CURVE_STEP_MM:
            kept.append(i)
    return np.asarray(curve_mm[[*kept, len(curve_mm) - 1]])


def _site(site: DrawnSite) -> dict[str, Any]:
    return {
        "name": site.name,
        "label": site.label,
        "point_mm": _point(site.point_mm),
        "normal": [round(float(v), 4) for v in site.normal],
        "state": site.state,
        "rank": site.rank,
        "arc": site.arc,
        "start": site.start,
        "from_start_mm": _rounded(site.from_start_mm),
        "taped": site.taped,
        "sure_mm": _rounded(site.sure_mm),
        "deviation_mm": _rounded(site.deviation_mm),
        "note": site.note,
    }


def _point(point_mm: Floats) -> list[float]:
    return [round(float(v), 2) for v in point_mm]


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(float(value), 2)
