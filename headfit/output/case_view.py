"""What is shown of a solved case: scene, tables and sentences; for app, report and picture alike.

Millimetres, head frame. A case in which nothing is measured yet shows the template head of its age.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from headfit.case.solved import SolvedCase
from headfit.errors import HeadfitError
from headfit.fitting.hand_set_shape import hand_words
from headfit.output.scene import Arrow, Chain, Derivation, DrawnSite, Region, Scene, make_scene
from headfit.output.tables import Table, derivation_table, sheet_table, site_table
from headfit.planning.derivations import MeasuredMontage
from headfit.planning.displacement import Displacement
from headfit.planning.montages import montage_of


@dataclass(frozen=True, eq=False)
class CaseView:
    """What is shown of a solved case, each part made when it is asked for."""

    solved: SolvedCase

    @cached_property
    def bare_scene(self) -> Scene:
        """Head, arcs, sites and rings: enough while a slider is dragged."""
        case, solved = self.solved.case, self.solved
        captions = ["Invented data, no person."] if case.invented else []
        captions += [hand_words(case.shape)] if case.shape else []
        if solved.head_from == "template":
            captions.append("Nothing is measured yet: this is no person's head.")
        if solved.head_from == "marks":
            captions.append("Nothing is measured yet: this head was found under the marks.")
        return make_scene(
            solved.head, solved.sites, spreads=solved.spreads, title=case.label, captions=captions
        )

    @cached_property
    def scene(self) -> Scene:
        """All that is drawn.

        Raises
        ------
        InputError
            A place to keep free is off the scalp, too small or too large.
        """
        scene, solved = self.bare_scene, self.solved
        if solved.displacement is not None:
            scene = _with_free_places(scene, solved.displacement)
        if solved.derivations is not None:
            scene = replace(scene, chains=_chains(solved.derivations))
        comparison = None if "comparison" in solved.problems else solved.comparison
        if comparison is not None:
            from headfit.output.comparison_scene import with_comparison

            scene = with_comparison(scene, comparison)
        return scene

    @cached_property
    def site_table(self) -> Table:
        """Where on the tape each site is marked, without moves and marks."""
        return site_table(self.bare_scene, measured=self.solved.fitted is not None)

    @cached_property
    def tables(self) -> dict[str, Table]:
        """By name: "sheet", "sites", "derivations", "moves"; those that the case has."""
        solved, tables = self.solved, {}
        if solved.fitted is not None:
            tables["sheet"] = sheet_table(
                solved.fitted.tape.readings_mm, solved.fitted.predicted_mm
            )
        tables["sites"] = site_table(self.scene, measured=solved.fitted is not None)
        if solved.derivations is not None:
            tables["derivations"] = derivation_table(solved.derivations)
        if solved.case.marks is not None and "comparison" not in solved.problems:
            from headfit.output.comparison_scene import comparison_table

            assert solved.comparison is not None  # no problem with its marks
            tables["moves"] = comparison_table(solved.comparison, solved.displacement)
        return tables

    @cached_property
    def doubted(self) -> dict[str, str]:
        """Readings that the others contradict, and what to do about each."""
        advice = self.solved.advice
        found = None if advice is None else advice.disagrees
        return {} if found is None else {found.name: found.sentence}

    @cached_property
    def sentences(self) -> dict[str, tuple[str, ...]]:
        """By what they are about, those that the case has.

        "advice", "norms", "shape", "free", "derivations", "comparison", "marks" (about their file).
        """
        solved, said = self.solved, dict[str, tuple[str, ...]]()
        if solved.fitted is not None and solved.advice is not None:
            said["advice"] = (*solved.fitted.flags, *solved.advice.sentences())
            said["norms"], said["shape"] = solved.advice.norms, solved.advice.shape
        if solved.displacement is not None:
            said["free"] = solved.free_sentences
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


def _with_free_places(scene: Scene, moved: Displacement) -> Scene:
    """Moved sites at their new places, those without a place marked, and the places themselves."""
    changed: list[DrawnSite] = []
    arrows = tuple(
        Arrow(move.site, scene.site(move.site).point_mm, move.point_mm, move.words, "moved")
        for move in moved.moves
    )
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
    return replace(scene.with_sites(changed), regions=regions, ellipses=ellipses, arrows=arrows)


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
