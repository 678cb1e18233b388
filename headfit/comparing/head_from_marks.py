"""The head under digitised marks when there is no scan, with a sheet or without.

The template is fitted to landmarks and marks as points of the scalp. Where the marks bear names,
head and slip are then found together (`head_and_slip`), after mixed-up names were put right.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from headfit.anatomy.arcs import Rules
from headfit.comparing.head_and_slip import HeadUnderMarks, Session, fit_head_and_slip
from headfit.fitting.point_fit import fit_points
from headfit.fitting.tape import Tape
from headfit.geometry.rigid import RigidMotion
from headfit.marks.marks import Marks
from headfit.marks.remarks import Remark, note


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
    first = Session(marks, marks.names, RigidMotion.identity())
    start = fit_points(marks.landmarks, first.on_skin, tape, age, sex=sex, doubtful=doubtful)
    session = Session(marks, marks.names, start.motion, start.height_mm)
    found = fit_head_and_slip(start.model, start.parameters, [session], tape, rules)
    scatter = float(np.median(np.abs(start.distances_mm))) * 1.4826
    height = round(found.height_mm)
    lie = f"float {height} mm over it" if height > 0 else f"lie {-height} mm under it"
    n = len(first.on_skin)
    remark = note(
        "head-from-marks",
        f"no scan and no sheet: the head is fitted to {len(marks.landmarks)} landmarks and "
        f"{n} marks, which {lie if height else 'lie on it'} with a scatter of "
        f"{scatter:.1f} mm",
        height_mm=found.height_mm,
        scatter_mm=scatter,
    )
    return found, remark
