"""One person solved: one head over all sessions, every set of marks held against it, one small row.

The row is plain JSON of a few kilobytes: all that travels from a worker and all that a study keeps.
Millimetres; a missing number is None.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from headfit.anatomy.sites import Sites
from headfit.case.case import Case
from headfit.case.solved import SolvedCase, solve_case
from headfit.case.summary import ComparedSites, compared_sites, summarise
from headfit.cohort.people import Person, level_of
from headfit.cohort.simulated import invented_case
from headfit.comparing.head_and_slip import HeadUnderMarks
from headfit.comparing.head_from_marks import head_under_sessions
from headfit.comparing.repeatability import compare_sessions
from headfit.errors import HeadfitError, MarksError, sentence
from headfit.files.bids_dataset import MarksFile
from headfit.files.marks_files import read_marks
from headfit.fitting.spreads import SiteSpreads
from headfit.marks.marks import Marks

PersonRow = dict[str, Any]
_DECIMALS = 3
# Doubts on a set as a whole: where its names cannot be believed nothing can be learned from it.
SPOILT = ("set-names-mixed", "set-fits-nowhere")


def person_row(person: Person, system: str, by: str = "") -> PersonRow:
    """The row of a person; whatever is wrong with their data is in it as a sentence.

    Parameters
    ----------
    person : Person
    system : str
        Of the predicted sites; marks are compared at the sites they name.
    by : str
        Column that tells sets of marks apart.
    """
    if person.invented is not None:
        return _invented_row(person, system)
    sets: list[tuple[MarksFile, Marks]] = []
    units = []
    for file in person.files:
        unit = _unit(file.entities, level_of(person, file, by), file.path.name)
        units.append(unit)
        try:
            marks = read_marks(file.path)
        except HeadfitError as error:
            unit["problem"] = str(error)
            continue
        unit["places"] = _places(marks)
        same = [other for other in units[:-1] if other["places"] == unit["places"]]
        if same:
            unit["problem"] = _why_again(unit, same[0])
            continue
        sets.append((file, marks))
    row = _row(person, units)
    age = "adult" if person.age is None else person.age
    case = Case(person.tape, person.label, age, person.sex, system)
    given = [marks for _, marks in sets]
    try:
        solved = on_one_head(case, given, _add_repeat(row, case, sets))
    except HeadfitError as error:
        row["problem"] = str(error)
        return row
    _add_head(row, solved[0])
    by_name = {unit["file"]: unit for unit in units}
    kept = []
    for (file, marks), one in zip(sets, solved, strict=False):
        unit = by_name[file.path.name]
        _add_comparison(unit, one)
        if not any(code in unit.get("doubts", {}) for code in SPOILT):
            kept.append((file, marks))
    if len(kept) < len(sets):
        row.pop("repeat", None)  # wrong names would pass for another person
        _add_repeat(row, case, kept)
    return row


def copy_of(where: str) -> str:
    """Why a set counts no more that lies where another one does: hands never come back so well."""
    return (
        f"the marks lie at the places of {where} to 0.1 mm: a copied file, or a template in place "
        "of both"
    )


def _why_again(unit: PersonRow, first: PersonRow) -> str:
    if unit["session"] == first["session"]:
        # BIDS has a file a run, though a cap is digitised once a session.
        return f"the positions of {first['file']} again, counted once"
    return copy_of(first["file"])


def failed_row(person: Person, reason: str) -> PersonRow:
    """The row of a person whose computation did not end."""
    units = [_unit(f.entities, "", f.path.name) for f in person.files]
    return _row(person, units) | {"problem": reason}


def _invented_row(person: Person, system: str) -> PersonRow:
    assert person.invented is not None
    case, truth = invented_case(*person.invented, system)
    marks = case.marks
    assert marks is not None
    unit = _unit({}, "", "invented") | {"places": _places(marks), "truth": truth}
    row = _row(person, [unit])
    solved = solve_case(case)
    _add_head(row, solved)
    _add_comparison(unit, solved)
    return row


def _row(person: Person, units: list[PersonRow]) -> PersonRow:
    return {
        "person": person.label,
        "age": person.age,
        "sex": person.sex,
        "child": person.child,
        "invented": person.invented is not None,
        "columns": dict(person.columns),
        "units": units,
        "problem": "",
    }


def _unit(entities: Mapping[str, str], level: str, file: str) -> PersonRow:
    return {
        "session": entities.get("ses", ""),
        "run": entities.get("run", ""),
        "acquisition": entities.get("acq", ""),
        "level": level,
        "file": file,
        "places": "",
        "problem": "",
    }


def _places(marks: Marks) -> str:
    """A fingerprint of where the marks lie, to know a copy by; in the frame of the landmarks."""
    frame = marks.frame
    points = marks.all_points_mm
    points = points - points.mean(axis=0) if frame is None else frame.on(points)
    order = np.argsort([*marks.names, *marks.other_names])
    rounded = np.round(points[order], 1) + 0.0
    return hashlib.sha256(rounded.astype("<f8").tobytes()).hexdigest()[:16]


def on_one_head(case: Case, sets: list[Marks], under: HeadUnderMarks | None) -> list[SolvedCase]:
    """The case with each set of marks, all on the head of the person; at least one.

    The head is that of the tape, or one under the marks of all sessions.
    """
    if case.tape is not None:
        solved = solve_case(case)
        return [
            SolvedCase(case.with_marks(marks), solved.head, "tape", solved.fitted, solved.fitted)
            for marks in sets
        ] or [solved]
    placed = [marks for marks in sets if marks.frame is not None]
    if not placed:
        got = "no set with nasion and both preauriculars" if sets else "none that can be read"
        raise MarksError(
            sentence(case.label, "have a tape sheet, or marks with their landmarks", got),
            code="study-no-head",
        )
    if len(sets) == 1:
        return [solve_case(case.with_marks(sets[0]))]
    if under is None:
        under = head_under_sessions(placed, None, case.age, case.sex, rules=case.rules)
    # Posed by their landmarks alone: a pose that gives way to the marks would hide in part what
    # landmarks differ by between sessions.
    return [
        SolvedCase(case.with_marks(marks), under.head, "marks", None, _HeadAlone(under))
        for marks in sets
    ]


@dataclass(frozen=True, eq=False)
class _HeadAlone:
    """How sure sites are on a head under marks, without the poses of the marks."""

    under: HeadUnderMarks

    def spreads(self, sites: Sites) -> SiteSpreads:
        """As on a fitted head."""
        return self.under.spreads(sites)


def _add_head(row: PersonRow, solved: SolvedCase) -> None:
    alone = replace(solved, case=solved.case.with_marks(None))
    found = summarise(alone)
    row |= {
        "head_from": found.head_from,
        "measured_mm": {k: round(v, _DECIMALS) for k, v in found.measured_mm.items()},
        "fitted_minus_measured_mm": {
            k: round(v, _DECIMALS) for k, v in found.fitted_minus_measured_mm.items()
        },
        "sites": list(found.site_names),
        "points_mm": [_listed(point) for point in found.points_mm],
        "sure_mm": _listed(found.sure_mm),
        "landmarks_mm": [_listed(np.asarray(point, np.float32)) for point in solved.head.landmarks],
        "sentences": list(found.sentences),
    }


def _add_comparison(unit: PersonRow, solved: SolvedCase) -> None:
    """What one set of marks is against the head of its person."""
    found = compared_sites(solved)
    if found is None:
        unit["problem"] = str(solved.problems["comparison"])
        return
    unit |= _compared(found)


def _compared(found: ComparedSites) -> PersonRow:
    by_landmarks = found.aligned_by == "landmarks"
    nothing = [None] * len(found.names)
    return {
        "aligned_by": found.aligned_by,
        "verdict": found.verdict,
        "stands_out": list(found.stands_out),
        "mixed_up": list(found.mixed_up),
        "doubts": found.doubts,
        "turn_degrees": _listed(found.turn_degrees),
        "slide_mm": _listed(found.slide_mm),
        "turn_spread_degrees": _listed(found.turn_spread_degrees),
        "slide_spread_mm": _listed(found.slide_spread_mm),
        "names": list(found.names),
        "along_mm": _listed(found.along_mm) if by_landmarks else nothing,
        "across_mm": _listed(found.across_mm) if by_landmarks else nothing,
        "own_along_mm": _listed(found.own_along_mm),
        "own_across_mm": _listed(found.own_across_mm),
        "uncertainty_mm": _listed(found.uncertainty_mm),
    }


def _add_repeat(
    row: PersonRow, case: Case, sets: list[tuple[MarksFile, Marks]]
) -> HeadUnderMarks | None:
    """How the marks of a person come back, as `headfit compare --sessions` tells it.

    Returns the head that was found under them.
    """
    if len(sets) < 2:
        return None
    try:
        marks = [each for _, each in sets]
        called = _names_of([file for file, _ in sets])
        found = compare_sessions(marks, case.tape, case.age, case.sex, called=called)
    except HeadfitError as error:
        row["repeat"] = {"problem": str(error)}
        return None
    by_landmarks, slips = found.by_landmarks_mm, found.slips
    said = [found.sentence] if slips is None else [found.sentence, slips.sentence]
    row["repeat"] = {
        "by_landmarks_mm": None if by_landmarks is None else round(by_landmarks, _DECIMALS),
        "by_fit_mm": round(found.by_fit_mm, _DECIMALS),
        "sentences": said,
        "doubts": [remark.sentence for remark in found.remarks],
    }
    return None if slips is None else slips.under


def _names_of(files: list[MarksFile]) -> list[str]:
    """Sets of one person by their sessions, where these tell them apart, else by their files."""
    names = [file.entities.get("ses", "") for file in files]
    told_apart = all(names) and len(set(names)) == len(names)
    return names if told_apart else [file.path.name for file in files]


def _listed(values: NDArray[np.float32]) -> list[float | None]:
    return [
        round(value, _DECIMALS) + 0.0 if np.isfinite(value) else None
        for value in np.asarray(values, float).tolist()
    ]
