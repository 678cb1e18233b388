"""Which readings of a sheet are the tape on an arc, and how sure the lengths are that nobody taped.

Millimetres.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from headfit.anatomy.arc_tapes import ArcTape
from headfit.anatomy.arcs import ARCS
from headfit.anatomy.sites import Sites, sites_on
from headfit.fitting.fit import FittedHead
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.spreads import site_axes, site_rates
from headfit.geometry.mesh import Floats
from headfit.geometry.rates import RunRates
from headfit.geometry.taperun import TapeRun
from headfit.units import tape_number

# Arc -> the reading of its whole length; what the halves add is in `_reading`.
_WHOLE = {
    arc: name for name, kind in MEASUREMENTS.items() if len(kind.arcs) == 1 for arc in kind.arcs
}
_SIDES = {"left ring": "left", "right ring": "right"}


def arc_tape(fitted: FittedHead, sites: Sites, arc: str) -> ArcTape:
    """The tape on an arc: the own reading where there is one, otherwise the prediction.

    Parameters
    ----------
    fitted : FittedHead
    sites : Sites
        Placed on its head; their arcs are those that are marked.
    arc : str

    Raises
    ------
    UnknownNameError
        No such arc.

    >>> from headfit import Tape, fit_head, place_sites
    >>> fitted = fit_head(Tape(ring_mm=566.0))
    >>> tape = arc_tape(fitted, place_sites(fitted), "left ring")
    >>> tape.own, tape.words, tape.length_mm
    (True, 'half of your 56.6', 283.0)
    """
    run = sites.tracer.run(arc)
    return _read(arc, run, fitted.tape.values_mm, sites) or _predicted(fitted, sites, arc, run)


def _read(arc: str, run: TapeRun, values: Mapping[str, float], sites: Sites) -> ArcTape | None:
    """The tape of an arc that was read, whole or in halves."""
    found = _reading(arc, values, sites)
    if found is None:
        return None
    length, words, front = found
    # Cz halves the midline by definition; elsewhere the tape passes where the fitted one does.
    via = length * (0.5 if arc == "midline" else run.via_mm / run.length_mm)
    if run.pinned:
        return ArcTape((0.0, run.via_mm, run.length_mm), (0.0, via, length), True, words, via)
    # Marks are fractions of the whole; only the middle point was perhaps read by itself.
    return ArcTape(
        (0.0, run.length_mm), (0.0, length), True, words, via if front is None else front
    )


def _reading(
    arc: str, values: Mapping[str, float], sites: Sites
) -> tuple[float, str, float | None] | None:
    """Length, what it is, and where the tape passes over the middle when that was read."""
    whole = values.get(_WHOLE.get(arc, ""))
    if arc == "midline":
        halves = [values[name] for name in ("nasion_cz", "cz_inion") if name in values]
        if whole is None and len(halves) == 2:
            return sum(halves), f"your {tape_number(halves[0])} + {tape_number(halves[1])}", None
        if whole is None and halves:  # Cz halves the midline by definition
            return 2 * halves[0], f"twice your {tape_number(halves[0])}", None
    if arc not in _SIDES:
        return None if whole is None else (whole, "own reading", None)
    side = _SIDES[arc]
    front = values.get(f"{side}_ring_front")
    if whole is not None:
        return whole, "own reading", front
    back = values.get(f"{side}_ring_back")
    if front is not None and back is not None:
        return front + back, f"your {tape_number(front)} + {tape_number(back)}", front
    ring = values.get("ring")
    if ring is None:
        return None
    other = values.get(f"{'right' if side == 'left' else 'left'}_ring")
    if other is not None and other < ring:
        return ring - other, f"your {tape_number(ring)} less {tape_number(other)}", front
    left, right = (sites.tracer.length_mm(name) for name in _SIDES)
    own = (left if side == "left" else right) / (left + right)
    share = "half" if abs(ring * (own - 0.5)) < 0.5 else "share"  # of a head alike on both sides
    return ring * (0.5 if share == "half" else own), f"{share} of your {tape_number(ring)}", None


def _predicted(fitted: FittedHead, sites: Sites, arc: str, run: TapeRun) -> ArcTape:
    rates = fitted.model_tracer(sites.rules).run_rates(arc)
    slopes = [rates.via, rates.length - rates.via] if ARCS[arc].pinned else [rates.length]
    spread = max(_spread(fitted, slope) for slope in slopes) * _with_leftover(fitted, arc, rates)
    marks = (0.0, run.via_mm, run.length_mm) if run.pinned else (0.0, run.length_mm)
    return ArcTape(marks, marks, False, "predicted", run.via_mm, spread)


def _with_leftover(fitted: FittedHead, arc: str, rates: RunRates) -> float:
    """By how much what no parameter draws widens the spread of an arc that the sheet knows."""
    if arc not in _WHOLE:
        return 1.0
    return max(1.0, fitted.predicted_spread_mm[_WHOLE[arc]] / _spread(fitted, rates.length))


def _spread(fitted: FittedHead, slope: Floats) -> float:
    return float(np.sqrt(np.maximum(slope @ fitted.covariance @ slope, 0.0)))


@dataclass(frozen=True, eq=False)
class KnownLengths:
    """Lengths on a fitted head, and how they hang together.

    Attributes
    ----------
    names : tuple of str
        Measurements, and arcs that no measurement is the length of.
    values_mm : (n,) float64
        As fitted.
    covariance_mm2 : (n, n) float64
        Of what is not known of them.
    reading_spreads_mm : (n,) float64
        Standard deviation of one reading of each.
    """

    names: tuple[str, ...]
    values_mm: Floats
    covariance_mm2: Floats
    reading_spreads_mm: Floats


def known_lengths(
    fitted: FittedHead, sites: Sites, names: Sequence[str], arcs: Sequence[str]
) -> KnownLengths:
    """Some measurements and the lengths of some arcs, as they are expected and hang together.

    One more reading moves all of them by the usual rule for a normal distribution: by its
    covariance with each, over its own variance and that of the reading.

    Parameters
    ----------
    fitted : FittedHead
    sites : Sites
        Whose arcs and rules hold.
    names : sequence of str
        Measurements.
    arcs : sequence of str
        Those that are the whole length of no measurement are told by their own name.
    """
    others = [arc for arc in arcs if arc not in _WHOLE]
    tracer = fitted.model_tracer(sites.rules)
    slopes = [fitted.measurement_slopes[name] for name in names]
    slopes += [tracer.run_rates(arc).length for arc in others]
    leftover = fitted.leftover_effects.on_measurements(tuple(names))
    leftover = np.vstack([leftover, np.zeros((len(others), leftover.shape[1]))])
    unseen = fitted.estimate.unseen(np.array(slopes), leftover)
    values = [fitted.predicted_mm[name] for name in names]
    values += [sites.tracer.length_mm(arc) for arc in others]
    spreads = [fitted.tape.spread_mm(name) for name in names]
    spreads += [MEASUREMENTS["nasion_inion"].spread_mm] * len(others)
    return KnownLengths((*names, *others), np.array(values), unseen @ unseen.T, np.array(spreads))


def pair_spreads_mm(
    fitted: FittedHead, sites: Sites, pairs: Sequence[tuple[str, str]]
) -> list[float]:
    """Standard deviation of the distance over the scalp between the sites of each pair.

    That of the straight distance, carried over to the scalp by the ratio of arc to chord of a
    circle through both sites; what moves both sites alike drops out.

    Parameters
    ----------
    fitted : FittedHead
    sites : Sites
        Whose arcs and rules hold; the pairs may name any declared site.
    pairs : sequence of (str, str)
    """
    names = tuple(dict.fromkeys(name for pair in pairs for name in pair))
    if not names:
        return []
    tracer = fitted.model_tracer(sites.rules)
    placed = sites_on(tracer, names, sites.system, tracer.rules)
    rates, row = site_rates(placed, tracer), {name: i for i, name in enumerate(names)}
    axes = np.stack(site_axes(placed), axis=2)  # (n, 3, 2) along and across
    leftover = axes @ fitted.leftover_effects.on_sites(names, tracer.rules)  # (n, 3, h)
    normals, spreads = placed.normals, []
    for a, b in pairs:
        i, j = row[a], row[b]
        chord = placed.points_mm[j] - placed.points_mm[i]
        length = float(np.linalg.norm(chord))
        way = chord / length
        slope, rest = way @ (rates[j] - rates[i]), way @ (leftover[j] - leftover[i])
        spread = float(np.linalg.norm(fitted.estimate.unseen(slope, rest)))
        half_turn = np.arccos(np.clip(normals[i] @ normals[j], -1.0, 1.0)) / 2
        stretch = half_turn / np.sin(half_turn) if half_turn > 1e-3 else 1.0
        spreads.append(float(stretch) * spread)
    return spreads
