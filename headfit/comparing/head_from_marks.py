"""The head under digitised marks when there is no scan, with a sheet or without.

The template is fitted to landmarks and marks as points of the scalp. Where the marks bear names,
head and slip are then found together (`head_and_slip`), after mixed-up names were put right.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from headfit.anatomy.arcs import Rules
from headfit.anatomy.landmarks import TITLES
from headfit.anatomy.sites import place_sites
from headfit.comparing.head_and_slip import HeadUnderMarks, Session, fit_head_and_slip
from headfit.comparing.swapped_labels import explain
from headfit.comparing.target_sites import targets_for
from headfit.errors import LandmarkError, MarksError, sentence
from headfit.fitting.point_fit import PointFit, fit_points
from headfit.fitting.tape import Tape
from headfit.geometry.rigid import RigidMotion
from headfit.marks.marks import Marks
from headfit.marks.remarks import Remark, listed, note


def head_under(
    marks: Marks,
    tape: Tape | None = None,
    age: str | float = "adult",
    sex: str | None = None,
    *,
    doubtful: Sequence[str] = (),
    rules: Rules | None = None,
) -> tuple[HeadUnderMarks, Remark]:
    """The head that the marks lie on, and what to say of it.

    Parameters
    ----------
    marks : Marks
        With nasion and both preauricular points; all marks on the scalp serve as points of it.
    tape : Tape, optional
        Measured on the same person.
    age, sex, doubtful
        As for `fit_head`.
    rules : Rules, optional
        By which the sites stand.

    Raises
    ------
    LandmarkError
        A landmark is missing.
    MarksError
        Fewer than 8 marks, or they lie on no head.
    """
    start, session = _started(marks, tape, age, sex, doubtful, rules)
    found = fit_head_and_slip(start.model, start.parameters, [session], tape, rules)
    scatter = float(np.median(np.abs(start.distances_mm))) * 1.4826
    height = round(found.height_mm)
    lie = f"float {height} mm over it" if height > 0 else f"lie {-height} mm under it"
    n = len(session.on_skin)
    known = f"{len(marks.landmarks)} landmarks{', the sheet' if tape else ''} and {n} marks"
    remark = note(
        "head-from-marks",
        f"{'no scan' if tape else 'no tape, no scan'}: the head is guessed from {known}, which "
        f"{lie if height else 'lie on it'} with a scatter of {scatter:.1f} mm",
        height_mm=found.height_mm,
        scatter_mm=scatter,
    )
    return found, remark


def head_under_sessions(
    sessions: Sequence[Marks],
    tape: Tape | None = None,
    age: str | float = "adult",
    sex: str | None = None,
    *,
    doubtful: Sequence[str] = (),
    rules: Rules | None = None,
) -> HeadUnderMarks:
    """The one head that several sessions of one person lie on, and the slip of each.

    Parameters
    ----------
    sessions : sequence of Marks
        Each as for `head_under`.
    tape, age, sex, doubtful, rules
        As for `head_under`.

    Raises
    ------
    LandmarkError
        A landmark is missing in a session.
    MarksError
        A session has fewer than 8 marks, or they lie on no head.
    """
    started = [_started(marks, tape, age, sex, doubtful, rules) for marks in sessions]
    middle = np.mean([start.parameters for start, _ in started], axis=0)
    model = started[0][0].model
    placed = [session for _, session in started]
    return fit_head_and_slip(model, middle, placed, tape, rules)


def _started(
    marks: Marks,
    tape: Tape | None,
    age: str | float,
    sex: str | None,
    doubtful: Sequence[str],
    rules: Rules | None,
) -> tuple[PointFit, Session]:
    """The head without names, and the marks on it with their names put right."""
    if marks.frame is None:
        # Names of no site say nothing even on a known head.
        places = "" if marks.names else "; headfit places MARKS tells at which site each lies"
        raise LandmarkError(
            sentence(
                f"marks of {marks.source}",
                "hold nasion and both preauricular points when they are all that is known of the "
                "head",
                listed(TITLES[name] for name in marks.landmarks) or "none of them",
                f"give a case file with tapes first: headfit compare CASE.toml MARKS{places}",
            ),
            code="landmarks-missing",
        )
    first = Session(marks, marks.names, RigidMotion.identity())
    start = fit_points(marks.landmarks, first.on_skin, tape, age, sex=sex, doubtful=doubtful)
    names = _put_right(marks, start, rules)
    return start, Session(marks, names, start.motion, start.height_mm)


def _put_right(marks: Marks, start: PointFit, rules: Rules | None) -> tuple[str, ...]:
    """The names, those that are mixed up exchanged for the sites at which their marks lie."""
    if not marks.names:
        return ()
    targets = targets_for(place_sites(start.head, marks.names, rules), marks.names)
    try:
        found = explain(start.in_head_frame(marks.points_mm), targets, placed=True)
    except MarksError:  # too few marks to tell
        return marks.names
    return tuple(targets.names[row] for row in found.lie_at)
