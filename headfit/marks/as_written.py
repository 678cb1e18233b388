"""A file of marks as it was written: names, numbers and declarations, before they are checked.

What every reader in headfit/files/ returns and `headfit.marks.cleaning` starts from. Nothing is
converted: numbers are in the unit and on the axes of the file.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from headfit.errors import MarksError, sentence
from headfit.geometry.mesh import Floats, frozen
from headfit.marks.remarks import Remark


@dataclass(frozen=True, eq=False)
class GivenMarks:
    """What a file says.

    Attributes
    ----------
    source : str
        Where it came from, for sentences.
    names : tuple of str
        As written, one for each row.
    places : (n, 3) float64
        In the unit of the file; NaN where nothing is given.
    unit : str or None
        Declared unit of `places`.
    landmarks : mapping of str to (3,) tuple of float
        Under the keys of the file.
    landmark_unit : str or None
        Declared unit of `landmarks`.
    system : str or None
        Declared coordinate system.
    remarks : tuple of Remark
        What the reader of the file met.
    """

    source: str
    names: tuple[str, ...]
    places: Floats
    unit: str | None = None
    landmarks: Mapping[str, tuple[float, float, float]] = field(default_factory=dict)
    landmark_unit: str | None = None
    system: str | None = None
    remarks: tuple[Remark, ...] = ()

    def __post_init__(self) -> None:
        places = frozen(np.reshape(np.asarray(self.places, np.float64), (-1, 3)))
        if len(places) != len(self.names):
            raise MarksError(
                sentence(
                    "marks",
                    "have one place for each name",
                    f"{len(self.names)} names and {len(places)} places",
                ),
                code="marks-shape",
            )
        object.__setattr__(self, "places", places)
