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
    kind : {"report", "sheet", "picture", "bids", "case"}
    view : CaseView
    name : str
        Of the case file, said in the commands of the report.
    paper : {"A4", "letter"}
        Of the sheet.

    Raises
    ------
    UnknownNameError
        No such kind or paper.
    InputError
        Nothing is measured yet.
    DrawingError
        This machine cannot draw a picture.
    """
    if kind not in _MAKERS:
        raise unknown_name("export", kind, _MAKERS)
    view.solved.check_measured()
    return _sheet(view, paper) if kind == "sheet" else _MAKERS[kind](view, name)


def _report(view: CaseView, name: str) -> Export:
    return Export(".html", "text/html", report_text(view, name).encode())


def _picture(view: CaseView, _name: str) -> Export:
    from headfit.output.picture import png_bytes

    return Export(".png", "image/png", png_bytes(view.scene))


def _sheet(view: CaseView, paper: str) -> Export:
    content = sheet_content(view.solved)
    return Export(".pdf", "application/pdf", sheet_pdf(content, cast(PaperName, paper)))


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
    "sheet": _sheet,
    "picture": _picture,
    "bids": _bids,
    "case": _case,
}
