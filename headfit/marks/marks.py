"""Positions marked or digitised on one head, cleaned, with everything that was done to them.

Millimetres in the frame of the file, whose axes run right, front, up once they could be told.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any

import numpy as np

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.errors import MarksError, sentence, unknown_name
from headfit.geometry.mesh import Floats, frozen
from headfit.geometry.rigid import RigidMotion
from headfit.hooks import hook
from headfit.marks.remarks import Kind, Remark, correction, listed, note
from headfit.notebook import html_list, html_table
from headfit.nouns import ByName

# Landmarks nearer than this to one line fix no frame.
_LEAST_MM = 1.0


@dataclass(frozen=True, eq=False)
class Marks(ByName[Floats]):
    """Digitised positions of one person: a mapping from the site of each mark to its place (3,).

    Attributes
    ----------
    names : tuple of str
        Sites, in their declared spelling; no two alike.
    points_mm : (n, 3) float64
        Where they were marked.
    landmarks : mapping of str to (3,) float64
        Those of nasion, inion, left_preauricular, right_preauricular that were measured; never
        invented.
    other_names : tuple of str
        What else lies on the head and bears no name of a site.
    other_points_mm : (m, 3) float64
    given_names : mapping of str to str
        The spelling in the file of every name that had to be read otherwise.
    source : str
        Where they came from.
    remarks : tuple of Remark
        What was found and what was done.

    >>> marks = Marks(("C3", "C4"), [[-60, 9, 99], [60, 9, 99]])
    >>> len(marks), marks["C4"].tolist(), marks.frame
    (2, [60.0, 9.0, 99.0], None)
    """

    names: tuple[str, ...]
    points_mm: Floats
    landmarks: Mapping[str, Floats] = field(default_factory=dict)
    other_names: tuple[str, ...] = ()
    other_points_mm: Floats = field(default_factory=lambda: np.empty((0, 3)))
    given_names: Mapping[str, str] = field(default_factory=dict)
    source: str = "marks"
    remarks: tuple[Remark, ...] = ()

    def __post_init__(self) -> None:
        for count, title in ((self.names, "points_mm"), (self.other_names, "other_points_mm")):
            try:
                points = frozen(np.reshape(np.asarray(getattr(self, title), np.float64), (-1, 3)))
            except (TypeError, ValueError):
                points = frozen(np.full((len(count), 3), np.nan))
            if len(points) != len(count) or not np.isfinite(points).all():
                raise MarksError(
                    sentence(
                        title,
                        f"be {len(count)} rows of three finite numbers, one a name",
                        f"{len(points)} rows"
                        + ("" if len(points) != len(count) else ", some not finite"),
                    ),
                    code="marks-shape",
                )
            object.__setattr__(self, title, points)
        twice = sorted(name for name, n in Counter(self.names).items() if n > 1)
        if twice:
            raise MarksError(
                sentence("names of marks", "differ from each other", f"{listed(twice)} twice"),
                code="marks-name-twice",
                names=tuple(twice),
            )
        for name in self.landmarks:
            if name not in LANDMARK_NAMES:
                raise unknown_name("landmark", name, LANDMARK_NAMES)
        placed = {name: frozen(point) for name, point in self.landmarks.items()}
        object.__setattr__(self, "landmarks", MappingProxyType(placed))
        object.__setattr__(self, "given_names", MappingProxyType(dict(self.given_names)))

    def __reduce__(self) -> tuple[Any, ...]:
        # A read-only mapping cannot be pickled: the marks are made again from their parts.
        given = (getattr(self, part.name) for part in fields(self))
        return Marks, tuple(dict(p) if isinstance(p, MappingProxyType) else p for p in given)

    def __repr__(self) -> str:
        held = f"{len(self)} sites, {len(self.landmarks)} landmarks"
        others = f", {len(self.other_names)} other points" if self.other_names else ""
        return f"Marks({self.source[-60:]!r}, {held}{others})"

    def __len__(self) -> int:
        return len(self.names)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __getitem__(self, name: str) -> Floats:
        """(3,) one mark in mm.

        Raises
        ------
        UnknownNameError
            Not marked.
        """
        if name not in self.names:
            raise unknown_name("mark", name, self.names)
        return np.asarray(self.points_mm[self.names.index(name)])

    def of_kind(self, kind: Kind) -> tuple[Remark, ...]:
        """Remarks of one kind: notes, corrections or doubts."""
        return tuple(remark for remark in self.remarks if remark.kind == kind)

    @property
    def all_points_mm(self) -> Floats:
        """(n + m, 3) the named marks, then the others."""
        return np.concatenate([self.points_mm, self.other_points_mm])

    @property
    def frame(self) -> RigidMotion | None:
        """The motion into the head frame of the landmarks; None when one is missing."""
        return head_frame(self.landmarks)

    def set_aside(self, names: Iterable[str], reason: str) -> Marks:
        """The marks without those of some names, and a note that says so.

        Parameters
        ----------
        names : iterable of str
        reason : str
            Follows "not judged:" in the note.
        """
        away = set(names) & set(self.names)
        if not away:
            return self
        kept = [i for i, name in enumerate(self.names) if name not in away]
        named = [name for name in self.names if name in away]
        return replace(
            self,
            names=tuple(self.names[i] for i in kept),
            points_mm=self.points_mm[kept],
            remarks=(
                *self.remarks,
                note("set-aside", f"{listed(named)} not judged: {reason}", names=tuple(named)),
            ),
        )

    def moved(self, motion: RigidMotion) -> Marks:
        """The same marks after a rigid motion."""
        return replace(
            self,
            points_mm=motion.on(self.points_mm),
            other_points_mm=motion.on(self.other_points_mm),
            landmarks={name: motion.on(point) for name, point in self.landmarks.items()},
        )

    def renamed(self, names: Mapping[str, str]) -> Marks:
        """The same places under other names; listed as a correction.

        Parameters
        ----------
        names : mapping of str to str
            Name borne now -> name to be borne, for sites and for others.

        Raises
        ------
        UnknownNameError
            No such mark.
        MarksError
            Two marks would bear one name.

        >>> marks = Marks(("C3", "C4"), [[60, 9, 99], [-60, 9, 99]])
        >>> marks.renamed({"C3": "C4", "C4": "C3"})["C3"].tolist()
        [-60.0, 9.0, 99.0]
        """
        known = (*self.names, *self.other_names)
        for name in names:
            if name not in known:
                raise unknown_name("mark", name, known)
        kept = [i for i, name in enumerate(self.other_names) if name not in names]
        found = [i for i, name in enumerate(self.other_names) if name in names]
        new = (
            *(names.get(name, name) for name in self.names),
            *(names[self.other_names[i]] for i in found),
        )
        changes = ", ".join(f"{old} is now {to}" for old, to in sorted(names.items()) if old != to)
        remark = correction("renamed", f"marks were renamed as asked: {changes}", names=dict(names))
        return replace(
            self,
            names=new,
            points_mm=np.concatenate([self.points_mm, self.other_points_mm[found]]),
            other_names=tuple(self.other_names[i] for i in kept),
            other_points_mm=self.other_points_mm[kept],
            remarks=(*self.remarks, remark),
        )

    def _repr_html_(self) -> str:
        """The marks and what was done to them, in a notebook."""
        named = zip((*self.names, *self.other_names), self.all_points_mm.tolist(), strict=True)
        return html_table(
            f"{self.source}: marks in mm",
            ("name", "x", "y", "z"),
            [(name, *point) for name, point in named],
        ) + html_list(f"{remark.kind}: {remark.sentence}" for remark in self.remarks)

    def to_mne(self) -> Any:
        """An `mne.channels.DigMontage` with these marks and their measured landmarks.

        In the head frame of mne where nasion and both preauricular points were measured.

        Raises
        ------
        InputError
            The optional extra `mne` is not installed.
        """
        return hook("marks_to_mne")(self)


def head_frame(landmarks: Mapping[str, Floats]) -> RigidMotion | None:
    """The motion into the head frame (see `headfit.anatomy.landmarks`).

    None without the three landmarks, and where they lie on one line.
    """
    try:
        nasion, left, right = (
            landmarks[name] for name in ("nasion", "left_preauricular", "right_preauricular")
        )
    except KeyError:
        return None
    middle, x = (left + right) / 2, right - left
    width = float(np.linalg.norm(x))
    x = x / max(width, 1e-9)
    y = nasion - middle
    y = y - (y @ x) * x
    depth = float(np.linalg.norm(y))
    if min(width, depth) < _LEAST_MM:
        return None
    y = y / depth
    rotation = np.array([x, y, np.cross(x, y)])
    return RigidMotion(rotation, -rotation @ middle)
