"""The marks of a case against its sites, as the page and the report show them. Millimetres."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import replace
from typing import cast

from headfit.anatomy.sites import place_sites
from headfit.comparing.alignment_kinds import ALIGNMENT_TITLES, AlignmentKind
from headfit.comparing.compare import compare_marks
from headfit.comparing.comparison import Comparison, Deviation
from headfit.comparing.verdict import common_in_words, verdict
from headfit.errors import InputError, sentence
from headfit.files.case_file import Case
from headfit.files.marks_files import read_marks
from headfit.files.results import CaseResult
from headfit.output.comparison_scene import comparison_arrows
from headfit.output.scene import Arrow, DrawnSite, Scene
from headfit.output.tables import Column, Row, Table, mm

_STATES = ("near", "off", "far")


def compare_case(case: Case, result: CaseResult | None) -> Comparison:
    """The marks of a case held against the sites of its fitted head.

    Raises
    ------
    InputError
        There are no marks, nothing is measured, or the marks cannot be read or compared.
    """
    if case.marks_file is None or result is None:
        raise InputError(
            sentence("a comparison", "have marks and at least one measurement", "one of them only"),
            code="comparison-parts",
        )
    marks = read_marks(case.marks_file)
    fitted = result.fitted
    sites = place_sites(fitted.head, marks.names, case.rules) if len(marks) else result.sites
    # Landmarks are taken where they were measured, and best fit where not.
    chosen = None if case.align == "landmarks" else cast(AlignmentKind, case.align)
    return compare_marks(
        sites, marks, chosen, spreads=fitted.spreads(sites) if len(marks) else None
    )


def with_comparison(scene: Scene, comparison: Comparison, moved: Collection[str]) -> Scene:
    """The scene with the state of every marked site, and an arrow for each mark to be moved.

    Parameters
    ----------
    scene : Scene
    comparison : Comparison
    moved : collection of str
        Sites that stand elsewhere on purpose: their marks are not judged.
    """
    known = {site.name for site in scene.sites}
    changed = [
        _judged(scene.site(d.site), d)
        for d in comparison.deviations
        if d.site in known and d.site not in moved
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
        if arrow.site in advice and arrow.site not in moved
    ]
    arrows.sort(key=lambda arrow: -size[arrow.site])
    return replace(scene.with_sites(changed), arrows=tuple(arrows))


def _judged(site: DrawnSite, deviation: Deviation) -> DrawnSite:
    note = "name mixed up?" if deviation.mixed_up else deviation.words if deviation.band else ""
    return replace(
        site, state=_STATES[deviation.band], deviation_mm=deviation.over_scalp_mm, note=note
    )


def comparison_table(comparison: Comparison, moved: Collection[str]) -> Table:
    """Every mark, the farthest first: all of its deviation, and its own part of it."""
    rows = []
    for d in sorted(comparison.deviations, key=lambda d: -d.over_scalp_mm):
        way = "moved on purpose, not judged" if d.site in moved else d.words
        way = f"{way} (name mixed up?)" if d.mixed_up else way
        rows.append(Row((d.site, mm(d.over_scalp_mm), way, mm(d.own_mm)), d.site))
    return Table(
        "moves",
        "The farthest first. Own part: what is left when the whole set is put back.",
        (
            Column("Site"),
            Column("Off by", "mm", number=True),
            Column("The mark lies"),
            Column("Own part", "mm", number=True),
        ),
        tuple(rows),
    )


def comparison_sentences(comparison: Comparison) -> tuple[str, ...]:
    """What was found, the main thing first."""
    said = [verdict(comparison)]
    said += [f"{mixup.sentence}." for mixup in comparison.mixups]
    if comparison.common is not None:
        common = common_in_words(comparison.common)
        if common not in said[0]:  # the verdict tells it mostly
            said.append(f"Common part: {common}.")
    medians = (
        f"{found.median_mm:.0f} mm lined up {ALIGNMENT_TITLES[kind]}"
        for kind, found in comparison.alignments.items()
    )
    said.append(f"Middle distance of a mark from its site: {', '.join(medians)}.")
    return tuple(said)


def file_sentences(comparison: Comparison) -> tuple[str, ...]:
    """What was corrected or is doubtful in the file of marks."""
    return tuple(
        f"{remark.kind.capitalize()}: {remark.sentence}."
        for remark in comparison.remarks
        if remark.kind != "note"
    )
