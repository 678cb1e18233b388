"""Distances between marks that no arc measured, each with its tolerance, over clear scalp only. mm.

A *check* is taped from mark to mark before paste is on. A *bearing* finds a place from two marks
that exist, by two short tapes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from headfit.anatomy.arcs import ArcTracer, mirrored, on_left
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.geometry.mesh import Floats
from headfit.planning.clear_tapes import is_clear
from headfit.planning.obstacles import Obstacle
from headfit.planning.scalp_paths import scalp_paths
from headfit.units import tape_length

# Spread of a tape laid from mark to mark, on a head of `_USUAL_MIDLINE_MM`: two marks and a reading
# of 2 mm each were not told apart in any source; a judgement.
TAPE_MM = 2.0
_USUAL_MIDLINE_MM = 350.0
# Right marks leave two standard deviations once in twenty.
TOLERANCE_SD = 2.0
# Short enough to lay by eye, long enough to read; two tapes that cross at less than 35 degrees tell
# little across. Design choices, no source.
_SHORTEST_MM, _LONGEST_MM, _LEAST_SINE = 12.0, 130.0, 0.57
_MOST_BEARINGS = 9

PairSpreads = Callable[[Sequence[tuple[str, str]]], Sequence[float]]
# Where each cup stands, by what it is called on the head, and the declared site it moves with.
Cups = Mapping[str, Floats]


@dataclass(frozen=True)
class Check:
    """The tape between two marks, which no arc measured.

    `tolerance_mm` is None where nothing tells how sure the distance is.
    """

    first: str
    second: str
    length_mm: float
    tolerance_mm: float | None = None

    @property
    def name(self) -> str:
        """Both marks."""
        return f"{self.first}–{self.second}"


@dataclass(frozen=True)
class Bearing:
    """A place found by two short tapes from marks that exist.

    Attributes
    ----------
    site : str
        The cup that comes here.
    place : str
        The declared site it stands on, or empty.
    first, second : Check
        From the mark to the place.
    side : str
        A mark on whose side of the line between the two the place lies.
    """

    site: str
    place: str
    first: Check
    second: Check
    side: str

    @property
    def title(self) -> str:
        """The site, and the declared place it moved to."""
        return f"{self.site} → {self.place}" if self.place else self.site

    @property
    def words(self) -> str:
        """How it is found."""
        return (
            f"{tape_length(self.first.length_mm)} from {self.first.first} and "
            f"{tape_length(self.second.length_mm)} from {self.second.first}, toward {self.side}"
        )


@dataclass(frozen=True)
class CheckList:
    """Rows of checks, left beside right or one alone, and pairs whose tape would meet a place."""

    rows: tuple[tuple[Check, Check | None], ...]
    forbidden: tuple[str, ...]


def check_list(
    tracer: ArcTracer,
    cups: Cups,
    measured: set[frozenset[str]],
    obstacles: Sequence[Obstacle] = (),
    pair_spreads: PairSpreads | None = None,
    declared: Mapping[str, str] | None = None,
) -> CheckList:
    """Tapes between neighbours that no arc measured, from front to back, left beside right.

    Parameters
    ----------
    tracer : ArcTracer
    cups : mapping of str to (3,)
    measured : set of pairs
        Neighbours whose distance is told already.
    obstacles : sequence of Obstacle
    pair_spreads : callable, optional
        Standard deviation of the distance between declared sites, mm.
    declared : mapping of str to str, optional
        The declared site that stands for a cup, where the names differ.
    """
    names = list(cups)
    if len(names) < 2:
        return CheckList((), ())
    points = np.array([cups[name] for name in names])
    pairs = [(names[i], names[j]) for i, j in _neighbours(tracer, points)]
    once: dict[frozenset[str], tuple[str, str]] = {}
    for a, b in pairs:
        for pair in ((a, b), (mirrored(a), mirrored(b))):
            if cups.keys() >= set(pair):
                once.setdefault(frozenset(pair), pair)
    wanted = [pair for key, pair in once.items() if key not in measured]
    runs = scalp_paths(tracer, [(cups[a], cups[b]) for a, b in wanted])
    clear = [is_clear(run.curve.path_mm, obstacles) for run in runs]
    kept = [pair for pair, free in zip(wanted, clear, strict=True) if free]
    tolerances = _tolerances(tracer, kept, pair_spreads, declared or {})
    lengths = [run.length_mm for run, free in zip(runs, clear, strict=True) if free]
    found = {
        frozenset(pair): Check(*pair, length, tolerance)
        for pair, length, tolerance in zip(kept, lengths, tolerances, strict=True)
    }
    forward = tracer.point("nasion") - tracer.point("inion")
    rows: list[tuple[Check, Check | None]] = []
    for pair in sorted(kept, key=lambda p: -float((cups[p[0]] + cups[p[1]]) @ forward)):
        check = found.pop(frozenset(pair), None)
        if check is None:
            continue
        across = [mirrored(name) for name in pair]
        other = found.pop(frozenset(across), None)
        rows.append((other, check) if other is not None and on_left(across) else (check, other))
    forbidden = tuple("–".join(p) for p, free in zip(wanted, clear, strict=True) if not free)
    return CheckList(tuple(rows), forbidden)


def tape_spread_mm(tracer: ArcTracer) -> float:
    """Spread of a tape from mark to mark, smaller on a small head."""
    return TAPE_MM * min(1.0, tracer.length_mm("midline") / _USUAL_MIDLINE_MM)


def _tolerances(
    tracer: ArcTracer,
    pairs: Sequence[tuple[str, str]],
    pair_spreads: PairSpreads | None,
    declared: Mapping[str, str],
) -> list[float | None]:
    if pair_spreads is None:
        return [None] * len(pairs)
    told = [(declared.get(a, a), declared.get(b, b)) for a, b in pairs]
    tape = tape_spread_mm(tracer)
    return [TOLERANCE_SD * float(np.hypot(spread, tape)) for spread in pair_spreads(told)]


def _neighbours(tracer: ArcTracer, points: Floats) -> list[tuple[int, int]]:
    """Pairs of points (n, 3) with no third one in the ball between them, on one side of the head.

    The graph of Gabriel & Sokal 1969, Systematic Zoology 18.
    """
    square = ((points[:, None] - points) ** 2).sum(axis=2)
    # A third point lies in the ball when it sees the two at an obtuse angle (Pythagoras).
    clear = np.array([(row + square).min(axis=1) >= row - 1e-3 for row in square])
    # The middle of the landmarks is near enough to the middle of the head to tell its sides apart.
    outward = points - np.mean([tracer.point(name) for name in LANDMARK_NAMES], axis=0)
    first, second = np.nonzero(np.triu(clear & (outward @ outward.T > 0), 1))
    return list(zip(first.tolist(), second.tolist(), strict=True))


def bearing(
    tracer: ArcTracer,
    site: str,
    place: str,
    point: Floats,
    marks: Cups,
    obstacles: Sequence[Obstacle],
    wish: tuple[str, str] | None = None,
) -> Bearing | None:
    """The two shortest clear tapes that fix a place from marks that exist; None without any.

    Parameters
    ----------
    tracer : ArcTracer
    site, place : str
    point : (3,) float64
        On the scalp.
    marks : mapping of str to (3,)
        Marks that exist when this one is made.
    obstacles : sequence of Obstacle
    wish : (str, str), optional
        The two marks to take if they do: those of the other side.
    """
    gaps = {name: float(np.linalg.norm(at - point)) for name, at in marks.items()}
    near = [n for n in sorted(gaps, key=gaps.__getitem__) if _SHORTEST_MM < gaps[n] < _LONGEST_MM]
    near = list(dict.fromkeys([*near[:_MOST_BEARINGS], *(n for n in wish or () if n in near)]))
    runs = dict(zip(near, scalp_paths(tracer, [(marks[n], point) for n in near]), strict=True))
    clear = [name for name in near if is_clear(runs[name].curve.path_mm, obstacles)]
    ways: list[tuple[float, str, str]] = []
    for one, other in combinations(clear, 2):
        a, b = marks[one] - point, marks[other] - point
        sine = float(np.linalg.norm(np.cross(a, b)) / (gaps[one] * gaps[other]))
        if sine >= _LEAST_SINE:
            ways.append((runs[one].length_mm + runs[other].length_mm, one, other))
    wished = [way for way in ways if wish and set(way[1:]) == set(wish)]
    best = min(wished or ways, default=None)
    if best is None:
        return None
    _, one, other = best
    if wish and {one, other} == set(wish):
        one, other = wish
    first, second = (Check(name, place or site, runs[name].length_mm) for name in (one, other))
    return Bearing(site, place, first, second, _side(one, other, point, marks))


def _side(one: str, other: str, point: Floats, marks: Cups) -> str:
    """The nearest mark on the side of the line between two marks on which a point lies."""
    line = marks[other] - marks[one]
    line = line / np.linalg.norm(line)

    def beside(at: Floats) -> Floats:
        gap = at - marks[one]
        return np.asarray(gap - (gap @ line) * line)

    own = beside(point)
    agree = {
        name: float(beside(at) @ own / (np.linalg.norm(beside(at)) * np.linalg.norm(own)))
        for name, at in marks.items()
        if name not in (one, other) and np.linalg.norm(at - point) > _SHORTEST_MM
    }
    sure = [name for name, cosine in agree.items() if cosine > 0.5] or list(agree)
    return min(sure, key=lambda name: float(np.linalg.norm(marks[name] - point)))
