"""What a set-up record says when it is held against the plan: where each electrode stands, flags.

Impedances in kΩ, places in the head frame, mm. Limits are common practice unless the record sets
its own; local policy decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from headfit.anatomy.arcs import mirrored
from headfit.anatomy.sites import TABLE, Sites, canonical_name, sites_on
from headfit.case.record import GROUND, REFERENCE, ChartedElectrode, SetUpRecord
from headfit.errors import UnknownNameError
from headfit.geometry.mesh import Floats
from headfit.planning.displacement import Displacement, Move
from headfit.planning.preparation import BALANCE_KOHM, LIMIT_KOHM

# Of fewer there is no middle from which one could stand out.
LEAST_FOR_MIDDLE = 3

TITLES = {REFERENCE: "reference", GROUND: "ground"}


@dataclass(frozen=True)
class Imbalance:
    """Two impedances that are too far apart.

    Attributes
    ----------
    one : ChartedElectrode
    other : ChartedElectrode or None
        Its homologue; None for the middle of all sites.
    other_kohm : float
    """

    one: ChartedElectrode
    other: ChartedElectrode | None
    other_kohm: float

    @property
    def names(self) -> tuple[str, ...]:
        """The electrodes to look at."""
        return (self.one.name, *([] if self.other is None else [self.other.name]))

    @property
    def words(self) -> str:
        """Both with their impedances."""
        if self.other is None:
            return f"{with_kohm(self.one)} against {self.other_kohm:g} kΩ, the middle of all"
        return f"{with_kohm(self.one)} and {with_kohm(self.other)}"


Status = Literal["predicted", "moved", "left_out"]


@dataclass(frozen=True, eq=False)
class Standing:
    """Where an electrode stands.

    Attributes
    ----------
    status : {"predicted", "moved", "left_out"} or None
        None for another lead that stands at no site.
    point_mm : (3,) float64 or None
        None for one that is left out, or of whose place only words tell.
    """

    status: Status | None
    point_mm: Floats | None


def with_kohm(one: ChartedElectrode) -> str:
    """An electrode as a sentence names it, with its impedance.

    >>> with_kohm(ChartedElectrode("REF", impedance_kohm=4.5))
    'reference 4.5 kΩ'
    """
    return f"{TITLES.get(one.name, one.name)} {one.impedance_kohm:g} kΩ"


def above_limit(record: SetUpRecord) -> tuple[ChartedElectrode, ...]:
    """The electrodes whose impedance is above the limit."""
    return tuple(
        one
        for one in record.electrodes
        if one.impedance_kohm is not None and one.impedance_kohm > record.limit_kohm
    )


def imbalances(record: SetUpRecord) -> tuple[Imbalance, ...]:
    """Impedances that are too far apart: of homologues, else of a site and the middle of all sites.

    The amplifier takes a difference of two electrodes, and what both pick up from the room cancels
    only when their impedances are alike. The reference is held against the middle too; ground and
    other leads are not part of such a difference.

    >>> charted = [
    ...     ChartedElectrode("C3", impedance_kohm=2),
    ...     ChartedElectrode("C4", impedance_kohm=8),
    ... ]
    >>> [each.words for each in imbalances(SetUpRecord(tuple(charted)))]
    ['C3 2 kΩ and C4 8 kΩ']
    """
    kohm = {one.name: one.impedance_kohm for one in record.sites if one.impedance_kohm is not None}
    found: list[Imbalance] = []
    for one in record.sites:
        twin = mirrored(one.name)
        told = {name for each in found for name in each.names}
        if one.name not in kohm or twin not in kohm or one.name in told:
            continue
        if _apart(kohm[one.name], kohm[twin], record):
            found.append(Imbalance(one, record.site(twin), kohm[twin]))
    if len(kohm) < LEAST_FOR_MIDDLE:
        return tuple(found)
    middle = round(median(kohm.values()), 3)
    told = {name for each in found for name in each.names}
    single = [one for one in (*record.sites, record.reference) if one and one.name not in told]
    found += [
        Imbalance(one, None, middle)
        for one in single
        if one.impedance_kohm is not None and _apart(one.impedance_kohm, middle, record)
    ]
    return tuple(found)


def _apart(one_kohm: float, other_kohm: float, record: SetUpRecord) -> bool:
    # Rounded as impedances are: 8.3 and 3.3 are 5 apart, and not a hair more.
    return round(abs(one_kohm - other_kohm), 3) > record.balance_kohm


def site_at(place: str) -> str | None:
    """The declared site that a charted place names; None for words.

    >>> site_at("T3"), site_at("two fingers behind the ear")
    ('T7', None)
    """
    try:
        return canonical_name(place) if place else None
    except UnknownNameError:
        return None


def standings(
    record: SetUpRecord, sites: Sites, displacement: Displacement | None
) -> dict[str, Standing]:
    """Where each site of the plan and each other charted electrode stands: as charted, or planned.

    Parameters
    ----------
    record : SetUpRecord
    sites : Sites
        Of the plan.
    displacement : Displacement or None
        The moves of the plan.
    """
    planned = dict(displacement.points_mm) if displacement is not None else {}
    charted = {one.name: one for one in record.electrodes}
    names = list(dict.fromkeys([*sites.names, *charted]))
    wanted = {place for one in charted.values() if (place := site_at(one.place))}
    wanted |= {name for name in names if name in TABLE}
    more = tuple(sorted(wanted - set(sites.names)))
    own = dict(sites) | dict(sites_on(sites.tracer, more, "charted", sites.rules))
    return {
        name: _standing(charted.get(name, ChartedElectrode(name)), own, planned) for name in names
    }


def _standing(
    one: ChartedElectrode, own: Mapping[str, Floats], planned: Mapping[str, Floats | None]
) -> Standing:
    if one.applied is False:
        return Standing("left_out", None)
    is_site = one.name in own
    if one.place:
        at = site_at(one.place)
        if at is None:
            return Standing("moved" if is_site else None, None)
        return Standing("moved" if is_site and at != one.name else "predicted", own[at])
    if one.name in planned:
        point = planned[one.name]
        return Standing("left_out" if point is None else "moved", point)
    return Standing("predicted", own[one.name]) if is_site else Standing(None, None)


def record_sentences(
    record: SetUpRecord, sites: Sites, displacement: Displacement | None
) -> tuple[str, ...]:
    """What a person should look at in a record, and what became of the plan; nothing when blank."""
    if record.blank:
        return ()
    return (
        *_impedance_sentences(record),
        *_left_out_sentences(record),
        *_moved_sentences(record, sites, displacement),
        *_gaps(record, sites.names),
    )


def _impedance_sentences(record: SetUpRecord) -> Iterator[str]:
    high, uneven = above_limit(record), imbalances(record)
    if high:
        yield f"Above {limit_words(record)}: {', '.join(map(with_kohm, high))}."
    if uneven:
        yield f"Apart by more than {balance_words(record)}: {'; '.join(e.words for e in uneven)}."
    flagged = {one.name for one in high} | {name for each in uneven for name in each.names}
    sore = [
        f"{TITLES.get(one.name, one.name)} ({one.skin_before})"
        for one in record.electrodes
        if one.name in flagged and one.skin_before
    ]
    if sore:
        yield (
            f"The skin was charted at {', '.join(sore)}: never abrade broken, inflamed or healing "
            "skin to lower an impedance."
        )


def limit_words(record: SetUpRecord) -> str:
    """The limit of an impedance and where it comes from.

    >>> limit_words(SetUpRecord()), limit_words(SetUpRecord(limit_kohm=5))
    ('10 kΩ (common practice; local policy decides)', '5 kΩ (set in this record)')
    """
    usual = record.limit_kohm == LIMIT_KOHM
    return f"{record.limit_kohm:g} kΩ ({_PRACTICE if usual else _SET})"


def balance_words(record: SetUpRecord) -> str:
    """The largest difference of impedances and where it comes from.

    >>> balance_words(SetUpRecord())
    '5 kΩ (balance is common practice, the figure is half of the usual limit; local policy decides)'
    """
    usual = record.balance_kohm == BALANCE_KOHM
    return f"{record.balance_kohm:g} kΩ ({_BALANCE if usual else _SET})"


_PRACTICE = "common practice; local policy decides"
_BALANCE = "balance is common practice, the figure is half of the usual limit; local policy decides"
_SET = "set in this record"


def _left_out_sentences(record: SetUpRecord) -> Iterator[str]:
    left_out = [_noted(one.name, one) for one in record.electrodes if one.applied is False]
    if left_out:
        yield f"Left out: {', '.join(left_out)}."


def _noted(words: str, one: ChartedElectrode) -> str:
    return f"{words} ({one.note})" if one.note else words


def _moved_sentences(
    record: SetUpRecord, sites: Sites, displacement: Displacement | None
) -> Iterator[str]:
    where = standings(record, sites, displacement)
    planned = displacement or Displacement((), (), {}, ())
    moves = {move.site: move for move in planned.moves}
    taken: dict[str, list[str]] = {}
    for one in record.sites:
        if not one.applied:
            continue
        move = moves.get(one.name)
        if one.place:
            yield from _place_sentence(one, move)
        elif one.name in planned.left_out:
            yield f"{one.name} was to be left out, and is applied: chart where it stands."
        point = where[one.name].point_mm
        if point is None:
            continue
        taken.setdefault(site_of(one, move), []).append(one.name)
        for free in planned.obstacles:
            if free.covers(point[None])[0]:
                yield f"{one.name} touches a place that must stay free: {free.title}."
    for place, names in taken.items():
        if len(names) > 1 and place:
            yield f"{' and '.join(names)} are charted at one place, {place}."


def site_of(one: ChartedElectrode, move: Move | None) -> str:
    """The site at which an applied electrode stands; empty when it stands between sites."""
    if one.place:
        return site_at(one.place) or ""
    if move is not None:
        return move.toward if move.named else ""
    return one.name


def _place_sentence(one: ChartedElectrode, move: Move | None) -> Iterator[str]:
    at = site_at(one.place)
    if move is None and at == one.name:
        return
    said = f"{one.name} stands at {'its own place' if at == one.name else at or one.place}"
    if move is not None and move.named and move.toward == at:
        said += ", as planned"
    elif move is not None:
        said += f"; planned was: {move.words.rstrip('.')}"
    yield f"{_noted(said, one)}."


def _gaps(record: SetUpRecord, names: Sequence[str]) -> Iterator[str]:
    strange = [one.name for one in record.sites if one.name not in names]
    if strange:
        yield f"Charted, and not of this array: {', '.join(strange)}."
    without = [
        TITLES.get(one.name, one.name)
        for one in record.electrodes
        if one.applied and one.impedance_kohm is None
    ]
    if without and any(one.impedance_kohm is not None for one in record.electrodes):
        yield f"No impedance charted: {', '.join(without)}."
    missing = [name for name in names if record.site(name).applied is None]
    if len(missing) == len(names):
        return
    if missing:
        yield f"Not charted: {', '.join(missing)}."
    for title, lead in (("reference", record.reference), ("ground", record.ground)):
        if lead is None:
            yield f"The {title} is not charted."
