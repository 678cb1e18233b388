"""The case file: one head as a person writes it down, in TOML. Our own format.

::

    [case]
    label = "morning list, second head"
    age = "adult"                    # or "newborn", "m06", "m12", "y05", "y10", or years
    sex = "female"                   # optional: "female" or "male"
    system = "10-20"                 # "10-20", "ifcn-25", "10-10", "10-5", "newborn"
    # sites = ["Fp1", "Fp2", "Cz"]   # the own list of sites, instead of a system
    measured_by = "..."              # optional, free text
    measured_on = 2024-05-07         # optional, free text or a date
    note = "..."                     # optional, free text
    move_alone = true                # a site that must move leaves its homologue in place
    old_names = false                # do not tell T3 beside T7, and so on
    invented = true                  # data made up for a demonstration

    [tape]
    unit = "cm"                      # required: "cm", "mm" or "inch"
    nasion_inion = 36.0
    ring = [56.4, 56.8]              # repeated readings of one measurement
    doubtful = ["inion"]             # landmarks that were hard to find

    [tape.spread]                    # own standard deviation of one reading, same unit
    ring = 0.4

    [shape]                          # set by hand: what the eye sees and no tape does, mm
    vault_2_m2 = 3.0                 # names and meaning: headfit measurements

    [rules]                          # see headfit.Rules
    inner = "parasagittal"

    [marks]                          # positions to compare with; the path starts at this file
    file = "marks.tsv"
    align = "landmarks"              # or "best-fit", "robust", "surface"
    bands_mm = [5, 10]               # limits between near, off and far

    [[free]]                         # a place that must stay free
    site = "P3"                      # or point_mm = [x, y, z] in the head frame
    radius_mm = 20
    reason = "dressing"

    [derivations]
    set = "longitudinal bipolar"     # or file = "own.csv"

    [record]                         # what was really done: see headfit.files.case_record
    done_by = "..."
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Mapping
from dataclasses import asdict, fields, replace
from pathlib import Path
from typing import Any

from headfit.anatomy.arcs import Rules
from headfit.anatomy.norms import SEXES
from headfit.anatomy.sites import canonical_name
from headfit.anatomy.template import age_from_text, age_in_months
from headfit.case.case import BANDS_MM, Case
from headfit.case.record import SetUpRecord
from headfit.comparing.alignment_kinds import ALIGNMENTS
from headfit.errors import HeadfitError
from headfit.files.case_entries import (
    bands_of,
    check_names,
    choice_of,
    shape_of,
    table_of,
    text_of,
    truth_of,
    wrong_entry,
)
from headfit.files.case_free_places import free_places_of, tables_of_free_places
from headfit.files.case_record import record_of_table, table_of_record
from headfit.files.case_tape import table_of_tape, tape_of_table
from headfit.files.toml_text import parse_toml
from headfit.files.whole import about, read_text, write_whole
from headfit.planning.montages import OWN, array_names, montage_for

_TABLES = ("case", "tape", "shape", "rules", "marks", "free", "derivations", "record")
# To TOML a comma parts the entries of a list; behind an equals sign it never stands for that.
_TEXTS = ("label", "measured_by", "measured_on", "note")


def read_case(path: str | Path) -> Case:
    """The case in a file.

    Raises
    ------
    FileFormatError
        The file is missing, empty, not UTF-8 or not TOML.
    InputError
        An entry is missing, unknown, of the wrong kind or out of range; the sentence names it.
    """
    text = read_text(path)
    with about(path):
        return case_of_text(text, Path(path).parent)


def demo_case() -> Case:
    """The demo case that comes with headfit; invented.

    >>> demo_case().invented
    True
    """
    return read_case(Path(__file__).parents[1] / "demo" / "case.toml")


def case_of_text(
    text: str,
    folder: Path,
    *,
    known: Case | None = None,
    measured: bool = True,
    may_read: Callable[[Path], None] = lambda _path: None,
) -> Case:
    r"""The case in the text of a case file that lies, or will lie, in `folder`.

    Marks and derivations that it names are read; what keeps them from being read stands under
    `problems`.

    Parameters
    ----------
    text : str
    folder : Path
        Where paths in it begin.
    known : Case, optional
        What this case read already is not read again.
    measured : bool
        Refuse a case in which nothing is measured.
    may_read : callable
        Asked before a file that the case names is read; what it raises becomes the problem.

    Raises
    ------
    FileFormatError, InputError
        As `read_case`.

    >>> case = case_of_text('[tape]\nunit = "cm"\nring = 56.6', Path())
    >>> case.tape.ring_mm
    566.0
    """
    found = parse_toml(text)
    check_names("table", found, _TABLES)
    about_case = table_of(found, "case")
    check_names(
        "entry of [case]",
        about_case,
        (*_TEXTS, "age", "sex", "system", "sites", "move_alone", "old_names", "invented"),
    )
    sites = _sites(about_case)
    tape, unit, doubtful = tape_of_table(table_of(found, "tape"), measured=measured)
    marks = table_of(found, "marks")
    check_names("entry of [marks]", marks, ("file", "align", "bands_mm"))
    derivations = table_of(found, "derivations")
    check_names("entry of [derivations]", derivations, ("set", "file"))
    texts: dict[str, Any] = {
        name: text_of(about_case[name], name) for name in _TEXTS if name in about_case
    }
    named: dict[str, Any] = {
        "marks_file": _path(marks, "marks", folder),
        "derivations": text_of(derivations["set"], "set") if "set" in derivations else None,
        "derivations_file": _path(derivations, "derivations", folder),
    }
    system = OWN if sites else _system(about_case)
    return Case(
        tape,
        age=_age(about_case.get("age", "adult")),
        sex=choice_of("sex", about_case.get("sex"), SEXES),
        system=system,
        sites=sites,
        unit=unit,
        doubtful=doubtful,
        shape=shape_of(table_of(found, "shape")),
        rules=_rules(table_of(found, "rules")),
        align=choice_of("alignment", marks.get("align"), ALIGNMENTS) or "landmarks",
        bands_mm=bands_of(marks.get("bands_mm", list(BANDS_MM)), "bands_mm of [marks]"),
        free=free_places_of(found.get("free", [])),
        move_alone=truth_of(about_case.get("move_alone", False), "move_alone"),
        old_names=truth_of(about_case.get("old_names", True), "old_names"),
        record=record_of_table(table_of(found, "record")),
        invented=truth_of(about_case.get("invented", False), "invented"),
        **texts,
        **named,
        **_read_parts(known, may_read, system, **named),
    )


def _read_parts(
    known: Case | None,
    may_read: Callable[[Path], None],
    system: str,
    *,
    marks_file: Path | None,
    derivations: str | None,
    derivations_file: Path | None,
) -> dict[str, Any]:
    """Marks and derivations that a case names, or the problems they make."""
    parts: dict[str, Any] = {}
    problems: dict[str, HeadfitError] = {}
    if marks_file is not None:
        if known is not None and known.marks_file == marks_file:
            parts["marks"] = known.marks
            problems |= {k: v for k, v in known.problems.items() if k == "marks"}
        else:
            from headfit.files.marks_files import read_marks  # most cases name none

            try:
                may_read(marks_file)
                parts["marks"] = read_marks(marks_file)
            except HeadfitError as error:
                problems["marks"] = error
    try:
        if derivations_file is not None:
            from headfit.files.montage_file import read_montage

            may_read(derivations_file)
            parts["montage"] = read_montage(derivations_file)
        elif derivations is not None:
            parts["montage"] = montage_for(derivations, system)
    except HeadfitError as error:
        problems["derivations"] = error
    return {**parts, "problems": problems}


def _age(value: object) -> str | float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise wrong_entry(
            "age", 'be a template age, text such as "6 months", or years as a number', value
        )
    if isinstance(value, str):
        return age_from_text(value)
    age_in_months(value)
    return value


def _system(about_case: Mapping[str, Any]) -> str:
    return choice_of("system", about_case.get("system"), array_names()) or "10-20"


def _sites(about_case: Mapping[str, Any]) -> tuple[str, ...]:
    given = about_case.get("sites", ())
    if "sites" not in about_case:
        return ()
    if not isinstance(given, list) or not given or not all(isinstance(s, str) for s in given):
        raise wrong_entry("sites of [case]", 'be a list of names, such as ["Fp1", "C3"]', given)
    if "system" in about_case:
        raise wrong_entry("[case]", "name a system or list its sites, not both", "both")
    return tuple(dict.fromkeys(canonical_name(name) for name in given))


def _path(table: Mapping[str, Any], name: str, folder: Path) -> Path | None:
    if "file" not in table:
        return None
    given = table["file"]
    if not isinstance(given, str) or not given or "\0" in given:
        raise wrong_entry(f"file of [{name}]", 'be a path in quotes, such as "marks.tsv"', given)
    return (folder / given).absolute()


def _rules(table: Mapping[str, Any]) -> Rules:
    check_names("entry of [rules]", table, tuple(entry.name for entry in fields(Rules)))
    for name, value in table.items():
        if not isinstance(value, str):
            raise wrong_entry(f"{name} of [rules]", "be text in quotes", value)
    return Rules(**table)


def case_text(case: Case, folder: str | Path = ".") -> str:
    """The text of a case file; `case_of_text` gives the same case back.

    Parameters
    ----------
    case : Case
    folder : path
        Where the file will lie: paths inside it start there when they can.

    >>> from headfit.fitting.tape import Tape
    >>> print(case_text(Case(Tape(ring_mm=566.0), label="a head", doubtful=("inion",))))
    [case]
    label = "a head"
    age = "adult"
    system = "10-20"
    <BLANKLINE>
    [tape]
    unit = "cm"
    ring = 56.6
    doubtful = [
        "inion",
    ]
    <BLANKLINE>
    """
    import tomli_w

    optional = {
        "sex": case.sex,
        "measured_by": case.measured_by,
        "measured_on": case.measured_on,
        "note": case.note,
        "move_alone": case.move_alone,
        "invented": case.invented,
    }
    document: dict[str, Any] = {
        "case": {"label": case.label, "age": case.age}
        | ({"sites": list(case.sites)} if case.sites else {"system": case.system})
        | {name: value for name, value in optional.items() if value}
        | ({} if case.old_names else {"old_names": False}),
        "tape": table_of_tape(case.tape, case.unit, case.doubtful),
    }
    if case.shape:
        document["shape"] = dict(case.shape)
    chosen = {k: v for k, v in asdict(case.rules).items() if v != getattr(Rules(), k)}
    if chosen:
        document["rules"] = chosen
    if case.marks_file:
        document["marks"] = {"file": _shown_path(case.marks_file, folder), "align": case.align}
    if case.bands_mm != BANDS_MM:
        document.setdefault("marks", {})["bands_mm"] = list(case.bands_mm)
    if case.free:
        document["free"] = tables_of_free_places(case.free)
    if case.derivations:
        document["derivations"] = {"set": case.derivations}
    elif case.derivations_file:
        document["derivations"] = {"file": _shown_path(case.derivations_file, folder)}
    if not case.record.blank:
        document["record"] = table_of_record(case.record)
    return tomli_w.dumps(document)


def _shown_path(path: Path, folder: str | Path) -> str:
    place = Path(folder).absolute()
    return (path.relative_to(place) if path.is_relative_to(place) else path).as_posix()


def write_case(case: Case, path: str | Path) -> Path:
    """The path, after the case stands there in a case file.

    Raises
    ------
    InputError
        The file cannot be written.
    """
    return write_whole(path, case_text(case, Path(path).parent))


def plan_checksum(case: Case) -> str:
    """Of all that is planned in a case, whatever was charted in its record.

    >>> from headfit.case.record import SetUpRecord
    >>> plan_checksum(Case()) == plan_checksum(Case(record=SetUpRecord(done_by="somebody")))
    True
    >>> plan_checksum(Case()) == plan_checksum(Case(label="another"))
    False
    """
    bare = replace(case, record=SetUpRecord())
    return hashlib.sha256(case_text(bare).encode()).hexdigest()[:16]
