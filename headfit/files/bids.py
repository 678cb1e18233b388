"""Predicted sites as a BIDS derivatives dataset (Brain Imaging Data Structure, 1.11).

The coordinate system is `CapTrak`, the keyword of the standard for a frame of which +x runs through
the right preauricular point, +y through the nasion, +z up; millimetres. That is the head frame.
Every row says that its position was predicted from measurements and not measured, and whether it
was moved to clear a place that must stay free.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from headfit import __version__
from headfit.anatomy.landmarks import Landmarks
from headfit.anatomy.sites import Sites, row_nine_words
from headfit.case.case import Case
from headfit.case.solved import SolvedCase
from headfit.files.landmark_files import BIDS_NAMES
from headfit.files.manifest import MANIFEST
from headfit.files.result_folder import write_folder
from headfit.files.tables import SITES_HEADER, SURE_HEADER, Cell, site_rows, tsv
from headfit.fitting.hand_set_shape import hand_words
from headfit.geometry.mesh import Floats

BIDS_VERSION = "1.11.0"
_STEM = "sub-01/eeg/sub-01_acq-tape"

_FRAME = (
    "Origin midway between the preauricular points, +x towards the right one, +y towards the "
    "nasion at a right angle to x, +z up."
)
_LANDMARKS = (
    "NAS nasion: deepest point of the nasal root. LPA, RPA preauricular points: in front of the "
    "tragus at the posterior root of the zygomatic arch. INI inion: tip of the external occipital "
    "protuberance. All four are places on the fitted head, not digitised."
)
_PREDICTED = (
    "Predicted, not measured: the sites are computed on a template head that was fitted to tape "
    "and caliper measurements."
)


def bids_files(solved: SolvedCase) -> dict[str, str]:
    """The files of the dataset, relative path to text; a moved site where it stands now.

    Raises
    ------
    InputError
        Nothing is measured.
    """
    case, sites, landmarks = solved.case, solved.sites, solved.tape_fit.head.landmarks
    moved = solved.displacement
    header = (*SITES_HEADER, *SURE_HEADER, "status")
    now = moved.points_mm if moved is not None else {}
    rows: list[list[Cell]] = [
        _moved_row(name, now[name]) if name in now else [*row, "predicted"]
        for name, row in zip(
            sites.names, site_rows(sites, solved.spreads, solved.tape_on), strict=True
        )
    ]
    return {
        "dataset_description.json": _json(_description(case)),
        "README.md": _readme(case, sites, moved.sentences if moved is not None else ()),
        f"{_STEM}_electrodes.tsv": tsv(header, rows, decimals=2),
        f"{_STEM}_electrodes.json": _json(_columns()),
        f"{_STEM}_coordsystem.json": _json(_coordsystem(landmarks)),
    }


def write_bids(solved: SolvedCase, folder: str | Path) -> None:
    """Write the predicted sites of a solved case as a BIDS derivatives dataset.

    Parameters
    ----------
    solved : SolvedCase
    folder : path
        Made when it is not there.

    Raises
    ------
    InputError
        Nothing is measured, or the folder cannot be written.
    """
    # BIDS must be told of a file that it does not define.
    files: dict[str, str | bytes] = {**bids_files(solved), ".bidsignore": f"{MANIFEST}\n"}
    write_folder(Path(folder), files, run="bids")


def _moved_row(name: str, point_mm: Floats | None) -> list[Cell]:
    """Row of a moved site: without arc and ring, which belong to the place it left."""
    nothing: list[Cell] = [None] * (len(SITES_HEADER) - 4 + len(SURE_HEADER))
    if point_mm is None:
        return [name, None, None, None, *nothing, "left_out"]
    return [name, *map(float, point_mm), *nothing, "moved"]


def _json(content: dict[str, Any]) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _description(case: Case) -> dict[str, Any]:
    licence = "CC0" if case.invented else "Rights stay with whoever measured this head"
    return {
        "Name": f"Predicted electrode sites: {case.label}",
        "BIDSVersion": BIDS_VERSION,
        "DatasetType": "derivative",
        "License": licence,
        "Authors": [case.measured_by or "the person who measured (not named)", "headfit (program)"],
        "GeneratedBy": [{"Name": "headfit", "Version": __version__, "Description": _PREDICTED}],
    }


def _readme(case: Case, sites: Sites, free: Sequence[str]) -> str:
    invented = "The case is invented for a demonstration; no person was measured.\n\n"
    moves = "".join(f"- {sentence}\n" for sentence in free)
    moves = f"Places must stay free:\n\n{moves}\n" if free else ""
    row_nine = row_nine_words(sites)
    row_nine = f"{row_nine}\n\n" if row_nine else ""
    by_hand = f"{hand_words(case.shape)}\n\n" if case.shape else ""
    return (
        f"# {case.label}\n\n"
        f"{invented if case.invented else ''}"
        f"{len(sites)} sites of {sites.system}. {_PREDICTED}\n\n"
        f"{row_nine}"
        f"Frame: {_FRAME} Unit: mm.\n\n"
        f"{by_hand}{moves}"
        "The columns sure_major_mm and sure_minor_mm of electrodes.tsv tell how sure each site is. "
        "Do not use these positions as if they had been digitised. Not a medical device.\n"
    )


def _columns() -> dict[str, Any]:
    return {
        "Description": _PREDICTED,
        "arc": {"Description": "Arc on which the site is marked; n/a where no arc marks it."},
        "fraction": {"Description": "Fraction of the arc from its start, 0 to 1."},
        "from_start_mm": {
            "Description": "Tape length from the start of the arc to the site.",
            "Units": "mm",
        },
        "sure_major_mm": {
            "Description": "Longer half axis of the ellipse on the scalp that holds the site with "
            "95 % probability.",
            "Units": "mm",
        },
        "sure_minor_mm": {"Description": "Shorter half axis of the same ellipse.", "Units": "mm"},
        "status": {
            "Description": "How the position was obtained.",
            "Levels": {
                "predicted": "Computed from measurements of the head, not digitised.",
                "moved": "Computed likewise, then moved to clear a place that must stay free.",
                "left_out": "Its place must stay free and no other was found: no position.",
            },
        },
    }


def _coordsystem(landmarks: Landmarks) -> dict[str, Any]:
    return {
        "EEGCoordinateSystem": "CapTrak",
        "EEGCoordinateUnits": "mm",
        "EEGCoordinateSystemDescription": f"{_FRAME} {_PREDICTED}",
        "AnatomicalLandmarkCoordinates": {
            BIDS_NAMES[name][0]: [round(float(x), 2) + 0.0 for x in getattr(landmarks, name)]
            for name in BIDS_NAMES
        },
        "AnatomicalLandmarkCoordinateSystem": "CapTrak",
        "AnatomicalLandmarkCoordinateUnits": "mm",
        "AnatomicalLandmarkCoordinateSystemDescription": f"{_FRAME} {_LANDMARKS}",
    }
