"""Files made from a case as it stands: report, sheet, picture, BIDS dataset, case file."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from typing import cast

from headfit.errors import unknown_name
from headfit.files.bids import bids_files
from headfit.files.case_file import case_text
from headfit.output.case_record import record_pdf
from headfit.output.case_report import report_text
from headfit.output.case_sheet import sheet_content
from headfit.output.case_view import CaseView
from headfit.output.sheet import PaperName, sheet_pdf


@dataclass(frozen=True)
class Export:
    """A file to hand out: its ending, its media type, its contents."""

    ending: str
    media_type: str
    contents: bytes


def export(kind: str, view: CaseView, name: str, paper: str = "A4") -> Export:
    """A file of a kind from a case.

    Parameters
    ----------
    kind : {"report", "sheet", "chair", "record", "picture", "bids", "case"}
    view : CaseView
    name : str
        Of the case file, said in the commands of the report.
    paper : {"A4", "letter"}
        Of the sheet and the record.

    Raises
    ------
    UnknownNameError
        No such kind or paper.
    InputError
        Nothing is measured yet.
    DrawingError
        This machine cannot draw a picture.
    """
    if kind not in (*_MAKERS, *_ON_PAPER):
        raise unknown_name("export", kind, (*_MAKERS, *_ON_PAPER))
    view.solved.check_measured()
    if kind in _ON_PAPER:
        return _ON_PAPER[kind](view, paper)
    return _MAKERS[kind](view, name)


def _report(view: CaseView, name: str) -> Export:
    return Export(".html", "text/html", report_text(view, name).encode())


def _picture(view: CaseView, _name: str) -> Export:
    from headfit.output.picture import png_bytes

    return Export(".png", "image/png", png_bytes(view.scene))


def _sheet(view: CaseView, paper: str) -> Export:
    content = sheet_content(view.solved)
    return Export(".pdf", "application/pdf", sheet_pdf(content, cast(PaperName, paper)))


def _record(view: CaseView, paper: str) -> Export:
    contents = record_pdf(view.solved, cast(PaperName, paper))
    return Export("-record.pdf", "application/pdf", contents)


def _chair(view: CaseView, _name: str) -> Export:
    from headfit.output.chair_page import chair_html
    from headfit.output.chair_steps import chair_of

    return Export("-chair.html", "text/html", chair_html(chair_of(view.solved)).encode())


def _bids(view: CaseView, _name: str) -> Export:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for path, text in bids_files(view.solved).items():
            # A fixed date: the same case gives the same bytes.
            archive.writestr(zipfile.ZipInfo(f"bids/{path}"), text)
    return Export("-bids.zip", "application/zip", packed.getvalue())


def _case(view: CaseView, _name: str) -> Export:
    return Export(".toml", "application/toml", case_text(view.solved.case).encode())


_MAKERS: dict[str, Callable[[CaseView, str], Export]] = {
    "report": _report,
    "chair": _chair,
    "picture": _picture,
    "bids": _bids,
    "case": _case,
}
_ON_PAPER: dict[str, Callable[[CaseView, str], Export]] = {"sheet": _sheet, "record": _record}
