"""Montages: which two sites make a derivation, and which derivations are read one under the other.

The standard ones are data (data/montages.toml); a user's own come as TOML tables or as CSV.
"""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from headfit.anatomy.arcs import mirrored
from headfit.anatomy.sites import SYSTEMS, canonical_name
from headfit.errors import FileFormatError, InputError, sentence, unknown_name

OWN = "own list"
# The average of all sites, which is no place: a derivation to it has no length.
AVERAGE = "AV"


@dataclass(frozen=True)
class Derivation:
    """The difference of two sites, or of a site and the average of all: first minus second.

    Old and differently spelt names become the declared ones; the average is called AV.

    Raises
    ------
    UnknownNameError
        No such site.
    InputError
        A site with itself.

    >>> Derivation("t3", "C3").name
    'T7-C3'
    >>> Derivation("T7", "T3")
    Traceback (most recent call last):
        ...
    headfit.errors.InputError: a derivation must join two different sites, got T7-T7
    """

    first: str
    second: str

    def __post_init__(self) -> None:
        object.__setattr__(self, "first", canonical_name(self.first))
        average = self.second.strip().upper() == AVERAGE
        object.__setattr__(self, "second", AVERAGE if average else canonical_name(self.second))
        if self.first == self.second:
            raise InputError(
                sentence("a derivation", "join two different sites", self.name),
                code="derivation-to-itself",
                site=self.first,
            )

    @property
    def name(self) -> str:
        """As it is written on a recording, ``"Fp1-F7"``."""
        return f"{self.first}-{self.second}"

    @property
    def sites(self) -> tuple[str, ...]:
        """Both sites, or the one that is held against the average."""
        return (self.first,) if self.second == AVERAGE else (self.first, self.second)

    @property
    def homologue(self) -> frozenset[str]:
        """The two sites of the derivation on the other side."""
        return frozenset((mirrored(self.first), mirrored(self.second)))

    @classmethod
    def from_text(cls, text: str) -> Derivation:
        """From ``"Fp1-F7"``; a dash, a slash or spaces between the names.

        Raises
        ------
        InputError
            Not two names.
        """
        names = text.replace("–", " ").replace("-", " ").replace("/", " ").split()
        if len(names) != 2:
            raise InputError(
                sentence("a derivation", "be two sites such as Fp1-F7", repr(text)),
                code="derivation-form",
            )
        return cls(*names)


@dataclass(frozen=True)
class Chain:
    """Derivations that are read one under the other.

    `even` tells that neighbours are meant to be equally far apart.
    """

    name: str
    derivations: tuple[Derivation, ...]
    even: bool = True

    @classmethod
    def through(cls, name: str, sites: Iterable[str], *, even: bool = True) -> Chain:
        """The chain in which every site is joined to the next."""
        along = tuple(sites)
        if len(along) < 2:
            raise InputError(
                sentence(f"chain {name!r}", "run through at least two sites", str(len(along))),
                code="chain-short",
            )
        return cls(name, tuple(Derivation(a, b) for a, b in pairwise(along)), even)


@dataclass(frozen=True)
class Montage:
    """Chains in the order they are read."""

    name: str
    title: str
    chains: tuple[Chain, ...]
    source: str = ""

    def __repr__(self) -> str:
        return f"Montage({self.name[:60]!r}, {len(self.chains)} chains, {len(self.sites)} sites)"

    @property
    def sites(self) -> tuple[str, ...]:
        """Every site it needs, in the order first met."""
        return tuple(
            dict.fromkeys(
                site
                for chain in self.chains
                for derivation in chain.derivations
                for site in derivation.sites
            )
        )


@cache
def standard_montages() -> dict[str, Montage]:
    """The montages that ship with headfit, by name.

    >>> [name for name in standard_montages() if not name.startswith("newborn")]
    ['longitudinal', 'transverse', 'referential', 'referential-alternating', 'referential-cz', \
'average', 'circumferential', 'inferior-temporal']
    """
    return {montage.name: montage for montage in montages_from_tables(_data("montages")["montage"])}


def montage_of(name: str) -> Montage:
    """A standard montage by its name or title.

    Raises
    ------
    UnknownNameError
        No such montage.

    >>> montage_of("Longitudinal bipolar").name
    'longitudinal'
    """
    known = standard_montages()
    folded = name.strip().casefold()
    for montage in known.values():
        if folded in (montage.name.casefold(), montage.title.casefold()):
            return montage
    raise unknown_name("set of derivations", name, known)


@cache
def _arrays() -> dict[str, tuple[str, ...]]:
    return {entry["name"]: tuple(entry["sites"]) for entry in _data("arrays")["array"]}


# Up to this age a reduced array is usual: common practice, no source; when is local policy.
NEWBORN_MONTHS = 1.0


def usual_array(months: float, system: str) -> str | None:
    """The reduced array that is usual at an age in place of a system; None where none is.

    >>> usual_array(0.5, "10-20"), usual_array(0.5, "newborn"), usual_array(240.0, "10-20")
    ('newborn', None, None)
    """
    return "newborn" if months <= NEWBORN_MONTHS and system == "10-20" else None


def montage_for(name: str, array: str) -> Montage:
    """A standard montage, or the array's own where the array lacks its sites.

    A reduced array has none of the short steps of the longitudinal set: its own double distances
    take that place.

    Raises
    ------
    UnknownNameError
        No such montage.

    >>> montage_for("longitudinal", "newborn").name, montage_for("longitudinal", "10-20").name
    ('newborn', 'longitudinal')
    """
    wanted = montage_of(name)
    if wanted.name != "longitudinal" or array not in _arrays():
        return wanted
    own = [montage for montage in standard_montages().values() if montage.name == array]
    own += [
        montage
        for montage in standard_montages().values()
        if montage.name.startswith("newborn") and set(montage.sites) <= set(array_sites(array))
    ]
    return own[0] if own and not set(wanted.sites) <= set(array_sites(array)) else wanted


def array_names() -> tuple[str, ...]:
    """Every set of sites that has a name.

    >>> array_names()
    ('10-20', 'ifcn-25', '10-10', '10-5', 'newborn', 'newborn-ears', 'newborn-midline', \
'newborn-fp3')
    """
    return (*SYSTEMS, *_arrays())


def array_sites(name: str) -> tuple[str, ...]:
    """The sites of a named set: a system, or a reduced array of data/arrays.toml.

    Raises
    ------
    UnknownNameError
        No such set.

    >>> array_sites("newborn")
    ('Fp1', 'Fp2', 'T7', 'C3', 'Cz', 'C4', 'T8', 'O1', 'O2')
    """
    if name in SYSTEMS:
        return SYSTEMS[name]
    if name not in _arrays():
        raise unknown_name("set of sites", name, array_names())
    return _arrays()[name]


def _data(name: str) -> dict[str, Any]:
    file = Path(__file__).parent / "data" / f"{name}.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def site_list_from_text(text: str) -> tuple[str, ...]:
    r"""A user's own list: names between commas, semicolons, spaces or line ends; # begins a note.

    Raises
    ------
    UnknownNameError
        Not a site.
    FileFormatError
        No name at all.

    >>> site_list_from_text("Fp1, fp2  # bare skin\nT3")
    ('Fp1', 'Fp2', 'T7')
    """
    lines = (line.partition("#")[0] for line in text.splitlines())
    names = " ".join(lines).replace(",", " ").replace(";", " ").split()
    if not names:
        raise FileFormatError(
            sentence("a list of sites", "name at least one site", "an empty list"),
            code="sites-empty",
        )
    return tuple(dict.fromkeys(canonical_name(name) for name in names))


def montages_from_tables(tables: object) -> tuple[Montage, ...]:
    """Montages from TOML tables ``[[montage]]``.

    Parameters
    ----------
    tables : list of dict
        Each with `name`, `chains`, and optionally `title`, `source` and `even`. A chain has a
        `name` and `sites` (neighbours make derivations) or `derivations` (``"Fp1-F7"``).

    Raises
    ------
    FileFormatError
        A key is missing, unknown or of another kind.
    UnknownNameError, InputError
        A site or derivation that cannot be.
    """
    return tuple(
        _montage(table, f"montage {number}")
        for number, table in enumerate(_tables(tables, "montage"), 1)
    )


def _montage(table: Mapping[str, Any], what: str) -> Montage:
    _only_keys(table, what, ("name", "chains"), ("title", "source", "even"))
    name = _word(table["name"], f"name of {what}")
    what = f"montage {name!r}"
    chains = _tables(table["chains"], f"chains of {what}")
    even = table.get("even", True)
    return Montage(
        name,
        _word(table.get("title", name), f"title of {what}"),
        tuple(_chain(chain, what, even is not False) for chain in chains),
        str(table.get("source", "")),
    )


def _chain(table: Mapping[str, Any], montage: str, even: bool) -> Chain:
    what = f"a chain of {montage}"
    kind = "sites" if "sites" in table else "derivations"
    _only_keys(table, what, ("name", kind), ())
    name, names = _word(table["name"], f"name of {what}"), table[kind]
    if not isinstance(names, list) or not all(isinstance(n, str) for n in names) or not names:
        raise _not_a(f"{kind} of {what}", "a list of names", names)
    if kind == "sites":
        return Chain.through(name, names, even=even)
    return Chain(name, tuple(Derivation.from_text(text) for text in names), even)


def _tables(tables: object, what: str) -> list[Mapping[str, Any]]:
    if not isinstance(tables, list) or not all(isinstance(t, Mapping) for t in tables):
        raise _not_a(what, "a list of tables", tables)
    if not tables:
        raise _not_a(what, "a list of at least one table", tables)
    return tables


def _only_keys(
    table: Mapping[str, Any], what: str, needed: tuple[str, ...], more: tuple[str, ...]
) -> None:
    for key in needed:
        if key not in table:
            raise FileFormatError(
                sentence(what, f"have {key!r}", ", ".join(map(repr, table)) or "nothing"),
                code="key-missing",
                key=key,
            )
    for key in table:
        if key not in (*needed, *more):
            raise unknown_name(f"key of {what}", key, (*needed, *more))


def _word(value: object, what: str) -> str:
    if not isinstance(value, str) or not value.strip():
        raise _not_a(what, "a word", value)
    return value.strip()


def _not_a(what: str, kind: str, value: object) -> FileFormatError:
    return FileFormatError(sentence(what, f"be {kind}", repr(value)), code="value-kind")


_COLUMNS = {"first", "second", "derivation", "chain"}


def montage_from_csv(text: str, name: str = OWN) -> Montage:
    r"""A montage from a table with a header.

    Parameters
    ----------
    text : str
        Columns `first` and `second`, or one column `derivation`; optionally `chain`. Separated by
        commas, semicolons or tabs. Rows of one chain stand together in the order they are read.
    name : str

    Raises
    ------
    FileFormatError
        No such columns, or no row.
    UnknownNameError, InputError
        A site or derivation that cannot be; the sentence names the row.

    >>> montage_from_csv("chain,derivation\nleft,Fp1-F7\nleft,F7-T3").sites
    ('Fp1', 'F7', 'T7')
    """
    lines = text.lstrip("\ufeff").splitlines() or [""]
    delimiter = max(",;\t", key=lines[0].count)
    try:
        header, *rows = list(csv.reader(lines, delimiter=delimiter)) or [[]]
    except csv.Error as error:
        raise FileFormatError(
            f"a list of derivations cannot be read as a table: {error}", code="derivation-columns"
        ) from None
    columns = {title.strip().casefold(): at for at, title in enumerate(header)}
    paired = "first" in columns and "second" in columns
    if not paired and "derivation" not in columns:
        raise FileFormatError(
            sentence(
                "header of a list of derivations",
                "name the columns first and second, or derivation",
                # Of another table nothing is told: what it holds is nobody's to be told.
                repr(lines[0].strip()) if columns.keys() & _COLUMNS else "others",
            ),
            code="derivation-columns",
        )
    chains: dict[str, list[Derivation]] = {}
    for number, row in enumerate(rows, 2):
        cells = {title: row[at].strip() if at < len(row) else "" for title, at in columns.items()}
        if not any(cells.values()):
            continue
        written = f"{cells['first']} {cells['second']}" if paired else cells["derivation"]
        try:
            derivation = Derivation.from_text(written)
        except InputError as error:
            raise type(error)(f"row {number}: {error}", code=error.code, **error.facts) from None
        chains.setdefault(cells.get("chain", "") or name, []).append(derivation)
    if not chains:
        raise FileFormatError(
            sentence("a list of derivations", "hold at least one row", "none"),
            code="derivations-empty",
        )
    return Montage(name, name, tuple(Chain(key, tuple(all_)) for key, all_ in chains.items()))
