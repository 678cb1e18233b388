"""The set-up record: what was really done at one head, electrode by electrode. Plain data, kΩ.

A *case* says what is planned; its record says what became of it: which sites were applied, which
were left out, what stands elsewhere, impedances, the skin before and after. What was not charted is
left empty, never guessed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

from headfit.anatomy.sites import TABLE, canonical_name
from headfit.errors import InputError, sentence
from headfit.nouns import Noun
from headfit.planning.preparation import BALANCE_KOHM, LIMIT_KOHM
from headfit.units import is_finite

# An electrode that touches nothing reads about this much.
MOST_KOHM = 1000.0
# As the examples of BIDS call them ("Electrodes description (*_electrodes.tsv)", 1.11).
REFERENCE, GROUND = "REF", "GND"


@dataclass(frozen=True)
class ChartedElectrode:
    """One electrode as it was charted; what is empty was not charted.

    Attributes
    ----------
    name : str
        Of the planned site, or of another lead, such as "ECG".
    applied : bool or None
        False when it was left out. A place or an impedance tells that it was applied.
    place : str
        Where it stands, when not at its planned place: the name of a site, or words.
    impedance_kohm : float or None
        To an ohm.
    skin_before, skin_after, note : str
    type, material : str
        When they differ from the other electrodes of the record.

    Raises
    ------
    InputError
        An impedance out of range, or an electrode that was left out and has one.

    >>> ChartedElectrode("C3", impedance_kohm=4).applied
    True
    """

    name: str
    applied: bool | None = None
    place: str = ""
    impedance_kohm: float | None = None
    skin_before: str = ""
    skin_after: str = ""
    note: str = ""
    type: str = ""
    material: str = ""

    def __post_init__(self) -> None:
        if self.impedance_kohm is not None:
            found = checked_kohm(self.impedance_kohm, f"impedance of {self.name}")
            object.__setattr__(self, "impedance_kohm", found)
        if self.place or self.impedance_kohm is not None:
            if self.applied is False:
                raise InputError(
                    sentence(
                        self.name,
                        "be left out, or have a place and an impedance",
                        "both",
                        "what was taken off again goes into its note",
                    ),
                    code="record-left-out",
                    electrode=self.name,
                )
            object.__setattr__(self, "applied", True)

    @property
    def silent(self) -> bool:
        """Whether nothing but its name is charted."""
        return self == ChartedElectrode(self.name)


def checked_kohm(value: object, what: str) -> float:
    """An impedance to an ohm.

    Raises
    ------
    InputError
        No number, negative, or more than an electrode that touches nothing has.
    """
    if is_finite(value):
        assert isinstance(value, int | float)
        if 0.0 <= value <= MOST_KOHM:
            return round(float(value), 3)
    ohms = is_finite(value) and isinstance(value, int | float) and value > MOST_KOHM
    raise InputError(
        sentence(
            what,
            f"be a number in 0 to {MOST_KOHM:.0f} kΩ",
            str(value)[:40],
            "is it in Ω?" if ohms else "",
        ),
        code="impedance-range",
    )


@dataclass(frozen=True, repr=False)
class SetUpRecord(Noun):
    """What was really done at one head.

    Attributes
    ----------
    sites : tuple of ChartedElectrode
        By site of the plan; a site without an entry was not charted.
    reference, ground : ChartedElectrode or None
    other_leads : tuple of ChartedElectrode
        Such as ECG, EOG, EMG.
    type, material : str
        Of the electrodes, such as "cup" and "gold".
    limit_kohm : float
        The highest impedance; common practice unless it was set.
    balance_kohm : float
        The largest difference of impedances; common practice unless it was set.
    skin_before, skin_after : str
        In general; of one site at its electrode.
    note, done_by, done_on : str
    ticked : tuple of str
        Steps at the chair that are done, by their keys; a session that was cut off goes on there.

    Raises
    ------
    UnknownNameError
        No such site.
    InputError
        An electrode charted twice, a lead without a name of its own, or a limit out of range.

    >>> SetUpRecord((ChartedElectrode("T3", impedance_kohm=4), ChartedElectrode("C3", False)))
    SetUpRecord(1 applied, 1 left out)
    """

    sites: tuple[ChartedElectrode, ...] = ()
    reference: ChartedElectrode | None = None
    ground: ChartedElectrode | None = None
    other_leads: tuple[ChartedElectrode, ...] = ()
    type: str = ""
    material: str = ""
    limit_kohm: float = LIMIT_KOHM
    balance_kohm: float = BALANCE_KOHM
    skin_before: str = ""
    skin_after: str = ""
    note: str = ""
    done_by: str = ""
    done_on: str = ""
    ticked: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        named = (self._own(replace(one, name=canonical_name(one.name))) for one in self.sites)
        self._set("sites", tuple(one for one in named if not one.silent))
        self._set("reference", self._lead(self.reference, REFERENCE))
        self._set("ground", self._lead(self.ground, GROUND))
        self._set("other_leads", tuple(self._own(one) for one in self.other_leads))
        for name in ("limit_kohm", "balance_kohm"):
            self._set(name, checked_kohm(getattr(self, name), name))
        for lead in self.other_leads:
            if lead.name in TABLE or lead.name in ("", REFERENCE, GROUND):
                raise InputError(
                    sentence(
                        "another lead",
                        "have a name of its own, such as ECG",
                        repr(lead.name),
                        "sites, reference and ground have their own entries",
                    ),
                    code="record-lead",
                )
        for name, n_times in Counter(one.name for one in self.electrodes).items():
            if n_times > 1:
                raise InputError(
                    sentence(name, "be charted once", f"{n_times} times"),
                    code="record-twice",
                    electrode=name,
                )

    def _set(self, name: str, value: object) -> None:
        object.__setattr__(self, name, value)

    def _own(self, one: ChartedElectrode) -> ChartedElectrode:
        """The electrode with a type and a material of its own only where they differ."""
        same = {k: "" for k in ("type", "material") if getattr(one, k) == getattr(self, k)}
        return replace(one, **same)  # type: ignore[arg-type]

    def _lead(self, one: ChartedElectrode | None, name: str) -> ChartedElectrode | None:
        return None if one is None else self._own(replace(one, name=name))

    def __repr__(self) -> str:
        left_out = sum(one.applied is False for one in self.sites)
        applied = sum(one.applied is True for one in self.sites)
        return f"SetUpRecord({applied} applied, {left_out} left out)"

    @property
    def blank(self) -> bool:
        """Whether nothing is charted and no limit is set."""
        return self == SetUpRecord()

    @property
    def electrodes(self) -> Iterator[ChartedElectrode]:
        """Everything charted: sites, reference, ground, other leads."""
        yield from self.sites
        yield from (one for one in (self.reference, self.ground) if one is not None)
        yield from self.other_leads

    def site(self, name: str) -> ChartedElectrode:
        """What was charted of a site; an entry that says nothing, when nothing was."""
        return next((one for one in self.sites if one.name == name), ChartedElectrode(name))


# What a person may chart of one electrode, and of the set-up as a whole.
ELECTRODE_ENTRIES = tuple(field.name for field in fields(ChartedElectrode))
TEXTS = ("type", "material", "skin_before", "skin_after", "note", "done_by", "done_on")
