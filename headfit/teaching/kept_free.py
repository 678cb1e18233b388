"""The places that a case keeps free, shown in a lesson that is about something else. Millimetres.

Such a lesson is about rules, so its sites stand where the rules put them. Where a place of the case
makes one of them go elsewhere, the place is drawn and a sentence says so in that very step.
"""

from __future__ import annotations

from dataclasses import replace

from headfit.case.solved import obstacle_of
from headfit.marks.remarks import listed
from headfit.teaching.bench import Bench
from headfit.teaching.stage import StagedStep
from headfit.teaching.worlds import World, outlines_of

CAUTION = "Places must stay free on this head: mark by its sheet"


def with_places_of_the_case(bench: Bench, staged: StagedStep) -> StagedStep:
    """The step with the outlines of what its head keeps free, and what that does to its sites.

    Raises
    ------
    InputError
        A place lies off the scalp, or is too small or too large.
    """
    free = bench.solved.case.free
    if not free or staged.profile is not None:
        return staged
    sites = bench.sites
    places = outlines_of((World(sites, obstacles=tuple(obstacle_of(p, sites) for p in free)),))
    shown = [name for dots in staged.dots for name in dots.names]
    gone = [name for name in dict.fromkeys(shown) if name in bench.kept_free.points_mm]
    return replace(staged, outlines=(places, *staged.outlines), cautions=_said(gone))


def _said(gone: list[str]) -> tuple[str, ...]:
    if not gone:
        return ()
    they = "it moves" if len(gone) == 1 else "they move"
    words = (
        f"{listed(gone)}: shown by the rule. On this head {they} for a place that must stay "
        "free, mark by its sheet."
    )
    return (words,)
