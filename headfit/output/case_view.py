"""What is shown of a solved case: scene, tables and sentences; for app, report and picture alike.

Millimetres, head frame. A case in which nothing is measured yet shows the template head of its age.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, wraps
from typing import Any, TypeVar

from headfit.anatomy.arcs import ARCS
from headfit.case.case import Case
from headfit.case.solved import SolvedCase
from headfit.errors import HeadfitError
from headfit.fitting.hand_set_shape import hand_words
from headfit.output.scene import Arrow, Chain, Derivation, DrawnSite, Region, Scene, make_scene
from headfit.output.tables import StrokeOnly, Table, derivation_table, sheet_table, site_table
from headfit.planning.arc_steps import Found, places_on_tape
from headfit.planning.derivations import MeasuredMontage
from headfit.planning.displacement import Displacement, Move
from headfit.planning.marking import MarkingPlan
from headfit.planning.montages import montage_of
from headfit.units import tape_length, told_in

_T = TypeVar("_T")


def _in_its_unit(method: Callable[[CaseView], _T]) -> Callable[[CaseView], _T]:
    """What a part of the view says tells tape lengths in the unit of the case."""

    @wraps(method)
    def told(self: CaseView) -> _T:
        with told_in(self.solved.case.unit):
            return method(self)

    return told


# Parts of a view in which nothing of the set-up record is said.
_WITHOUT_RECORD = ("bare_scene", "scene", "site_table", "tables", "doubted")


@dataclass(frozen=True, eq=False)
class CaseView:
    """What is shown of a solved case, each part made when it is asked for."""

    solved: SolvedCase

    def charted(self, case: Case) -> CaseView:
        """The same of a case that differs in its set-up record alone, as `SolvedCase.charted`."""
        other = CaseView(self.solved.charted(case))
        kept = {name: part for name, part in vars(self).items() if name in _WITHOUT_RECORD}
        vars(other).update(kept)
        return other

    @cached_property
    @_in_its_unit
    def bare_scene(self) -> Scene:
        """Head, arcs, sites and rings: enough while a slider is dragged."""
        case, solved = self.solved.case, self.solved
        captions = ["Invented data, no person."] if case.invented else []
        captions += [hand_words(case.shape)] if case.shape else []
        if solved.head_from == "template":
            captions.append("Nothing is measured yet: this is no person's head.")
        if solved.head_from == "marks":
            captions.append("Nothing is measured yet: this head was found under the marks.")
        scene = make_scene(
            solved.head, solved.sites, spreads=solved.spreads, title=case.label, captions=captions
        )
        return _on_tapes(scene, solved)

    @cached_property
    @_in_its_unit
    def scene(self) -> Scene:
        """All that is drawn.

        Raises
        ------
        InputError
            A place to keep free is off the scalp, too small or too large.
        """
        scene, solved = self.bare_scene, self.solved
        if solved.displacement is not None:
            scene = _with_free_places(scene, solved.displacement, solved.marking)
        if solved.derivations is not None:
            scene = replace(scene, chains=_chains(solved.derivations))
        comparison = None if "comparison" in solved.problems else solved.comparison
        if comparison is not None:
            from headfit.output.comparison_scene import with_comparison

            scene = with_comparison(scene, comparison)
        return scene

    @cached_property
    @_in_its_unit
    def site_table(self) -> Table:
        """Where on the tape each site is marked, without moves and marks."""
        return self._site_table(self.bare_scene)

    def _site_table(self, scene: Scene, strokes: tuple[StrokeOnly, ...] = ()) -> Table:
        measured, old_names = self.solved.fitted is not None, self.solved.case.old_names
        return site_table(scene, measured=measured, old_names=old_names, strokes=strokes)

    @cached_property
    @_in_its_unit
    def tables(self) -> dict[str, Table]:
        """By name: "sheet", "sites", "derivations", "moves"; those that the case has."""
        solved, tables = self.solved, {}
        if solved.fitted is not None:
            tables["sheet"] = sheet_table(
                solved.fitted.tape.readings_mm, solved.fitted.predicted_mm, self.doubted
            )
        strokes = () if solved.fitted is None else _strokes(solved.marking, solved.sites.names)
        tables["sites"] = self._site_table(self.scene, strokes)
        if solved.derivations is not None:
            tables["derivations"] = derivation_table(
                solved.derivations, old_names=solved.case.old_names
            )
        if solved.case.marks is not None and "comparison" not in solved.problems:
            from headfit.output.comparison_scene import comparison_table

            assert solved.comparison is not None  # no problem with its marks
            tables["moves"] = comparison_table(solved.comparison, solved.displacement)
        return tables

    @cached_property
    @_in_its_unit
    def doubted(self) -> dict[str, str]:
        """Readings that the others contradict, and what to do about each."""
        advice = self.solved.advice
        found = None if advice is None else advice.disagrees
        return {} if found is None else {found.name: found.sentence}

    @cached_property
    @_in_its_unit
    def sentences(self) -> dict[str, tuple[str, ...]]:
        """By what they are about, those that the case has.

        "advice", "norms", "shape", "free", "record", "derivations", "comparison", "marks" (about
        their file).
        """
        solved, said = self.solved, dict[str, tuple[str, ...]]()
        if solved.fitted is not None and solved.advice is not None:
            said["advice"] = solved.advice_sentences
            said["norms"], said["shape"] = solved.advice.norms, solved.advice.shape
        if solved.displacement is not None:
            said["free"] = solved.free_sentences
        if not solved.case.record.blank:
            said["record"] = solved.record_sentences
        if "derivations" in solved.problems:
            said["derivations"] = _cannot("derivations", "shown", solved.problems["derivations"])
        elif solved.derivations is not None:
            said["derivations"] = (*_own_set(solved), *solved.derivations.findings)
        for part in ("marks", "comparison"):
            if part in solved.problems:
                said["comparison"] = _cannot("marks", "compared", solved.problems[part])
                return said
        if solved.comparison is not None:
            from headfit.comparing.verdict import comparison_sentences, file_sentences

            said["comparison"] = comparison_sentences(solved.comparison)
            said["marks"] = file_sentences(solved.comparison)
        return said


def _strokes(plan: MarkingPlan, sites: tuple[str, ...]) -> tuple[StrokeOnly, ...]:
    """Places that take a stroke and no cup, where no tape over a free place is needed for them."""
    return tuple(
        StrokeOnly(
            mark.name,
            step.arc,
            mark.distance_mm,
            step.tape.own,
            f"no cup; {mark.other} is laid here" if mark.other in ARCS else "no cup",
        )
        for step in plan.steps
        for mark in step.marks
        if mark.kind == "construction" and not mark.blocked and mark.name not in sites
    )


def _own_set(solved: SolvedCase) -> tuple[str, ...]:
    """Said when a reduced array has its own set in place of the one that was asked for."""
    asked, montage = solved.case.derivations, solved.case.montage
    if asked is None or montage is None or montage_of(asked).name == montage.name:
        return ()
    return (
        (
            f"{montage_of(asked).title} needs sites that the array {solved.case.array_title} has "
            f"not: its own set is used, {montage.title}."
        ),
    )


def _cannot(what: str, done: str, error: HeadfitError) -> tuple[str, ...]:
    return (f"The {what} cannot be {done}: {error}.",)


def _on_tapes(scene: Scene, solved: SolvedCase) -> Scene:
    """Arcs and sites told by the tape in hand, which is the reading where there is one."""
    arcs = []
    for line in scene.arcs:
        tape = solved.tape_on(line.name)
        arcs.append(replace(line, length_mm=tape.length_mm, taped=tape.own, words=tape.told))
    found = places_on_tape(solved.sites, solved.tape_on)
    return replace(_marked(scene, found), arcs=tuple(arcs))


def _marked(scene: Scene, found: Mapping[str, Found]) -> Scene:
    return scene.with_sites(
        replace(
            scene.site(name),
            start=place.zero,
            from_start_mm=place.distance_mm,
            taped=place.tape.own,
        )
        for name, place in found.items()
        if name in {site.name for site in scene.sites}
    )


def _with_free_places(scene: Scene, moved: Displacement, plan: MarkingPlan) -> Scene:
    """Moved sites at their new places, those without a place marked, and the places themselves."""
    changed: list[DrawnSite] = []
    arrows = tuple(
        Arrow(move.site, scene.site(move.site).point_mm, move.point_mm, move.words, "moved")
        for move in moved.moves
    )
    # A tape that ends before a place is walked from its other end behind it.
    scene = _marked(scene, plan.found)
    # Its place on the tape lies where nothing must be put: never say it.
    nowhere: dict[str, Any] = {"from_start_mm": None, "sure_mm": None}
    for move in moved.moves:
        site = scene.site(move.site)
        changed.append(
            replace(site, **nowhere, point_mm=move.point_mm, state="moved", note=_moved(move, plan))
        )
    bearings = {way.site: way for way in plan.bearings}
    kept = {move.site for move in moved.moves} | moved.left_out.keys()
    for name, way in bearings.items():
        if name not in kept:  # it stays where it is, but no tape along its arc reaches it
            site = replace(scene.site(name), from_start_mm=None, note=f"{way.words}.")
            changed.append(site)
    for name, why in moved.left_out.items():
        changed.append(replace(scene.site(name), **nowhere, state="blocked", note=why))
    names = {site.name for site in changed}
    ellipses = tuple(each for each in scene.ellipses if each.site not in names)
    regions = tuple(
        Region(obstacle.title, obstacle.outline_mm, obstacle.reason) for obstacle in moved.obstacles
    )
    return replace(scene.with_sites(changed), regions=regions, ellipses=ellipses, arrows=arrows)


def _moved(move: Move, plan: MarkingPlan) -> str:
    """Where a moved site goes and from where it is taped, in the words of the sheet."""
    way = next((each for each in plan.bearings if each.site == move.site), None)
    if way is not None:
        return f"{move.words[:-1]}: {way.words}."
    found = plan.found.get(move.toward) if move.named else None
    if found is None:
        return move.words
    return f"{move.words[:-1]}: {tape_length(found.distance_mm)} from {found.zero} on {found.arc}."


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
