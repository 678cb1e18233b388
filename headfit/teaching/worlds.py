"""What stands on the head in one state of a drag, and how figures are read off it. mm."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import Sites
from headfit.geometry.mesh import Floats, TriangleMesh
from headfit.geometry.sections import cut
from headfit.geometry.surface import nearest, normals_at
from headfit.geometry.taperun import TapeRun, lay
from headfit.planning.obstacles import Obstacle
from headfit.teaching.bench import Bench
from headfit.teaching.stage import Dots, DrawnTape, Outlines
from headfit.teaching.words import figure_asked

N_TAPE_POINTS = 61
_RING_POINTS = 28


@dataclass(frozen=True, eq=False)
class World:
    """One state.

    Attributes
    ----------
    sites : Sites
        All that is shown, as it is marked in this state.
    runs : mapping of str to TapeRun
        Tapes that do not lie as the arcs of `sites` do.
    shown : frozenset of str or None
        Sites that are to be seen; None for all.
    obstacles : tuple of Obstacle
    """

    sites: Sites
    runs: Mapping[str, TapeRun] = field(default_factory=dict)
    shown: frozenset[str] | None = None
    obstacles: tuple[Obstacle, ...] = ()

    def run(self, arc: str) -> TapeRun:
        """The tape on an arc in this state."""
        return self.runs[arc] if arc in self.runs else self.sites.tracer.run(arc)


def landmark_words(name: str) -> str:
    """A landmark in few letters, for a picture.

    >>> landmark_words("left_preauricular"), landmark_words("inion")
    ('left ear', 'inion')
    """
    return TITLES[name].replace(" preauricular point", " ear")


def laid_mm(run: TapeRun, n_points: int = N_TAPE_POINTS) -> Floats:
    """(n, 3) the tape itself, evenly: over hollows it bridges them."""
    at = np.linspace(0.0, run.length_mm, n_points)
    return np.column_stack([np.interp(at, run.reached_mm, run.touched_mm[:, k]) for k in range(3)])


def normals_of(mesh: TriangleMesh, points: Floats) -> Floats:
    """(..., 3) outward normals of the skin nearest to points (..., 3)."""
    flat = points.reshape(-1, 3)
    return normals_at(mesh, nearest(mesh, flat)[0]).reshape(points.shape)


def once(states: Floats) -> Floats:
    """The states (S, ...), or the first alone where all are alike."""
    return states[:1] if np.abs(states - states[:1]).max(initial=0.0) < 1e-9 else states


def figures(
    bench: Bench,
    show: Sequence[str],
    worlds: Sequence[World],
    *,
    own: Sites | None = None,
    grows: Sequence[str] = (),
    told: Callable[[str], str] | None = None,
) -> tuple[tuple[DrawnTape, ...], tuple[Dots, ...], tuple[Outlines, ...]]:
    """The figures of a step in all its states.

    Parameters
    ----------
    bench : Bench
    show : sequence of str
        As in the lesson.
    worlds : sequence of World
    own : Sites, optional
        Where sites should be, when a slip moves them.
    grows : sequence of str
        Arcs whose tape is pulled.
    told : callable, optional
        What is said under the name of a site.
    """
    tapes: list[DrawnTape] = []
    dots: list[Dots] = []
    outlines: list[Outlines] = []
    for line in show:
        word, given = figure_asked(line)
        if word in ("tape", "other", "thin"):
            arc = str(given[0])
            tapes.append(_tape(bench, arc, word, worlds, grows=arc in grows))
        elif word == "plane":
            tapes.append(_plane(worlds, str(given[0]), str(given[1])))
        elif word in ("sites", "strokes"):
            names = tuple(name for name in map(str, given) if name in worlds[0].sites)
            look = "site" if word == "sites" else "stroke"
            dots.append(_dots(look, names, worlds, own, told))
        elif word == "landmarks":
            dots.append(_landmarks(worlds))
        elif word == "rings":
            outlines += _rings(bench, tuple(map(str, given)))
        elif word == "places" and worlds[0].obstacles:
            outlines.append(outlines_of(worlds))
    return tuple(tapes), tuple(dots), tuple(outlines)


def _tape(bench: Bench, arc: str, look: str, worlds: Sequence[World], *, grows: bool) -> DrawnTape:
    points = once(np.array([laid_mm(world.run(arc)) for world in worlds]))
    own = bench.tape(arc)
    # On the head as it is the reading counts; in other states how much longer the tape became.
    gain = [world.run(arc).length_mm - own.fitted_mm[-1] for world in worlds]
    mesh = worlds[0].sites.tracer.mesh
    lengths = once(own.length_mm + np.array(gain))
    return DrawnTape(arc, look, points, normals_of(mesh, points), lengths, grows)


def _plane(worlds: Sequence[World], front: str, back: str) -> DrawnTape:
    """The skin in the plane through two sites that is level from left to right, all round."""
    tracer = worlds[0].sites.tracer
    points = np.array([worlds[0].sites[front], worlds[0].sites[back]])
    left, right = (tracer.point(f"{side}_preauricular") for side in ("left", "right"))
    middle = points.mean(axis=0)
    halves = []
    for side in (left, right):
        beside = middle + 1.5 * (side - (left + right) / 2)
        curve = cut(tracer.mesh, points[0], beside, points[1], via_is_hint=True)
        halves.append(lay(curve))
    first, second = (laid_mm(half) for half in halves)
    path = np.concatenate([first, second[::-1]])[None]
    length = np.array([sum(half.length_mm for half in halves)])
    return DrawnTape(f"level with {front}", "plane", path, normals_of(tracer.mesh, path), length)


def _dots(
    look: str,
    names: tuple[str, ...],
    worlds: Sequence[World],
    own: Sites | None,
    told: Callable[[str], str] | None,
) -> Dots:
    rows = [worlds[0].sites.names.index(name) for name in names]
    points = once(np.array([world.sites.points_mm[rows] for world in worlds]))
    normals = once(np.array([world.sites.normals[rows] for world in worlds]))
    if len(points) == 1:
        normals = normals[:1]
    seen = [[world.shown is None or n in world.shown for n in names] for world in worlds]
    shown = np.array(seen)
    if (shown == shown[:1]).all():
        shown = shown[:1]
    said = tuple(told(name) for name in names) if told else ()
    at = None if own is None else np.array([own[name] for name in names])
    return Dots(look, names, points, normals, shown, said, at)


def _landmarks(worlds: Sequence[World]) -> Dots:
    tracers = [world.sites.tracer for world in worlds]
    points = np.array([[tracer.point(name) for name in LANDMARK_NAMES] for tracer in tracers])
    points = once(points)
    normals = normals_of(tracers[0].mesh, points)
    names = tuple(map(landmark_words, LANDMARK_NAMES))
    return Dots("landmark", names, points, normals, np.ones((1, 4), bool))


def _rings(bench: Bench, names: tuple[str, ...]) -> list[Outlines]:
    """95 % rings of those sites that are of 10-20, as the tapes leave them."""
    spreads = bench.same_tapes.spreads
    sites = bench.same_tapes.sites[bench.same_tapes.own]
    kept = tuple(name for name in names if name in spreads.names)
    angle = np.linspace(0.0, 2 * np.pi, _RING_POINTS, endpoint=False)[:, None]
    found = []
    for name in kept:
        row = spreads.names.index(name)
        a, b, turn = spreads.ellipses_mm[row]
        along, across = spreads.along[row], spreads.across[row]
        major = a * (np.cos(turn) * along + np.sin(turn) * across)
        minor = b * (np.cos(turn) * across - np.sin(turn) * along)
        found.append(sites[name] + np.cos(angle) * major + np.sin(angle) * minor)
    if not found:
        return []
    points = np.array(found)[None]
    return [Outlines("ring", kept, points, normals_of(sites.tracer.mesh, points))]


def outlines_of(worlds: Sequence[World]) -> Outlines:
    """Places that must stay free, each with as many points."""
    n_points = 40

    def even(outline: Floats) -> Floats:
        closed = np.concatenate([outline, outline[:1]])
        steps = np.linalg.norm(np.diff(closed, axis=0), axis=1)
        reached = np.concatenate([[0.0], np.cumsum(steps)])
        at = np.linspace(0.0, reached[-1], n_points, endpoint=False)
        return np.column_stack([np.interp(at, reached, closed[:, k]) for k in range(3)])

    points = np.array([[even(o.outline_mm) for o in world.obstacles] for world in worlds])
    names = tuple(obstacle.title for obstacle in worlds[0].obstacles)
    return Outlines("place", names, points, normals_of(worlds[0].sites.tracer.mesh, points))
