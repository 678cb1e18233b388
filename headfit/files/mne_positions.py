"""Positions handed to the general EEG library `mne` (optional extra) and taken from it.

Whatever `mne` reads as a montage becomes marks here, FIF files at once; landmarks travel along as
they were measured. Readers of shared files often drop the landmarks and estimate new ones from the
electrodes; here nothing is estimated.

Head frame of mne: origin where the line through both preauricular points is met squarely from the
nasion, +x to the right point, +y to the nasion, +z up; metres. That of headfit has its origin
midway between the preauricular points instead. mne moves positions into its frame only when they do
not claim to be there, so they are moved before they are called "head".
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import Sites
from headfit.errors import FileFormatError, missing_library, sentence
from headfit.files.apart import read_apart
from headfit.files.whole import about, read_bytes
from headfit.geometry.mesh import Floats
from headfit.geometry.rigid import RigidMotion
from headfit.marks.as_written import GivenMarks
from headfit.marks.cleaning import clean_marks
from headfit.marks.marks import Marks, head_frame
from headfit.marks.site_names import LANDMARK_KEYS

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


def marks_from_mne(montage: Any, *, strict: bool = False) -> Marks:
    """The marks of an `mne.channels.DigMontage`, from whatever file `mne` read it.

    Parameters
    ----------
    montage : DigMontage
        In metres, as everything of `mne`; `raw.get_montage()` gives that of a recording.
    strict : bool
        Refuse one in which anything had to be corrected or is in doubt.

    Raises
    ------
    MarksError
        Nothing in it can be used, or `strict` found something to correct.
    """
    return clean_marks(_given(montage.get_positions(), "montage"), strict=strict)


def _given(positions: Mapping[str, Any], source: str) -> GivenMarks:
    """What the positions of a montage say; channels without a place are left out."""
    places = {
        name: point
        for name, point in (positions["ch_pos"] or {}).items()
        if np.isfinite(point).all()
    }
    landmarks = {
        LANDMARK_KEYS[name]: (float(point[0]), float(point[1]), float(point[2]))
        for name, key in _KEYS.items()
        if (point := positions.get(key)) is not None
    }
    return GivenMarks(
        source,
        tuple(places),
        np.array([*places.values()], np.float64).reshape(-1, 3),
        unit="m",  # of everything in mne
        landmarks=landmarks,
        landmark_unit="m",
    )


_READ_FIF = """
import json, warnings
import mne
warnings.simplefilter("ignore")  # on the name of the file
mne.utils.set_log_level("error")
try:
    info = mne.io.read_info(source)
except ValueError:  # no recording
    montage = mne.channels.read_dig_fif(source)
else:
    montage = info.get_montage()
found = {"ch_pos": {}} if montage is None else montage.get_positions()
told = {key: None if found.get(key) is None else list(map(float, found[key]))
        for key in ("nasion", "lpa", "rpa")}
told["ch_pos"] = {name: list(map(float, at)) for name, at in (found["ch_pos"] or {}).items()}
with open(target, "w", encoding="utf-8") as file:
    json.dump(told, file)
"""


def read_fif(path: Path) -> GivenMarks:
    """What a FIF file says: digitised points, or a recording that carries them.

    Points that have no name of their own are called EEG001, EEG002 and so on by `mne`.

    Raises
    ------
    FileFormatError
        No such file, or no positions in it.
    InputError
        `mne` is not installed.
    """
    if find_spec("mne") is None:
        raise missing_library("mne", "read FIF files")
    if not path.is_file():
        read_bytes(path, 1)  # says what there is instead; of a recording only the header is read
    with about(path):
        try:
            given = _given(json.loads(read_apart(_READ_FIF, path)), path.name)
        except RuntimeError as error:
            reason = " ".join(str(error).split())[:80]
            raise _no_positions(f"one that cannot be read ({reason})") from error
        if not given.names:
            raise _no_positions("a file without any")
        return given


def _no_positions(found: str) -> FileFormatError:
    return FileFormatError(
        sentence(
            "a FIF file",
            "hold digitised positions",
            found,
            "a table with the columns name, x, y and z is read as well",
        ),
        code="fif-positions",
    )
