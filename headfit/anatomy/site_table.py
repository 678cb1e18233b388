"""The declared table of sites: the place of each by name, its source, and the systems of names.

Every site is an arc and a fraction of it, or a step beyond the end of a row, or a spot beside an
ear. Odd numbers left, even numbers right, z on the midline. Published counts of 10-10 and 10-5
differ; `SYSTEMS` is the list that is implemented here.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from headfit.anatomy.arcs import MARKS, PARASAGITTAL_MARKS, Rules, mirrored
from headfit.errors import UnknownNameError, unknown_name


@dataclass(frozen=True)
class OnArc:
    """At a fraction (0..1) of an arc."""

    arc: str
    fraction: float
    source: str


@dataclass(frozen=True)
class BeyondRow:
    """Below the end of a row: the row arc goes on by a share of the coronal arc.

    `contour` is the fraction of the 0 % contour, or of the 5 % ring, at which 10-5 has it.
    """

    arc: str
    at_end: bool
    coronal_share: float
    contour: float
    source: str


@dataclass(frozen=True)
class BesideEar:
    """The nearest skin to a place given from a preauricular point: outward, to the front, up.

    Lengths are for a preauricular width of 145 mm and scale with it. `on_ear` is a place on the
    ear itself, over which no tape runs.
    """

    left: bool
    offset_mm: tuple[float, float, float]
    source: str
    on_ear: bool = False


Place = OnArc | BeyondRow | BesideEar

KLEM = "Klem et al. 1999"
ACNS = "ACNS Guideline 2, 2016"
SEECK = "Seeck et al. 2017"
FIVE = "Oostenveld & Praamstra 2001"
JURCAK = "Jurcak et al. 2007"

RENAMED = {"T3": "T7", "T4": "T8", "T5": "P7", "T6": "P8"}
OLD_NAMES = {new: old for old, new in RENAMED.items()}
# One place under two names: the coordinates that mne carries of one head have it as O9 in their
# 10-10 list and as I1 in their 10-5 list.
ALSO_CALLED = {"O9": "I1", "O10": "I2"}
# Names in use that are no site here: the site that lies nearest, and what the name means. Common
# practice, no source; for Fp3 and Fp4 that of newborn recordings.
NEAREST = {
    "T1": ("FT9", "an anterior temporal place, measured from ear and eye, near FT9"),
    "T2": ("FT10", "an anterior temporal place, measured from ear and eye, near FT10"),
    "Fp3": ("AF3", "in newborns half way from Fp1 to F3, near AF3"),
    "Fp4": ("AF4", "in newborns half way from Fp2 to F4, near AF4"),
}

# Sites that stand on landmarks, and the 19 of 10-20 that stand on the scalp.
LANDMARK_SITES = ("Nz", "Iz")
SCALP_SITES = tuple("Fp1 Fp2 F7 F3 Fz F4 F8 T7 C3 Cz C4 T8 P7 P3 Pz P4 P8 O1 O2".split())
_IFCN_SIX = ("F9", "F10", "T9", "T10", "P9", "P10")
_TEN_TEN = (
    *"Fp1 Fpz Fp2 AF7 AF3 AFz AF4 AF8".split(),
    *(
        stem + column
        for inner, outer in (("F", "F"), ("FC", "FT"), ("C", "T"), ("CP", "TP"), ("P", "P"))
        for stem, columns in ((outer, "9 7"), (inner, "5 3 1 z 2 4 6"), (outer, "8 10"))
        for column in columns.split()
    ),
    *"PO7 PO3 POz PO4 PO8 O1 Oz O2 Nz Iz A1 A2 M1 M2".split(),
)
# Further names of the tenths, used with 10-10 and not in the list of its guideline.
_MORE_TENTHS = frozenset(
    "AF9 AF5 AF1 AF2 AF6 AF10 PO9 PO5 PO1 PO2 PO6 PO10 I1 I2".split()  # I1, I2 as O9, O10
)

# Row -> stem of its inner sites, stem of its outer ones, fraction of the half ring.
_ROW_STEMS = {
    "AFp": ("AFp", "AFp", 0.15),
    "AF": ("AF", "AF", 0.20),
    "AFF": ("AFF", "AFF", 0.25),
    "F": ("F", "F", 0.30),
    "FFC": ("FFC", "FFT", 0.35),
    "FC": ("FC", "FT", 0.40),
    "FCC": ("FCC", "FTT", 0.45),
    "CCP": ("CCP", "TTP", 0.55),
    "CP": ("CP", "TP", 0.60),
    "CPP": ("CPP", "TPP", 0.65),
    "P": ("P", "P", 0.70),
    "PPO": ("PPO", "PPO", 0.75),
    "PO": ("PO", "PO", 0.80),
    "POO": ("POO", "POO", 0.85),
}
_COLUMNS = ("7", "7h", "5", "5h", "3", "3h", "1", "1h")


def _source(name: str) -> str:
    """The publication that has the site: each system cites its own, the oldest first."""
    if name in SCALP_SITES or name in LANDMARK_SITES:
        return f"{KLEM}; so named by {ACNS}" if name in RENAMED.values() else KLEM
    if name in _IFCN_SIX:
        return f"{ACNS}; {SEECK}"
    return ACNS if name in _TEN_TEN else FIVE


def _on_arcs() -> Iterator[tuple[str, str, float]]:
    """Name, arc and fraction of every site that an arc marks; the first mention counts."""
    yield from (("Nz", "midline", 0.0), ("Iz", "midline", 1.0), ("Cz", "midline", 0.5))
    for name, (arc, fraction) in MARKS.items():
        if name not in PARASAGITTAL_MARKS:
            yield name, arc, fraction
    for row, (inner, outer, _) in _ROW_STEMS.items():
        for step, column in enumerate(_COLUMNS):
            name = (outer if column[0] == "7" else inner) + column
            yield name, f"row {row}", step / 16
            yield mirrored(name), f"row {row}", 1 - step / 16
    for step, name in enumerate(("T9", "T9h", "T7", "T7h", "C5", "C5h", "C3", "C3h", "C1", "C1h")):
        yield name, "coronal", step / 20
        yield mirrored(name), "coronal", 1 - step / 20
    for stem, low, half, whole in (("N", "NFp", 0.05, 0.1), ("I", "OI", 0.95, 0.9)):
        for column, fraction in (("1h", half), ("1", whole)):
            for name, arc in ((stem + column, "contour"), (low + column, "lower ring")):
                yield name, f"left {arc}", fraction
                yield mirrored(name), f"right {arc}", fraction


def _below_rows() -> dict[str, Place]:
    return {
        name: BeyondRow(f"row {row}", name == right, share, ring, _source(name))
        for row, (_, outer, ring) in _ROW_STEMS.items()
        for column, share in (("9", 0.10), ("9h", 0.05))
        for right in (mirrored(outer + column),)
        for name in (outer + column, right)
    }


def _beside_ears() -> dict[str, Place]:
    """Ear lobes and mastoids: the systems name them, no publication measures where they lie."""
    spot = "where on the head: common practice, no source, offset from memory"
    table: dict[str, Place] = {}
    for number, left in ((1, True), (2, False)):
        lobe = f"name: {KLEM}; {spot}"
        mastoid = f"name: common practice, no source; {spot}"
        # The middle of the outer side of the lobe of the template's ear.
        table[f"A{number}"] = BesideEar(left, (3.0, -16.0, -20.0), lobe, on_ear=True)
        table[f"M{number}"] = BesideEar(left, (0.0, -32.0, -16.0), mastoid)
    return table


def _table() -> dict[str, Place]:
    table: dict[str, Place] = {}
    for name, arc, fraction in _on_arcs():
        table.setdefault(name, OnArc(arc, fraction, _source(name)))
    return table | _below_rows() | _beside_ears()


TABLE: dict[str, Place] = _table()

SYSTEMS: dict[str, tuple[str, ...]] = {
    "10-20": (*SCALP_SITES, "A1", "A2"),
    "ifcn-25": (*SCALP_SITES, *_IFCN_SIX),
    "10-10": _TEN_TEN,
    "10-5": (*_TEN_TEN, *(name for name in TABLE if name not in _TEN_TEN)),
}

# In one of these names row 9/10 stands where 10-10 has it; any other makes a set 10-5.
_TENTHS = frozenset(_TEN_TEN) | _MORE_TENTHS


def both_names(name: str) -> str:
    """A site with its old name in brackets, if it has one.

    >>> both_names("P7"), both_names("Cz")
    ('P7 (T5)', 'Cz')
    """
    return f"{name} ({OLD_NAMES[name]})" if name in OLD_NAMES else name


def is_beside_ear(name: str) -> bool:
    """Whether a declared site is put on ear lobe or mastoid by eye: no arc and no doubt of one."""
    return isinstance(TABLE[name], BesideEar)


def canonical_name(name: str) -> str:
    """The declared spelling of a site, old names translated.

    Raises
    ------
    UnknownNameError
        With the nearest declared spelling, or the site nearest to a place that has none.

    >>> canonical_name("T3"), canonical_name("FP1"), canonical_name("O9")
    ('T7', 'Fp1', 'I1')
    >>> canonical_name("T1")
    Traceback (most recent call last):
        ...
    headfit.errors.UnknownNameError: unknown site 'T1': did you mean 'FT9'? (T1 is an anterior \
temporal place, measured from ear and eye, near FT9)
    """
    if name in TABLE:
        return name
    folded = _FOLDED.get(str(name).strip().casefold())
    if folded is None:
        raise _unknown_site(name)
    return folded


_FOLDED = {name.casefold(): name for name in TABLE}
_FOLDED |= {old.casefold(): name for old, name in (RENAMED | ALSO_CALLED).items()}
_NEAREST_FOLDED = {name.casefold(): name for name in NEAREST}


def nearest_known(name: str) -> tuple[str, str] | None:
    """For a name in use that is no site here: the site that lies nearest, and what it means.

    >>> nearest_known("t2")
    ('FT10', 'T2 is an anterior temporal place, measured from ear and eye, near FT10')
    """
    known = _NEAREST_FOLDED.get(str(name).strip().casefold())
    if known is None:
        return None
    site, meaning = NEAREST[known]
    return site, f"{known} is {meaning}"


def _unknown_site(name: str) -> UnknownNameError:
    known = nearest_known(name)
    if known is None:
        return unknown_name("site", name, TABLE)
    return UnknownNameError(
        f"unknown site {name!r}: did you mean {known[0]!r}? ({known[1]})",
        code="unknown-name",
        kind="site",
        name=name,
    )


def settled(rules: Rules, names: Iterable[str]) -> Rules:
    """The rules with row 9/10 decided for a set of sites.

    Left to the system, row 9/10 continues the row arcs, as 10-10 and IFCN have it; a set that has
    a name of 10-5 alone has all of row 9/10 on the contour, as the authors of 10-5 have it.

    >>> settled(Rules(), ["F9", "F7"]).inferior, settled(Rules(), ["F9", "F7h"]).inferior
    ('row', 'contour')
    """
    if rules.inferior != "system":
        return rules
    return replace(rules, inferior="row" if _TENTHS.issuperset(names) else "contour")


def place_of(name: str, rules: Rules) -> Place:
    """The table entry of a site under settled rules."""
    place = TABLE[name]
    if rules.temporal == "ring" and name in ("T7", "T8"):
        return OnArc("left ring" if name == "T7" else "right ring", 0.5, JURCAK)
    if rules.inner == "parasagittal" and isinstance(place, OnArc) and place.arc in INNER_ROWS:
        left = place.fraction < 0.5
        side = "left" if left else "right"
        if name in PARASAGITTAL_MARKS.values():
            return OnArc(f"{side} parasagittal", INNER_ROWS[place.arc], KLEM)
        share = 2 * (place.fraction if left else 1 - place.fraction)
        return OnArc(f"{side} half {place.arc}", share, place.source)
    if rules.inferior == "contour" and isinstance(place, BeyondRow):
        side = "right" if place.at_end else "left"
        arc = "lower ring" if place.coronal_share == 0.05 else "contour"
        return OnArc(f"{side} {arc}", place.contour, FIVE)
    if rules.inferior == "contour" and name in ("T9", "T10"):
        return OnArc("left contour" if name == "T9" else "right contour", 0.5, FIVE)
    return place


# Rows that F3, F4, P3, P4 divide, and where these stand on the parasagittal arc.
INNER_ROWS = {"row F": 0.25, "row P": 0.75}
