"""The head under digitised marks when there is neither a tape sheet nor a scan.

The template is fitted to the landmarks and to the marks as points of the scalp; their names play no
part in it, so a mark with the wrong name still stands out against the head. Marks beside the ears
are left out: they lie on no scalp.
"""

from __future__ import annotations

import numpy as np

from headfit.anatomy.sites import TABLE, BesideEar
from headfit.fitting.point_fit import PointFit, fit_points
from headfit.fitting.tape import Tape
from headfit.marks.marks import Marks
from headfit.marks.remarks import Remark, note


def head_under(
    marks: Marks, tape: Tape | None = None, age: str | float = "adult", sex: str | None = None
) -> tuple[PointFit, Remark]:
    """The head that the marks lie on, and what to say of it.

    Parameters
    ----------
    marks : Marks
        With nasion and both preauricular points; all marks on the scalp serve as points of it.
    tape : Tape, optional
        Measured on the same person.
    age, sex
        As for `fit_head`.

    Raises
    ------
    LandmarkError
        A landmark is missing.
    MarksError
        Fewer than 8 marks, or they lie on no head.
    """
    kept = [i for i, name in enumerate(marks.names) if not isinstance(TABLE[name], BesideEar)]
    points = np.concatenate([marks.points_mm[kept], marks.other_points_mm])
    found = fit_points(marks.landmarks, points, tape, age, sex=sex)
    scatter = float(np.median(np.abs(found.distances_mm))) * 1.4826
    height = round(found.height_mm)
    lie = f"float {height} mm over it" if height > 0 else f"lie {-height} mm under it"
    remark = note(
        "head-from-marks",
        f"no scan and no sheet: the head is fitted to {len(marks.landmarks)} landmarks and "
        f"{len(points)} marks, which {lie if height else 'lie on it'} with a scatter of "
        f"{scatter:.1f} mm",
        height_mm=found.height_mm,
        scatter_mm=scatter,
    )
    return found, remark
