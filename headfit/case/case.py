"""A case: everything a person states about one head, as plain data. Millimetres.

A *case* holds what was measured or digitised and what was chosen; nothing in it is computed.
`headfit.files.case_file.read_case` makes one from a file, Python code makes one from its parts.
What a case file names but what could not be read is a *problem*: the case carries the error, so
that all the rest can still be shown. Points lie in the head frame (`headfit.anatomy.landmarks`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from headfit.anatomy.arcs import Rules
from headfit.anatomy.sites import SYSTEMS
from headfit.case.record import SetUpRecord
from headfit.errors import HeadfitError
from headfit.fitting.tape import Tape
from headfit.nouns import Noun
from headfit.planning.montages import Montage, array_sites, montage_for

if TYPE_CHECKING:  # marks bring a room of their own, which most cases never enter
    from headfit.anatomy.head import Head
    from headfit.marks.marks import Marks

BANDS_MM = (5.0, 10.0)


@dataclass(frozen=True)
class FreePlace:
    """A place on the scalp that must stay free of electrodes.

    Attributes
    ----------
    site : str or None
        Its middle, as a site name; or
    point_mm : tuple of three float or None
        its middle in the head frame; or
    polygon_mm : tuple of points
        its outline in the head frame, at least three points.
    radius_mm : float
        Of a round place; 0 with an outline.
    reason : str
    """

    site: str | None = None
    point_mm: tuple[float, float, float] | None = None
    polygon_mm: tuple[tuple[float, float, float], ...] = ()
    radius_mm: float = 0.0
    reason: str = ""


@dataclass(frozen=True, eq=False, repr=False)
class Case(Noun):
    """One head as it was stated.

    Attributes
    ----------
    tape : Tape or None
        None while nothing is measured.
    label : str
        Said wherever the case is shown.
    age : str or float
        A template age or years.
    sex : {"female", "male"} or None
    system : str
        A system or a reduced array; without meaning where `sites` are listed.
    sites : tuple of str
        The user's own list.
    unit : str
        In which the tape was read; what is written back to a file uses it.
    doubtful : tuple of str
        Landmarks that were hard to find.
    shape : dict of str to float
        Shape modes set by hand, by their names in `fitting.hand_set_shape`, mm.
    rules : Rules
    scan : Head or None
        A measured surface, which then is the head; the tape is not needed.
    marks : Marks or None
        Positions to compare with, as read.
    marks_file : Path or None
        Where they were read; what a case file names.
    align : {"landmarks", "best-fit", "robust", "surface"}
        How marks are laid on the head; by landmarks only where they were measured, else best fit.
    bands_mm : (float, float)
        Limits between near, off and far marks.
    free : tuple of FreePlace
    move_alone : bool
        A site that must move for them leaves its homologue in place.
    old_names : bool
        Names of before 1991 stand beside the new ones wherever sites are listed.
    derivations : str or None
        Name or title of a declared set.
    derivations_file : Path or None
        Of the user's own set.
    montage : Montage or None
        Those derivations; found by the name when only that is given.
    problems : mapping of str to HeadfitError
        Why "marks" or "derivations" could not be read.
    measured_by, measured_on, note : str
    record : SetUpRecord
        What was really done; blank while nothing is charted.
    invented : bool
        Data made up for a demonstration.

    Raises
    ------
    UnknownNameError
        No such set of derivations, when it is not among the problems.

    >>> case = Case(Tape(ring_mm=566.0), label="a head", derivations="longitudinal")
    >>> case.system, case.montage.title
    ('10-20', 'Longitudinal bipolar')
    """

    tape: Tape | None = None
    label: str = "unnamed case"
    age: str | float = "adult"
    sex: str | None = None
    system: str = "10-20"
    sites: tuple[str, ...] = ()
    unit: str = "cm"
    doubtful: tuple[str, ...] = ()
    shape: Mapping[str, float] = field(default_factory=dict)
    rules: Rules = field(default_factory=Rules)
    scan: Head | None = None
    marks: Marks | None = None
    marks_file: Path | None = None
    align: str = "landmarks"
    bands_mm: tuple[float, float] = BANDS_MM
    free: tuple[FreePlace, ...] = ()
    move_alone: bool = False
    old_names: bool = True
    derivations: str | None = None
    derivations_file: Path | None = None
    montage: Montage | None = None
    problems: Mapping[str, HeadfitError] = field(default_factory=dict)
    measured_by: str = ""
    measured_on: str = ""
    note: str = ""
    record: SetUpRecord = field(default_factory=SetUpRecord)
    invented: bool = False

    def __post_init__(self) -> None:
        if self.derivations and self.montage is None and "derivations" not in self.problems:
            own = "" if self.sites else self.system
            object.__setattr__(self, "montage", montage_for(self.derivations, own))

    def __repr__(self) -> str:
        readings = 0 if self.tape is None else len(self.tape.values_mm)
        return f"<Case {self.label!r}: {readings} measurements, {self.array_title}>"

    def with_marks(self, marks: Marks | None, file: Path | None = None) -> Case:
        """The case with other marks, or with none."""
        return replace(self, marks=marks, marks_file=file, problems=self._without("marks"))

    def with_derivations(
        self, name: str | None, montage: Montage | None = None, file: Path | None = None
    ) -> Case:
        """The case with other derivations: a declared set, a montage of one's own, or none.

        Raises
        ------
        UnknownNameError
            No such set.
        """
        return replace(
            self,
            derivations=name,
            derivations_file=file,
            montage=montage,
            problems=self._without("derivations"),
        )

    def _without(self, part: str) -> dict[str, HeadfitError]:
        return {name: error for name, error in self.problems.items() if name != part}

    @property
    def array(self) -> str | tuple[str, ...]:
        """What `place_sites` is asked for: a system, or the sites of an array or own list."""
        if self.sites or self.system in SYSTEMS:
            return self.sites or self.system
        return array_sites(self.system)

    @property
    def array_title(self) -> str:
        """How the array is called in a sentence."""
        return "own list" if self.sites else self.system
