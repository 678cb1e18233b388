"""A comparison as something to look at: states of sites, arrows from marks to sites, a table."""

from __future__ import annotations

import textwrap
from dataclasses import replace

from headfit.anatomy.head import Head
from headfit.comparing.comparison import Comparison, Deviation
from headfit.comparing.tolerance import Judgement, judged, tolerance_words
from headfit.comparing.verdict import verdict
from headfit.output.scene import Arrow, DrawnSite, Scene, make_scene
from headfit.output.tables import Column, Row, Table, mm
from headfit.planning.displacement import Displacement

STATE_OF: dict[Judgement, str] = {
    "within": "near",
    "cannot be told": "unsure",
    "off": "off",
    "far off": "far",
}


def comparison_arrows(comparison: Comparison, least_mm: float = 1.0) -> tuple[Arrow, ...]:
    """An arrow from each mark to its site, for marks at least so far off over the scalp."""
    return tuple(
        Arrow(d.site, foot, site, f"{d.over_scalp_mm:.0f} mm {d.words}".strip())
        for d, foot, site in zip(
            comparison.deviations, comparison.feet_mm, comparison.targets.points_mm, strict=True
        )
        if d.over_scalp_mm >= least_mm
    )


def comparison_scene(comparison: Comparison, head: Head, title: str = "") -> Scene:
    """The scene of a comparison: the sites that were marked, and an arrow for each mark."""
    scene = make_scene(
        head,
        comparison.targets.sites,
        title=title or comparison.source,
        captions=textwrap.wrap(verdict(comparison), 70),
    )
    return replace(scene, arrows=comparison_arrows(comparison))


def with_comparison(scene: Scene, comparison: Comparison) -> Scene:
    """The scene with the state of every marked site, and an arrow for each mark to be moved."""
    known = {site.name for site in scene.sites}
    changed = [
        _judged(scene.site(d.site), d, comparison.bands_mm)
        for d in comparison.deviations
        if d.site in known
    ]
    advice = {
        d.site: f"{d.site} lies {d.words}: its name looks mixed up."
        for d in comparison.deviations
        if d.mixed_up
    }
    advice |= {move.site: move.sentence for move in comparison.moves}
    size = {d.site: d.over_scalp_mm for d in comparison.deviations}
    arrows = [
        Arrow(arrow.site, arrow.start_mm, arrow.end_mm, advice[arrow.site])
        for arrow in comparison_arrows(comparison)
        if arrow.site in advice
    ]
    arrows.sort(key=lambda arrow: -size[arrow.site])
    moved = tuple(arrow for arrow in scene.arrows if arrow.kind == "moved")
    return replace(scene.with_sites(changed), arrows=(*arrows, *moved))


def _judged(site: DrawnSite, deviation: Deviation, bands_mm: tuple[float, float]) -> DrawnSite:
    state = STATE_OF[judged(deviation, bands_mm)]
    note = "" if state == "near" else deviation.words
    if state == "unsure":
        note += f", cannot be told: tolerance {tolerance_words(deviation, bands_mm)} mm"
    if deviation.mixed_up:
        note = "name mixed up?"
    if site.state == "moved" and state == "near" and not note:  # it stands where it was moved to
        state, note = site.state, site.note
    return replace(site, state=state, deviation_mm=deviation.over_scalp_mm, note=note)


def comparison_table(comparison: Comparison, displacement: Displacement | None = None) -> Table:
    """Every mark, the farthest first: all of its deviation, and its own part of it."""
    moved = {} if displacement is None else displacement.points_mm
    rows = []
    for d in sorted(comparison.deviations, key=lambda d: -d.over_scalp_mm):
        way = f"{d.words} (name mixed up?)" if d.mixed_up else d.words
        way += " of where it was moved to" if way and d.site in moved else ""
        tolerance = tolerance_words(d, comparison.bands_mm)
        said = judged(d, comparison.bands_mm)
        rows.append(Row((d.site, mm(d.over_scalp_mm), tolerance, said, mm(d.own_mm), way), d.site))
    return Table(
        "moves",
        "The farthest first. Tolerance: the limit, and how unsure the site itself is (95 %). "
        "Without shift: what is left when the whole set is put back.",
        (
            Column("Site"),
            Column("Off by", "mm", number=True),
            Column("Tolerance", "mm"),
            Column("Judged"),
            Column("Without shift", "mm", number=True),
            Column("The mark lies"),
        ),
        tuple(rows),
    )
