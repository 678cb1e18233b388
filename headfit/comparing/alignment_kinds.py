"""The ways to lay marks on a head, by name and as a person reads them.

A module of its own, so that a case file can name one without loading what aligns.
"""

from __future__ import annotations

from typing import Literal

AlignmentKind = Literal["landmarks", "best-fit", "robust", "surface"]
ALIGNMENT_TITLES: dict[AlignmentKind, str] = {
    "landmarks": "by the landmarks",
    "best-fit": "by best fit",
    "robust": "by robust fit",
    "surface": "by the surface",
}
ALIGNMENTS = tuple(ALIGNMENT_TITLES)
