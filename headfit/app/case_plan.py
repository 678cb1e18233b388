"""What is marked on the head of a case: its sites, moved where a place must stay free; derivations.

Neither scene nor advice: the sheet for the chair needs no more, and starts sooner without them.
Millimetres, head frame.
"""

from __future__ import annotations

from dataclasses import dataclass

from headfit import __version__
from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import Sites, place_sites
from headfit.errors import unknown_name
from headfit.files.case_file import Case, FreePlace
from headfit.files.montage_file import read_montage
from headfit.files.results import fitted_head
from headfit.fitting.fit import FittedHead
from headfit.fitting.hand_set_shape import hand_words
from headfit.fitting.tape import MEASUREMENTS
from headfit.output.sheet import SheetContent
from headfit.planning.derivations import MeasuredMontage, measure_montage
from headfit.planning.displacement import Displacement, displace
from headfit.planning.montages import Montage, standard_montages
from headfit.planning.obstacles import Obstacle, disc, polygon
from headfit.units import cm


@dataclass(frozen=True, eq=False)
class CasePlan:
    """What is marked on the head of a case.

    Attributes
    ----------
    case : Case
    fitted : FittedHead
    sites : Sites
    displacement : Displacement or None
        When places must stay free.
    montage : MeasuredMontage or None
        The chosen derivations.
    """

    case: Case
    fitted: FittedHead
    sites: Sites
    displacement: Displacement | None
    montage: MeasuredMontage | None

    @property
    def free(self) -> tuple[str, ...]:
        """What the places that must stay free ask for, one sentence each."""
        return free_sentences(self.displacement)


def free_sentences(moved: Displacement | None) -> tuple[str, ...]:
    """What the places that must stay free ask for; none when the case has no such place."""
    if moved is None:
        return ()
    return moved.sentences or ("No site lies in a place that must stay free.",)


def plan_case(case: Case) -> CasePlan:
    """Fit a case that holds a measurement and plan what is marked.

    Raises
    ------
    HeadfitError
        The sentence says what is wrong with the case.
    """
    fitted = fitted_head(case)
    sites = place_sites(fitted.head, case.array, case.rules)
    moved = displaced(case, sites)
    chosen = chosen_montage(case)
    measured = (
        measure_montage(chosen, sites, moved.points_mm if moved else None) if chosen else None
    )
    return CasePlan(case, fitted, sites, moved, measured)


def content_of(plan: CasePlan) -> SheetContent:
    """What the sheet for the chair says of a case."""
    case, fitted = plan.case, plan.fitted
    taken = {
        name: " / ".join(cm(value) for value in readings) + " cm"
        for name, readings in case.tape.readings_mm.items()
    }
    whole = {name: MEASUREMENTS[name].arcs for name in taken if len(MEASUREMENTS[name].arcs) == 1}
    label = fitted.head.label
    notes = [f"Template: {label}."] if label != "adult" else []
    notes += ["Invented data, no person."] if case.invented else []
    if case.doubtful:
        notes.append(f"Hard to find: {', '.join(TITLES[name] for name in case.doubtful)}.")
    notes += [hand_words(case.shape)] if case.shape else []
    return SheetContent(
        case.label,
        plan.sites,
        __version__,
        tuple(f"{MEASUREMENTS[name].title} {text}" for name, text in taken.items()),
        (*notes, *fitted.flags),
        {arc: f"taken {taken[name]}" for name, (arc,) in whole.items()},
        plan.displacement,
        (plan.montage,) if plan.montage else (),
    )


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


def displaced(case: Case, sites: Sites) -> Displacement | None:
    """What becomes of the sites when the places of the case stay free; None without any."""
    if not case.free:
        return None
    places = [obstacle_of(place, sites) for place in case.free]
    return displace(sites, places, homologues=not case.move_alone)


def chosen_montage(case: Case) -> Montage | None:
    """The derivations a case names.

    Raises
    ------
    HeadfitError
        The file cannot be read, or no such set.
    """
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
