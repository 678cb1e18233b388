"""The sheet for the chair of a solved case."""

from __future__ import annotations

from pathlib import Path

from headfit import __version__
from headfit.case.solved import SolvedCase
from headfit.errors import SheetError
from headfit.files.whole import write_whole
from headfit.fitting.hand_set_shape import hand_words
from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.sheet import PaperName, SheetContent, refused_pdf, sheet_pdf
from headfit.units import tape_numbers, tape_unit, told_in


def sheet_content(solved: SolvedCase) -> SheetContent:
    """What the sheet for the chair says of a case.

    Raises
    ------
    InputError
        Nothing is measured.
    """
    case, fitted = solved.case, solved.tape_fit
    with told_in(case.unit):
        taken = {
            name: f"{tape_numbers(readings)} {tape_unit()}"
            for name, readings in fitted.tape.readings_mm.items()
        }
    label = fitted.head.label
    notes = [f"Template: {label}."] if label != "adult" else []
    notes += ["Invented data, no person."] if case.invented else []
    notes += [hand_words(case.shape)] if case.shape else []
    return SheetContent(
        case.label,
        solved.sites,
        __version__,
        tuple(f"{MEASUREMENTS[name].title} {text}" for name, text in taken.items()),
        tuple(notes),
        solved.urgent_sentences,
        solved.marking,
        solved.displacement,
        (solved.derivations,) if solved.derivations else (),
        solved.head,
        case.old_names,
        case.unit,
    )


def write_refused_sheet(
    refusal: SheetError, path: str | Path, label: str, paper: PaperName = "A4"
) -> Path:
    """The path, after a page stands there that says why there are no marks and asks for readings.

    Raises
    ------
    UnknownNameError
        No such paper.
    InputError
        A letter cannot be printed, or the file cannot be written.
    """
    return write_whole(path, refused_pdf(label, str(refusal), __version__, paper))


def write_sheet(solved: SolvedCase, path: str | Path, paper: PaperName = "A4") -> Path:
    """The path, after the sheet for the chair stands there as a PDF.

    Parameters
    ----------
    solved : SolvedCase
    path : path
    paper : {"A4", "letter"}

    Raises
    ------
    UnknownNameError
        No such paper.
    InputError
        Nothing is measured, a letter cannot be printed, or the file cannot be written.
    """
    return write_whole(path, sheet_pdf(sheet_content(solved), paper))
