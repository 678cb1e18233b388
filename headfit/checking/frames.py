"""Which way the axes of a file run, and whether its landmarks are what they say.

The landmarks give right and front, the marks above them give up, the names of the marks tell left
from right once more. Two of the three agreeing against the third tells which one is wrong:

    names agree with the landmarks, marks above them      all is well
    names agree with the landmarks, marks below them      the axes are left-handed
    names contradict the landmarks, marks below them      LPA and RPA are exchanged
    names contradict the landmarks, marks above them      the names are mirrored (see mixups)
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, lru_cache

import numpy as np

from headfit.anatomy.arcs import mirrored
from headfit.checking.marks import head_frame
from headfit.checking.reference import fit_by_names
from headfit.checking.remarks import Remark, correction, doubt, note
from headfit.checking.sizes import spread_of
from headfit.geometry.mesh import Floats

# The axes of the keywords of BIDS 1.10 (schema, enums.yaml): "RAS orientation", "ALS orientation".
SYSTEM_AXES = {
    "captrak": "RAS", "elektaneuromag": "RAS", "neuromagelektamegin": "RAS", "chietiitab": "RAS",
    "scanras": "RAS", "acpc": "RAS", "eeglab": "ALS", "eeglab-hj": "ALS", "ctf": "ALS",
    "4dbti": "ALS", "kityokogawa": "ALS",
}  # fmt: skip
_WORDS = {"R": "right", "L": "left", "A": "front", "P": "back", "S": "up", "I": "down"}

# Axes turned less than this are a frame that runs right, front, up: the plane of the landmarks may
# be tilted by 25 degrees against that of a scanner.
_TILT_DEGREES = 30.0

# Names that lay the template over the marks better than this need no second reading; worse than
# that they tell nothing.
_GOOD_FIT_MM, _NO_FIT_MM = 12.0, 25.0


@dataclass(frozen=True, eq=False)
class Settled:
    """Points and landmarks on axes that run right, front, up, with what was done.

    Attributes
    ----------
    points_mm : (n, 3) float64
    landmarks : dict of str to (3,) float64
    remarks : list of Remark
    names_fit : bool
        False when left and right, front and back by the names fit the landmarks no better than
        chance: these may be names of another scheme.
    """

    points_mm: Floats
    landmarks: dict[str, Floats]
    remarks: list[Remark] = field(default_factory=list)
    names_fit: bool = True


@cache
def _all_axes() -> tuple[Floats, tuple[str, ...]]:
    """(48, 3, 3) every way three axes can run, and its letters such as RAS or ALS.

    Each matrix takes file coordinates to right, front, up.
    """
    matrices, labels = [], []
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1.0, -1.0), repeat=3):
            matrix = np.zeros((3, 3))
            letters = ""
            for axis, (towards, sign) in enumerate(zip(order, signs, strict=True)):
                matrix[towards, axis] = sign
                letters += ("RAS" if sign > 0 else "LPI")[towards]
            matrices.append(matrix)
            labels.append(letters)
    return np.array(matrices), tuple(labels)


def axes_matrix(letters: str) -> Floats:
    """(3, 3) matrix that takes coordinates with these axes to right, front, up.

    >>> (axes_matrix("ALS") @ [95.0, 10.0, 3.0]).tolist()
    [-10.0, 95.0, 3.0]
    """
    matrices, labels = _all_axes()
    return np.asarray(matrices[labels.index(letters)])


def nearest_axes(rotation: Floats) -> tuple[str, float]:
    """The axes nearest to a frame, and how many degrees the frame is turned against them.

    Parameters
    ----------
    rotation : (3, 3) float64
        Rows are right, front and up in the coordinates of the file; left-handed if its
        determinant is negative.

    >>> nearest_axes(np.diag([-1.0, -1.0, 1.0]))
    ('LPS', 0.0)
    """
    matrices, labels = _all_axes()
    same_hand = np.linalg.det(matrices) * np.linalg.det(rotation) > 0
    likeness = np.where(same_hand, np.einsum("kij,ij->k", matrices, rotation), -np.inf)
    best = int(likeness.argmax())
    return labels[best], float(np.degrees(np.arccos(np.clip((likeness[best] - 1) / 2, -1, 1))))


def described(letters: str) -> str:
    """The three axes in words.

    >>> described("ALS")
    'x to the front, y to the left, z up'
    """
    directions = [_WORDS[letter] for letter in letters]
    said = [word if word in ("up", "down") else f"to the {word}" for word in directions]
    return ", ".join(f"{axis} {to}" for axis, to in zip("xyz", said, strict=True))


def settle(
    points_mm: Floats, names: Sequence[str], landmarks: Mapping[str, Floats], system: str | None
) -> Settled:
    """Turn points and landmarks so that the axes run right, front, up.

    Parameters
    ----------
    points_mm : (n, 3) float64
    names : sequence of str
        Site names of the first rows of `points_mm`; others have none.
    landmarks : mapping of str to (3,) float64
    system : str or None
        Declared coordinate system.
    """
    declared = SYSTEM_AXES.get((system or "").strip().casefold())
    frame = head_frame(landmarks)
    if frame is not None:
        return _by_landmarks(points_mm, names, dict(landmarks), declared, system)
    return _by_names(points_mm, names, dict(landmarks), declared, system)


def _by_landmarks(
    points: Floats, names: Sequence[str], landmarks: dict[str, Floats], declared: str | None,
    system: str | None,
) -> Settled:  # fmt: skip
    frame = head_frame(landmarks)
    assert frame is not None
    placed = frame.on(points)
    remarks: list[Remark] = []
    above, lift = _above(placed)
    sides = vote(names, placed[:, 0], side_of)
    rotation = np.array(frame.rotation)
    if sides is None or vote(names, placed[:, 1], front_of) is not True:
        points = _on_the_axes_of_the_landmarks(points, names, rotation, remarks)
        placed = frame.on(points)
        above, lift = _above(placed)
        sides = vote(names, placed[:, 0], side_of)
    if above is False and sides is True:
        rotation[2] = -rotation[2]
    elif above is False and sides is False:
        exchange = correction(
            "ears-exchanged",
            "LPA and RPA are exchanged: with them as written the marks lie under the head and "
            "marks of the left stand on the right",
            lift=round(lift, 3),
        )
        remarks.append(exchange)
        left, right = landmarks["left_preauricular"], landmarks["right_preauricular"]
        landmarks["left_preauricular"], landmarks["right_preauricular"] = right, left
        frame = head_frame(landmarks)
        assert frame is not None
        rotation = np.array(frame.rotation)
        placed = frame.on(points)
    elif above is False:
        remarks.append(
            doubt(
                "handedness",
                "marks lie under the plane of their landmarks: either LPA and RPA are exchanged or "
                "the axes are left-handed, and no names of sites tell which",
                lift=round(lift, 3),
            )
        )
    letters, degrees = nearest_axes(rotation)
    remarks += _said_of_axes(letters, degrees, declared, system, "the landmarks")
    if np.linalg.det(rotation) < 0 or degrees <= _TILT_DEGREES:
        turn = axes_matrix(letters)
        points = points @ turn.T
        landmarks = {name: turn @ point for name, point in landmarks.items()}
        frame = head_frame(landmarks)
        assert frame is not None
        placed = frame.on(points)
    fits = (
        vote(names, placed[:, 0], side_of) is not None
        and vote(names, placed[:, 1], front_of) is not None
    )
    return Settled(points, landmarks, remarks, fits or len(names) < _FEWEST_VOTES)


def _on_the_axes_of_the_landmarks(
    points: Floats, names: Sequence[str], frame: Floats, remarks: list[Remark]
) -> Floats:
    """The marks, turned if their names show that their axes are not those of the landmarks.

    `frame` is the rotation (3, 3) into the head frame of the landmarks.
    """
    fit = fit_by_names(names, points[: len(names)])
    if fit is None or fit.gap_mm > _GOOD_FIT_MM:
        return points
    letters, degrees = nearest_axes(frame.T @ fit.motion.inverse.rotation)
    if letters == "RAS" or degrees > _TILT_DEGREES:
        return points
    text = (
        f"axes of the marks run {described(letters)} on those of their landmarks, as the names of "
        "the marks show; the marks were turned"
    )
    remarks.append(correction("axes-differ", text, axes=letters, turned_degrees=round(degrees, 1)))
    return np.asarray(points @ axes_matrix(letters).T)


def _by_names(
    points: Floats, names: Sequence[str], landmarks: dict[str, Floats], declared: str | None,
    system: str | None,
) -> Settled:  # fmt: skip
    """Without landmarks only the names can tell, against a template head."""
    remarks: list[Remark] = []
    fit = fit_by_names(names, points[: len(names)])
    mirror = None
    if fit is not None and fit.gap_mm > _GOOD_FIT_MM:
        mirror = fit_by_names([mirrored(name) for name in names], points[: len(names)])
    best_mm = min((found.gap_mm for found in (fit, mirror) if found), default=np.inf)
    if fit is None or best_mm > _NO_FIT_MM:
        letters = declared or "RAS"
        if declared is None:
            remarks.append(
                doubt(
                    "axes-unknown",
                    "nothing tells which way the axes run; they are taken as x to the right, "
                    "y to the front, z up",
                    system=system,
                )
            )
        elif letters != "RAS":
            remarks.append(_turned(letters, system))
        turn = axes_matrix(letters)
        placed = {name: turn @ point for name, point in landmarks.items()}
        return Settled(points @ turn.T, placed, remarks, names_fit=fit is None)
    if mirror is not None and mirror.gap_mm < 0.6 * fit.gap_mm:
        remarks.append(
            doubt(
                "handedness",
                "marks are a mirror image of a head: either the axes are left-handed or the names "
                "of left and right are exchanged throughout, and no landmarks tell which",
                gap_mm=round(fit.gap_mm, 1),
                gap_mirrored_mm=round(mirror.gap_mm, 1),
            )
        )
        fit = mirror
    letters, degrees = nearest_axes(fit.motion.inverse.rotation)
    remarks += _said_of_axes(letters, degrees, declared, system, "the names of the marks")
    if degrees > _TILT_DEGREES:
        letters = "RAS"
    turn = axes_matrix(letters)
    return Settled(points @ turn.T, {k: turn @ p for k, p in landmarks.items()}, remarks)


def _turned(letters: str, system: str | None) -> Remark:
    return note(
        "axes-turned",
        f"axes run as {system} declares, {described(letters)}; turned to right, front, up",
        axes=letters, system=system,
    )  # fmt: skip


def _said_of_axes(
    letters: str, degrees: float, declared: str | None, system: str | None, witness: str
) -> list[Remark]:
    """What is to be told when the axes are found to run as `letters`."""
    evidence: dict[str, object] = {
        "axes": letters, "declared": declared, "system": system, "turned_degrees": round(degrees, 1)
    }  # fmt: skip
    left_handed = float(np.linalg.det(axes_matrix(letters))) < 0
    if degrees > _TILT_DEGREES and not left_handed:
        return [
            note(
                "axes-own",
                f"axes are a frame of their own, {degrees:.0f} degrees from the nearest head axes; "
                f"kept, {witness} tell where right, front and up are",
                **evidence,
            )
        ]
    if letters == (declared or "RAS"):
        return [] if letters == "RAS" else [_turned(letters, system)]
    hand = ", a left-handed frame" if left_handed else ""
    if declared is None:
        sentence = (
            f"axes run {described(letters)}{hand}, as {witness} show; turned to right, front, up"
        )
        return [correction("axes-deduced", sentence, **evidence)]
    sentence = (
        f"axes are declared as {system} ({described(declared)}) but run "
        f"{described(letters)}{hand}, as {witness} show"
    )
    return [correction("axes-wrong", sentence, **evidence)]


_FEWEST_VOTES = 4
_CLEAR = 0.8


@lru_cache(maxsize=2048)
def side_of(name: str) -> int:
    """-1 for a site of the left, 1 for one of the right, 0 on the midline."""
    number = name.rstrip("h").lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz")
    return 0 if not number else (-1 if int(number) % 2 else 1)


@lru_cache(maxsize=2048)
def front_of(name: str) -> int:
    """1 for a site well before the coronal arc, -1 for one well behind it, else 0."""
    stem = name.rstrip("0123456789hz")
    if stem in ("Fp", "AFp", "AF", "AFF", "F"):
        return 1
    return -1 if stem in ("P", "PPO", "PO", "POO", "O", "CPP", "I") else 0


def vote(names: Sequence[str], offset_mm: Floats, belongs_of: Callable[[str], int]) -> bool | None:
    """Whether the names agree (True) or disagree (False) with where the marks lie.

    Parameters
    ----------
    names : sequence of str
        Of the first rows of `offset_mm`.
    offset_mm : (n,) float64
        To the right, or to the front.
    belongs_of : function of a name
        `side_of` or `front_of`.

    Returns
    -------
    bool or None
        None when fewer than four marks can tell or they contradict each other.

    >>> vote(["C3", "C4", "T7", "T8", "Cz"], np.array([-60.0, 60, -75, 75, 0]), side_of)
    True
    """
    belongs = np.array([belongs_of(name) for name in names])
    offset = offset_mm[: len(names)]
    heard = (belongs != 0) & (np.abs(offset) > 10.0) if len(names) else np.zeros(0, bool)
    if heard.sum() < _FEWEST_VOTES:
        return None
    agree = float((np.sign(offset[heard]) == belongs[heard]).mean())
    return True if agree >= _CLEAR else False if agree <= 1 - _CLEAR else None


def _above(placed: Floats) -> tuple[bool | None, float]:
    """Whether points in the head frame lie above the landmarks, and by how much of their spread."""
    if len(placed) < _FEWEST_VOTES:
        return None, 0.0
    lift = float(np.median(placed[:, 2])) / max(spread_of(placed), 1e-9)
    return (None if abs(lift) < 0.1 else lift > 0), lift
