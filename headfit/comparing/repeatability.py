"""Repeat sessions of one person: how far each mark comes back to its place. Millimetres.

Sessions are laid on each other in two ways, both reported: by the landmarks, as the work was done,
and by the best fit, which takes the error of the landmarks out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from headfit.comparing.session_slips import SessionSlips, slips_of_sessions, two_people
from headfit.errors import HeadfitError, MarksError, sentence
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats
from headfit.geometry.rigid import robust_rigid
from headfit.marks.marks import Marks
from headfit.marks.remarks import Remark, doubt, listed

_FEWEST = 4
_ROUNDS = 4
# No spread per axis between two sessions is taken smaller than this.
_FLOOR_MM = 0.3


@dataclass(frozen=True)
class SiteRepeat:
    """How one site came back.

    Attributes
    ----------
    site : str
    n_sessions : int
    by_landmarks_mm : float or None
        Root mean square distance between two sessions in the head frame; None when a session has
        no landmarks.
    by_fit_mm : float
        The same after each session was fitted to the mean of all.
    """

    site: str
    n_sessions: int
    by_landmarks_mm: float | None
    by_fit_mm: float


@dataclass(frozen=True)
class Repeatability:
    """Test and retest of a set of marks.

    Attributes
    ----------
    sites : tuple of SiteRepeat
        The worst by fit first.
    by_landmarks_mm : float or None
        Median over the sites.
    by_fit_mm : float
        Median over the sites.
    remarks : tuple of Remark
    slips : SessionSlips or None
        All sessions on one head; None without landmarks, or with too few marks.
    """

    sites: tuple[SiteRepeat, ...]
    by_landmarks_mm: float | None
    by_fit_mm: float
    remarks: tuple[Remark, ...] = ()
    slips: SessionSlips | None = field(default=None, repr=False)

    def __repr__(self) -> str:
        return f"Repeatability({len(self.sites)} sites, {self.by_fit_mm:.1f} mm after a best fit)"

    @property
    def sentence(self) -> str:
        """The two figures in words.

        >>> site = SiteRepeat("Cz", 2, 8.8, 2.7)
        >>> Repeatability((site,), 8.8, 2.7).sentence
        'half of the marks come back within 8.8 mm by the landmarks and within 2.7 mm after a best \
fit: the landmarks are the less sure part'
        """
        fitted = f"within {self.by_fit_mm:.1f} mm after a best fit"
        if self.by_landmarks_mm is None:
            return f"half of the marks come back {fitted}"
        less = ": the landmarks are the less sure part"
        return (
            f"half of the marks come back within {self.by_landmarks_mm:.1f} mm by the landmarks "
            f"and {fitted}{less if self.by_landmarks_mm > 1.5 * self.by_fit_mm else ''}"
        )


def compare_sessions(
    sessions: Sequence[Marks],
    tape: Tape | None = None,
    age: str | float = "adult",
    sex: str | None = None,
    *,
    called: Sequence[str] | None = None,
) -> Repeatability:
    """Test-retest of repeat sessions of the same person, site by site and as whole sets.

    Parameters
    ----------
    sessions : sequence of Marks
        Two or more; the sites that all of them hold are compared.
    tape, age, sex
        Of the person, as for `head_under`; one head is fitted for all sessions.
    called : sequence of str, optional
        What the remarks call each session; else they are numbered from 1.

    Raises
    ------
    MarksError
        Fewer than two sessions, or fewer than four sites in common.
    """
    if len(sessions) < 2:
        raise MarksError(
            sentence("sessions to be compared", "be two or more", f"{len(sessions)}"),
            code="sessions-too-few",
        )
    names = [n for n in sessions[0].names if all(n in session.names for session in sessions[1:])]
    if len(names) < _FEWEST:
        raise MarksError(
            sentence("sessions of one person", f"share {_FEWEST} sites or more", f"{len(names)}"),
            code="sessions-no-common-sites",
        )
    points = np.array([[session[name] for name in names] for session in sessions])
    frames = [session.frame for session in sessions]
    landmarks: Floats | None = None
    if all(frame is not None for frame in frames):
        placed = [frame.on(p) for frame, p in zip(frames, points, strict=True) if frame is not None]
        landmarks = _between(np.array(placed))
    fitted = _between(_to_the_mean(points))
    sites = [
        SiteRepeat(
            name,
            len(sessions),
            None if landmarks is None else float(landmarks[i]),
            float(fitted[i]),
        )
        for i, name in enumerate(names)
    ]
    return Repeatability(
        tuple(sorted(sites, key=lambda site: -site.by_fit_mm)),
        None if landmarks is None else float(np.median(landmarks)),
        float(np.median(fitted)),
        _remarks(sessions, called or [f"{i + 1}" for i in range(len(sessions))]),
        _slips(sessions, tape, age, sex),
    )


def _slips(
    sessions: Sequence[Marks], tape: Tape | None, age: str | float, sex: str | None
) -> SessionSlips | None:
    """All sessions on one head; None where they are too few marks, or lie on none."""
    if any(marks.frame is None for marks in sessions):
        return None
    try:
        return slips_of_sessions(sessions, tape, age, sex)
    except HeadfitError:
        return None


def _remarks(sessions: Sequence[Marks], called: Sequence[str]) -> tuple[Remark, ...]:
    """Doubts that sessions are two, and that they are one person's."""
    found = []
    same = same_places(dict(zip(called, sessions, strict=True)))
    if same:
        # Marks never come back to a tenth of a millimetre.
        said = listed(f"{one} and {other}" for one, other in same)
        text = (
            f"sessions {said} hold the same places to 0.1 mm: a copy, or a template in place of "
            "both"
        )
        found.append(doubt("sessions-alike", text, sessions=same))
    unlike = two_people(sessions)
    if unlike is not None:
        pair = (called[unlike.one], called[unlike.other])
        text = (
            f"sessions {pair[0]} and {pair[1]} look like two people, or landmarks were set down "
            f"otherwise: their marks fit each other to {unlike.rms_mm:.1f} mm, their landmarks lie "
            f"up to {unlike.landmarks_mm:.1f} mm nearer or farther apart, and the breadth of the "
            f"set against its length differs by {abs(unlike.breadth_percent):.1f} %"
        )
        found.append(
            doubt(
                "sessions-two-people",
                text,
                sessions=pair,
                rms_mm=round(unlike.rms_mm, 2),
                landmarks_mm=round(unlike.landmarks_mm, 2),
                breadth_percent=round(unlike.breadth_percent, 2),
            )
        )
    return tuple(found)


def _between(points: Floats) -> Floats:
    """(n,) root mean square distance between two sessions, from (sessions, n, 3) points.

    Over all pairs of k sessions it is sqrt(2 k / (k - 1)) times that from the mean.
    """
    k = len(points)
    gap = points - points.mean(axis=0)
    return np.asarray(np.sqrt(2.0 / (k - 1) * np.einsum("kij,kij->i", gap, gap)))


def _to_the_mean(points: Floats) -> Floats:
    """Every session after its robust best fit to the mean of all."""
    fitted, mean = points, points[0]
    for _ in range(_ROUNDS):
        fitted = np.array([robust_rigid(p, mean, floor_mm=_FLOOR_MM).motion.on(p) for p in fitted])
        mean = fitted.mean(axis=0)
    return fitted


def same_places(people: Mapping[str, Marks], within_mm: float = 0.1) -> tuple[tuple[str, str], ...]:
    """Pairs of people whose marks lie at exactly the same places: a template, or a copied file.

    Parameters
    ----------
    people : mapping of str to Marks
    within_mm : float

    >>> cap = Marks(("Fz", "Cz", "Pz"), [[0, 60, 110], [0, 10, 130], [0, -50, 110]])
    >>> same_places({"01": cap, "02": cap, "03": Marks(cap.names, cap.points_mm * 1.02)})
    (('01', '02'),)
    """
    found = []
    items = list(people.items())
    for i, (one, first) in enumerate(items):
        for other, second in items[i + 1 :]:
            names = [name for name in first.names if name in second.names]
            if len(names) < _FEWEST - 1:
                continue
            gap = np.array([first[n] - second[n] for n in names])
            if float(np.abs(gap).max()) <= within_mm:
                found.append((one, other))
    return tuple(found)
