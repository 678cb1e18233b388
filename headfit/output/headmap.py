"""The head map: one list of plain shapes that both the PDF and the HTML report draw.

Coordinates in millimetres of paper, x to the right, y down, origin at the top left. Shapes are told
apart by form: what lessons also give a colour is as dark in it as its grey, and reads without it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

import numpy as np

from headfit.anatomy.sites import Sites
from headfit.geometry.mesh import Floats
from headfit.output.flattening import RING_FRACTION, flatten
from headfit.output.scene import site_label
from headfit.planning.derivations import MeasuredMontage
from headfit.planning.displacement import Displacement

Points = tuple[tuple[float, float], ...]

# Share of the type size by which DejaVu Sans Bold is wide, per character of a site name.
_CHARACTER_WIDTH = 0.72
_CAP_HEIGHT = 0.73
NUMBER_MM = 2.9


@dataclass(frozen=True)
class Pen:
    """How a kind of shape is drawn; greys from 0 (black) to 1 (white), None for nothing.

    A colour, ``#rrggbb``, takes the place of the grey of the line, or of the fill without a line.
    """

    width_mm: float
    grey: float | None = 0.0
    fill_grey: float | None = None
    dash_mm: tuple[float, ...] = ()
    colour: str = ""

    @property
    def ink(self) -> str | None:
        """The colour of the line, ``#rrggbb``."""
        return None if self.grey is None else self.colour or _hex(self.grey)

    @property
    def fill(self) -> str | None:
        """The colour inside, or of letters."""
        if self.fill_grey is None:
            return None
        return self.colour if self.colour and self.grey is None else _hex(self.fill_grey)


def _hex(grey: float) -> str:
    return "#" + 3 * f"{round(255 * grey):02x}"


# Those of the page of lessons (viewer/src/tokens.css, lesson.css), and how dark they print.
_BLUE, _BROWN, _RED, _SLATE = "#0b5cad", "#7a4600", "#a3161a", "#66737f"


PENS: dict[str, Pen] = {
    "head": Pen(0.7),
    "ring": Pen(0.25, 0.35),
    "arc": Pen(0.15, 0.6),
    "hatch": Pen(0.18),
    "free place": Pen(0.6),
    "derivation": Pen(0.5),
    "derivation changed": Pen(0.9),
    "paper": Pen(0.0, None, 1.0),
    "site": Pen(0.35, 0.0, 1.0),
    "old place": Pen(0.3, 0.0, None, (0.9, 0.7)),
    "cross": Pen(0.35),
    "moved site": Pen(0.35, 0.0, 0.0),
    "arrow": Pen(0.5, 0.0, 0.0),
    "text": Pen(0.0, None, 0.0),
    "text on black": Pen(0.0, None, 1.0),
    "small text": Pen(0.0, None, 0.25),
    "ellipse": Pen(0.25, 0.2),
    "grid": Pen(0.12, 0.75),
    "whisker": Pen(0.25, 0.2),
    "box": Pen(0.25, 0.2, 0.82),
    "median": Pen(0.7),
    "dot": Pen(0.0, None, 0.0),
    "hollow dot": Pen(0.35, 0.0, 1.0),
    "contour": Pen(0.3, 0.2),
    "tape": Pen(1.3, 0.35, colour=_BLUE),
    "other tape": Pen(1.3),
    "tick": Pen(0.35, 1.0),
    "thin tape": Pen(0.4, 0.35, colour=_BLUE),
    "tape behind": Pen(0.3, 0.35, None, (1.2, 1.0), _BLUE),
    "other behind": Pen(0.3, 0.0, None, (1.2, 1.0)),
    "plane": Pen(0.5, 0.3, None, (2.4, 1.2), _BROWN),
    "plane behind": Pen(0.25, 0.3, None, (2.4, 1.2), _BROWN),
    "slip": Pen(0.7, 0.3, colour=_BROWN),
    "slip tip": Pen(0.0, None, 0.3, colour=_BROWN),
    "own": Pen(0.3, 0.43, None, (0.9, 0.7), _SLATE),
    "guess": Pen(0.0, None, 0.3, colour=_BROWN),
    "spread": Pen(0.35, 0.43, colour=_SLATE),
    "kept free": Pen(0.6, 0.27, None, (1.8, 1.0), _RED),
    "kept free hatch": Pen(0.18, 0.27, colour=_RED),
}


@dataclass(frozen=True)
class Line:
    """A line through points; closed, it may be filled."""

    points: Points
    pen: str
    closed: bool = False


@dataclass(frozen=True)
class Circle:
    """A circle round (x, y)."""

    x: float
    y: float
    radius: float
    pen: str


@dataclass(frozen=True)
class Text:
    """Words centred on (x, y), both ways; at the end of a line only across it, in charts."""

    x: float
    y: float
    words: str
    size_mm: float
    pen: str = "text"
    bold: bool = False
    ends_at_x: bool = False

    @property
    def baseline_mm(self) -> float:
        """Where the letters stand."""
        return self.y + _CAP_HEIGHT * self.size_mm / 2


Shape = Line | Circle | Text


@dataclass(frozen=True)
class HeadMap:
    """A drawn map.

    Attributes
    ----------
    width_mm, height_mm : float
    scale : float
        Millimetres of paper for a millimetre of the ring.
    shapes : tuple of Shape
        In the order they are drawn.
    """

    width_mm: float
    height_mm: float
    scale: float
    shapes: tuple[Shape, ...]

    def texts(self) -> tuple[str, ...]:
        """All words on the map."""
        return tuple(shape.words for shape in self.shapes if isinstance(shape, Text))


def head_map(
    sites: Sites,
    width_mm: float,
    height_mm: float,
    *,
    displacement: Displacement | None = None,
    montage: MeasuredMontage | None = None,
) -> HeadMap:
    """The map of a head with its sites, seen from above, nose up.

    Parameters
    ----------
    sites : Sites
    width_mm, height_mm : float
        Room on the paper; the map fills it one way.
    displacement : Displacement, optional
        Places that must stay free are hatched, moved sites drawn where they stand now.
    montage : MeasuredMontage, optional
        Its derivations are drawn with their lengths in mm.

    >>> from headfit import load_template, place_sites
    >>> head = head_map(place_sites(load_template()), 160.0, 180.0)
    >>> sorted(set(head.texts()) - {"nose", "left", "right"})[:4]
    ['A1', 'A2', 'C3', 'C4']
    """
    return MapDrawing(sites, width_mm, height_mm, displacement).drawn(montage)


class MapDrawing:
    """Collects shapes; what is on the head comes in map millimetres and leaves on paper."""

    def __init__(
        self, sites: Sites, width_mm: float, height_mm: float, displacement: Displacement | None
    ) -> None:
        self.sites = sites
        self.size = width_mm, height_mm
        self.displacement = displacement
        self.flat = flatten(sites.tracer)
        self.moves = displacement.moves if displacement else ()
        self.left_out = displacement.left_out if displacement else {}
        self.own = dict(zip(sites.names, self.flat.places(sites.points_mm), strict=True))
        self.now = {move.site: self.flat.places(move.point_mm)[0] for move in self.moves}
        outline = self.flat.outline()
        self.nose = _nose(outline)
        self.ears = [_ear(outline, side) for side in (-1.0, 1.0)]
        places = np.array([*self.own.values(), *self.now.values()])
        # Room for the circles of the outermost sites, which do not scale, and for the words.
        margin = 6.0
        extent = np.vstack([outline, self.nose, *self.ears, places])
        low, high = extent.min(axis=0), extent.max(axis=0)
        room = np.array(self.size) - 2 * margin
        self.scale = float((room / (high - low)).min())
        self.middle = (low + high) / 2
        self.shapes: list[Shape] = []
        self.radius = self._radius()

    def paper(self, points: Floats) -> Floats:
        """(n, 2) places of the map on the paper."""
        flipped = (np.atleast_2d(points) - self.middle) * self.scale * np.array([1.0, -1.0])
        return np.asarray(flipped + np.array(self.size) / 2)

    def _radius(self) -> float:
        """Circles as large as leaves neighbours apart, where the cups stand now."""
        places = self.paper(np.array(list((self.own | self.now).values())))
        gaps = np.linalg.norm(places[:, None] - places[None], axis=2)
        np.fill_diagonal(gaps, np.inf)
        usual = float(np.sort(gaps.min(axis=1))[len(gaps) // 10]) if len(gaps) > 1 else 20.0
        return float(np.clip(0.47 * usual, 1.2, 4.8))

    def line(self, points: Floats, pen: str, *, closed: bool = False) -> None:
        """A line through map points (n, 2)."""
        self.shapes.append(Line(_rounded(self.paper(points)), pen, closed))

    def drawn(self, montage: MeasuredMontage | None) -> HeadMap:
        """All shapes in their order."""
        self.head()
        for obstacle in self.displacement.obstacles if self.displacement else ():
            outline = self.flat.places(obstacle.outline_mm)
            for start, end in hatch(self.paper(outline)):
                self.shapes.append(Line((start, end), "hatch"))
            self.line(outline, "free place", closed=True)
        numbers = self._derivations(montage) if montage else []
        self._sites()
        self.shapes += numbers
        return HeadMap(*self.size, self.scale, tuple(self.shapes))

    def head(self) -> None:
        """Outline, nose, ears, ring and arcs."""
        for ear in self.ears:
            self.line(ear, "head")
        self.line(self.nose, "head")
        self.line(self.flat.outline(), "head", closed=True)
        self.line(self.flat.outline(RING_FRACTION), "ring", closed=True)
        for arc in self.sites.arc_marks:
            if not arc.endswith(("ring", "contour")):
                path = self.sites.tracer.run(arc).curve.path_mm
                self.line(self.flat.places(path[:: max(1, len(path) // 20)]), "arc")
        for words, side in (("left", -1.0), ("right", 1.0)):
            x = self.size[0] / 2 + side * (self.size[0] / 2 - 7.0)
            self.shapes.append(Text(x, 5.0, words, 4.0))
        x, y = self.paper(self.nose[1])[0]
        self.shapes.append(Text(float(x) + 9.0, float(y) + 1.0, "nose", 3.2, "small text"))

    def _derivations(self, montage: MeasuredMontage) -> list[Shape]:
        """Draws the lines; their numbers come back, to be drawn over everything."""
        numbers: list[Shape] = []
        for derivation in montage.derivations:
            path = derivation.path_mm
            places = self.flat.places(path[:: max(1, len(path) // 15)])
            ends = self.flat.places(path[[0, -1]])
            places = np.vstack([ends[:1], places[1:], ends[1:]])
            changed = derivation.before_mm is not None
            self.line(places, "derivation changed" if changed else "derivation")
            words = f"{derivation.length_mm:.0f}"
            radius = 0.36 * NUMBER_MM * len(words) + 0.3
            place = self._room_for_number(self.paper(places), radius, numbers)
            if place is not None:
                numbers += [
                    Circle(*place, radius, "paper"),
                    Text(*place, words, NUMBER_MM, bold=changed),
                ]
        return numbers

    def _room_for_number(
        self, path: Floats, radius: float, numbers: list[Shape]
    ) -> tuple[float, float] | None:
        """A place on a path (k, 2) of paper that hides no name and no other number, or none."""
        sites = self.paper(np.array(list((self.own | self.now).values())))
        others = np.array([(n.x, n.y) for n in numbers if isinstance(n, Circle)]).reshape(-1, 2)
        reached = np.append(0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
        for share in (0.5, 0.42, 0.58, 0.34, 0.66, 0.26, 0.74, 0.18, 0.82):
            x, y = (float(np.interp(share * reached[-1], reached, path[:, k])) for k in range(2))
            from_sites = np.linalg.norm(sites - (x, y), axis=1)
            from_others = np.linalg.norm(others - (x, y), axis=1)
            if (from_sites > 0.8 * (self.radius + radius)).all() and (
                from_others > 1.5 * radius
            ).all():
                return x, y
        return None

    def _sites(self) -> None:
        for name, place in self.own.items():
            x, y = self.paper(place)[0].tolist()
            if name in self.now or name in self.left_out:
                self.shapes.append(Circle(x, y, self.radius, "old place"))
                reach = 0.7 * self.radius
                for tilt in (1, -1):
                    ends = ((x - reach, y - tilt * reach), (x + reach, y + tilt * reach))
                    self.shapes.append(Line(ends, "cross"))
                if name in self.left_out:
                    self._name(x, y - 1.6 * self.radius, name, "text")
            else:
                self.shapes.append(Circle(x, y, self.radius, "site"))
                self._name(x, y, name, "text")
        for move in self.moves:
            start, end = self.paper(self.own[move.site])[0], self.paper(self.now[move.site])[0]
            self.shapes += _arrow(start, end, self.radius)
        for move in self.moves:
            x, y = self.paper(self.now[move.site])[0].tolist()
            self.shapes.append(Circle(x, y, self.radius, "moved site"))
            self._name(x, y, site_label(move.site, "moved"), "text on black")

    def _name(self, x: float, y: float, name: str, pen: str) -> None:
        size = min(1.25 * self.radius, 1.75 * self.radius / (_CHARACTER_WIDTH * len(name)))
        self.shapes.append(Text(x, y, name, size, pen, bold=True))


def _rounded(points: Floats) -> Points:
    return tuple((float(x), float(y)) for x, y in points.round(4))


def _nose(outline: Floats) -> Floats:
    """(3, 2) a nose on the front of the outline."""
    tip = outline[len(outline) // 2]
    size = 0.06 * float(np.ptp(outline[:, 1]))
    front = outline[outline[:, 1] > 0]
    sides = [front[np.abs(front[:, 0] - side * size).argmin()] for side in (-1.0, 1.0)]
    return np.array([sides[0], tip + np.array([0.0, 0.8 * size]), sides[1]])


def _ear(outline: Floats, side: float) -> Floats:
    """(k, 2) an ear on one side: a piece of the outline pushed outwards."""
    size = 0.08 * float(np.ptp(outline[:, 1]))
    piece = outline[(np.sign(outline[:, 0]) == side) & (np.abs(outline[:, 1]) < size)]
    height = np.clip(np.cos(np.pi / 2 * piece[:, 1] / size), 0.0, 1.0)
    height[[0, -1]] = 0.0
    return np.stack([piece[:, 0] + side * 0.35 * size * np.sqrt(height), piece[:, 1]], axis=1)


def _arrow(start: Floats, end: Floats, radius: float) -> list[Shape]:
    """From the rim of one circle to the rim of another; nothing where they overlap."""
    span = end - start
    length = float(np.linalg.norm(span))
    if length < 2.4 * radius:
        return []
    along = span / length
    across = np.array([-along[1], along[0]])
    tip, tail = end - radius * along, start + radius * along
    wing = min(2.4, 0.5 * (length - 2 * radius))
    back = tip - wing * along
    head = _rounded(np.array([tip, back + 0.45 * wing * across, back - 0.45 * wing * across]))
    return [Line(_rounded(np.array([tail, back])), "arrow"), Line(head, "arrow", closed=True)]


def hatch(outline: Floats, spacing_mm: float = 2.0) -> Iterable[Points]:
    """Slanted lines inside a closed outline (k, 2), each as two points."""
    slant = np.array([[1.0, 1.0], [-1.0, 1.0]]) / np.sqrt(2)  # rows: along, across
    points = outline @ slant.T
    following = np.roll(points, -1, axis=0)
    first = np.ceil(points[:, 1].min() / spacing_mm) * spacing_mm
    for level in np.arange(first, points[:, 1].max(), spacing_mm):
        crossed = (points[:, 1] <= level) != (following[:, 1] <= level)
        begin, end = points[crossed], following[crossed]
        share = (level - begin[:, 1]) / (end[:, 1] - begin[:, 1])
        met = np.sort(begin[:, 0] + share * (end[:, 0] - begin[:, 0]))
        for low, high in zip(met[::2], met[1::2], strict=False):
            yield _rounded(np.array([[low, level], [high, level]]) @ slant)


def as_svg(head: HeadMap, title: str) -> str:
    """The map as one SVG element that stands alone.

    Parameters
    ----------
    head : HeadMap
    title : str
        Read out where the picture cannot be seen.
    """
    opening = (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" width="{head.width_mm:g}mm" '
        f'height="{head.height_mm:g}mm" viewBox="0 0 {head.width_mm:g} {head.height_mm:g}" '
        'font-family="DejaVu Sans, Verdana, sans-serif" text-anchor="middle">'
    )
    parts = [opening, f"<title>{escape(title)}</title>"]
    for shape in head.shapes:
        style = _svg_style(PENS[shape.pen])
        if isinstance(shape, Line):
            kind = "polygon" if shape.closed else "polyline"
            points = " ".join(f"{x:.2f},{y:.2f}" for x, y in shape.points)
            parts.append(f'<{kind} points="{points}" {style}/>')
        elif isinstance(shape, Circle):
            parts.append(
                f'<circle cx="{shape.x:.2f}" cy="{shape.y:.2f}" r="{shape.radius:.2f}" {style}/>'
            )
        else:
            weight = ' font-weight="bold"' if shape.bold else ""
            weight += ' text-anchor="end"' if shape.ends_at_x else ""
            parts.append(
                f'<text x="{shape.x:.2f}" y="{shape.baseline_mm:.2f}" '
                f'font-size="{shape.size_mm:.2f}"{weight} {style}>{escape(shape.words)}</text>'
            )
    return "\n".join([*parts, "</svg>"])


def _svg_style(pen: Pen) -> str:
    dashes: Sequence[str] = [f"{length:g}" for length in pen.dash_mm]
    dash = f' stroke-dasharray="{" ".join(dashes)}"' if dashes else ""
    return (
        f'fill="{pen.fill or "none"}" stroke="{pen.ink or "none"}" '
        f'stroke-width="{pen.width_mm:g}"{dash}'
    )
