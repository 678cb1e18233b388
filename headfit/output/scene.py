"""What to draw, as plain data: the head, arcs, sites, uncertainty, moves, chains and free places.

No drawing library and no browser in here; picture, window, report and app all show one `Scene`.
Millimetres, in the frame of the head that is drawn: the head frame (+x right, +y nasion, +z up).
Nothing is told by colour alone: each `State` has a colour, a body, a sign and words.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from headfit.anatomy.arcs import ARCS
from headfit.anatomy.head import NECK, SCALP, Head
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import TITLES as LANDMARK_TITLES
from headfit.anatomy.sites import SYSTEMS, Sites, is_beside_ear
from headfit.errors import unknown_name
from headfit.geometry.mesh import Floats, Integers
from headfit.output.cameras import CAMERAS, VIEW_ANGLE_DEGREES
from headfit.reminders import NOT_MEDICAL, PREDICTED


@dataclass(frozen=True)
class State:
    """How a site stands: words for a person, a sign for a table, colour and body for the head.

    Attributes
    ----------
    words : str
    sign : str
        One character, told apart without colour.
    body : {"ball", "box", "octahedron", "cone"}
        Marker on the head.
    colour : str
        "#rrggbb", at least 3:1 against `HEAD_COLOUR`.
    """

    words: str
    sign: str
    body: str
    colour: str


STATES: dict[str, State] = {
    "planned": State("to be marked here", "•", "ball", "#0b5cad"),
    "near": State("marked within tolerance", "✓", "ball", "#00785a"),
    "unsure": State("cannot be told: the site is not sure enough", "?", "octahedron", "#5d5470"),
    "off": State("marked a little off", "!", "octahedron", "#8f5200"),
    "far": State("marked far off", "‼", "box", "#b3261e"),
    "moved": State("moved to keep a place free", "→", "ball", "#6f358c"),
    "blocked": State("lies in a place that must stay free", "×", "box", "#1b1b1b"),
}
HEAD_COLOUR = "#e8ded3"
LINE_COLOURS: dict[str, str] = {
    "arcs": "#4a6378",
    "uncertainty": "#7a5200",
    "moves": STATES["far"].colour,
    "chains": "#16324f",
    "regions": "#7a1f1f",
}


LAYERS: dict[str, str] = {
    "head": "head",
    "sites": "sites",
    "labels": "names",
    "arcs": "arcs",
    "uncertainty": "how sure (95 %)",
    "moves": "moves",
    "chains": "derivations",
    "regions": "places to keep free",
}


@dataclass(frozen=True, eq=False)
class Surface:
    """The skin: vertices (n, 3) in mm, faces (m, 3), part (n,) as in `anatomy.head.PART_NAMES`."""

    vertices_mm: Floats
    faces: Integers
    part: Integers


@dataclass(frozen=True, eq=False)
class Line:
    """A named curve (k, 3) on the skin, with its tape length.

    `taped` tells whether the length is an own reading; `words` what it is, with its spread.
    """

    name: str
    points_mm: Floats
    length_mm: float
    taped: bool = False
    words: str = ""


@dataclass(frozen=True, eq=False)
class Spot:
    """A named point (3,) that is no site, such as a landmark."""

    name: str
    point_mm: Floats


@dataclass(frozen=True, eq=False)
class DrawnSite:
    """One site as it is drawn and listed.

    Attributes
    ----------
    name : str
    point_mm, normal : (3,) float64
        On the skin; outward unit normal.
    state : str
        Key of `STATES`.
    rank : int
        0 for a site of 10-20, 1 of 10-10, 2 beyond: when names crowd, low ranks win.
    arc, start : str
        The arc that marks it and where its tape starts; empty where no arc does.
    from_start_mm : float or None
        Tape length from `start`.
    taped : bool
        The arc was read; otherwise `from_start_mm` is predicted, and so is said beside it.
    sure_mm : float or None
        Largest semi-axis of the 95 % ellipse.
    deviation_mm : float or None
        Distance of the mark from the site.
    note : str
    """

    name: str
    point_mm: Floats
    normal: Floats
    state: str = "planned"
    rank: int = 0
    arc: str = ""
    start: str = ""
    from_start_mm: float | None = None
    sure_mm: float | None = None
    deviation_mm: float | None = None
    note: str = ""
    taped: bool = False

    @property
    def label(self) -> str:
        """As it is called in every picture: with a sign, so that colour is never alone."""
        return site_label(self.name, self.state)


def site_label(name: str, state: str = "planned") -> str:
    """What a site is called in a picture.

    >>> site_label("P4", "moved"), site_label("P4", "far"), site_label("P4")
    ('P4→', 'P4 ‼', 'P4')
    """
    if state == "planned":
        return name
    return f"{name}{'' if state == 'moved' else ' '}{STATES[state].sign}"


@dataclass(frozen=True, eq=False)
class Ellipse:
    """Where a site lies with 95 % certainty: centre and two half axes, (3,) each, in mm."""

    site: str
    centre_mm: Floats
    major_mm: Floats
    minor_mm: Floats

    def outline_mm(self, n_points: int = 40) -> Floats:
        """(n_points, 3) the closed outline, the first point not repeated."""
        angle = np.linspace(0.0, 2 * np.pi, n_points, endpoint=False)[:, None]
        return np.asarray(
            self.centre_mm + np.cos(angle) * self.major_mm + np.sin(angle) * self.minor_mm
        )


@dataclass(frozen=True, eq=False)
class Arrow:
    """From a mark that was made to where it should be, (3,) each, with words to follow.

    Of the kind "moved" it leads from the own place of a site to where it was moved.
    """

    site: str
    start_mm: Floats
    end_mm: Floats
    words: str = ""
    kind: str = "mark"


@dataclass(frozen=True, eq=False)
class Derivation:
    """Two sites of one channel, and the path (k, 3) over the scalp between them."""

    first: str
    second: str
    path_mm: Floats
    length_mm: float
    note: str = ""


@dataclass(frozen=True, eq=False)
class Chain:
    """Derivations that are read one under the other."""

    name: str
    derivations: tuple[Derivation, ...]


@dataclass(frozen=True, eq=False)
class Region:
    """A place that must stay free: closed outline (k, 3) on the skin, and why."""

    name: str
    outline_mm: Floats
    reason: str = ""


@dataclass(frozen=True, eq=False)
class Scene:
    """Everything that is drawn of one head.

    Attributes
    ----------
    title : str
        The case label, from a person: any text.
    captions : tuple of str
        Said beside every picture: what the head is, what is predicted.
    head : Surface
    landmarks : tuple of Spot
        Nasion, inion, left and right preauricular point.
    arcs, sites, ellipses, arrows, chains, regions : tuple
    ellipse_words : str
        What the ellipses tell.
    arrow_words : str
        What the arrows tell.
    """

    title: str
    captions: tuple[str, ...]
    head: Surface
    landmarks: tuple[Spot, ...]
    arcs: tuple[Line, ...] = ()
    sites: tuple[DrawnSite, ...] = ()
    ellipses: tuple[Ellipse, ...] = ()
    arrows: tuple[Arrow, ...] = ()
    chains: tuple[Chain, ...] = ()
    regions: tuple[Region, ...] = ()
    ellipse_words: str = "the site lies inside, 95 % sure"
    arrow_words: str = "where its mark was made"

    @property
    def focus_mm(self) -> Floats:
        """(3,) the middle of the head without the neck, to which a camera looks."""
        kept = self.head.vertices_mm[self.head.part < NECK]
        return np.asarray((kept.min(axis=0) + kept.max(axis=0)) / 2)

    @property
    def height_mm(self) -> float:
        """Largest extent of the head without the neck."""
        kept = self.head.vertices_mm[self.head.part < NECK]
        return float(np.ptp(kept, axis=0).max())

    def camera(self, name: str) -> tuple[Floats, Floats, Floats]:
        """Position, focus and up vector (3,) of a named camera, for `VIEW_ANGLE_DEGREES`.

        Raises
        ------
        UnknownNameError
            No such camera.
        """
        if name not in CAMERAS:
            raise unknown_name("view", name, CAMERAS)
        chosen = CAMERAS[name]
        focus = self.focus_mm if chosen.focus == "head" else self.landmarks[0].point_mm
        toward = np.asarray(chosen.toward) / np.linalg.norm(chosen.toward)
        half_height = chosen.height_share * self.height_mm / 2
        distance = half_height / np.tan(np.radians(VIEW_ANGLE_DEGREES / 2))
        return focus + distance * toward, focus, np.asarray(chosen.up)

    def site(self, name: str) -> DrawnSite:
        """The site of a name.

        Raises
        ------
        UnknownNameError
            Not in the scene.
        """
        for site in self.sites:
            if site.name == name:
                return site
        raise unknown_name("site", name, [site.name for site in self.sites])

    def with_sites(self, changed: Iterable[DrawnSite]) -> Scene:
        """A copy in which the sites of these names are exchanged."""
        by_name = {site.name: site for site in changed}
        return replace(self, sites=tuple(by_name.get(site.name, site) for site in self.sites))


class Spreads(Protocol):
    """What is needed of `fitting.fit.SiteSpreads`."""

    @property
    def names(self) -> tuple[str, ...]:
        """Site names."""

    @property
    def along(self) -> Floats:
        """(n, 3) unit vectors."""

    @property
    def across(self) -> Floats:
        """(n, 3) unit vectors."""

    @property
    def ellipses_mm(self) -> Floats:
        """(n, 3) semi-axes a >= b of the 95 % ellipse and the angle of a from along, radians."""


def make_scene(
    head: Head,
    sites: Sites,
    *,
    spreads: Spreads | None = None,
    title: str = "",
    captions: Iterable[str] = (),
) -> Scene:
    """The scene of a head and the sites placed on it.

    Parameters
    ----------
    head : Head
    sites : Sites
        Placed on `head`.
    spreads : SiteSpreads, optional
        How sure each site is, in the order of `sites`.
    title : str
    captions : iterable of str
        Said after those that every scene carries.

    >>> from headfit import load_template, place_sites
    >>> head = load_template()
    >>> scene = make_scene(head, place_sites(head, "10-20"))
    >>> scene.site("Cz").arc, scene.site("Cz").start, round(scene.site("Cz").from_start_mm)
    ('midline', 'nasion', 174)
    """
    part = head.part if head.part is not None else np.full(len(head.vertices_mm), SCALP)
    always = [f"Template: {head.label}"] if head.label else []
    skin = Surface(head.vertices_mm, head.faces, part)
    return scene_on(skin, sites, spreads=spreads, title=title, captions=(*always, *captions))


def scene_on(
    skin: Surface,
    sites: Sites,
    *,
    spreads: Spreads | None = None,
    title: str = "",
    captions: Iterable[str] = (),
) -> Scene:
    """The scene of sites and any skin under them; parameters as for `make_scene`."""
    ellipses = _ellipses(sites, spreads) if spreads is not None else ()
    sure = {ellipse.site: float(np.linalg.norm(ellipse.major_mm)) for ellipse in ellipses}
    return Scene(
        title,
        (*captions, PREDICTED, NOT_MEDICAL),
        skin,
        tuple(Spot(LANDMARK_TITLES[name], sites.tracer.point(name)) for name in LANDMARK_NAMES),
        tuple(
            Line(arc, sites.tracer.run(arc).curve.path_mm, sites.tracer.length_mm(arc))
            for arc in sites.arc_marks
        ),
        _drawn_sites(sites, sure),
        ellipses,
    )


def _rank(name: str) -> int:
    return 0 if name in SYSTEMS["10-20"] else 1 if name in SYSTEMS["10-10"] else 2


def _drawn_sites(sites: Sites, sure_mm: dict[str, float]) -> tuple[DrawnSite, ...]:
    marked = {
        mark.site: (arc, mark.distance_mm)
        for arc, marks in sites.arc_marks.items()
        for mark in marks
    }
    drawn = []
    for name, point, normal in zip(sites.names, sites.points_mm, sites.normals, strict=True):
        arc, distance = marked.get(name, ("", None))
        start = ARCS[arc].start if arc else ""
        drawn.append(
            DrawnSite(
                name,
                point,
                normal,
                rank=_rank(name),
                arc=arc,
                start=LANDMARK_TITLES.get(start, start),
                from_start_mm=distance,
                sure_mm=sure_mm.get(name),
            )
        )
    return tuple(drawn)


def _ellipses(sites: Sites, spreads: Spreads) -> tuple[Ellipse, ...]:
    point = dict(zip(sites.names, sites.points_mm, strict=True))
    found = []
    for name, along, across, (a, b, angle) in zip(
        spreads.names, spreads.along, spreads.across, spreads.ellipses_mm, strict=True
    ):
        if is_beside_ear(name):  # set by eye: no ring tells how sure that is
            continue
        cos, sin = np.cos(angle), np.sin(angle)
        major, minor = a * (cos * along + sin * across), b * (cos * across - sin * along)
        found.append(Ellipse(name, point[name], major, minor))
    return tuple(found)
