"""Which way the axes of a file run, and whether its landmarks are what they say.

Axes are named by where x, y and z point: RAS is right, front (anterior), up (superior). The
landmarks give right and front, the marks above them give up, and the names of the marks tell left
from right once more. Where two of the three agree, the third is wrong:

    names agree with the landmarks, marks above them      all is well
    names agree with the landmarks, marks below them      the axes are left-handed
    names contradict the landmarks, marks below them      LPA and RPA are exchanged
    names contradict the landmarks, marks above them      the names are mirrored
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

import numpy as np

from headfit.anatomy.arcs import mirrored
from headfit.geometry.mesh import Floats
from headfit.marks.handedness import CLEARLY, in_their_places, nearer, sense_of
from headfit.marks.marks import head_frame
from headfit.marks.remarks import Remark, correction, doubt, listed, note
from headfit.marks.site_names import LANDMARK_KEYS
from headfit.marks.template_sites import fit_by_names

# The axes of the keywords of BIDS 1.10 (schema, enums.yaml): "RAS orientation", "ALS orientation".
SYSTEM_AXES = {
    "captrak": "RAS",
    "elektaneuromag": "RAS",
    "neuromagelektamegin": "RAS",
    "chietiitab": "RAS",
    "scanras": "RAS",
    "acpc": "RAS",
    "eeglab": "ALS",
    "eeglab-hj": "ALS",
    "ctf": "ALS",
    "4dbti": "ALS",
    "kityokogawa": "ALS",
}
_WORDS = {"R": "right", "L": "left", "A": "front", "P": "back", "S": "up", "I": "down"}

# Up to this turn axes count as running right, front, up: the plane of the landmarks may be tilted
# by 25 degrees against that of a scanner.
_TILT_DEGREES = 30.0

# Median distance of the marks from the template fitted by their names: below the first the names
# are trusted, above the second they say nothing about the axes.
_GOOD_FIT_MM, _NO_FIT_MM = 12.0, 25.0
# Fewer marks may fit a template with its sides exchanged as well as the right one.
_MANY_NAMES = 16
# Heads are longer than broad by 25 % on the whole, sets of marks on them by 10 % or more.
_LONGER = 1.08


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
    points: Floats,
    names: Sequence[str],
    landmarks: dict[str, Floats],
    declared: str | None,
    system: str | None,
) -> Settled:
    frame = head_frame(landmarks)
    assert frame is not None
    placed = frame.on(points)
    remarks: list[Remark] = []
    sense = sense_of(names, placed, landmarks)
    rotation = np.array(frame.rotation)
    if not sense.sure:
        found = in_their_places(points, names, landmarks)
        if found is not landmarks:
            remarks.append(_said_of_landmarks(landmarks, found))
            landmarks = found
            frame = head_frame(landmarks)
            assert frame is not None
            rotation = np.array(frame.rotation)
        else:
            points = _on_the_axes_of_the_landmarks(points, names, rotation, remarks)
        sense = sense_of(names, frame.on(points), landmarks)
    lift = round(sense.lift, 3)
    if sense.above is False and sense.sides is True:
        rotation[2] = -rotation[2]
    elif sense.above is False and sense.sides is False:
        exchange = correction(
            "ears-exchanged",
            "LPA and RPA are exchanged: with them as written the marks lie under the head and "
            "marks of the left stand on the right",
            lift=lift,
        )
        remarks.append(exchange)
        left, right = landmarks["left_preauricular"], landmarks["right_preauricular"]
        landmarks["left_preauricular"], landmarks["right_preauricular"] = right, left
        frame = head_frame(landmarks)
        assert frame is not None
        rotation = np.array(frame.rotation)
    elif sense.above is False:
        text = (
            "marks lie under the plane of their landmarks: either LPA and RPA are exchanged or "
            "the axes are left-handed, and no names of sites tell which"
        )
        remarks.append(doubt("handedness", text, lift=lift))
    elif sense.sides is False:
        text = (
            "marks named on the left lie on the right by their landmarks: either the names of left "
            "and right are exchanged throughout, or the axes are left-handed and LPA and RPA are "
            "exchanged too, and nothing tells which"
        )
        remarks.append(doubt("handedness", text, lift=lift))
    letters, degrees = nearest_axes(rotation)
    remarks += _said_of_axes(letters, degrees, declared, system, "the landmarks")
    if np.linalg.det(rotation) < 0 or degrees <= _TILT_DEGREES:
        turn = axes_matrix(letters)
        points = points @ turn.T
        landmarks = {name: turn @ point for name, point in landmarks.items()}
    return Settled(points, landmarks, remarks, sense.names_fit)


def _said_of_landmarks(given: Mapping[str, Floats], found: Mapping[str, Floats]) -> Remark:
    key_of = {id(place): LANDMARK_KEYS[name] for name, place in given.items()}
    moved = {key_of[id(place)]: LANDMARK_KEYS[name] for name, place in found.items()}
    moved = {was: now for was, now in moved.items() if was != now}
    said = listed(f"what is given as {was} is {now}" for was, now in moved.items())
    text = f"landmarks are mixed up, as the names of the marks show: {said}"
    return correction("landmarks-mixed-up", text, landmarks=moved)


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
    points: Floats,
    names: Sequence[str],
    landmarks: dict[str, Floats],
    declared: str | None,
    system: str | None,
) -> Settled:
    """Without landmarks only the names can tell, against a template head."""
    remarks: list[Remark] = []
    fit = fit_by_names(names, points[: len(names)])
    mirror = None
    if fit is not None and (fit.gap_mm > _GOOD_FIT_MM or len(names) < _MANY_NAMES):
        mirror = fit_by_names([mirrored(name) for name in names], points[: len(names)])
    best_mm = min((found.gap_mm for found in (fit, mirror) if found), default=np.inf)
    told = best_mm <= _NO_FIT_MM
    if fit and mirror and len(names) < _MANY_NAMES:
        told = told and nearer(fit.gap_mm, mirror.gap_mm)[1] is not None
    if fit is None or not told:
        letters = declared or "RAS"
        if declared is None:
            text = (
                "nothing tells which way the axes run; they are taken as x to the right, y to the "
                f"front, z up{_longer_along_x(points)}"
            )
            remarks.append(doubt("axes-unknown", text, system=system))
        elif letters != "RAS":
            remarks.append(_turned(letters, system))
        turn = axes_matrix(letters)
        placed = {name: turn @ point for name, point in landmarks.items()}
        return Settled(points @ turn.T, placed, remarks, names_fit=best_mm <= _NO_FIT_MM or not fit)
    if mirror is not None and mirror.gap_mm < CLEARLY * fit.gap_mm:
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


def _longer_along_x(points: Floats) -> str:
    """The hint that a set reaches farther along x than along y, as heads do from front to back."""
    if len(points) < _MANY_NAMES:
        return ""
    low, high = np.percentile(points, [5, 95], axis=0)
    across, along = (high - low)[:2]
    if across < _LONGER * along:
        return ""
    return (
        f", but the marks reach {across / along - 1:.0%} farther along x than along y, as on axes "
        f"that run {described('ALS')} (ALS)"
    )


def _turned(letters: str, system: str | None) -> Remark:
    return note(
        "axes-turned",
        f"axes run as {system} declares, {described(letters)}; turned to right, front, up",
        axes=letters,
        system=system,
    )


def _said_of_axes(
    letters: str, degrees: float, declared: str | None, system: str | None, witness: str
) -> list[Remark]:
    """Remarks for axes that are found to run as `letters`."""
    evidence: dict[str, object] = {
        "axes": letters,
        "declared": declared,
        "system": system,
        "turned_degrees": round(degrees, 1),
    }
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
