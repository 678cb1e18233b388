"""All that is shown of a case: fitted head, scene, tables and sentences; for app and report alike.

Millimetres, head frame. A case in which nothing is measured yet shows the template head of its age.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from headfit.anatomy.sites import Sites, place_sites
from headfit.anatomy.template import load_template
from headfit.app.case_plan import chosen_montage, displaced, free_sentences
from headfit.errors import HeadfitError
from headfit.files.case_file import Case
from headfit.files.results import CaseResult, fit_case, fitted_head
from headfit.fitting.advice import Advice
from headfit.fitting.hand_set_shape import hand_words
from headfit.fitting.tape import Tape
from headfit.output.scene import Chain, Derivation, DrawnSite, Region, Scene, make_scene
from headfit.output.tables import Column, Row, Table, mm, sheet_table, site_table
from headfit.planning.derivations import MeasuredMontage, measure_montage
from headfit.planning.displacement import Displacement

# Stands in a case of which nothing is measured yet; told by identity, shown nowhere.
UNMEASURED = Tape(ring_mm=560.0)


@dataclass(frozen=True, eq=False)
class CaseView:
    """What is shown of a case.

    Attributes
    ----------
    case : Case
    result : CaseResult or None
        None while nothing is measured.
    sites : Sites
    scene : Scene
    tables : dict of str to Table
        "sheet", "sites", "derivations", "moves".
    sentences : dict of str to tuple of str
        "advice", "norms", "shape", "free", "derivations", "comparison", "marks" (about their file).
    displacement : Displacement or None
        When places must stay free.
    montage : MeasuredMontage or None
        The chosen derivations.
    """

    case: Case
    result: CaseResult | None
    sites: Sites
    scene: Scene
    tables: Mapping[str, Table]
    sentences: Mapping[str, tuple[str, ...]]
    displacement: Displacement | None = None
    montage: MeasuredMontage | None = None


def view_case(case: Case, *, quick: bool = False, result: CaseResult | None = None) -> CaseView:
    """Fit a case and lay out what is shown of it.

    Parameters
    ----------
    case : Case
    quick : bool
        Only head, arcs and sites: enough while a slider is dragged.
    result : CaseResult, optional
        Of this case, when it was fitted already.

    Raises
    ------
    HeadfitError
        The sentence says what is wrong with the case.
    """
    sentences: dict[str, tuple[str, ...]] = {}
    tables: dict[str, Table] = {}
    captions = ["Invented data, no person."] if case.invented else []
    captions += [hand_words(case.shape)] if case.shape else []
    if case.tape is UNMEASURED:
        result = None
        head = load_template(case.age)
        sites = place_sites(head, case.array, case.rules)
        captions.append("Nothing is measured yet: this is no person's head.")
        scene = make_scene(head, sites, title=case.label, captions=captions)
    else:
        result = result or (_quick_fit(case) if quick else fit_case(case))
        sites = result.sites
        scene = make_scene(
            result.fitted.head, sites, spreads=result.spreads, title=case.label, captions=captions
        )
        advice = result.advice
        sentences["advice"] = (*result.fitted.flags, *advice.sentences())
        sentences["norms"], sentences["shape"] = advice.norms, advice.shape
        tables["sheet"] = sheet_table(case.tape.readings_mm, result.fitted.predicted_mm)
    moved = None if quick else displaced(case, sites)
    if moved is not None:
        scene = _with_free_places(scene, moved)
        sentences["free"] = free_sentences(moved)
    chosen = measured = None
    try:
        chosen = None if quick else chosen_montage(case)
    except HeadfitError as error:  # a list of one's own that was moved or is wrong
        sentences["derivations"] = (f"The derivations cannot be shown: {error}.",)
    if chosen is not None:
        measured = measure_montage(chosen, sites, moved.points_mm if moved else None)
        scene = replace(scene, chains=_chains(measured))
        tables["derivations"] = _derivation_table(measured)
        sentences["derivations"] = measured.findings
    if case.marks_file is not None and not quick:
        # Here alone: comparing loads what a head without marks never needs.
        from headfit.app.case_comparison import (
            compare_case,
            comparison_sentences,
            comparison_table,
            file_sentences,
            with_comparison,
        )

        away = moved.points_mm if moved else {}
        try:
            comparison = compare_case(case, result)
        except HeadfitError as error:  # the head and its sites are right all the same
            sentences["comparison"] = (f"The marks cannot be compared: {error}.",)
        else:
            scene = with_comparison(scene, comparison, away)
            tables["moves"] = comparison_table(comparison, away)
            sentences["comparison"] = comparison_sentences(comparison)
            sentences["marks"] = file_sentences(comparison)
    tables["sites"] = site_table(scene, measured=result is not None)
    return CaseView(case, result, sites, scene, tables, sentences, moved, measured)


def _quick_fit(case: Case) -> CaseResult:
    """The fit without advice, which takes as long again."""
    fitted = fitted_head(case)
    sites = place_sites(fitted.head, case.array, case.rules)
    return CaseResult(case, fitted, sites, fitted.spreads(sites), Advice((), (), (), (), ()))


def _with_free_places(scene: Scene, moved: Displacement) -> Scene:
    """Moved sites at their new places, those without a place marked, and the places themselves."""
    changed: list[DrawnSite] = []
    # Its place on the tape lies where nothing must be put: never say it.
    nowhere: dict[str, Any] = {"from_start_mm": None, "sure_mm": None}
    for move in moved.moves:
        site = scene.site(move.site)
        changed.append(
            replace(site, **nowhere, point_mm=move.point_mm, state="moved", note=move.words)
        )
    for name, why in moved.left_out.items():
        changed.append(replace(scene.site(name), **nowhere, state="blocked", note=why))
    names = {site.name for site in changed}
    ellipses = tuple(each for each in scene.ellipses if each.site not in names)
    regions = tuple(
        Region(obstacle.title, obstacle.outline_mm, obstacle.reason) for obstacle in moved.obstacles
    )
    return replace(scene.with_sites(changed), regions=regions, ellipses=ellipses)


def _chains(measured: MeasuredMontage) -> tuple[Chain, ...]:
    return tuple(
        Chain(
            found.chain.name,
            tuple(
                Derivation(
                    each.derivation.first, each.derivation.second, each.path_mm, each.length_mm
                )
                for each in found.derivations
            ),
        )
        for found in measured.chains
    )


def _derivation_table(measured: MeasuredMontage) -> Table:
    moved = any(each.before_mm is not None for each in measured.derivations)
    columns = [Column("Derivation"), Column("Length", "mm", number=True)]
    if moved:
        columns.append(Column("Longer by moving", "mm", number=True))
    rows = []
    for found in measured.chains:
        rows.append(Row((f"Chain: {found.chain.name}",), heading=True))
        for each in found.derivations:
            change = [] if not moved else [f"{each.change_mm:+.0f}" if each.change_mm else ""]
            rows.append(Row((each.name, mm(each.length_mm), *change)))
    caption = f"{measured.montage.title}: length of each derivation along the scalp."
    return Table("derivations", caption, tuple(columns), tuple(rows))
