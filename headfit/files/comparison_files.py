"""A comparison as text for files: deviations.tsv, comparison.json, corrected marks as in BIDS.

Millimetres and degrees. No date and no machine name goes in: the same marks and head give the same
bytes.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

import numpy as np

from headfit.comparing.alignment import Alignment
from headfit.comparing.common_shift import SetMotion
from headfit.comparing.comparison import Comparison, Deviation
from headfit.comparing.methods import methods
from headfit.comparing.repeatability import Repeatability
from headfit.comparing.session_slips import SessionSlips
from headfit.comparing.tolerance import judged, tolerance_mm
from headfit.comparing.verdict import verdict
from headfit.files.plain_json import as_json, plain
from headfit.files.tables import Cell, tsv
from headfit.fitting.shape import parameter_names
from headfit.marks.marks import Marks
from headfit.marks.remarks import Remark
from headfit.marks.site_names import LANDMARK_KEYS
from headfit.reminders import NOT_MEDICAL

DEVIATION_HEADER = (
    "name",
    "arc",
    "along_mm",
    "across_mm",
    "over_scalp_mm",
    "percent_of_arc",
    "off_surface_mm",
    "distance_mm",
    "judged",
    "tolerance_mm",
    "uncertainty_mm",
    "own_along_mm",
    "own_across_mm",
    "own_mm",
    "stands_out",
    "lies_at",
    "words",
)


def deviations_tsv(comparison: Comparison) -> str:
    """A row for each mark, `DEVIATION_HEADER`; what is not known is n/a."""
    return tsv(DEVIATION_HEADER, deviation_rows(comparison), decimals=2)


def deviation_rows(comparison: Comparison) -> list[list[Cell]]:
    """A row for each mark, `DEVIATION_HEADER`; what is not known is None.

    `lies_at` names the site at which a mixed-up mark seems to lie.
    """
    lies_at = {n: at for mixup in comparison.mixups for n, at in mixup.renaming.items()}
    rows: list[list[Cell]] = []
    for d in comparison.deviations:
        share = None if d.fraction_of_arc is None else 100.0 * d.fraction_of_arc
        rows.append(
            [
                d.site,
                d.arc,
                d.along_mm,
                d.across_mm,
                d.over_scalp_mm,
                share,
                d.off_surface_mm,
                d.distance_mm,
                judged(d, comparison.bands_mm),
                tolerance_mm(d, comparison.bands_mm),
                d.uncertainty_mm or None,
                d.own_along_mm,
                d.own_across_mm,
                d.own_mm,
                "yes" if d.site in comparison.stands_out else "no",
                lies_at.get(d.site),
                d.words,
            ]
        )
    return rows


def comparison_json(
    comparison: Comparison,
    version: str,
    *,
    command: str | None = None,
    read_files: Sequence[Path] = (),
    head_from: str | None = None,
) -> str:
    """Everything a comparison found, with what is needed to make it again.

    Parameters
    ----------
    comparison : Comparison
    version : str
        Of headfit.
    command : str, optional
        That made it.
    read_files : sequence of Path
        What was read; kept by name and checksum, since paths tell of a machine.
    head_from : str, optional
        "tape", "scan", "marks" or "template".
    """
    content = {
        "version": version,
        "note": NOT_MEDICAL,
        "command": command,
        "read": [
            {"name": path.name, "sha256": sha256(path.read_bytes()).hexdigest()}
            for path in read_files
        ],
        "source": comparison.source,
        "head": _head(comparison, head_from),
        "methods": methods(comparison),
        "verdict": verdict(comparison),
        "aligned_by": comparison.aligned_by,
        "bands_mm": comparison.bands_mm,
        "rules": dataclasses.asdict(comparison.targets.sites.rules),
        "alignments": {kind: _alignment(found) for kind, found in comparison.alignments.items()},
        "common": None if comparison.common is None else _common(comparison.common),
        "own_spread_mm": comparison.own_spread_mm,
        "stands_out": comparison.stands_out,
        "judged_by": comparison.judged_by,
        "doubts_on_set": [_remark(remark) for remark in comparison.doubts_on_set],
        "mixups": [
            {**dataclasses.asdict(mixup), "sentence": mixup.sentence} for mixup in comparison.mixups
        ],
        "sites": [_site(comparison, row, d) for row, d in enumerate(comparison.deviations)],
        "moves": comparison.moves,
        "own_moves": comparison.own_moves,
        "pairs": comparison.pairs,
        "spacings": comparison.spacings,
        "remarks": [_remark(remark) for remark in comparison.remarks],
    }
    return as_json(plain(content))


def _head(comparison: Comparison, head_from: str | None) -> dict[str, object]:
    under, targets = comparison.under, comparison.targets
    return {
        "from": head_from or ("marks" if under is not None else "given"),
        "landmarks_mm": {LANDMARK_KEYS[name]: p for name, p in targets.landmarks.items()},
        "shape": None
        if under is None
        else dict(zip(parameter_names(), under.parameters.tolist(), strict=True)),
        "shape_sd": None if under is None else under.shape_sd,
    }


def _alignment(found: Alignment) -> dict[str, object]:
    return {
        "rotation": found.motion.rotation,
        "translation_mm": found.motion.translation_mm,
        "height_mm": found.height_mm,
        "median_mm": found.median_mm,
        "rms_mm": found.rms_mm,
        "straight_median_mm": found.straight_median_mm,
        "landmark_residuals_mm": dict(found.landmark_residuals_mm),
    }


def _common(common: SetMotion) -> dict[str, object]:
    return {
        "pitch_roll_yaw_degrees": common.turn_degrees,
        "spread_degrees": common.turn_spread_degrees,
        "right_front_up_mm": common.slide_mm,
        "spread_mm": common.slide_spread_mm,
        "height_mm": common.height_mm,
        "left_over_mm": common.spread_mm,
    }


def _site(comparison: Comparison, row: int, d: Deviation) -> dict[str, object]:
    found = {f.name: getattr(d, f.name) for f in dataclasses.fields(d) if f.name != "directions"}
    places = {
        "site_mm": comparison.targets.points_mm[row],
        "mark_mm": comparison.marks_mm[row],
        "foot_mm": comparison.feet_mm[row],
    }
    found |= {
        "judged": judged(d, comparison.bands_mm),
        "tolerance_mm": tolerance_mm(d, comparison.bands_mm),
    }
    return {**found, "words": d.words, "own_words": d.own_words, **places}


def _remark(remark: Remark) -> dict[str, object]:
    return {
        "code": remark.code,
        "kind": remark.kind,
        "sentence": remark.sentence,
        "evidence": dict(remark.evidence),
    }


def repeats_tsv(found: Repeatability) -> str:
    """A row for each site that all sessions hold, the one that comes back worst first."""
    rows: list[list[Cell]] = [
        [site.site, str(site.n_sessions), site.by_landmarks_mm, site.by_fit_mm]
        for site in found.sites
    ]
    return tsv(("name", "n_sessions", "by_landmarks_mm", "by_fit_mm"), rows, decimals=2)


def repeats_json(found: Repeatability, sessions: Sequence[Marks], version: str) -> str:
    """Everything a comparison of sessions found, with what was done to each file."""
    content = {
        "version": version,
        "note": NOT_MEDICAL,
        "verdict": found.sentence,
        "by_landmarks_mm": found.by_landmarks_mm,
        "by_fit_mm": found.by_fit_mm,
        "sites": found.sites,
        "on_one_head": None if found.slips is None else _on_one_head(found.slips),
        "remarks": [_remark(remark) for remark in found.remarks],
        "sessions": [
            {"source": marks.source, "remarks": [_remark(r) for r in marks.remarks]}
            for marks in sessions
        ],
    }
    return as_json(plain(content))


def _on_one_head(slips: SessionSlips) -> dict[str, object]:
    return {
        "verdict": slips.sentence,
        "sessions": [
            {
                "source": slip.source,
                "slip": _common(slip.slip),
                "slip_by_landmarks": _common(slip.by_landmarks),
                "against_others": {
                    "pitch_roll_yaw_degrees": slip.against_others[:3],
                    "spread_degrees": slip.against_others_spread[:3],
                    "right_front_up_mm": slip.against_others[3:],
                    "spread_mm": slip.against_others_spread[3:],
                },
            }
            for slip in slips.slips
        ],
    }


def corrected_electrodes(marks: Marks) -> dict[str, str]:
    """Cleaned marks in the form of BIDS 1.11: the texts of electrodes.tsv and coordsystem.json.

    With landmarks the frame is the head frame (keyword CapTrak of the standard), without them that
    of the file ("Other"). The description lists every correction.

    Parameters
    ----------
    marks : Marks
    """
    frame = marks.frame
    placed = marks if frame is None else marks.moved(frame)
    names = _unlike((*placed.names, *placed.other_names))
    rows: list[list[Cell]] = [
        [name, *map(float, point)] for name, point in zip(names, placed.all_points_mm, strict=True)
    ]
    system = "Other" if frame is None else "CapTrak"
    done = [remark.sentence for remark in marks.of_kind("correction")]
    about = (
        "Axes of the file, x to the right, y to the front, z up."
        if frame is None
        else "Origin midway between the preauricular points, +x towards the right one, +y towards "
        "the nasion at a right angle to x, +z up."
    )
    content: dict[str, object] = {
        "EEGCoordinateSystem": system,
        "EEGCoordinateUnits": "mm",
        "EEGCoordinateSystemDescription": " ".join(
            [about, f"Corrected from {marks.source}: {'; '.join(done) or 'nothing changed'}."]
        ),
    }
    if placed.landmarks:
        content |= {
            "AnatomicalLandmarkCoordinates": {
                LANDMARK_KEYS[name]: _rounded(point) for name, point in placed.landmarks.items()
            },
            "AnatomicalLandmarkCoordinateSystem": system,
            "AnatomicalLandmarkCoordinateUnits": "mm",
            "AnatomicalLandmarkCoordinateSystemDescription": about,
        }
    return {
        "electrodes.tsv": tsv(("name", "x", "y", "z"), rows, decimals=3),
        "coordsystem.json": json.dumps(content, indent=2, ensure_ascii=False, allow_nan=False)
        + "\n",
    }


def _rounded(point: Sequence[float] | np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> object:
    return [round(float(value), 3) + 0.0 for value in point]


def _unlike(names: Sequence[str]) -> list[str]:
    """Names that differ from each other, as the standard asks: the second Cz is Cz_2.

    >>> _unlike(["Cz", "Cz", "Pz"])
    ['Cz', 'Cz_2', 'Pz']
    """
    met: dict[str, int] = {}
    unlike = []
    for name in names:
        met[name] = met.get(name, 0) + 1
        unlike.append(name if met[name] == 1 else f"{name}_{met[name]}")
    return unlike
