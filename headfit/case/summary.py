"""The small row of a solved case that a study keeps: numbers and sentences, no mesh.

Millimetres, head frame. A fitted head weighs megabytes; its summary under twenty kilobytes.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from headfit.anatomy.sites import is_beside_ear
from headfit.case.solved import HeadFrom, SolvedCase


@dataclass(frozen=True, eq=False)
class ComparedSites:
    """How marks lie to their sites.

    Attributes
    ----------
    names : tuple of str
    along_mm, across_mm : (n,) float32
        Over the scalp, by the chosen alignment: away from the start of the arc of each site, and to
        the left of that seen from outside.
    own_along_mm, own_across_mm : (n,) float32
        What is left when the common part of the set is taken off.
    uncertainty_mm : (n,) float32
        How far the site itself may lie elsewhere (95 %); 0 when not known.
    turn_degrees, slide_mm, turn_spread_degrees, slide_spread_mm : (3,) float32
        The common part of the set and its standard errors, as in `SetMotion`; NaN when there is
        none.
    stands_out, mixed_up : tuple of str
    doubts : dict of str to str
        What was corrected or is doubtful: code to sentence.
    aligned_by : str
    verdict : str
    """

    names: tuple[str, ...]
    along_mm: NDArray[np.float32]
    across_mm: NDArray[np.float32]
    own_along_mm: NDArray[np.float32]
    own_across_mm: NDArray[np.float32]
    uncertainty_mm: NDArray[np.float32]
    turn_degrees: NDArray[np.float32]
    slide_mm: NDArray[np.float32]
    turn_spread_degrees: NDArray[np.float32]
    slide_spread_mm: NDArray[np.float32]
    stands_out: tuple[str, ...]
    mixed_up: tuple[str, ...]
    doubts: dict[str, str]
    aligned_by: str
    verdict: str


@dataclass(frozen=True, eq=False)
class CaseSummary:
    """What a study keeps of a case.

    Attributes
    ----------
    label, sex, system : str
    age : str or float
    head_from : {"tape", "scan", "marks", "template"}
    measured_mm, fitted_minus_measured_mm : dict of str to float
        By measurement; empty without a tape.
    site_names : tuple of str
    points_mm : (n, 3) float32
        Where each site stands, moved sites where they were moved to; NaN where it is left out.
    sure_mm : (n,) float32
        Longer half axis of the 95 % region of each site; NaN when not known.
    compared : ComparedSites or None
    sentences : tuple of str
        Flags and advice.
    problems : dict of str to str
    """

    label: str
    age: str | float
    sex: str
    system: str
    head_from: HeadFrom
    measured_mm: dict[str, float]
    fitted_minus_measured_mm: dict[str, float]
    site_names: tuple[str, ...]
    points_mm: NDArray[np.float32]
    sure_mm: NDArray[np.float32]
    compared: ComparedSites | None
    sentences: tuple[str, ...]
    problems: dict[str, str]


def summarise(solved: SolvedCase) -> CaseSummary:
    """The small row of a solved case.

    >>> from headfit.case.case import Case
    >>> from headfit.case.solved import solve_case
    >>> from headfit.fitting.tape import Tape
    >>> row = summarise(solve_case(Case(Tape(ring_mm=566.0), label="a head")))
    >>> row.head_from, row.points_mm.shape, row.measured_mm
    ('tape', (21, 3), {'ring': 566.0})
    """
    case, fitted, sites = solved.case, solved.fitted, solved.sites
    points = np.array(sites.points_mm)
    moved = {} if solved.displacement is None else solved.displacement.points_mm
    for name, point in moved.items():
        points[sites.names.index(name)] = np.nan if point is None else point
    spreads = solved.spreads
    sure = np.full(len(sites), np.nan) if spreads is None else spreads.ellipses_mm[:, 0].copy()
    sure[[is_beside_ear(name) for name in sites.names]] = np.nan
    return CaseSummary(
        case.label,
        case.age,
        case.sex or "",
        case.array_title,
        solved.head_from,
        {} if fitted is None else dict(fitted.tape.values_mm),
        {} if fitted is None else dict(fitted.residuals_mm),
        sites.names,
        _small(points),
        _small(sure),
        compared_sites(solved),
        solved.advice_sentences,
        {part: str(error) for part, error in solved.problems.items()},
    )


def compared_sites(solved: SolvedCase) -> ComparedSites | None:
    """How the marks of a case lie; None without marks, or when they cannot be compared."""
    comparison = None if "comparison" in solved.problems else solved.comparison
    if comparison is None:
        return None
    from headfit.comparing.verdict import verdict

    rows, common = comparison.deviations, comparison.common
    unknown = np.full(3, np.nan)
    return ComparedSites(
        tuple(d.site for d in rows),
        _small([d.along_mm for d in rows]),
        _small([d.across_mm for d in rows]),
        _small([d.own_along_mm for d in rows]),
        _small([d.own_across_mm for d in rows]),
        _small([d.uncertainty_mm for d in rows]),
        _small(common.turn_degrees if common else unknown),
        _small(common.slide_mm if common else unknown),
        _small(common.turn_spread_degrees if common else unknown),
        _small(common.slide_spread_mm if common else unknown),
        tuple(comparison.stands_out),
        tuple(d.site for d in rows if d.mixed_up),
        {r.code: r.sentence for r in comparison.remarks if r.kind != "note"},
        comparison.aligned_by,
        verdict(comparison),
    )


def _small(values: ArrayLike) -> NDArray[np.float32]:
    found = np.asarray(values, dtype=np.float32)
    found.setflags(write=False)
    return found
