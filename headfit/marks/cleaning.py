"""From marks as a file has them to marks that can be compared; every change leaves a remark.

Order: names, rows without a place, unit of the marks, rows far off, landmarks and their unit, axes,
naming scheme, names that occur twice, templates that pose as measurements.
"""

from __future__ import annotations

import numpy as np

from headfit.errors import MarksError, sentence
from headfit.geometry.mesh import Floats
from headfit.marks.as_written import GivenMarks
from headfit.marks.axes import settle
from headfit.marks.landmarks import (
    collect_landmarks,
    drop_foreign_landmarks,
    factor_of_landmarks,
    landmarks_to_mm,
    tell_missing,
    tell_repeated,
)
from headfit.marks.marks import Marks
from headfit.marks.naming_schemes import lettered, other_scheme
from headfit.marks.posing_templates import posing_template
from headfit.marks.remarks import correction, refuse_if_strict
from headfit.marks.site_names import read_name
from headfit.marks.table_rows import (
    IMPOSSIBLE,
    Rows,
    set_aside_far,
    set_aside_inside,
    set_aside_rows,
    tell_flat,
    tell_names,
    tell_off_set,
    tell_others,
    without_doubles,
)
from headfit.marks.unit_detection import FEWEST, declared_mm, find_unit, spread_of, unit_name


def clean_marks(given: GivenMarks, *, strict: bool = False) -> Marks:
    """Marks in millimetres with axes right, front, up, from what a file says.

    Parameters
    ----------
    given : GivenMarks
    strict : bool
        Refuse where anything had to be corrected or is in doubt.

    Raises
    ------
    MarksError
        There is no mark with a place, all lie in one place, they are too few to tell a unit that
        is not declared, or `strict` found something.

    >>> given = GivenMarks(
    ...     "a.tsv",
    ...     ("FP1", "Fp2", "Oz", "Cz"),
    ...     [[-3, 9, 3], [3, 9, 3], [0, -9, 4], [0, 1, 13]],
    ...     unit="mm",
    ... )
    >>> marks = clean_marks(given)
    >>> [remark.code for remark in marks.remarks]
    ['names-respelled', 'unit-wrong', 'axes-unknown', 'landmarks-missing']
    >>> marks["Cz"].tolist()
    [0.0, 10.0, 130.0]
    """
    work = Rows([read_name(name) for name in given.names], np.array(given.places))
    work.remarks += given.remarks
    tell_names(work)
    set_aside_rows(work)
    landmarks, repeated = collect_landmarks(work, given.landmarks)
    if not work.readings:
        raise MarksError(
            sentence(given.source, "hold at least one mark with a place", "none"), code="marks-none"
        )
    mm_per_unit = _to_mm(work, given.unit, landmarks, given.landmark_unit)
    in_mm = landmarks_to_mm(work, landmarks, (given.landmark_unit, given.unit), mm_per_unit)
    tell_repeated(work, repeated, in_mm, mm_per_unit)
    set_aside_far(work)
    drop_foreign_landmarks(work, in_mm)
    set_aside_inside(work, in_mm)
    tell_off_set(work)
    tell_flat(work)
    marks = _placed(work, in_mm, given, mm_per_unit)
    if strict:
        refuse_if_strict(marks.remarks, given.source)
    return marks


def _to_mm(
    work: Rows,
    unit: str | None,
    landmarks: dict[str, tuple[Floats, bool]],
    landmark_unit: str | None,
) -> float:
    """Bring the places to millimetres; returns millimetres per unit of the file."""
    n = len(work.places)
    if n >= FEWEST:
        size = spread_of(work.places)
        if not 1e-9 < size < IMPOSSIBLE:
            raise MarksError(
                sentence("marks", "be spread over a head", f"{n} marks in one place"),
                code="marks-one-place",
            )
        finding = find_unit(size, unit, "marks", n)
        work.remarks += finding.remarks
        factor = finding.mm_per_unit
    else:
        # The size of one to three marks does not show their unit; that of the landmarks does.
        factor = declared_mm(unit) or factor_of_landmarks(landmarks, landmark_unit)
        if declared_mm(unit) is None:
            work.remarks.append(
                correction(
                    "unit-deduced",
                    f"marks have no unit and are taken as {unit_name(factor)}, like the landmarks",
                    declared=unit,
                    taken=unit_name(factor),
                    mm_per_unit=factor,
                )
            )
    work.places = work.places * factor
    return factor


def _placed(
    work: Rows, landmarks: dict[str, Floats], given: GivenMarks, mm_per_unit: float
) -> Marks:
    """Settle the axes and the names, and make the marks."""
    sites = work.rows("site")
    others = work.rows("reference", "other")
    other_names = [work.readings[i].name for i in others]
    names = [work.readings[i].name for i in sites]
    points = work.places[sites + others]
    suspicious = lettered(other_names)
    settled = settle(points, [] if suspicious else names, landmarks, given.system)
    work.remarks += settled.remarks
    tell_missing(work, settled.landmarks)
    scheme = None
    if suspicious or not settled.names_fit:
        own = settled.points_mm[: len(names)]
        scheme = other_scheme(names, own, settled.landmarks, other_names)
    matched: list[int] = []
    dropped: set[int] = set()
    if scheme:
        work.remarks.append(scheme)
    else:
        matched, dropped = without_doubles(work, names, settled.points_mm)
    tell_others(work, others)
    work.remarks += posing_template(settled.points_mm, settled.landmarks, mm_per_unit)
    written = [work.readings[i].given for i in sites + others]
    taken = dropped.union(matched)
    loose = [i for i in range(len(points)) if i not in taken]
    return Marks(
        names=tuple(names[i] for i in matched),
        points_mm=settled.points_mm[matched],
        landmarks=settled.landmarks,
        other_names=tuple(written[i].strip() for i in loose),
        other_points_mm=settled.points_mm[loose],
        given_names={names[i]: written[i] for i in matched if written[i] != names[i]},
        source=given.source,
        remarks=tuple(work.remarks),
    )
