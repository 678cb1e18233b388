"""Impedances of a set-up record: above the limit, too far apart. Kiloohm.

Limits are common practice unless the record sets its own; local policy decides.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from statistics import median

from headfit.anatomy.arcs import mirrored
from headfit.case.record import GROUND, REFERENCE, ChartedElectrode, SetUpRecord
from headfit.planning.preparation import BALANCE_KOHM, LIMIT_KOHM

LEAD_TITLES = {REFERENCE: "reference", GROUND: "ground"}
# Of fewer there is no middle from which one could stand out.
LEAST_FOR_MIDDLE = 3

_PRACTICE = "common practice; local policy decides"
_BALANCE = "balance is common practice, the figure is half of the usual limit; local policy decides"
_SET = "set in this record"


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


def with_kohm(one: ChartedElectrode) -> str:
    """An electrode as a sentence names it, with its impedance.

    >>> with_kohm(ChartedElectrode("REF", impedance_kohm=4.5))
    'reference 4.5 kΩ'
    """
    return f"{LEAD_TITLES.get(one.name, one.name)} {one.impedance_kohm:g} kΩ"


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


def impedance_sentences(record: SetUpRecord) -> Iterator[str]:
    """What is above the limit, what is not balanced, and what not to do about it."""
    high, uneven = above_limit(record), imbalances(record)
    if high:
        yield f"Above {limit_words(record)}: {', '.join(map(with_kohm, high))}."
    if uneven:
        yield f"Apart by more than {balance_words(record)}: {'; '.join(e.words for e in uneven)}."
    flagged = {one.name for one in high} | {name for each in uneven for name in each.names}
    sore = [
        f"{LEAD_TITLES.get(one.name, one.name)} ({one.skin_before})"
        for one in record.electrodes
        if one.name in flagged and one.skin_before
    ]
    if flagged:
        charted = f"; charted at {', '.join(sore)}" if sore else ""
        yield f"Never abrade broken, inflamed or healing skin to lower an impedance{charted}."


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
