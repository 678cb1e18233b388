"""Positions handed to the general EEG library `mne` (optional extra), landmarks as measured.

Readers of shared files often drop the landmarks and estimate new ones from the electrodes; here
they travel along, so that nothing is estimated.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import Sites
from headfit.errors import InputError
from headfit.geometry.mesh import Floats
from headfit.marks.marks import Marks

_KEYS = {"nasion": "nasion", "left_preauricular": "lpa", "right_preauricular": "rpa"}


def montage_of(points_mm: Mapping[str, Floats], landmarks: Mapping[str, Floats]) -> Any:
    """An `mne.channels.DigMontage` of named points and landmarks, both in mm and one frame.

    Parameters
    ----------
    points_mm : mapping of str to (3,) float64
    landmarks : mapping of str to (3,) float64
        Under the names of `headfit.anatomy.landmarks`; `mne` knows no inion, it is left out.

    Raises
    ------
    InputError
        `mne` is not installed.
    """
    try:
        import mne
    except ImportError as error:
        raise InputError(
            "the library mne must be installed to make a montage, got none "
            "(pip install 'headfit[mne]')",
            code="extra-missing",
            extra="mne",
        ) from error
    metres = {name: np.asarray(point) / 1000.0 for name, point in points_mm.items()}
    fiducials = {
        key: np.asarray(landmarks[name]) / 1000.0
        for name, key in _KEYS.items()
        if name in landmarks
    }
    return mne.channels.make_dig_montage(ch_pos=metres, coord_frame="unknown", **fiducials)


def sites_to_mne(sites: Sites) -> Any:
    """An `mne.channels.DigMontage` of placed sites with the landmarks of their head.

    Raises
    ------
    InputError
        `mne` is not installed.
    """
    landmarks = {name: sites.tracer.point(name) for name in LANDMARK_NAMES}
    return montage_of(dict(zip(sites.names, sites.points_mm, strict=True)), landmarks)


def marks_to_mne(marks: Marks) -> Any:
    """An `mne.channels.DigMontage` of digitised marks with their measured landmarks.

    Raises
    ------
    InputError
        `mne` is not installed.
    """
    named = zip((*marks.names, *marks.other_names), marks.all_points_mm, strict=True)
    return montage_of(dict(named), marks.landmarks)
