"""case.json: everything found for a case, with what is needed to find it again.

Lengths in mm to a thousandth, angles in rad, fractions 0..1, places in the head frame. No date and
no machine name goes in: the same case file and version give the same bytes.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from typing import Any

import numpy as np

from headfit import __version__
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import is_beside_ear
from headfit.case.case import Case
from headfit.case.solved import SolvedCase
from headfit.files.plain_json import plain
from headfit.fitting.advice import Advice
from headfit.fitting.fit import FittedHead
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.spreads import SiteSpreads
from headfit.reminders import NOT_MEDICAL, PREDICTED

_FRAME = "origin midway between the preauricular points, +x to the right one, +y nasion, +z up"


def solved_data(solved: SolvedCase) -> dict[str, Any]:
    """Everything, as nested plain values.

    Raises
    ------
    InputError
        Nothing is measured.
    """
    case, fitted, sites = solved.case, solved.tape_fit, solved.sites
    spreads, advice = solved.spreads, solved.advice
    assert spreads is not None  # what is measured has both
    assert advice is not None
    landmarks = fitted.head.landmarks
    found: dict[str, Any] = plain(
        {
            "made_by": {"program": "headfit", "version": __version__},
            "remember": f"{PREDICTED} {NOT_MEDICAL}",
            "case": _about(case),
            "rules": sites.rules,
            "head": {
                "label": fitted.head.label,
                "frame": _FRAME,
                "unit": "mm",
                "landmarks_mm": {name: getattr(landmarks, name) for name in LANDMARK_NAMES},
                "n_vertices": len(fitted.head.vertices_mm),
                "flags": fitted.flags,
            },
            "measurements": {name: _measured(fitted, name) for name in MEASUREMENTS},
            "shape": {},
            "arcs_mm": {arc: sites.tracer.length_mm(arc) for arc in sites.arc_marks},
            "tapes": {arc: solved.tape_on(arc) for arc in sites.arc_marks},
            "sites": [_site(solved, spreads, index) for index in range(len(sites))],
            "advice": _advice(advice, solved.advice_sentences),
        }
    )
    deviations = np.sqrt(np.diag(fitted.covariance))
    found["shape"] = {  # log scales and mode weights are small numbers: six decimals
        name: plain({"value": value, "spread": spread}, decimals=6)
        | ({"set_by_hand": True} if name in case.shape else {})
        for name, value, spread in zip(
            fitted.parameter_names, fitted.parameters, deviations, strict=True
        )
    }
    return found | {"free": list(solved.free_sentences), "record": list(solved.record_sentences)}


def _advice(advice: Advice, sentences: Sequence[str]) -> dict[str, Any]:
    found: dict[str, Any] = plain(advice)
    found["next"] = [{"measurement": name, "lowers_mm": drop} for name, drop in found["next"]]
    return found | {"sentences": list(sentences)}


def _about(case: Case) -> dict[str, Any]:
    told = {f.name: getattr(case, f.name) for f in dataclasses.fields(case)}
    # A path would name the folders of one machine; the result is made to travel.
    for name in ("marks_file", "derivations_file"):
        told[name] = told[name].name if told[name] else None
    # Told elsewhere in the file, or a content of its own.
    for name in ("tape", "rules", "scan", "marks", "montage", "problems"):
        del told[name]
    if case.record.blank:
        del told["record"]
    return told


def _measured(fitted: FittedHead, name: str) -> dict[str, Any]:
    """One measurement: as read when it was taken, and as the fitted head has it."""
    taken = fitted.tape.readings_mm.get(name)
    kind = MEASUREMENTS[name]
    found: dict[str, Any] = {"title": kind.title, "tool": kind.tool}
    if taken:
        found |= {
            "readings_mm": taken,
            "measured_mm": fitted.tape.values_mm[name],
            "spread_mm": fitted.tape.spread_mm(name),
            "fitted_minus_measured_mm": fitted.residuals_mm[name],
        }
    return found | {
        "fitted_mm": fitted.predicted_mm[name],
        "fitted_spread_mm": fitted.predicted_spread_mm[name],
    }


def _site(solved: SolvedCase, spreads: SiteSpreads, index: int) -> dict[str, Any]:
    sites = solved.sites
    name = sites.names[index]
    arc, fraction = sites.arc_of(name) or (None, None)
    from_start = None
    if arc is not None and fraction is not None:
        from_start = solved.tape_on(arc).at(sites.tracer.run(arc).distance_mm(fraction))
    major, minor, angle = spreads.ellipses_mm[index]
    about = {
        "name": name,
        "point_mm": sites.points_mm[index],
        "normal": sites.normals[index],
        "arc": arc,
        "fraction": fraction,
        "from_start_mm": from_start,
        "ellipse_95": {
            "major_mm": major,
            "minor_mm": minor,
            "angle_from_along_rad": angle,
            "along": spreads.along[index],
            "across": spreads.across[index],
        },
        "variance_mm2": {
            origin: float(np.trace(parts[index])) for origin, parts in spreads.parts_mm2.items()
        },
    }
    if is_beside_ear(name):  # set by eye
        about |= {"ellipse_95": None, "variance_mm2": None}
    return about
