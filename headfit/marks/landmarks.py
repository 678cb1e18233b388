"""The landmarks of a file: found, converted to millimetres, left out where they cannot be right."""

from __future__ import annotations

import itertools
from collections.abc import Mapping

import numpy as np

from headfit.errors import MarksError, sentence
from headfit.geometry.mesh import Floats
from headfit.marks.remarks import Remark, correction, doubt, listed, note
from headfit.marks.site_names import LANDMARK_KEYS, landmark_name
from headfit.marks.table_rows import FAR_MM, IMPOSSIBLE, Rows
from headfit.marks.unit_detection import FEWEST, declared_mm, find_unit, is_head, span_of, spread_of

_APART_MM = 20.0
_MANY = 16
_SAME_MM = 5.0


def collect_landmarks(
    work: Rows, given: Mapping[str, tuple[float, float, float]]
) -> tuple[dict[str, tuple[Floats, bool]], list[tuple[str, Floats]]]:
    """Landmarks by name, each with whether it comes from the table, and rows that give one again.

    A landmark beside the table goes before one in it. Their rows are taken out of the table.
    """
    found: dict[str, tuple[Floats, bool]] = {}
    respelled: dict[str, str] = {}
    unread, unknown = [], []
    for key, point in given.items():
        name = landmark_name(key)
        if name is None:
            unknown.append(key)
            continue
        place = np.asarray(point, dtype=np.float64)
        usable = place.shape == (3,) and bool((np.abs(place) < IMPOSSIBLE).all())
        if not usable or name in found:
            unread.append(key)
            continue
        found[name] = (place, False)
        if key != LANDMARK_KEYS[name]:
            respelled[key] = LANDMARK_KEYS[name]
    if unknown:
        text = f"landmarks of other kinds are left out: {listed(unknown)}"
        work.remarks.append(note("landmark-unknown", text, keys=unknown))
    if unread:
        text = (
            f"landmarks that are not three numbers, or come twice, are left out: {listed(unread)}"
        )
        work.remarks.append(correction("landmark-unread", text, keys=unread))
    if respelled:
        said = listed(f"{old} is {new}" for old, new in respelled.items())
        text = f"keys of landmarks are read as: {said}"
        work.remarks.append(correction("landmark-respelled", text, keys=respelled))
    rows = work.rows("landmark")
    serving: list[int] = []
    again: list[int] = []
    for i in rows:
        name = work.readings[i].name
        (again if name in found else serving).append(i)
        found.setdefault(name, (work.places[i], True))
    if serving:
        text = f"rows that are landmarks serve as landmarks: {listed(work.given(serving))}"
        work.remarks.append(note("landmark-rows", text, names=work.given(serving)))
    repeated = [(work.readings[i].name, work.places[i]) for i in again]
    work.leave_out(set(rows))
    return found, repeated


def tell_repeated(
    work: Rows,
    repeated: list[tuple[str, Floats]],
    landmarks: Mapping[str, Floats],
    mm_per_unit: float,
) -> None:
    """Tell of rows that give a landmark again; `landmarks` are in mm, the rows in file units."""
    gaps = [
        (LANDMARK_KEYS[name], float(np.linalg.norm(place * mm_per_unit - landmarks[name])))
        for name, place in repeated
        if name in landmarks
    ]
    if not gaps:
        return
    said = listed(f"{key} (a second place is {gap:.0f} mm off)" for key, gap in gaps)
    text = (
        f"landmarks that are given again are taken as first given, those beside the table: {said}"
    )
    if max(gap for _, gap in gaps) <= _SAME_MM:
        work.remarks.append(note("landmark-twice", text, off_mm=dict(gaps)))
    else:
        work.remarks.append(doubt("landmark-twice", text, off_mm=dict(gaps)))


def tell_missing(work: Rows, landmarks: Mapping[str, Floats]) -> None:
    """Tell which of the three landmarks of the head frame are not there."""
    three = ("nasion", "left_preauricular", "right_preauricular")
    lacking = [LANDMARK_KEYS[name] for name in three if name not in landmarks]
    if lacking:
        text = (
            f"landmarks {listed(lacking)} are not given; without them marks can only be fitted to "
            "the sites they name, and a slip of the whole set cannot be seen"
        )
        work.remarks.append(doubt("landmarks-missing", text, landmarks=lacking))


def factor_of_landmarks(landmarks: dict[str, tuple[Floats, bool]], unit: str | None) -> float:
    """Millimetres per unit of marks too few to have a size, from their landmarks.

    Raises
    ------
    MarksError
        The landmarks have no size either.
    """
    span = span_of(np.array([p for p, _ in landmarks.values()])) if len(landmarks) > 1 else 0.0
    if span < 1e-9:
        raise MarksError(
            sentence(
                "marks",
                f"be {FEWEST} or more, or have a unit",
                "fewer without one",
                "give the unit",
            ),
            code="unit-undeducible",
        )
    return find_unit(span, unit, "landmarks").mm_per_unit


def landmarks_to_mm(
    work: Rows,
    landmarks: dict[str, tuple[Floats, bool]],
    units: tuple[str | None, str | None],
    mm_per_unit: float,
) -> dict[str, Floats]:
    """Landmarks in millimetres: those from the table in its unit, the others in their own.

    `units` are those declared for landmarks and for marks.
    """
    declared = units[0] if units[0] is not None else units[1]
    result: dict[str, Floats] = {}
    for from_table in (False, True):
        group = {name: p for name, (p, row) in landmarks.items() if row is from_table}
        if not group:
            continue
        span = span_of(np.array(list(group.values())))
        factor = mm_per_unit if from_table else declared_mm(declared) or mm_per_unit
        if len(group) > 1 and span < 1e-9:
            work.remarks.append(_useless(list(group), "lie in one place"))
            continue
        if len(group) > 1 and not (from_table and is_head(span * factor)):
            finding = find_unit(span, None if from_table else declared, "landmarks")
            work.remarks += finding.remarks
            factor = finding.mm_per_unit
        result |= {name: p * factor for name, p in group.items()}
    near = {
        name
        for a, b in itertools.combinations(result, 2)
        if float(np.linalg.norm(result[a] - result[b])) < _APART_MM
        for name in (a, b)
    }
    if near:
        work.remarks.append(_useless(sorted(near), "coincide"))
        return {}
    if _in_line(result):
        work.remarks.append(_useless(sorted(result), "lie on one line"))
        return {}
    return result


def _in_line(landmarks: Mapping[str, Floats]) -> bool:
    """Whether the nasion lies between the preauricular points, where it fixes no frame."""
    try:
        nasion, left, right = (
            landmarks[name] for name in ("nasion", "left_preauricular", "right_preauricular")
        )
    except KeyError:
        return False
    across = (right - left) / np.linalg.norm(right - left)
    off = nasion - left - ((nasion - left) @ across) * across
    return float(np.linalg.norm(off)) < _APART_MM


def _useless(names: list[str], why: str) -> Remark:
    keys = [LANDMARK_KEYS[name] for name in names]
    return doubt(
        "landmarks-useless", f"landmarks {listed(keys)} {why} and are left out", landmarks=keys
    )


def drop_foreign_landmarks(work: Rows, landmarks: dict[str, Floats]) -> None:
    """Leave out landmarks that do not surround the marks: another frame, another person."""
    if not landmarks:
        return
    size = spread_of(work.places)
    middle = np.median(work.places, axis=0)
    off = {name: float(np.linalg.norm(p - middle)) for name, p in landmarks.items()}
    # Few marks may sit in one region: not between their landmarks, but on one head with them.
    low, high = (0.25 * size, 1.6 * size) if len(work.places) >= _MANY else (0.0, FAR_MM)
    bad = [name for name, distance in off.items() if not low <= distance <= high]
    if bad:
        keys = [LANDMARK_KEYS[name] for name in bad]
        work.remarks.append(
            doubt(
                "landmarks-elsewhere",
                f"landmarks {listed(keys)} do not belong to these marks, they lie "
                f"{listed(f'{off[n]:.0f}' for n in bad)} mm from the middle of marks "
                f"{size:.0f} mm across; all landmarks are left out",
                landmarks=keys,
                distance_mm=[round(off[n], 1) for n in bad],
            )
        )
        landmarks.clear()
