"""Drawings of what is felt, taped and marked on a head: landmarks, measurements, arcs. SVG.

Every line of the head is of the mesh of that head (`output.head_views`); millimetres on it are the
units of the SVG. Looks are those of viewer/src/drawings.css: what is fixed on the screen, such as a
letter or the radius of a mark, is given there in pixels. Shapes tell things apart, never colour
alone: a disc with 0 is where the tape begins, a double ring what is read or felt, a broken line
runs behind the head, a triangle is the tip of a caliper.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cached_property
from html import escape

import numpy as np

from headfit.anatomy.arcs import ArcTracer
from headfit.anatomy.head import Head
from headfit.anatomy.landmarks import FINDING, FLAT_INION, TITLES
from headfit.fitting.measurements import MEASUREMENTS, measurement
from headfit.fitting.measures import HeadMeasures
from headfit.geometry.mesh import Floats
from headfit.geometry.surface import nearest
from headfit.output.drawing_views import VIEWS, view_of
from headfit.output.head_views import HeadView
from headfit.planning.obstacles import Obstacle

CLOSE = 0.76  # side of a drawing of one landmark, of the way from ear to ear
_STATIONS = 81
_VIEW_OF = {
    "largest_circumference": "quarter",
    "ring": "quarter",
    "nasion_cz": "left",
    "cz_inion": "left",
    "left_ring_front": "quarter",
    "left_ring_back": "back quarter",
    "right_ring_front": "right quarter",
    "right_ring_back": "right back quarter",
    "ear_arc_fpz": "quarter",
    "ear_arc_fz": "quarter",
    "ear_arc_pz": "back quarter",
    "ear_arc_oz": "back quarter",
    "head_length": "left",
    "head_breadth": "front",
    "preauricular_width": "front",
    "nasion_inion_chord": "left",
    "left_preauricular_nasion_chord": "left",
    "right_preauricular_nasion_chord": "right",
    "left_preauricular_inion_chord": "left",
    "right_preauricular_inion_chord": "right",
    "left_diagonal": "top",
    "right_diagonal": "top",
    "cz_height": "left",
}
# A fingertip that touches the origin from above, and the way it slides; drawn once by hand.
_FINGER = (
    '<path class="finger" d="M-6-40V-7A6 7 0 0 0 6-7V-40"/>'
    '<path class="nail" d="M-3.2-4.6V-9.5Q0-12.5 3.2-9.5V-4.6"/>'
    '<path class="nail" d="M-6-22Q0-20 6-22"/>'
)
# View, turn of the finger and way it slides, from the landmark; right is the mirror image of left.
_FINGER_ROOM_MM = 110.0  # side of the drawing for which they are drawn
_FELT = {
    "nasion": ("left", -72.0, "M-13-52Q-15-40-14-26M-18-33L-14-25-9.5-32"),
    "inion": ("left", 98.0, "M8 54Q5 40 7 26M2.5 33L7 25 11.5 33"),
    "left_preauricular": ("left", 238.0, ""),
    "right_preauricular": ("right", -238.0, ""),
}


def svg_path(lines: Iterable[Floats], kind: str, *, closed: bool = False) -> str:
    """A path of lines (k, 2); empty without any."""
    end = "Z" if closed else ""
    steps = "".join(
        "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line.tolist()) + end for line in lines
    )
    return f'<path class="{kind}" d="{steps}"/>' if steps else ""


def dot(x: float, y: float, kind: str) -> str:
    """A circle; its radius is that of its kind."""
    return f'<circle class="{kind}" cx="{x:.1f}" cy="{y:.1f}"/>'


class MeasuringDrawings:
    """Draws one head; each view is made once.

    Parameters
    ----------
    head : Head
    tracer : ArcTracer
        Whose arcs are drawn.
    """

    def __init__(self, head: Head, tracer: ArcTracer) -> None:
        self.head, self.tracer = head, tracer
        self._views: dict[str, HeadView] = {}

    @cached_property
    def _measures(self) -> HeadMeasures:
        return HeadMeasures(self.tracer)

    def view(self, name: str) -> HeadView:
        """One of `VIEWS`."""
        if name not in self._views:
            self._views[name] = HeadView(self.head, name)
        return self._views[name]

    def best_view(self, points_mm: Floats) -> str:
        """The view in which the worst seen of some points (n, 3) of the skin is seen best."""
        middle = self.head.vertices_mm.mean(axis=0)
        out = points_mm - middle
        out /= np.linalg.norm(out, axis=1, keepdims=True)
        looks = np.array([np.array(toward) / np.linalg.norm(toward) for toward in VIEWS.values()])
        return list(VIEWS)[int((out @ looks.T).min(axis=0).argmax())]

    # ---- parts of a drawing

    def svg(
        self,
        view: str,
        body: Sequence[str],
        title: str,
        box: tuple[float, float, float, float] | None = None,
    ) -> str:
        """The head in a view with something on it."""
        seen = self.view(view)
        left, top, width, height = box or seen.box
        # What is cut at its frame must not run over it.
        kind = "dr close" if box and width < seen.box[2] else "dr"
        lines = [
            svg_path([seen.fill], "skin", closed=True),
            svg_path(seen.folds, "fold"),
            svg_path(seen.ear, "ear"),
            svg_path(seen.outline, "outline"),
        ]
        return (
            f'<svg class="{kind}" viewBox="{left:.0f} {top:.0f} {width:.0f} {height:.0f}" '
            f'role="img" aria-label="{escape(title, quote=True)}">'
            f"{''.join([*lines, *body])}</svg>"
        )

    def tape(self, view: str, points_mm: Floats) -> str:
        """A tape over points (n, 3) of the skin: a band with ticks, broken behind the head."""
        runs = self.view(view).runs(points_mm)
        return (
            svg_path(runs.hidden, "behind")
            + svg_path(runs.seen, "tape")
            + svg_path(runs.seen, "ticks")
        )

    def guide(self, view: str, points_mm: Floats) -> str:
        """An arc along which no tape lies now."""
        runs = self.view(view).runs(points_mm)
        return svg_path(runs.hidden, "guide behind") + svg_path(runs.seen, "guide")

    def at(self, view: str, point_mm: Floats) -> tuple[float, float, bool]:
        """Where a point (3,) of the skin stands in a view, and whether it is seen."""
        places, seen = self.view(view).on_skin(point_mm)
        return float(places[0, 0]), float(places[0, 1]), bool(seen[0])

    def zero(self, view: str, point_mm: Floats) -> str:
        """Where the tape begins."""
        x, y, seen = self.at(view, point_mm)
        if not seen:
            return dot(x, y, "spot averted")
        return (
            f'{dot(x, y, "zero")}<text class="nought" x="{x:.1f}" y="{y:.1f}" dy=".36em">0</text>'
        )

    def target(self, view: str, point_mm: Floats) -> str:
        """Where the tape is read, or what is felt."""
        x, y, seen = self.at(view, point_mm)
        return dot(x, y, "target") + dot(x, y, "bead") if seen else dot(x, y, "spot averted")

    def free_places(self, view: str, obstacles: Sequence[Obstacle], key: str) -> str:
        """Hatched outlines of places that must stay free, those that are seen."""
        outlines = []
        for obstacle in obstacles:
            closed = np.concatenate([obstacle.outline_mm, obstacle.outline_mm[:1]])
            places, seen = self.view(view).on_skin(closed)
            if seen.mean() > 0.5:
                outlines.append(places)
        if not outlines:
            return ""
        name = f"free-{key}"
        lines = "".join(svg_path([line], "free", closed=True) for line in outlines)
        return (
            f'<defs><pattern id="{name}" width="5" height="5" patternUnits="userSpaceOnUse" '
            f'patternTransform="rotate(45)"><path class="hatch" d="M0 0V5"/></pattern></defs>'
            + lines.replace('class="free"', f'class="free" fill="url(#{name})"')
        )

    # ---- whole drawings

    def landmark(self, name: str) -> str:
        """One of the four, with the finger that feels for it."""
        view, turn, way = _FELT[name]
        x, y, _ = self.at(view, getattr(self.head.landmarks, name))
        marks = self.head.landmarks
        side = CLOSE * float(np.linalg.norm(marks.right_preauricular - marks.left_preauricular))
        size = side / _FINGER_ROOM_MM
        shift = {"nasion": 0.36, "inion": 0.69}.get(name, 0.5)
        box = (x - shift * side, y - 0.53 * side, side, side)
        body = [
            f'<g transform="translate({x:.1f} {y:.1f}) scale({size:.3f})">'
            + (f'<path class="way" d="{way}"/>' if way else "")
            + f'<g transform="rotate({turn:g}) translate(0 -2)">{_FINGER}</g></g>',
            dot(x, y, "target"),
            dot(x, y, "bead"),
        ]
        return self.svg(view, body, f"{TITLES[name]}: {FINDING[name].split('. ')[0]}", box)

    def flat_inion(self) -> str:
        """What else to feel for where no knob is: the ridge from behind each ear to the midline."""
        view, marks = "low back", self.head.landmarks
        inion = marks.inion
        x, y, _ = self.at(view, inion)
        share = np.linspace(0.07, 0.8, 25)[:, None]
        seen: list[Floats] = []
        for ear in (marks.left_preauricular, marks.right_preauricular):
            # From the inion to the bone behind the ear, bent upwards on its way.
            line = inion + share * (ear - inion) + 10.0 * np.sin(np.pi * share) * marks.up
            seen += self.view(view).runs(self._outward(line, inion)).seen
        way = np.array([[x, y + 62.0], [x, y + 16.0]])
        wings = np.array([[x - 5.0, y + 24.0], [x, y + 15.0], [x + 5.0, y + 24.0]])
        body = [
            svg_path(seen, "ridge"),
            svg_path([way, wings], "way"),
            dot(x, y, "target"),
            dot(x, y, "bead"),
        ]
        left, _, width, _ = self.view(view).box
        box = (left, y - 0.55 * width, width, width)
        return self.svg(view, body, FLAT_INION.split(". ")[0], box)

    def _outward(self, line: Floats, inion: Floats) -> Floats:
        """Points (n, 3) inside the head, on the skin outside of them."""
        mesh = self.head.surface
        centre = np.array([0.0, 0.25 * inion[1], inion[2]])
        out = (line - centre) / np.linalg.norm(line - centre, axis=1, keepdims=True)
        return np.asarray(nearest(mesh, line + 12.0 * out)[0].on(mesh.vertices_mm))

    def measurement(self, name: str) -> str:
        """Where the tape or the caliper of a measurement lies."""
        kind = measurement(name)
        view = _VIEW_OF.get(kind.name) or view_of(kind.arcs[0])
        if kind.tool == "caliper":
            body = self._caliper(view, kind.name)
        else:
            body = self._taped(view, kind.name)
        return self.svg(view, body, f"{kind.title}: {kind.how}")

    def _taped(self, view: str, name: str) -> list[str]:
        kind = MEASUREMENTS[name]
        stations = np.linspace(0.0, 1.0, _STATIONS)
        runs = [self.tracer.run(arc) for arc in kind.arcs]
        lines = [run.points_mm(stations) for run in runs] or [self._dense(name)]
        body = [self.tape(view, line) for line in lines]
        for run in runs:
            x, y, seen = self.at(view, run.points_mm([run.fraction(run.via_mm)])[0])
            if seen:
                body.append(dot(x, y, "spot"))
        closed = name == "largest_circumference"
        body.append(self.zero(view, lines[0][0]))
        if not closed:
            body.append(self.target(view, lines[-1][-1]))
        return body

    def _dense(self, name: str) -> Floats:
        """The way of a tape by points 4 mm apart."""
        path = self._measures.path_mm(name)
        if name == "largest_circumference":  # closed: the tape begins in front
            front = int(path[:-1, 1].argmax())
            path = np.concatenate([path[front:-1], path[: front + 1]])
        reached = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1)))
        at = np.linspace(0.0, reached[-1], max(int(reached[-1] / 4), 2))
        return np.stack([np.interp(at, reached, path[:, k]) for k in range(3)], axis=1)

    def _caliper(self, view: str, name: str) -> list[str]:
        """Two tips and the straight line between them, which runs inside the head."""
        body = []
        if name == "cz_height":
            marks, tip = self.head.landmarks, self.tracer.point("Cz")
            ears = (marks.left_preauricular + marks.right_preauricular) / 2
            forward = (marks.nasion - ears) / np.linalg.norm(marks.nasion - ears)
            level = np.array([marks.nasion, ears - 0.5 * (marks.nasion - ears)])
            foot = ears + forward * float((tip - ears) @ forward)
            ends = np.array([tip, foot])
            body.append(svg_path([self.view(view).project(level)[:, :2]], "guide"))
        else:
            ends = self._measures.path_mm(name)
        first, second = self.view(view).project(ends)[:, :2]
        body.append(svg_path([np.array([first, second])], "behind"))
        span = (second - first) / np.linalg.norm(second - first)
        across = np.array([-span[1], span[0]])
        tips = ((first, -span),) if name == "cz_height" else ((first, -span), (second, span))
        for point, away in tips:
            base = point + 17.0 * away
            corners = np.array([point, base + 6.5 * across, base - 6.5 * across])
            body.append(svg_path([corners], "tip", closed=True))
        if name == "cz_height":
            body.append(dot(float(second[0]), float(second[1]), "spot"))
        return body


def figures(drawings: Mapping[str, tuple[str, str]]) -> str:
    """Drawings side by side, each with what it shows: title -> (drawing, words)."""
    cards = "".join(
        f"<figure>{drawing}<figcaption><strong>{escape(title)}</strong> {escape(words)}"
        "</figcaption></figure>"
        for title, (drawing, words) in drawings.items()
    )
    return f'<div class="figures">{cards}</div>'
