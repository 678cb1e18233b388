"""Files made from a case as it stands: report, sheet, picture, BIDS dataset, case file."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from headfit import __version__
from headfit.anatomy.landmarks import TITLES as LANDMARK_TITLES
from headfit.anatomy.sites import row_nine_words
from headfit.anatomy.template import template_set
from headfit.app.case_plan import CasePlan, content_of
from headfit.app.case_view import CaseView
from headfit.errors import InputError, sentence, unknown_name
from headfit.files.bids import bids_files
from headfit.files.case_file import case_text
from headfit.files.results import CaseResult
from headfit.output.headmap import as_svg, head_map
from headfit.output.report import Section, report_html
from headfit.output.sheet import SheetContent, rules_words, sheet_pdf


@dataclass(frozen=True)
class Export:
    """A file to hand out: its ending, its media type, its contents."""

    ending: str
    media_type: str
    contents: bytes


def export(kind: str, view: CaseView, name: str) -> Export:
    """A file of a kind from a case.

    Parameters
    ----------
    kind : {"report", "sheet", "picture", "bids", "case"}
    view : CaseView
    name : str
        Of the case file, said in the commands of the report.

    Raises
    ------
    UnknownNameError
        No such kind.
    InputError
        Nothing is measured yet.
    DrawingError
        This machine cannot draw a picture.
    """
    if kind not in _MAKERS:
        raise unknown_name("export", kind, _MAKERS)
    return _MAKERS[kind](view, name)


def report_of(view: CaseView, name: str) -> str:
    """The report of a case as HTML."""
    case, said, tables = view.case, view.sentences, view.tables
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
    system = f"System {case.system}; {rules_words(view.sites.rules)}."
    parts = [
        ("Measurements", said.get("advice", ()), ("sheet",)),
        ("Sites", (system, *filter(None, [row_nine_words(view.sites)])), ("sites",)),
        (
            "Comparison with the marks",
            (*said.get("comparison", ()), *said.get("marks", ())),
            ("moves",),
        ),
        ("Places that must stay free", said.get("free", ()), ()),
        ("Derivations", said.get("derivations", ()), ("derivations",)),
        ("Shape of the head", (*said.get("shape", ()), *said.get("norms", ())), ()),
    ]
    sections = [
        Section(title, tuple(sentences), tuple(tables[t] for t in wanted if t in tables))
        for title, sentences, wanted in parts
        if sentences or any(t in tables for t in wanted)
    ]
    flat = head_map(view.sites, 170.0, 190.0, displacement=view.displacement, montage=view.montage)
    map_title = f"{case.label}: head map seen from above"
    sections[0] = replace(sections[0], facts=facts)
    key = ["From above, nose up."]
    key += ["Black: moved from its place. Hatched: must stay free."] if view.displacement else []
    key += ["Numbers on lines: length along the scalp, mm."] if view.montage else []
    sections.append(Section("Head map", (" ".join(key),), drawing=as_svg(flat, map_title)))
    stem = Path(name).stem
    return report_html(
        view.scene,
        sections,
        commands=[f"headfit report {name} -o {stem}.html"],
        version=__version__,
    )


def _age_words(age: str | float) -> str:
    """An age as a person says it.

    >>> _age_words(3.5), _age_words("m06")
    ('3.5 years', '6 months')
    """
    return (
        template_set().ages[age][1].partition(",")[0] if isinstance(age, str) else f"{age:g} years"
    )


def _result(view: CaseView) -> CaseResult:
    if view.result is None:
        raise InputError(
            sentence(
                "a case",
                "hold at least one measurement",
                "none",
                "start with the nasion-inion arc, the preauricular arc and the ring",
            ),
            code="sheet-empty",
        )
    return view.result


def _report(view: CaseView, name: str) -> Export:
    _result(view)
    return Export(".html", "text/html", report_of(view, name).encode())


def _picture(view: CaseView, _name: str) -> Export:
    from headfit.output.picture import png_bytes

    _result(view)
    return Export(".png", "image/png", png_bytes(view.scene))


def sheet_content(view: CaseView) -> SheetContent:
    """What the sheet for the chair says of a case."""
    fitted = _result(view).fitted
    return content_of(CasePlan(view.case, fitted, view.sites, view.displacement, view.montage))


def _sheet(view: CaseView, _name: str) -> Export:
    return Export(".pdf", "application/pdf", sheet_pdf(sheet_content(view)))


def _bids(view: CaseView, _name: str) -> Export:
    result = _result(view)
    files = bids_files(
        view.case,
        result.fitted.head.landmarks,
        result.sites,
        result.spreads,
        __version__,
        view.displacement,
    )
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, text in files.items():
            # A fixed date: the same case gives the same bytes.
            archive.writestr(zipfile.ZipInfo(f"bids/{path}"), text)
    return Export("-bids.zip", "application/zip", packed.getvalue())


def _case(view: CaseView, _name: str) -> Export:
    _result(view)
    return Export(".toml", "application/toml", case_text(view.case).encode())


_MAKERS: dict[str, Callable[[CaseView, str], Export]] = {
    "report": _report,
    "sheet": _sheet,
    "picture": _picture,
    "bids": _bids,
    "case": _case,
}
