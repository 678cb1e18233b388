"""What the page is told: once what never changes, and after every change the case as it stands."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import Any, get_args, get_type_hints

from headfit import __version__
from headfit.anatomy.arcs import Rules
from headfit.anatomy.landmarks import NAMES as LANDMARK_NAMES
from headfit.anatomy.landmarks import TITLES as LANDMARK_TITLES
from headfit.anatomy.norms import SEXES
from headfit.anatomy.template import age_in_months, age_words, template_set
from headfit.app.desk import Desk
from headfit.case.case import Case
from headfit.comparing.alignment_kinds import ALIGNMENT_TITLES
from headfit.errors import HeadfitError
from headfit.files.case_file import plan_checksum
from headfit.files.case_record import table_of_record
from headfit.files.formats import POSITIONS, extensions
from headfit.files.limits import DROPPED_FILE_BYTES
from headfit.fitting.foresight import foresee
from headfit.fitting.hand_set_shape import HAND_MODES, MOST_MM
from headfit.fitting.measurements import GROUPS, MEASUREMENTS, groups_for
from headfit.output.case_view import CaseView
from headfit.output.page import legend, scene_data
from headfit.planning.montages import (
    array_names,
    array_sites,
    montage_of,
    standard_montages,
    usual_array,
)
from headfit.units import INCH_PARTS, MM_PER_UNIT, number_in

_UNITS = ("cm", "mm", "inch")


def start_data() -> dict[str, Any]:
    """What the page must know before it shows a case."""
    hints = get_type_hints(Rules)
    return {
        "version": __version__,
        "legend": legend(),
        "groups": [
            {"title": title, "measurements": [asdict(MEASUREMENTS[name]) for name in names]}
            for title, names in GROUPS.items()
        ],
        "systems": list(array_names()),
        "ages": [{"name": name, "title": about[1]} for name, about in template_set().ages.items()],
        "sexes": list(SEXES),
        "units": {unit: MM_PER_UNIT[unit] for unit in _UNITS},
        "alignments": [{"name": name, "title": title} for name, title in ALIGNMENT_TITLES.items()],
        "largest_file_bytes": DROPPED_FILE_BYTES,
        "marks_endings": extensions(*POSITIONS),
        "hand_modes": [
            {"name": name, "most_mm": MOST_MM, **asdict(mode)} for name, mode in HAND_MODES.items()
        ],
        "landmarks": [{"name": name, "title": LANDMARK_TITLES[name]} for name in LANDMARK_NAMES],
        "rules": {field.name: list(get_args(hints[field.name])) for field in fields(Rules)},
        "montages": [
            {"name": montage.name, "title": montage.title}
            for montage in standard_montages().values()
        ],
    }


def case_data(case: Case) -> dict[str, Any]:
    """The entries of a case as the form shows them: readings as text in the unit of the sheet."""
    factor = MM_PER_UNIT[case.unit]
    readings = {} if case.tape is None else case.tape.readings_mm
    marks = case.marks_file
    return {
        "label": case.label,
        "age": case.age,
        "age_words": age_words(case.age),
        "sex": case.sex,
        "system": case.system,
        "unit": case.unit,
        "tape": {
            name: "; ".join(_typed(value / factor, case.unit) for value in taken)
            for name, taken in readings.items()
        },
        "doubtful": list(case.doubtful),
        "shape": dict(case.shape),
        "rules": vars(case.rules),
        "free": [asdict(place) for place in case.free],
        "move_alone": case.move_alone,
        "old_names": case.old_names,
        "derivations": _montage_name(case.derivations),
        "derivations_file": case.derivations_file.name if case.derivations_file else None,
        "marks": marks.name if marks else None,
        "align": case.align,
        "measured_by": case.measured_by,
        "measured_on": case.measured_on,
        "note": case.note,
        "invented": case.invented,
        "record": table_of_record(case.record),
    }


def _montage_name(given: str | None) -> str | None:
    """The name by which the page knows derivations; a case file may call them by their title."""
    try:
        return None if given is None else montage_of(given).name
    except HeadfitError:
        return given


def _typed(value: float, unit: str) -> str:
    """A reading as a person writes it: centimetres with their millimetre, inches with fractions.

    >>> _typed(29.0, "cm"), _typed(362.0, "mm"), _typed(36.25, "cm"), _typed(14.25, "inch")
    ('29.0', '362', '36.25', '14 1/4')
    """
    text = f"{value:.10g}"
    if unit == "inch" and (value * INCH_PARTS).is_integer():
        return number_in(value * MM_PER_UNIT[unit], unit)
    return f"{value:.1f}" if unit == "cm" and "." not in text else text


def fit_data(view: CaseView) -> dict[str, Any] | None:
    """What the page needs to foresee the head when a value changes: None when nothing is measured.

    Parameters follow a value by `gain`; `now_mm` is where each stands. The frame (rotation, shift)
    takes the model into the head frame; `frame_steps` are its changes (9 + 3) for 1 mm more.
    """
    fitted = view.solved.fitted
    if fitted is None:
        return None
    seen = foresee(fitted, view.solved.case.shape)
    return {
        "parameters": fitted.parameters.tolist(),
        "rotation": seen.rotation.ravel().tolist(),
        "shift": seen.shift_mm.tolist(),
        "frame_steps": {name: step.tolist() for name, step in seen.frame_steps.items()},
        "gain": {name: gain.tolist() for name, gain in seen.gain.items()},
        "measured_mm": dict(fitted.tape.values_mm),
        "now_mm": dict(seen.now_mm),
    }


def desk_data(desk: Desk) -> dict[str, Any]:
    """Which case lies on the desk, and whether it is saved."""
    return {
        "revision": desk.revision,
        "file": desk.path.name,
        "folder": str(desk.path.parent),
        "saved": desk.saved,
        "never_saved": desk.never_saved,
        "found": desk.found,
        **desk.history.words(desk.case),
        "elsewhere": [str(path) for path in desk.elsewhere],
    }


def state_data(desk: Desk, view: CaseView, problem: str = "") -> dict[str, Any]:
    """The case as it stands, all that is shown of it, and the commands that do the same."""
    return {
        **desk_data(desk),
        "problem": problem,
        "chair": plan_checksum(desk.case),
        "case": case_data(desk.case),
        "groups": [
            {"title": title, "names": list(names)}
            for title, names in groups_for(age_in_months(desk.case.age)).items()
        ],
        "offer": _offer(desk.case),
        "sure_mm": _sure(view),
        "doubted": view.doubted,
        "fit": fit_data(view),
        "predicted_mm": _predicted(view),
        "scene": scene_data(view.scene),
        "tables": {name: table.as_data() for name, table in view.tables.items()},
        "sentences": {name: list(said) for name, said in view.sentences.items()},
        "commands": commands(desk),
    }


def quick_data(desk: Desk, view: CaseView) -> dict[str, Any]:
    """As much as changes while a slider is dragged."""
    return {
        **desk_data(desk),
        "case": case_data(desk.case),
        "fit": fit_data(view),
        "scene": scene_data(view.bare_scene),
        "tables": {"sites": view.site_table.as_data()},
    }


def _predicted(view: CaseView) -> dict[str, float]:
    """Every measurement on the fitted head: what the form offers as a guess."""
    if view.solved.fitted is None:
        return {}
    return {name: round(value, 2) for name, value in view.solved.fitted.predicted_mm.items()}


def _sure(view: CaseView) -> dict[str, float]:
    """Half of the range in which each measurement lies with 95 %, where nobody took it."""
    fitted = view.solved.fitted
    if fitted is None:
        return {}
    return {
        name: round(1.96 * spread, 2)
        for name, spread in fitted.predicted_spread_mm.items()
        if name not in fitted.tape.values_mm
    }


def _offer(case: Case) -> dict[str, str] | None:
    """A reduced array that is usual at the age of the case, for a button; None where none is."""
    usual = None if case.sites else usual_array(age_in_months(case.age), case.system)
    if usual is None:
        return None
    count = len(array_sites(usual))
    return {
        "system": usual,
        "words": f"Newborn: {count} sites are usual in place of {len(array_sites(case.system))}; "
        "local policy decides.",
        "button": f"use the {count} sites",
    }


def commands(desk: Desk) -> dict[str, str]:
    """The command line that does the same, for each thing the app does."""
    case = _quoted(desk.path.name)
    stem = _quoted(desk.path.stem)
    found = {
        "fit": f"headfit fit {case} -o {stem}-results",
        "report": f"headfit report {case} -o {stem}.html",
        "sheet": f"headfit sheet {case} -o {stem}.pdf",
        "chair": f"headfit chair {case} -o {stem}-chair.html",
        "record": f"headfit record {case} -o {stem}-record.pdf",
        "picture": f"headfit picture {case} -o {stem}.png --view left",
        "bids": f"headfit fit {case} -o {stem}-results",
        "derivations": f"headfit derivations {case}",
        "app": f"headfit app {case}",
    }
    if desk.case.marks_file is not None:
        marks_file, folder = desk.case.marks_file, desk.path.parent
        if marks_file.is_relative_to(folder):
            marks_file = marks_file.relative_to(folder)
        marks = _quoted(marks_file.as_posix())
        found["compare"] = f"headfit compare {case} {marks} -o {stem}-comparison"
    return found


def _quoted(name: str) -> str:
    """A file name as a shell takes it.

    >>> _quoted("my case.toml")
    "'my case.toml'"
    """
    import shlex

    return shlex.quote(name)
