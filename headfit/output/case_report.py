"""The report of a solved case: one HTML file to send on."""

from __future__ import annotations

import shlex
from dataclasses import replace
from pathlib import Path

from headfit import __version__
from headfit.anatomy.landmarks import TITLES as LANDMARK_TITLES
from headfit.anatomy.sites import row_nine_words
from headfit.anatomy.template import template_set
from headfit.case.solved import SolvedCase
from headfit.files.whole import write_whole
from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.case_view import CaseView
from headfit.output.headmap import as_svg, head_map
from headfit.output.measuring_drawings import MeasuringDrawings, figures
from headfit.output.measuring_page import landmark_section, measurement_words
from headfit.output.report import Section, report_html
from headfit.output.sheet import rules_words


def write_report(solved: SolvedCase, path: str | Path, case_file: str = "case.toml") -> Path:
    """The path, after the report stands there as one HTML file.

    Parameters
    ----------
    solved : SolvedCase
    path : path
    case_file : str
        Name of the case file, said in the command that makes the report again.

    Raises
    ------
    InputError
        Nothing is measured, or the file cannot be written.
    """
    solved.check_measured()
    return write_whole(path, report_text(CaseView(solved), case_file))


def report_text(view: CaseView, name: str) -> str:
    """The report of a case as HTML.

    Parameters
    ----------
    view : CaseView
    name : str
        Of the case file, said in the command that makes the report again.
    """
    solved, said, tables = view.solved, view.sentences, view.tables
    case = solved.case
    facts = tuple(
        (word, text)
        for word, text in (
            ("Age", _age_words(case.age)),
            ("Sex", case.sex or ""),
            ("Measured by", case.measured_by),
            ("Measured on", case.measured_on),
            ("Hard to find", ", ".join(LANDMARK_TITLES[name] for name in case.doubtful)),
            ("Note", case.note),
        )
        if text
    )
    system = f"System {case.array_title}; {rules_words(solved.sites.rules)}."
    parts = [
        ("Measurements", said.get("advice", ()), ("sheet",)),
        ("Sites", (system, *filter(None, [row_nine_words(solved.sites)])), ("sites",)),
        (
            "Comparison with the marks",
            (*said.get("comparison", ()), *said.get("marks", ())),
            ("moves",),
        ),
        ("Places that must stay free", said.get("free", ()), ()),
        ("Set-up record", said.get("record", ()), ()),
        ("Derivations", said.get("derivations", ()), ("derivations",)),
        ("Shape of the head", (*said.get("shape", ()), *said.get("norms", ())), ()),
    ]
    sections = [
        Section(title, tuple(sentences), tuple(tables[t] for t in wanted if t in tables))
        for title, sentences, wanted in parts
        if sentences or any(t in tables for t in wanted)
    ]
    flat = head_map(
        solved.sites, 170.0, 190.0, displacement=solved.displacement, montage=solved.derivations
    )
    sections.append(_how_measured(view))
    map_title = f"{case.label}: head map seen from above"
    sections[0] = replace(sections[0], facts=facts)
    key = ["From above, nose up."]
    key += ["Black: moved from its place. Hatched: must stay free."] if solved.displacement else []
    key += ["Numbers on lines: length along the scalp, mm."] if solved.derivations else []
    sections.append(Section("Head map", (" ".join(key),), drawing=as_svg(flat, map_title)))
    stem = Path(name).stem
    return report_html(
        view.scene,
        sections,
        commands=[f"headfit report {shlex.quote(name)} -o {shlex.quote(stem + '.html')}"],
        version=__version__,
    )


def _how_measured(view: CaseView) -> Section:
    """The landmarks and the measurements that were taken, drawn on this head."""
    solved = view.solved
    case, drawings = solved.case, MeasuringDrawings(solved.head, solved.sites.tracer)
    section = landmark_section(drawings, flat="inion" in case.doubtful)
    taken = () if case.tape is None else case.tape.values_mm
    drawn = {
        MEASUREMENTS[name].title: (drawings.measurement(name), measurement_words(name))
        for name in taken
    }
    return replace(section, title="How it was measured", drawing=section.drawing + figures(drawn))


def _age_words(age: str | float) -> str:
    """An age as a person says it.

    >>> _age_words(3.5), _age_words("m06")
    ('3.5 years', '6 months')
    """
    return (
        template_set().ages[age][1].partition(",")[0] if isinstance(age, str) else f"{age:g} years"
    )
