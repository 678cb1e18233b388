"""What can be measured on a head, as one HTML page: where each landmark and each tape lies.

Drawn on a template head, which is no person's; black and white is enough to read it.
"""

from __future__ import annotations

from pathlib import Path

from headfit import __version__
from headfit.anatomy.arcs import ArcTracer, Rules
from headfit.anatomy.landmarks import FINDING, FLAT_INION, NAMES, TITLES
from headfit.anatomy.template import age_in_months, load_template
from headfit.files.whole import write_whole
from headfit.fitting.measurements import MEASUREMENTS, groups_for
from headfit.output.measuring_drawings import MeasuringDrawings, figures
from headfit.output.report import Section, plain_page


def write_measurements(path: str | Path, age: str | float = "adult") -> Path:
    """The path, after the page stands there.

    Parameters
    ----------
    path : path
    age : str or float
        Of the template head that is drawn.

    Raises
    ------
    UnknownNameError
        No such age.
    InputError
        The file cannot be written.
    """
    drawings = _drawings(age)
    sections = [landmark_section(drawings)]
    for title, names in groups_for(age_in_months(age)).items():
        drawn = {
            MEASUREMENTS[name].title: (drawings.measurement(name), measurement_words(name))
            for name in names
        }
        sections.append(Section(title, drawing=figures(drawn)))
    sections.append(Section("Any subset will do", ("Read each once, snug and not tight.",)))
    return write_whole(path, plain_page("How a head is measured", sections, __version__))


def all_drawings(age: str | float) -> dict[str, str]:
    """SVG of every landmark, of a flat inion ("flat inion") and of every measurement, by name.

    Raises
    ------
    UnknownNameError
        No such age.
    """
    drawings = _drawings(age)
    drawn = {name: drawings.landmark(name) for name in NAMES}
    drawn["flat inion"] = drawings.flat_inion()
    return drawn | {name: drawings.measurement(name) for name in MEASUREMENTS}


def _drawings(age: str | float) -> MeasuringDrawings:
    head = load_template(age)
    return MeasuringDrawings(head, ArcTracer(head.scalp, head.landmarks, Rules()))


def landmark_section(drawings: MeasuringDrawings, *, flat: bool = True) -> Section:
    """How the four landmarks are felt, and a flat inion too."""
    drawn = {_upper(TITLES[name]): (drawings.landmark(name), FINDING[name]) for name in NAMES}
    if flat:
        drawn["Flat inion"] = (drawings.flat_inion(), FLAT_INION)
    return Section("Landmarks", drawing=figures(drawn))


def measurement_words(name: str) -> str:
    """How it is taken, and how well."""
    kind = MEASUREMENTS[name]
    return f"{_upper(kind.how)}. One reading is good to {kind.spread_mm / 10:.2g} cm."


def _upper(words: str) -> str:
    return words[0].upper() + words[1:]
