"""What a set-up record says when it is held against the plan: where each electrode stands.

Places in the head frame, mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from headfit.anatomy.sites import TABLE, Sites, canonical_name, sites_on
from headfit.case.impedances import LEAD_TITLES, impedance_sentences
from headfit.case.record import ChartedElectrode, SetUpRecord
from headfit.errors import HeadfitError, UnknownNameError
from headfit.geometry.mesh import Floats
from headfit.planning.displacement import Displacement, Move

# Of more that are missing, only their number is said.
MOST_NAMED = 12

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
    own = dict(sites) | _placed(sites, more)
    return {
        name: _standing(charted.get(name, ChartedElectrode(name)), own, planned) for name in names
    }


def _placed(sites: Sites, names: tuple[str, ...]) -> dict[str, Floats | None]:
    """Further sites on the same head; None for one that this surface has no place for."""
    try:
        return dict(sites_on(sites.tracer, names, "charted", sites.rules))
    except HeadfitError:
        one_by_one = (_placed(sites, (name,)) for name in names) if len(names) > 1 else ()
        return dict.fromkeys(names) | {k: v for one in one_by_one for k, v in one.items()}


def _standing(
    one: ChartedElectrode, own: Mapping[str, Floats | None], planned: Mapping[str, Floats | None]
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
        *impedance_sentences(record),
        *_left_out_sentences(record),
        *_moved_sentences(record, sites, displacement),
        *_gaps(record, sites.names),
    )


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
        LEAD_TITLES.get(one.name, one.name)
        for one in record.electrodes
        if one.applied and one.impedance_kohm is None
    ]
    if without and any(one.impedance_kohm is not None for one in record.electrodes):
        yield f"No impedance charted: {_listed(without, 'electrodes')}."
    missing = [name for name in names if record.site(name).applied is None]
    if len(missing) == len(names):
        return
    if missing:
        yield f"Not charted: {_listed(missing, 'sites')}."
    for title, lead in (("reference", record.reference), ("ground", record.ground)):
        if lead is None:
            yield f"The {title} is not charted."


def _listed(names: Sequence[str], kind: str) -> str:
    return ", ".join(names) if len(names) <= MOST_NAMED else f"{len(names)} {kind}"
