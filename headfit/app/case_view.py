"""All that is shown of a case: fitted head, scene, tables and sentences; for app and report alike.

Millimetres, head frame. A case in which nothing is measured yet shows the template head of its age.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from headfit.anatomy.sites import Sites, place_sites
from headfit.anatomy.template import load_template
from headfit.app.case_comparison import (
    compare_case,
    comparison_sentences,
    comparison_table,
    file_sentences,
    with_comparison,
)
from headfit.errors import HeadfitError, unknown_name
from headfit.files.case_file import Case, FreePlace
from headfit.files.montage_file import read_montage
from headfit.files.results import CaseResult, fit_case, fitted_head
from headfit.fitting.advice import Advice
from headfit.fitting.by_hand import hand_words
from headfit.fitting.tape import Tape
from headfit.output.scene import Chain, Derivation, DrawnSite, Region, Scene, make_scene
from headfit.output.tables import (
    Column,
    Row,
    Table,
    mm,
    sheet_table,
    site_table,
)
from headfit.planning.derivations import MeasuredMontage, measure_montage
from headfit.planning.displacement import Displacement, displace
from headfit.planning.montages import Montage, standard_montages
from headfit.planning.obstacles import Obstacle, disc, polygon

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
        sites = place_sites(head, case.system, case.rules)
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
    moved = None if quick else _displaced(case, sites)
    if moved is not None:
        scene = _with_free_places(scene, moved)
        sentences["free"] = moved.sentences or ("No site lies in a place that must stay free.",)
    chosen = measured = None
    try:
        chosen = None if quick else _montage(case)
    except HeadfitError as error:  # a list of one's own that was moved or is wrong
        sentences["derivations"] = (f"The derivations cannot be shown: {error}.",)
    if chosen is not None:
        measured = measure_montage(chosen, sites, moved.points_mm if moved else None)
        scene = replace(scene, chains=_chains(measured))
        tables["derivations"] = _derivation_table(measured)
        sentences["derivations"] = measured.findings
    if case.marks_file is not None and not quick:
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
    sites = place_sites(fitted.head, case.system, case.rules)
    return CaseResult(case, fitted, sites, fitted.spreads(sites), Advice((), None, (), (), ()))


def obstacle_of(place: FreePlace, sites: Sites) -> Obstacle:
    """A place of the case file on a head.

    Raises
    ------
    InputError
        Off the scalp, too small or too large; the sentence says which.
    """
    reason = place.reason or "place to keep free"
    if place.polygon_mm:
        return polygon(sites, place.polygon_mm, reason)
    where = place.site if place.site is not None else place.point_mm
    assert where is not None  # the case file has one of the three
    return disc(sites, where, place.radius_mm, reason)


def _displaced(case: Case, sites: Sites) -> Displacement | None:
    if not case.free:
        return None
    return displace(sites, [obstacle_of(place, sites) for place in case.free])


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


def _montage(case: Case) -> Montage | None:
    if case.derivations_file is not None:
        return read_montage(case.derivations_file)
    if case.derivations is None:
        return None
    return montage_of(case.derivations)


def montage_of(name: str) -> Montage:
    """A standard montage by its name or title.

    Raises
    ------
    UnknownNameError
        No such montage.
    """
    known = standard_montages()
    folded = name.strip().casefold()
    for montage in known.values():
        if folded in (montage.name.casefold(), montage.title.casefold()):
            return montage
    raise unknown_name("set of derivations", name, known)


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
