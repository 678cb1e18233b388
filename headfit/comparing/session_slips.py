"""Sessions of one person on one head: how each slipped, how they differ, and which one is off.

What differs between two sessions is told by their landmarks alone, with the spread that landmarks
of one hand have from session to session; no head comes into it. The one head under all sessions
serves for the slip of each against the sites. Millimetres and degrees, head frame.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from headfit.anatomy.sites import place_sites
from headfit.comparing.alignment import by_landmarks, pose_covariance
from headfit.comparing.common_shift import Doubt, SetMotion, fit_set
from headfit.comparing.directions import slide_in_words, turn_in_words
from headfit.comparing.head_and_slip import LANDMARK_COMMON, SLIP_DEGREES, SLIP_MM, HeadUnderMarks
from headfit.comparing.head_from_marks import head_under_sessions
from headfit.comparing.target_sites import Targets, targets_for
from headfit.fitting.tape import Tape
from headfit.geometry.mesh import Floats
from headfit.geometry.rates import skew
from headfit.geometry.rigid import robust_rigid
from headfit.marks.marks import Marks
from headfit.nouns import Noun

# How two sessions of one person differ, root mean square of 22 pairs (OpenNeuro ds004024): marks
# after a robust fit, the two distances of the nasion from the ears together and against each other,
# the distance of the ears, mm; and the breadth of the set against its length. The size of a set is
# no sign: a cap that stands off farther swells it. In these units, all five together, the 22 pairs
# reach 3.2, and 3.5 where the units are read off the other people; beyond the limit two sessions
# are two people's: 91 to 94 % of 796 pairs of unlike people (ds004561, ds005403, ds004024).
_OF_ONE_PERSON = np.array([3.1, 4.3, 2.6, 1.9, 0.009])
_TWO_PEOPLE = 3.5
# Without landmarks the fit of the marks alone speaks: at most 4.6 mm in those pairs.
_TWO_PEOPLE_RMS_MM = 6.0
_FEWEST_SHARED = 8
# Marks that fit the worst and are left out, so that one that is off makes no two people of one.
_LEFT_OUT = 3
_LEAST = np.array([1.5, 1.5, 1.5, 3.0, 3.0, 3.0])  # degrees, mm: smaller ones matter to nobody
_SURE = 2.5


@dataclass(frozen=True, eq=False)
class SessionSlip(Noun):
    """How one session sits on the head of all.

    Attributes
    ----------
    source : str
    slip : SetMotion
        Against the sites of the common head, with the doubt of that head.
    by_landmarks : SetMotion
        The same as the landmarks of this session alone lay it.
    against_others, against_others_spread : (6,) float64
        Pitch, roll, yaw in degrees and right, front, up in mm: this session less the mean of the
        others by landmarks, and how sure that is.
    """

    source: str
    slip: SetMotion
    by_landmarks: SetMotion
    against_others: Floats
    against_others_spread: Floats

    @property
    def differs(self) -> bool:
        """Whether it surely sits otherwise than the others."""
        least = np.maximum(_LEAST, _SURE * self.against_others_spread)
        return bool((np.abs(self.against_others) > least).any())

    @property
    def words(self) -> str:
        """How it sits against the others; empty where nothing is sure."""
        least = np.maximum(_LEAST, _SURE * self.against_others_spread)
        said = (
            slide_in_words(self.against_others[3:], least[3:]),
            turn_in_words(self.against_others[:3], least[:3]),
        )
        return ", ".join(part for part in said if part)


@dataclass(frozen=True, eq=False)
class SessionSlips(Noun):
    """Several sessions on one head.

    Attributes
    ----------
    under : HeadUnderMarks
    slips : tuple of SessionSlip
        In the order of the sessions.
    """

    under: HeadUnderMarks = field(repr=False)
    slips: tuple[SessionSlip, ...]

    def difference(self, one: int, other: int) -> tuple[Floats, Floats]:
        """(6,) slip of one session less that of another on the common head, and its spread."""
        gap = self.slips[one].slip.six - self.slips[other].slip.six
        k = self.under.model.n_parameters
        follow = np.zeros((6, len(self.under.covariance)))
        for number, sign in ((one, 1.0), (other, -1.0)):
            columns = np.r_[:k, k + 13 * number : k + 13 * number + 6]
            follow[:, columns] += sign * self.slips[number].slip.follow
        return gap, np.sqrt(np.diag(follow @ self.under.covariance @ follow.T))

    @property
    def sentence(self) -> str:
        """Which session is off, in words."""
        off = [i for i, slip in enumerate(self.slips) if slip.differs]
        if not off:
            return "No session sits otherwise than the others, as far as their landmarks tell"
        if len(self.slips) == 2:
            words = self.slips[1].words or self.slips[0].words
            likelier = min(range(2), key=lambda i: _unlikely(self.slips[i].slip))
            return (
                f"Session 2 sits otherwise than session 1: {words}. Of two it cannot be told which "
                f"is off; session {likelier + 1} lies nearer to its sites"
            )
        worst = max(
            off,
            key=lambda i: float(
                np.abs(self.slips[i].against_others / self.slips[i].against_others_spread).max()
            ),
        )
        return f"Session {worst + 1} is off: against the others it is {self.slips[worst].words}"


def slips_of_sessions(
    sessions: Sequence[Marks],
    tape: Tape | None = None,
    age: str | float = "adult",
    sex: str | None = None,
) -> SessionSlips:
    """One head for all sessions of a person, the slip of each, and how each differs.

    Parameters
    ----------
    sessions : sequence of Marks
        Two or more, each with landmarks and 8 marks or more.
    tape, age, sex
        As for `head_under`.

    Raises
    ------
    LandmarkError
        A landmark is missing in a session.
    MarksError
        A session has fewer than 8 marks, or they lie on no head.
    """
    under = head_under_sessions(sessions, tape, age, sex)
    common = [
        name for name in sessions[0].names if all(name in marks.names for marks in sessions[1:])
    ]
    shared = [_by_landmarks(under, number, common) for number in range(len(sessions))]
    six = np.array([slip.six for slip, _ in shared])
    # Of the errors of landmarks only what changes from session to session.
    variance = (1.0 - LANDMARK_COMMON**2) * np.array(
        [np.diag(slip.follow @ pose @ slip.follow.T) for slip, pose in shared]
    )
    n_others = len(sessions) - 1
    found = []
    for number, marks in enumerate(sessions):
        gap = six[number] - np.delete(six, number, axis=0).mean(axis=0)
        rest = np.delete(variance, number, axis=0).sum(axis=0) / n_others**2
        slip = _slip_of(under, number)
        alone = _by_landmarks(under, number, marks.names)[0]
        found.append(SessionSlip(marks.source, slip, alone, gap, np.sqrt(variance[number] + rest)))
    return SessionSlips(under, tuple(found))


@dataclass(frozen=True)
class TwoPeople:
    """Two sessions that cannot be one person's, and by what.

    Attributes
    ----------
    one, other : int
        Numbers of the sessions from 0.
    rms_mm : float
        Distance of their marks after a robust fit.
    landmarks_mm : float
        Largest difference between the distances of their landmarks.
    breadth_percent : float
        How much broader against its length the set of the other is.
    """

    one: int
    other: int
    rms_mm: float
    landmarks_mm: float
    breadth_percent: float


def two_people(sessions: Sequence[Marks]) -> TwoPeople | None:
    """The two sessions least alike, when they cannot be one person's; None otherwise.

    Parameters
    ----------
    sessions : sequence of Marks
    """
    found = []
    for one, other in combinations(range(len(sessions)), 2):
        first, second = sessions[one], sessions[other]
        rms, broader = _marks_apart(first, second)
        apart = _landmarks_apart(first, second)
        if apart is None:
            unlike, farthest = rms / _TWO_PEOPLE_RMS_MM, 0.0
        else:
            right, left, ears = apart
            signs = np.array([rms, right + left, right - left, ears, broader])
            unlike = float(np.linalg.norm(signs / _OF_ONE_PERSON)) / _TWO_PEOPLE
            farthest = float(np.abs(apart).max())
        found.append((unlike, TwoPeople(one, other, rms, farthest, 100.0 * broader)))
    unlike, worst = max(found, key=lambda each: each[0])
    return worst if unlike > 1.0 else None


def _marks_apart(first: Marks, second: Marks) -> tuple[float, float]:
    """Distance of the marks of two sets after a robust fit, and how much broader the second is."""
    names = [name for name in first.names if name in second.names]
    if len(names) < _FEWEST_SHARED:
        return 0.0, 0.0
    source, target = (np.array([marks[name] for name in names]) for marks in (first, second))
    fitted = robust_rigid(source, target).motion.on(source)
    gap = np.linalg.norm(fitted - target, axis=1)
    kept = np.argsort(gap)[: max(len(gap) - _LEFT_OUT, _FEWEST_SHARED)]
    rms = float(np.sqrt((gap[kept] ** 2).mean()))
    if second.frame is None:
        return rms, 0.0
    before, after = (part[kept] - part[kept].mean(axis=0) for part in (fitted, target))
    stretch = np.linalg.lstsq(before, after, rcond=None)[0] - np.eye(3)
    along = second.frame.rotation  # rows: to the right, to the nose, up
    right, front, _ = np.diag(along @ stretch @ along.T)
    return rms, float(right - front)


def _landmarks_apart(first: Marks, second: Marks) -> Floats | None:
    """(3,) how much farther apart the landmarks of the first lie, mm; None where one is missing.

    Nasion from the right ear, nasion from the left ear, ear from ear.
    """
    names = ("nasion", "left_preauricular", "right_preauricular")
    if not all(name in marks.landmarks for marks in (first, second) for name in names):
        return None
    sides = []
    for marks in (first, second):
        nasion, left, right = (marks.landmarks[name] for name in names)
        sides.append([np.linalg.norm(gap) for gap in (nasion - right, nasion - left, right - left)])
    return np.array(sides[0]) - np.array(sides[1])


def _targets(under: HeadUnderMarks, number: int, names: Sequence[str]) -> tuple[Targets, Floats]:
    """The sites at which marks of a session lie, and those marks in their own frame."""
    session = under.sessions[number]
    right = dict(zip(session.marks.names, session.names, strict=True))
    place = {right[name]: session.marks[name] for name in names if name in right}
    kept = tuple(place)
    targets = targets_for(place_sites(under.head, kept, under.rules), kept)
    return targets, np.array([place[name] for name in kept])


def _slip_of(under: HeadUnderMarks, number: int) -> SetMotion:
    """The slip of a session as the common head has it."""
    targets, points = _targets(under, number, under.sessions[number].marks.names)
    placed = under.motion(number).on(points)
    return fit_set(placed, targets, doubt=Doubt(*under.moves(targets, placed, number)))


def _by_landmarks(
    under: HeadUnderMarks, number: int, names: Sequence[str]
) -> tuple[SetMotion, Floats]:
    """The slip as landmarks lay it, and the covariance of that pose."""
    targets, points = _targets(under, number, names)
    marks = under.sessions[number].marks
    motion = by_landmarks(marks, targets)
    assert motion is not None  # a head was fitted
    placed = motion.on(points)
    pose = np.concatenate([-skew(placed), np.tile(np.eye(3), (len(placed), 1, 1))], axis=2)
    covariance = pose_covariance(marks, targets)
    return fit_set(placed, targets, doubt=Doubt(pose, covariance)), covariance


def _unlikely(slip: SetMotion) -> float:
    """How far a slip is from none, in what caps do."""
    turn, slide = slip.turn_degrees / SLIP_DEGREES, slip.slide_mm / SLIP_MM
    return float(turn @ turn + slide @ slide)
