"""Where marks lie around their sites, on the flat map and on the head: means and ellipses.

On a template head, as long as the flat map makes lengths over the scalp: true across a ray, up to
a third shorter along it. The arrow points from the site to the mean place of its marks;
the ellipse holds the next person's mark with 95 % probability.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from headfit.anatomy.head import Head
from headfit.anatomy.sites import place_sites
from headfit.comparing.target_sites import targets_for
from headfit.geometry.mesh import Floats
from headfit.geometry.surface import nearest
from headfit.output.headmap import Circle, HeadMap, MapDrawing, Text
from headfit.output.scene import Arrow, Ellipse, Region, Scene, make_scene

_OUTLINE_POINTS = 40
_BANDS_MM = (5.0, 10.0)
_STATES = ("near", "off", "far")


@dataclass(frozen=True)
class SiteError:
    """How marks lie around one site, mm: mean along and across, and the ellipse.

    The angle is from along towards across to the longer axis, in degrees; without an ellipse its
    half axes are NaN.
    """

    site: str
    along_mm: float
    across_mm: float
    major_mm: float = float("nan")
    minor_mm: float = float("nan")
    angle_degrees: float = float("nan")


@dataclass(frozen=True, eq=False)
class _Placed:
    error: SiteError
    site_mm: Floats
    normal: Floats
    mean_mm: Floats
    major_mm: Floats
    minor_mm: Floats

    @property
    def has_ellipse(self) -> bool:
        return bool(np.isfinite(self.major_mm).all())

    def outline_mm(self) -> Floats:
        angle = np.linspace(0, 2 * np.pi, _OUTLINE_POINTS, endpoint=False)[:, None]
        return np.asarray(
            self.mean_mm + np.cos(angle) * self.major_mm + np.sin(angle) * self.minor_mm
        )


def _placed(head: Head, errors: Sequence[SiteError]) -> list[_Placed]:
    """Means and half axes as places and vectors on the head."""
    sites = place_sites(head, [error.site for error in errors])
    targets = targets_for(sites, tuple(error.site for error in errors))
    found = []
    for row, error in enumerate(errors):
        along, across = targets.along[row], targets.across[row]
        site = targets.points_mm[row]
        turn = np.radians(error.angle_degrees)
        major = np.cos(turn) * along + np.sin(turn) * across
        minor = np.cos(turn) * across - np.sin(turn) * along
        place, _ = nearest(
            sites.tracer.mesh, (site + error.along_mm * along + error.across_mm * across)[None]
        )
        mean = place.on(sites.tracer.mesh.vertices_mm)[0]
        found.append(
            _Placed(
                error,
                site,
                targets.normals[row],
                mean,
                error.major_mm * major,
                error.minor_mm * minor,
            )
        )
    return found


def error_map(
    head: Head, errors: Sequence[SiteError], width_mm: float = 165.0, height_mm: float = 180.0
) -> HeadMap:
    """The flat map, seen from above, nose up.

    Parameters
    ----------
    head : Head
    errors : sequence of SiteError
    width_mm, height_mm : float
    """
    drawing = MapDrawing(
        place_sites(head, [error.site for error in errors]), width_mm, height_mm, None
    )
    drawing.head()
    every = _placed(head, errors)
    for each in every:
        if each.has_ellipse:
            drawing.line(drawing.flat.places(each.outline_mm()), "ellipse", closed=True)
    for each in every:
        ends = drawing.flat.places(np.array([each.site_mm, each.mean_mm]))
        drawing.line(ends, "derivation")
        x, y = drawing.paper(ends[0])[0].tolist()
        drawing.shapes.append(Circle(x, y, 0.8, "hollow dot"))
        mean_x, mean_y = drawing.paper(ends[1])[0].tolist()
        drawing.shapes.append(Circle(mean_x, mean_y, 0.6, "dot"))
        # The name stands where the arrow does not go.
        drawing.shapes.append(
            Text(x, y + (2.6 if mean_y <= y else -2.6), each.error.site, 2.5, "small text")
        )
    return HeadMap(width_mm, height_mm, drawing.scale, tuple(drawing.shapes))


def error_scene(
    head: Head,
    errors: Sequence[SiteError],
    title: str,
    captions: Sequence[str] = (),
    *,
    drawn: bool = False,
) -> Scene:
    """The head with an arrow from the mean place of the marks to each site, and the ellipses.

    Parameters
    ----------
    head : Head
    errors : sequence of SiteError
    title : str
    captions : sequence of str
    drawn : bool
        For a line drawing, which knows outlines and no ellipses.
    """
    sites = place_sites(head, [error.site for error in errors])
    scene = make_scene(head, sites, title=title, captions=captions)
    every = _placed(head, errors)
    judged = []
    for each in every:
        size = float(np.hypot(each.error.along_mm, each.error.across_mm))
        state = _STATES[sum(size > limit for limit in _BANDS_MM)]
        judged.append(
            replace(
                scene.site(each.error.site),
                state=state,
                deviation_mm=size,
                note=f"marks lie {size:.1f} mm off on average",
            )
        )
    ellipses = [
        Ellipse(each.error.site, each.mean_mm, each.major_mm, each.minor_mm)
        for each in every
        if each.has_ellipse
    ]
    regions = [
        Region(each.site, each.outline_mm(_OUTLINE_POINTS), "95 % of people") for each in ellipses
    ]
    arrows = [
        Arrow(each.error.site, each.mean_mm, each.site_mm, "mean place of the marks to the site")
        for each in every
        if np.linalg.norm(each.mean_mm - each.site_mm) >= 1.0
    ]
    return replace(
        scene.with_sites(judged),
        arrows=tuple(arrows),
        ellipses=() if drawn else tuple(ellipses),
        regions=tuple(regions) if drawn else (),
        ellipse_words="the next person's mark lies inside with 95 % probability",
        arrow_words="the mean place of its marks",
    )
