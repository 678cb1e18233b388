"""Predicted sites as a BIDS derivatives dataset (Brain Imaging Data Structure, 1.11).

The coordinate system is `CapTrak`, the keyword of the standard for a frame of which +x runs through
the right preauricular point, +y through the nasion, +z up; millimetres. That is the head frame.
Every row says that its position was predicted from measurements and not measured, and whether it
was moved to clear a place that must stay free. Where a set-up record is charted, it says what was
really done (`headfit.files.bids_record`).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from headfit import __version__
from headfit.anatomy.landmarks import Landmarks
from headfit.anatomy.sites import row_nine_words
from headfit.case.case import Case
from headfit.case.record import SetUpRecord
from headfit.case.record_findings import Standing, standings
from headfit.case.solved import SolvedCase
from headfit.files.bids_record import RECORD_HEADER, leads_of, record_cells, record_columns
from headfit.files.landmark_files import BIDS_NAMES
from headfit.files.manifest import MANIFEST
from headfit.files.result_folder import write_folder
from headfit.files.tables import SITES_HEADER, SURE_HEADER, Cell, site_rows, tsv
from headfit.fitting.hand_set_shape import hand_words
from headfit.reminders import NOT_MEDICAL

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

    "Now" is as charted in the set-up record, and as planned where nothing is charted.

    Raises
    ------
    InputError
        Nothing is measured.
    """
    case, landmarks = solved.case, solved.tape_fit.head.landmarks
    header, rows = _electrodes(solved)
    return {
        "dataset_description.json": _json(_description(case)),
        "README.md": _readme(solved),
        f"{_STEM}_electrodes.tsv": tsv(header, rows, decimals=2),
        f"{_STEM}_electrodes.json": _json(_columns(case.record)),
        f"{_STEM}_coordsystem.json": _json(_coordsystem(landmarks)),
    }


_UNDER_MARKS = (
    "Predicted, not measured: the sites are computed on a template head that was fitted under the "
    "digitised marks of the person."
)


def predicted_files(
    stem: str, rows: Sequence[Sequence[Cell]], landmarks: Landmarks, *, under_marks: bool
) -> dict[str, str]:
    """The files of one of many people, relative path to text.

    Parameters
    ----------
    stem : str
        Such as "sub-01/eeg/sub-01_acq-predicted".
    rows : sequence of rows
        Name, x, y, z and the longer half axis of the ellipse of each site, mm, head frame.
    landmarks : Landmarks
    under_marks : bool
        The head was found under marks and not from a tape.
    """
    how = _UNDER_MARKS if under_marks else _PREDICTED
    header = ("name", "x", "y", "z", "sure_major_mm", "status")
    told = _columns(predicted=how)
    kept = {key: told[key] for key in ("Description", "sure_major_mm", "status")}
    return {
        f"{stem}_electrodes.tsv": tsv(header, [[*row, "predicted"] for row in rows], decimals=2),
        f"{stem}_electrodes.json": _json(kept),
        f"{stem}_coordsystem.json": _json(_coordsystem(landmarks, how)),
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


def _electrodes(solved: SolvedCase) -> tuple[tuple[str, ...], list[list[Cell]]]:
    """Header and rows of electrodes.tsv."""
    sites, record = solved.sites, solved.case.record
    where = standings(record, sites, solved.displacement)
    own = dict(zip(sites.names, site_rows(sites, solved.spreads, solved.tape_on), strict=True))
    header = (*SITES_HEADER, *SURE_HEADER, "status")
    rows = {name: _row(name, standing, own.get(name)) for name, standing in where.items()}
    if record.blank:
        return header, list(rows.values())
    roles = {one.name: (role, one) for role, one in leads_of(record)}
    told = {name: roles.get(name) or ("site", record.site(name)) for name in rows}
    return (*header, *RECORD_HEADER), [
        [*row, *record_cells(record, told[name][1], told[name][0])] for name, row in rows.items()
    ]


def _row(name: str, standing: Standing, own: list[Cell] | None) -> list[Cell]:
    """Arc and ring belong to the place where the plan has the site: elsewhere there are none."""
    if standing.status == "predicted" and own is not None:
        return [*own, "predicted"]
    nothing: list[Cell] = [None] * (len(SITES_HEADER) - 4 + len(SURE_HEADER))
    point = standing.point_mm
    place: list[Cell] = [None] * 3 if point is None else [*map(float, point)]
    return [name, *place, *nothing, standing.status]


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


def _readme(solved: SolvedCase) -> str:
    case, sites = solved.case, solved.sites
    free = solved.displacement.sentences if solved.displacement is not None else ()
    invented = "The case is invented for a demonstration; no person was measured.\n\n"
    moves = "".join(f"- {sentence}\n" for sentence in free)
    moves = f"Places must stay free:\n\n{moves}\n" if free else ""
    row_nine = row_nine_words(sites)
    row_nine = f"{row_nine}\n\n" if row_nine else ""
    by_hand = f"{hand_words(case.shape)}\n\n" if case.shape else ""
    done = "".join(f"- {sentence}\n" for sentence in solved.record_sentences)
    done = f"What was done is charted in electrodes.tsv:\n\n{done}\n" if done else ""
    return (
        f"# {case.label}\n\n"
        f"{invented if case.invented else ''}"
        f"{len(sites)} sites of {sites.system}. {_PREDICTED}\n\n"
        f"{row_nine}"
        f"Frame: {_FRAME} Unit: mm.\n\n"
        f"{by_hand}{moves}{done}"
        "The columns sure_major_mm and sure_minor_mm of electrodes.tsv tell how sure each site is. "
        f"Do not use these positions as if they had been digitised. {NOT_MEDICAL}\n"
    )


def _columns(record: SetUpRecord | None = None, predicted: str = _PREDICTED) -> dict[str, Any]:
    charted = {} if record is None or record.blank else record_columns(record)
    return {
        "Description": predicted,
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
                "left_out": "No position: it was left out, or its place must stay free and no "
                "other was found.",
            },
        },
        **charted,
    }


def _coordsystem(landmarks: Landmarks, predicted: str = _PREDICTED) -> dict[str, Any]:
    return {
        "EEGCoordinateSystem": "CapTrak",
        "EEGCoordinateUnits": "mm",
        "EEGCoordinateSystemDescription": f"{_FRAME} {predicted}",
        "AnatomicalLandmarkCoordinates": {
            BIDS_NAMES[name][0]: [round(float(x), 2) + 0.0 for x in getattr(landmarks, name)]
            for name in BIDS_NAMES
        },
        "AnatomicalLandmarkCoordinateSystem": "CapTrak",
        "AnatomicalLandmarkCoordinateUnits": "mm",
        "AnatomicalLandmarkCoordinateSystemDescription": f"{_FRAME} {_LANDMARKS}",
    }
