"""Positions handed to the general EEG library `mne` (optional extra), landmarks as measured.

Readers of shared files often drop the landmarks and estimate new ones from the electrodes; here
they travel along, so that nothing is estimated.

Head frame of mne: origin where the line through both preauricular points is met squarely from the
nasion, +x to the right point, +y to the nasion, +z up; metres. That of headfit has its origin
midway between the preauricular points instead. mne moves positions into its frame only when they do
not claim to be there, so they are moved before they are called "head".
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import Sites
from headfit.errors import missing_library
from headfit.geometry.mesh import Floats
from headfit.geometry.rigid import RigidMotion
from headfit.marks.marks import Marks, head_frame

_KEYS = {"nasion": "nasion", "left_preauricular": "lpa", "right_preauricular": "rpa"}


def mne_head_frame(landmarks: Mapping[str, Floats]) -> RigidMotion | None:
    """The motion into the head frame of mne, in mm.

    None without the three landmarks, and where they lie on one line.

    Parameters
    ----------
    landmarks : mapping of str to (3,) float64
        In mm, in any one frame.

    >>> ears = {"left_preauricular": np.zeros(3), "right_preauricular": np.array([150.0, 0, 0])}
    >>> motion = mne_head_frame(ears | {"nasion": np.array([70.0, 95.0, 0.0])})
    >>> motion.on(np.array([70.0, 95.0, 0.0])).tolist()
    [0.0, 95.0, 0.0]
    """
    frame = head_frame(landmarks)
    if frame is None:
        return None
    aside = np.array([frame.on(landmarks["nasion"])[0], 0.0, 0.0])
    return RigidMotion(frame.rotation, frame.translation_mm - aside)


def montage_of(points_mm: Mapping[str, Floats], landmarks: Mapping[str, Floats]) -> Any:
    """An `mne.channels.DigMontage` of named points and landmarks, both in mm and one frame.

    In the head frame of mne where nasion and both preauricular points are known; else unmoved, in a
    frame that mne calls "unknown".

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
        raise missing_library("mne", "make a montage") from error
    found = mne_head_frame(landmarks)
    motion = found or RigidMotion.identity()
    fiducials = {
        key: motion.on(landmarks[name]) / 1000.0 for name, key in _KEYS.items() if name in landmarks
    }
    return mne.channels.make_dig_montage(
        ch_pos={name: motion.on(np.asarray(p)) / 1000.0 for name, p in points_mm.items()},
        coord_frame="head" if found else "unknown",
        **fiducials,
    )


def sites_to_mne(sites: Sites) -> Any:
    """An `mne.channels.DigMontage` of placed sites with the landmarks of their head.

    Raises
    ------
    InputError
        `mne` is not installed.
    """
    return montage_of(sites, {name: sites.tracer.point(name) for name in LANDMARK_NAMES})


def marks_to_mne(marks: Marks) -> Any:
    """An `mne.channels.DigMontage` of digitised marks with their measured landmarks.

    Raises
    ------
    InputError
        `mne` is not installed.
    """
    named = zip((*marks.names, *marks.other_names), marks.all_points_mm, strict=True)
    return montage_of(dict(named), marks.landmarks)
