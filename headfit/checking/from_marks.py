"""A head from the marks themselves, when there is neither a tape sheet nor a scan."""

from __future__ import annotations

import numpy as np

from headfit.anatomy.sites import TABLE, BesideEar
from headfit.checking.marks import Marks
from headfit.fitting.points import PointFit, fit_points
from headfit.fitting.tape import Tape


def head_from_marks(
    marks: Marks, age: str | float = "adult", *, sex: str | None = None, tape: Tape | None = None
) -> PointFit:
    """The head that digitised landmarks and points speak of.

    Every mark says where the scalp is, none says where its site is: the names are not used, so
    that marks in the wrong place can still be told by their sites afterwards. Marks beside the ears
    are left out, they lie on no scalp.

    Parameters
    ----------
    marks : Marks
    age, sex, tape
        As for `headfit.fitting.points.fit_points`.

    Raises
    ------
    LandmarkError
        Nasion or a preauricular point is missing.
    MarksError
        Fewer than eight marks, or they lie on no head.
    """
    kept = [i for i, name in enumerate(marks.names) if not isinstance(TABLE[name], BesideEar)]
    points = np.concatenate([marks.points_mm[kept], marks.other_points_mm])
    return fit_points(marks.landmarks, points, tape, age, sex=sex)
