"""Places on the scalp that must stay free: a wound, a shunt, a bone defect, a dressing, a device.

A disc round a place, or a polygon between places. A cup clears it when its middle lies farther off
than the clearance: half a cup. Millimetres, the frame of the head.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import SCALP_SITES, Sites, canonical_name, sites_on
from headfit.errors import InputError, sentence
from headfit.geometry.mesh import Floats, TriangleMesh, frozen
from headfit.geometry.surface import nearest, normals_at
from headfit.planning.scalp_paths import scalp_paths

# Half of a cup of 10 mm: common practice, no source.
CLEARANCE_MM = 5.0
LARGEST_RADIUS_MM = 150.0
# A point given by its coordinates may float this far off the skin, as landmarks may.
OFF_SCALP_MM = 10.0

_AT_SITE_MM = 4.0  # so near it is the site, to whoever looks

Where = str | Sequence[float]


@dataclass(frozen=True, eq=False)
class Disc:
    """All of the scalp within a radius of a place.

    The radius is taken straight through, which keeps a little more free than along the skin.

    Attributes
    ----------
    reason : str
        Such as "wound".
    centre_mm : (3,) float64
        On the scalp.
    radius_mm : float
    outline_mm : (k, 3) float64
        The closed outline on the skin, the first point not repeated.
    where : str
        For people, such as "15 mm around F3".
    clearance_mm : float
    """

    reason: str
    centre_mm: Floats
    radius_mm: float
    outline_mm: Floats
    where: str
    clearance_mm: float = CLEARANCE_MM

    @property
    def title(self) -> str:
        """Reason and place."""
        return f"{self.reason}, {self.where}"

    def covers(self, points_mm: Floats, clearance_mm: float | None = None) -> NDArray[np.bool_]:
        """(n,) whether a cup at each of the points (n, 3) would touch the place."""
        clearance = self.clearance_mm if clearance_mm is None else clearance_mm
        gap = np.linalg.norm(points_mm - self.centre_mm, axis=1)
        return np.asarray(gap < self.radius_mm + clearance)


@dataclass(frozen=True, eq=False)
class Polygon:
    """All of the scalp inside tapes laid from corner to corner.

    Attributes are those of `Disc`, with `corners_mm` (n, 3) for centre and radius. It lies on one
    side of the head: seen from `inside_mm` (3,), a place within the head, all of it is in front.
    """

    reason: str
    corners_mm: Floats
    inside_mm: Floats
    outline_mm: Floats
    where: str
    clearance_mm: float = CLEARANCE_MM

    @property
    def title(self) -> str:
        """Reason and place."""
        return f"{self.reason}, {self.where}"

    @cached_property
    def _picture(self) -> tuple[Floats, Floats]:
        """Axes (3, 3) of a picture plane, the last one the look, and the outline (k, 2) in it."""
        look = _unit(self.corners_mm - self.inside_mm).mean(axis=0)
        look = look / np.linalg.norm(look)
        across = np.cross(look, np.eye(3)[np.abs(look).argmin()])
        across = across / np.linalg.norm(across)
        axes = np.array([across, np.cross(look, across), look])
        seen = (self.outline_mm - self.inside_mm) @ axes.T
        return axes, seen[:, :2] / seen[:, 2:]

    def covers(self, points_mm: Floats, clearance_mm: float | None = None) -> NDArray[np.bool_]:
        """(n,) whether a cup at each of the points (n, 3) would touch the place."""
        clearance = self.clearance_mm if clearance_mm is None else clearance_mm
        axes, outline = self._picture
        seen = (np.asarray(points_mm) - self.inside_mm) @ axes.T
        in_front = seen[:, 2] > 1e-6
        flat = seen[:, :2] / np.where(in_front, seen[:, 2], 1.0)[:, None]
        inside = in_front & (_winding(flat, outline) != 0)
        start, end = self.outline_mm, np.roll(self.outline_mm, -1, axis=0)
        return np.asarray(inside | (_distance_to_pieces(points_mm, start, end) < clearance))


Obstacle = Disc | Polygon


def _unit(vectors: Floats) -> Floats:
    return np.asarray(vectors / np.linalg.norm(vectors, axis=-1, keepdims=True))


def _winding(points: Floats, outline: Floats) -> NDArray[np.int64]:
    """(n,) how often the outline (k, 2) turns round each point (n, 2); 0 is outside."""
    start, end = outline[None], np.roll(outline, -1, axis=0)[None]
    x, y = points[:, :1], points[:, 1:]
    side = (end[..., 0] - start[..., 0]) * (y - start[..., 1])
    side = side - (x - start[..., 0]) * (end[..., 1] - start[..., 1])
    upward = (start[..., 1] <= y) & (end[..., 1] > y) & (side > 0)
    downward = (start[..., 1] > y) & (end[..., 1] <= y) & (side < 0)
    return np.asarray(upward.sum(axis=1) - downward.sum(axis=1))


def _distance_to_pieces(points: Floats, start: Floats, end: Floats) -> Floats:
    """(n,) distance of each point (n, 3) from the nearest of k straight pieces."""
    span = end - start
    gap = points[:, None] - start
    length2 = np.maximum((span**2).sum(axis=1), 1e-18)
    along = np.clip(np.einsum("ijk,jk->ij", gap, span) / length2, 0.0, 1.0)
    return np.asarray(np.linalg.norm(gap - along[..., None] * span, axis=2).min(axis=1))


def disc(
    sites: Sites, where: Where, radius_mm: float, reason: str, clearance_mm: float = CLEARANCE_MM
) -> Disc:
    """A disc that must stay free.

    Parameters
    ----------
    sites : Sites
        Of the head; only its arcs are used, any declared site may be named.
    where : str or (3,) array_like
        A site, or a point in mm in the frame of the head, on or up to 10 mm off the scalp.
    radius_mm : float
        1 to 150.
    reason : str
    clearance_mm : float
        0 to 30.

    Raises
    ------
    InputError
        A value out of range, a point off the scalp.
    UnknownNameError
        No such site.

    >>> from headfit import load_template, place_sites
    >>> sites = place_sites(load_template())
    >>> wound = disc(sites, "F3", 15.0, "wound")
    >>> wound.title, [bool(x) for x in wound.covers(sites.points_mm[[3, 4]])], sites.names[3:5]
    ('wound, 15 mm around F3', [True, False], ('F3', 'Fz'))
    """
    what = _reason(reason)
    radius = _number(radius_mm, f"radius_mm of {what}", 1.0, LARGEST_RADIUS_MM)
    clearance = _number(clearance_mm, f"clearance_mm of {what}", 0.0, 30.0)
    (centre,), (name,) = _on_scalp(sites, [where], what)
    outline = _rim(sites.tracer.mesh, centre, radius)
    return Disc(what, frozen(centre), radius, outline, f"{radius:g} mm around {name}", clearance)


def polygon(
    sites: Sites, corners: Sequence[Where], reason: str, clearance_mm: float = CLEARANCE_MM
) -> Polygon:
    """A polygon that must stay free.

    Parameters
    ----------
    sites : Sites
    corners : sequence of str or (3,) array_like
        At least three sites or points, in order round the place.
    reason : str
    clearance_mm : float

    Raises
    ------
    InputError
        Fewer than three different corners, a point off the scalp, or a place that reaches round
        more than one side of the head.
    UnknownNameError
        No such site.
    """
    what = _reason(reason)
    clearance = _number(clearance_mm, f"clearance_mm of {what}", 0.0, 30.0)
    points, names = _on_scalp(sites, corners, what)
    following = np.roll(points, -1, axis=0)
    apart = np.linalg.norm(following - points, axis=1)
    if len(points) < 3 or apart.min() < 0.1:
        raise InputError(
            sentence(
                f"polygon of {what}",
                "have at least three different corners",
                ", ".join(names) or "none",
            ),
            code="free-corners",
        )
    pairs = list(zip(points, following, strict=True))
    paths = [run.curve.path_mm for run in scalp_paths(sites.tracer, pairs)]
    outline = frozen(np.concatenate([path[:-1] for path in paths]))
    inside = np.mean([sites.tracer.point(name) for name in LANDMARK_NAMES], axis=0)
    # The middle of the landmarks lies low; half way from there to the vertex is amid the head.
    inside = frozen((inside + sites.tracer.point("Cz")) / 2)
    look = _unit(_unit(points - inside).mean(axis=0))
    up = _unit(sites.tracer.point("Cz") - inside)
    # Corners all round the lower head would enclose the chin and neck instead of the crown.
    if (_unit(outline - inside) @ look).min() < 0.1 or look @ up < -0.6:
        raise InputError(
            sentence(
                f"polygon of {what}",
                "lie on one side of the head",
                "one that reaches round it",
                "give it as two places",
            ),
            code="free-round-head",
        )
    return Polygon(
        what,
        frozen(points),
        inside,
        outline,
        _corner_words(corners, names, sites, points),
        clearance,
    )


def _reason(reason: object) -> str:
    if not isinstance(reason, str) or not reason.strip() or len(reason) > 60:
        raise InputError(
            sentence(
                "reason of a place that must stay free",
                "be a short text such as wound or shunt",
                repr(reason),
            ),
            code="free-reason",
        )
    return " ".join(reason.split())


def _number(value: object, what: str, low: float, high: float) -> float:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    if not number or not low <= value <= high:  # type: ignore[operator]
        raise InputError(
            sentence(what, f"lie in {low:g} to {high:g} mm", repr(value)), code="free-range"
        )
    return float(value)  # type: ignore[arg-type]


def _on_scalp(sites: Sites, wanted: Sequence[Where], what: str) -> tuple[Floats, list[str]]:
    """Places (n, 3) on the scalp, and what to call each."""
    points, names = np.empty((len(wanted), 3)), []
    for row, place in enumerate(wanted):
        if isinstance(place, str):
            name = canonical_name(place)
            points[row] = sites_on(sites.tracer, (name,), sites.system).points_mm[0]
            names.append(name)
            continue
        try:
            point = np.array(place, dtype=np.float64)
        except (TypeError, ValueError):
            point = np.empty(0)
        if point.shape != (3,) or not np.isfinite(point).all():
            raise InputError(
                sentence(
                    f"place of {what}", "be a site or three finite numbers in mm", repr(place)
                ),
                code="free-point",
            )
        foot, off = nearest(sites.tracer.mesh, point[None])
        if off[0] > OFF_SCALP_MM:
            raise InputError(
                sentence(
                    f"place of {what}",
                    f"lie within {OFF_SCALP_MM:g} mm of the scalp",
                    f"{off[0]:.0f} mm off it",
                    "are these millimetres in the head frame?",
                ),
                code="free-off-scalp",
            )
        points[row] = foot.on(sites.tracer.mesh.vertices_mm)[0]
        names.append(_whereabouts(sites, points[row]))
    return points, names


def _corner_words(corners: Sequence[Where], names: list[str], sites: Sites, points: Floats) -> str:
    """Between which sites an outline lies, or near which when it was drawn freely."""
    if all(isinstance(corner, str) for corner in corners):
        return f"between {', '.join(names)}"
    around = sites_on(sites.tracer, SCALP_SITES, "10-20")
    away = np.linalg.norm(points[:, None] - around.points_mm, axis=2)
    near = dict.fromkeys(around.names[row] for row in away.argmin(axis=1).tolist())
    return f"outlined near {', '.join(near)}"


def _whereabouts(sites: Sites, point: Floats) -> str:
    """Where a place of the scalp is, by the sites of 10-20 that lie nearest."""
    around = sites_on(sites.tracer, SCALP_SITES, "10-20")
    away = np.linalg.norm(around.points_mm - point, axis=1)
    first, second = np.argsort(away, kind="stable")[:2].tolist()
    if away[first] < _AT_SITE_MM:
        return str(around.names[first])
    # From the midline outwards, as sites are read: z, 1, 2, 3 ...
    inner, outer = sorted(
        (around.names[first], around.names[second]), key=lambda n: (n[-1] != "z", n[-1])
    )
    return f"a place between {inner} and {outer}"


def _rim(mesh: TriangleMesh, centre: Floats, radius_mm: float) -> Floats:
    """(k, 3) where the sphere round a place meets the skin, in order round the place."""
    height = np.linalg.norm(mesh.vertices_mm - centre, axis=1) - radius_mm
    ends = np.concatenate([mesh.faces[:, [k, (k + 1) % 3]] for k in range(3)])
    ends = np.unique(np.sort(ends, axis=1), axis=0)
    ends = ends[(height[ends[:, 0]] > 0) != (height[ends[:, 1]] > 0)]
    share = height[ends[:, 0]] / (height[ends[:, 0]] - height[ends[:, 1]])
    begin, finish = (mesh.vertices_mm[ends[:, k]] for k in range(2))
    points = begin + share[:, None] * (finish - begin)
    normal = normals_at(mesh, nearest(mesh, centre[None])[0])[0]
    across = np.cross(normal, np.eye(3)[np.abs(normal).argmin()])
    across = across / np.linalg.norm(across)
    gap = points - centre
    angle = np.arctan2(gap @ np.cross(normal, across), gap @ across)
    if len(points) < 12:
        # So small a disc crosses too few edges of the mesh; a flat circle is as accurate.
        turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)[:, None]
        circle = centre + radius_mm * (
            np.cos(turn) * across + np.sin(turn) * np.cross(normal, across)
        )
        return frozen(circle)
    return frozen(points[np.argsort(angle, kind="stable")])
