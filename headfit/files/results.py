"""Everything found for a case, and case.json, which tells it with what is needed to find it again.

Lengths in mm to a thousandth, angles in rad, fractions 0..1, places in the head frame. No date and
no machine name goes in: the same case file and version give the same bytes.
"""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from typing import Any

import numpy as np

from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.sites import Sites, place_sites
from headfit.errors import HeadfitError, SheetError, sentence
from headfit.files.case_file import Case
from headfit.fitting.advice import Advice, advise
from headfit.fitting.fit import FittedHead, fit_head
from headfit.fitting.hand_set_shape import hand_words
from headfit.fitting.spreads import SiteSpreads
from headfit.fitting.tape import MEASUREMENTS

PREDICTED = "Sites are predicted from the measurements, not measured. Not a medical device."
_FRAME = "origin midway between the preauricular points, +x to the right one, +y nasion, +z up"


def plain(value: object, decimals: int = 3) -> Any:
    """A value as JSON has it: arrays become lists, floats are rounded, what is not finite is None.

    >>> plain({"a": np.array([1.23456, np.nan]), "b": (np.float64(2), True)})
    {'a': [1.235, None], 'b': [2.0, True]}
    """
    if isinstance(value, Mapping):
        return {str(key): plain(part, decimals) for key, part in value.items()}
    if isinstance(value, np.ndarray):
        return plain(value.tolist(), decimals)
    if isinstance(value, list | tuple):
        return [plain(part, decimals) for part in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {f.name: plain(getattr(value, f.name), decimals) for f in dataclasses.fields(value)}
    if isinstance(value, float):  # NumPy's float64 is one too
        return round(float(value), decimals) + 0.0 if np.isfinite(value) else None
    return value


def as_json(content: Mapping[str, object]) -> str:
    """Text of plain nested values, with lists of numbers on one line."""
    return _lines(content, "") + "\n"


def _lines(value: Any, indent: str) -> str:
    inner = indent + " "
    if isinstance(value, dict) and value:
        parts = [f"{inner}{json.dumps(k)}: {_lines(v, inner)}" for k, v in value.items()]
        return "{\n" + ",\n".join(parts) + f"\n{indent}}}"
    if isinstance(value, list) and any(isinstance(part, dict | list) for part in value):
        parts = [inner + _lines(part, inner) for part in value]
        return "[\n" + ",\n".join(parts) + f"\n{indent}]"
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


@dataclasses.dataclass(frozen=True, eq=False)
class CaseResult:
    """Found for one case: the fitted head, its sites, how sure each is, what to do next."""

    case: Case
    fitted: FittedHead
    sites: Sites
    spreads: SiteSpreads
    advice: Advice


def fitted_head(case: Case) -> FittedHead:
    """The head of a case.

    Raises
    ------
    SheetError
        No head has these measurements, or not with the shape that was set by hand.
    HeadfitError
        As `fit_head`.
    """
    try:
        return fit_head(case.tape, case.age, sex=case.sex, doubtful=case.doubtful, fixed=case.shape)
    except HeadfitError as error:
        if not case.shape:
            raise
        # Raises what is wrong beside the shape.
        fit_head(case.tape, case.age, sex=case.sex, doubtful=case.doubtful)
        said = hand_words(case.shape).partition(": ")[2].rstrip(".")
        raise SheetError(
            sentence(
                "a shape set by hand",
                "leave a head that has the measurements",
                said,
                "set it nearer to 0 or take it out",
            ),
            code="sheet-no-head",
        ) from error


def fit_case(case: Case) -> CaseResult:
    """Fit the head of a case, place its sites, and advise.

    Raises
    ------
    HeadfitError
        As `fitted_head` and `place_sites`.
    """
    fitted = fitted_head(case)
    sites = place_sites(fitted.head, case.array, case.rules)
    return CaseResult(case, fitted, sites, fitted.spreads(sites), advise(fitted))


def result_data(result: CaseResult, version: str) -> dict[str, Any]:
    """Everything, as nested plain values.

    Parameters
    ----------
    result : CaseResult
    version : str
        Of headfit.
    """
    case, fitted, sites, spreads = result.case, result.fitted, result.sites, result.spreads
    landmarks = fitted.head.landmarks
    found: dict[str, Any] = plain(
        {
            "made_by": {"program": "headfit", "version": version},
            "remember": PREDICTED,
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
            "sites": [_site(sites, spreads, index) for index in range(len(sites))],
            "advice": _advice(result.advice),
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
    return found


def _advice(advice: Advice) -> dict[str, Any]:
    found: dict[str, Any] = plain(advice)
    found["next"] = [{"measurement": name, "lowers_mm": drop} for name, drop in found["next"]]
    return found | {"sentences": advice.sentences()}


def _about(case: Case) -> dict[str, Any]:
    shown = {f.name: getattr(case, f.name) for f in dataclasses.fields(case) if f.name != "tape"}
    # A path would name the folders of one machine; the result is made to travel.
    for name in ("marks_file", "derivations_file"):
        shown[name] = shown[name].name if shown[name] else None
    del shown["rules"]
    return shown


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


def _site(sites: Sites, spreads: SiteSpreads, index: int) -> dict[str, Any]:
    name = sites.names[index]
    arc, fraction = sites.arc_of(name) or (None, None)
    from_start = None
    if arc is not None and fraction is not None:
        from_start = sites.tracer.run(arc).distance_mm(fraction)
    major, minor, angle = spreads.ellipses_mm[index]
    return {
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
