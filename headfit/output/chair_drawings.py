"""The drawing of each step at the chair: just this tape, its marks, and what must stay free. SVG.

The looks and the parts are those of `output.measuring_drawings`; a mark is a group that bears its
name in `data-mark`, so that a page can show which are done and which comes now.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from html import escape

import numpy as np

from headfit.anatomy.landmarks import TITLES
from headfit.case.solved import SolvedCase
from headfit.geometry.mesh import Floats
from headfit.geometry.taperun import TapeRun
from headfit.output.drawing_views import VIEW_WORDS, view_of
from headfit.output.headmap import Circle, Line, MapDrawing, Text
from headfit.output.measuring_drawings import MeasuringDrawings, dot, svg_path
from headfit.planning.arc_steps import ArcStep
from headfit.planning.checks import Bearing
from headfit.planning.scalp_paths import scalp_paths
from headfit.planning.walks import Walk

_MAP_MM = 200.0, 220.0
_OF_TITLE = {title: name for name, title in TITLES.items()}
_HALF_STOP_MM = 8.0
_SAME_PLACE_MM = 1.0


@dataclass(frozen=True)
class ChairDrawing:
    """A drawing and from where the head is seen in it."""

    svg: str
    words: str


class ChairDrawings:
    """Draws the steps of one solved case."""

    def __init__(self, solved: SolvedCase) -> None:
        self.solved = solved
        self.sites = solved.sites
        self.tracer = solved.sites.tracer
        self.lines = MeasuringDrawings(solved.head, self.tracer)
        self.obstacles = solved.displacement.obstacles if solved.displacement else ()

    def landmark(self, name: str) -> ChairDrawing:
        """Where a landmark is felt."""
        return ChairDrawing(self.lines.landmark(name), "")

    def flat_inion(self) -> ChairDrawing:
        """What else to feel for."""
        return ChairDrawing(self.lines.flat_inion(), VIEW_WORDS["low back"])

    def measurement(self, name: str) -> ChairDrawing:
        """Where a tape or a caliper lies."""
        return ChairDrawing(self.lines.measurement(name), "")

    def arc(self, step: ArcStep) -> ChairDrawing:
        """One arc with its tapes and marks."""
        view, lines = view_of(step.arc), self.lines
        run = self.tracer.run(step.arc)
        key = step.arc.replace(" ", "-")
        body = [
            lines.guide(view, run.points_mm(np.linspace(0.0, 1.0, 81))),
            lines.free_places(view, self.obstacles, key),
        ]
        for walk in step.walks:
            body += self._walk(view, step, run, walk)
        placed = {
            mark.name: run.points_mm([run.fraction(self._fitted(step, mark.distance_mm))])[0]
            for mark in step.marks
        }
        for walk in step.walks:
            zero = self._fitted(step, self._start(step, walk))
            point = run.points_mm([run.fraction(zero)])[0]
            body.append(lines.zero(view, point))
            # A mark at the zero, such as Nz at the nasion, has its name there already.
            if all(np.linalg.norm(at - point) > _SAME_PLACE_MM for at in placed.values()):
                body.append(self._label(view, walk.zero, point))
        body += [
            self._mark(view, mark.name, mark.stands_for or mark.name, placed[mark.name])
            for mark in step.marks
            if not mark.blocked
        ]
        body += [
            self._mark(view, mark.name, mark.stands_for or mark.name, self._point(mark.name))
            for mark in step.beyond
        ]
        svg = lines.svg(view, body, f"{step.arc}: its tape and its marks", self._box(view))
        return ChairDrawing(svg, VIEW_WORDS[view])

    def _walk(self, view: str, step: ArcStep, run: TapeRun, walk: Walk) -> list[str]:
        start = self._start(step, walk)
        end = {step.start: 0.0, step.end: step.length_mm, step.via: step.tape.via_mm}[walk.toward]
        up = end > start
        if step.held and walk.stop_mm is None:
            end = step.tape.via_mm
        if walk.stop_mm is not None:
            end = start + (walk.stop_mm if up else -walk.stop_mm)
        at = np.linspace(self._fitted(step, start), self._fitted(step, end), 61)
        points = run.points_mm([run.fraction(each) for each in at.tolist()])
        body = [self.lines.tape(view, points)]
        if walk.stop_mm is not None:
            flat, seen = self.lines.view(view).on_skin(points)
            if seen[-1]:
                way = (flat[-1] - flat[-5]) / np.linalg.norm(flat[-1] - flat[-5])
                across = np.array([-way[1], way[0]]) * _HALF_STOP_MM
                body.append(svg_path([np.array([flat[-1] - across, flat[-1] + across])], "stop"))
        return body

    @staticmethod
    def _start(step: ArcStep, walk: Walk) -> float:
        return {step.start: 0.0, step.end: step.length_mm, step.via: step.tape.via_mm}[walk.zero]

    @staticmethod
    def _fitted(step: ArcStep, in_hand_mm: float) -> float:
        return float(np.interp(in_hand_mm, step.tape.in_hand_mm, step.tape.fitted_mm))

    def bearing(self, found: Bearing) -> ChairDrawing:
        """A place that two short tapes find."""
        site = self.solved.marking.cups_mm[found.place or found.site]
        ends = [self._point(found.first.first), self._point(found.second.first)]
        view, lines = self.lines.best_view(np.array([site, *ends])), self.lines
        runs = scalp_paths(self.tracer, [(end, site) for end in ends])
        body = [lines.free_places(view, self.obstacles, f"to-{found.site}")]
        body += [lines.tape(view, run.curve.path_mm) for run in runs]
        body += [lines.zero(view, end) for end in ends]
        names = (found.first.first, found.second.first)
        body += [self._label(view, name, point) for name, point in zip(names, ends, strict=True)]
        body.append(self._mark(view, found.place or found.site, found.site, site))
        title = f"{found.title}, found by two short tapes"
        return ChairDrawing(lines.svg(view, body, title, self._box(view)), VIEW_WORDS[view])

    def _box(self, view: str) -> tuple[float, float, float, float]:
        """With room for the names beside the head."""
        left, top, width, height = self.lines.view(view).box
        return left - 12.0, top - 10.0, width + 24.0, height + 10.0

    def _point(self, name: str) -> Floats:
        """Where a mark stands that somebody made."""
        cups: Mapping[str, Floats] = self.solved.marking.cups_mm
        if name in cups:
            return cups[name]
        return np.asarray(self.tracer.point(_OF_TITLE.get(name, name)))

    def _mark(self, view: str, name: str, called: str, point: Floats) -> str:
        x, y, seen = self.lines.at(view, point)
        kind = "mark" if seen else "mark averted"
        tick = '<path class="check" d="M-4 0l3 3.2 5-6.4"/>'
        return (
            f'<g class="{kind}" data-mark="{escape(name, quote=True)}">{dot(x, y, "spot")}'
            f'{dot(x, y, "core")}<g transform="translate({x:.1f} {y:.1f})">{tick}</g>'
            f"{self._words(view, x, y, called)}</g>"
        )

    def _label(self, view: str, name: str, point: Floats) -> str:
        x, y, _ = self.lines.at(view, point)
        return self._words(view, x, y, name.replace(" preauricular point", " ear"))

    def _words(self, view: str, x: float, y: float, words: str) -> str:
        """A name beside its mark, away from the middle of the head."""
        left, top, width, height = self.lines.view(view).box
        out = np.array([x - left - width / 2, y - top - height / 2])
        out /= max(float(np.linalg.norm(out)), 1.0)
        side = "start" if out[0] >= 0 else "end"
        if abs(out[0]) < 0.35:
            side = "middle"
        dx, dy = (0.0 if side == "middle" else 0.95 * np.sign(out[0])), 0.36 + 0.95 * out[1]
        return (
            f'<text class="name" x="{x:.1f}" y="{y:.1f}" dx="{dx:.2f}em" dy="{dy:.2f}em" '
            f'text-anchor="{side}">{escape(words)}</text>'
        )

    @cached_property
    def map(self) -> ChairDrawing:
        """The flat map with every cup where it stands, for what is not on one arc."""
        drawing = MapDrawing(self.sites, *_MAP_MM, self.solved.displacement)
        drawn = drawing.drawn(None)
        parts = [_map_shape(shape) for shape in drawn.shapes if isinstance(shape, Line)]
        own, now = drawing.own, drawing.now
        left_out = self.solved.displacement.left_out if self.solved.displacement else {}
        places = drawing.paper(np.array(list((own | now).values())))
        radius = _radius(places)
        for name, place in own.items():
            x, y = drawing.paper(now.get(name, place))[0].tolist()
            kind = "left" if name in left_out else "moved" if name in now else ""
            size = min(0.95 * radius, 2.3 * radius / max(len(name), 2))
            parts.append(
                f'<g class="site {kind}" data-mark="{escape(name, quote=True)}">'
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{radius:.1f}"/>'
                f'<text x="{x:.1f}" y="{y:.1f}" dy=".36em" font-size="{size:.1f}">'
                f"{escape(name)}</text></g>"
            )
        svg = (
            f'<svg class="dr flat" viewBox="0 0 {_MAP_MM[0]:g} {_MAP_MM[1]:g}" role="img" '
            f'aria-label="map of the head with every site">{"".join(parts)}'
            f"{_sides(drawn.shapes)}</svg>"
        )
        return ChairDrawing(svg, VIEW_WORDS["top"])


def _radius(places: Floats) -> float:
    """Circles as large as leaves most neighbours apart, on the map."""
    gaps = np.linalg.norm(places[:, None] - places[None], axis=2)
    np.fill_diagonal(gaps, np.inf)
    nearest = np.sort(gaps.min(axis=1))
    usual = float(nearest[len(nearest) // 6]) if len(nearest) > 1 else 20.0
    return float(np.clip(0.45 * usual, 2.4, 9.0))


def _map_shape(line: Line) -> str:
    points = " ".join(f"{x:.1f},{y:.1f}" for x, y in line.points)
    kind = line.pen.replace(" ", "-")
    return f'<{"polygon" if line.closed else "polyline"} class="map-{kind}" points="{points}"/>'


def _sides(shapes: Iterable[Line | Circle | Text]) -> str:
    """Which side is which."""
    return "".join(
        f'<text class="side" x="{shape.x:.1f}" y="{shape.y + 2:.1f}">{escape(shape.words)}</text>'
        for shape in shapes
        if isinstance(shape, Text) and shape.words in ("left", "right")
    )
