"""The case file: one head as a person writes it down, in TOML. Our own format.

::

    [case]
    label = "morning list, second head"
    age = "adult"                    # or "newborn", "m06", "m12", "y05", "y10", or years
    sex = "female"                   # optional: "female" or "male"
    system = "10-10"                 # "10-20", "ifcn-25", "10-10", "10-5", "newborn"; or
    sites = ["Fp1", "Fp2", "Cz"]     # the own list of sites instead
    measured_by = "..."              # optional, free text
    measured_on = 2024-05-07         # optional, free text or a date
    note = "..."                     # optional, free text
    move_alone = true                # a site that must move leaves its homologue in place
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

    [[free]]                         # a place that must stay free
    site = "P3"                      # or point_mm = [x, y, z] in the head frame
    radius_mm = 20
    reason = "dressing"

    [derivations]
    set = "longitudinal bipolar"     # or file = "own.csv"
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any

from headfit.anatomy.arcs import Rules
from headfit.anatomy.norms import SEXES
from headfit.anatomy.sites import SYSTEMS, canonical_name
from headfit.anatomy.template import age_in_months
from headfit.comparing.alignment_kinds import ALIGNMENTS
from headfit.errors import FileFormatError, sentence
from headfit.files.case_entries import (
    check_names,
    choice_of,
    point_of,
    shape_of,
    table_of,
    text_of,
    truth_of,
    wrong_entry,
)
from headfit.files.case_tape import table_of_tape, tape_of_table
from headfit.files.whole import about, read_text, write_whole
from headfit.fitting.tape import Tape
from headfit.planning.montages import OWN, array_names, array_sites
from headfit.units import to_mm

_TABLES = ("case", "tape", "shape", "rules", "marks", "free", "derivations")
_TEXTS = ("label", "measured_by", "measured_on", "note")


@dataclass(frozen=True)
class FreePlace:
    """A place on the scalp that must stay free of electrodes.

    Attributes
    ----------
    site : str or None
        Its middle, as a site name; or
    point_mm : tuple of three float or None
        its middle in the head frame; or
    polygon_mm : tuple of points
        its outline in the head frame, at least three points.
    radius_mm : float
        Of a round place; 0 with an outline.
    reason : str
    """

    site: str | None = None
    point_mm: tuple[float, float, float] | None = None
    polygon_mm: tuple[tuple[float, float, float], ...] = ()
    radius_mm: float = 0.0
    reason: str = ""


@dataclass(frozen=True, eq=False)
class Case:
    """One head as written down.

    Attributes
    ----------
    tape : Tape
    label : str
        Said wherever the case is shown.
    age : str or float
        A template age or years.
    sex : {"female", "male"} or None
    system : str
        A system or a reduced array; "own list" with `sites`.
    sites : tuple of str
        The user's own list.
    unit : str
        In which the tape was read; what is written back to the file uses it.
    doubtful : tuple of str
        Landmarks that were hard to find.
    shape : dict of str to float
        Shape modes set by hand, by their names in `fitting.by_hand`, mm.
    rules : Rules
    marks_file, derivations_file : Path or None
        Made absolute by the folder of the case file.
    align : {"landmarks", "best-fit", "robust", "surface"}
    free : tuple of FreePlace
    move_alone : bool
        A site that must move for them leaves its homologue in place.
    derivations : str or None
        Name of a declared set.
    measured_by, measured_on, note : str
    invented : bool
        Data made up for a demonstration.
    """

    tape: Tape
    label: str = "unnamed case"
    age: str | float = "adult"
    sex: str | None = None
    system: str = "10-10"
    sites: tuple[str, ...] = ()
    unit: str = "cm"
    doubtful: tuple[str, ...] = ()
    shape: Mapping[str, float] = field(default_factory=dict)
    rules: Rules = field(default_factory=Rules)
    marks_file: Path | None = None
    align: str = "landmarks"
    free: tuple[FreePlace, ...] = ()
    move_alone: bool = False
    derivations: str | None = None
    derivations_file: Path | None = None
    measured_by: str = ""
    measured_on: str = ""
    note: str = ""
    invented: bool = False

    @property
    def array(self) -> str | tuple[str, ...]:
        """What `place_sites` is asked for: a system, or the sites of an array or own list."""
        if self.sites or self.system in SYSTEMS:
            return self.sites or self.system
        return array_sites(self.system)


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


def case_of_text(text: str, folder: Path) -> Case:
    r"""The case in the text of a case file that lies, or will lie, in `folder`.

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
        (*_TEXTS, "age", "sex", "system", "sites", "move_alone", "invented"),
    )
    sites = _sites(about_case)
    tape, unit, doubtful = tape_of_table(table_of(found, "tape"))
    marks = table_of(found, "marks")
    check_names("entry of [marks]", marks, ("file", "align"))
    derivations = table_of(found, "derivations")
    check_names("entry of [derivations]", derivations, ("set", "file"))
    texts = {name: text_of(about_case[name], name) for name in _TEXTS if name in about_case}
    return Case(
        tape,
        age=_age(about_case.get("age", "adult")),
        sex=choice_of("sex", about_case.get("sex"), SEXES),
        system=OWN if sites else _system(about_case),
        sites=sites,
        unit=unit,
        doubtful=doubtful,
        shape=shape_of(table_of(found, "shape")),
        rules=_rules(table_of(found, "rules")),
        marks_file=_path(marks, "marks", folder),
        align=choice_of("alignment", marks.get("align"), ALIGNMENTS) or "landmarks",
        free=_free_places(found.get("free", [])),
        derivations=text_of(derivations["set"], "set") if "set" in derivations else None,
        derivations_file=_path(derivations, "derivations", folder),
        move_alone=truth_of(about_case.get("move_alone", False), "move_alone"),
        invented=truth_of(about_case.get("invented", False), "invented"),
        **texts,
    )


def parse_toml(text: str) -> dict[str, Any]:
    """The tables of a TOML text.

    Raises
    ------
    FileFormatError
        Not TOML; the sentence tells line and column.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        found = str(error)
        reason, place = found[:1].lower() + found[1:], ""
        if match := re.fullmatch(r"(.*) \(at (.*)\)", found, re.DOTALL):
            reason, place = match[1][:1].lower() + match[1][1:], match[2]
        raise FileFormatError(
            sentence("a case file", "be TOML", reason, place), code="toml-syntax"
        ) from None
    except (RecursionError, ValueError):
        # Brackets nested a thousand deep, a number of thousands of digits, or a 13th month.
        raise FileFormatError(
            sentence("a case file", "be TOML that a person could have written", "something else"),
            code="toml-syntax",
        ) from None


def _age(value: object) -> str | float:
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise wrong_entry("age", 'be a template age such as "adult", or years as a number', value)
    age_in_months(value)
    return value


def _system(about_case: Mapping[str, Any]) -> str:
    return choice_of("system", about_case.get("system"), array_names()) or "10-10"


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


def _free_places(given: object) -> tuple[FreePlace, ...]:
    if not isinstance(given, list) or not all(isinstance(place, dict) for place in given):
        raise wrong_entry("free", "be tables that each begin with [[free]]", given)
    return tuple(_free_place(place) for place in given)


def _free_place(given: dict[str, Any]) -> FreePlace:
    known = ("site", "point_mm", "polygon_mm", "radius_mm", "reason")
    check_names("entry of [[free]]", given, known)
    where = [name for name in ("site", "point_mm", "polygon_mm") if name in given]
    if len(where) != 1:
        raise wrong_entry(
            "a [[free]] place", "name exactly one of site, point_mm, polygon_mm", where
        )
    site = point = None
    polygon: tuple[tuple[float, float, float], ...] = ()
    if where == ["site"]:
        site = canonical_name(text_of(given["site"], "site of [[free]]"))
    elif where == ["point_mm"]:
        point = point_of(given["point_mm"], "point_mm of [[free]]")
    else:
        corners = given["polygon_mm"]
        if not isinstance(corners, list) or len(corners) < 3:
            raise wrong_entry(
                "polygon_mm of [[free]]", "be three or more points [x, y, z]", corners
            )
        polygon = tuple(point_of(corner, "a corner of polygon_mm") for corner in corners)
    radius_mm = 0.0
    if not polygon:
        if "radius_mm" not in given:
            raise wrong_entry("a [[free]] place", "give its radius_mm", given)
        radius_mm = to_mm(given["radius_mm"], "mm", "radius_mm of [[free]]")
        if not 0 < radius_mm <= 150:
            raise wrong_entry("radius_mm of [[free]]", "lie in 0 to 150 mm", radius_mm)
    return FreePlace(site, point, polygon, radius_mm, text_of(given.get("reason", ""), "reason"))


def case_text(case: Case, folder: str | Path = ".") -> str:
    """The text of a case file; `case_of_text` gives the same case back.

    Parameters
    ----------
    case : Case
    folder : path
        Where the file will lie: paths inside it start there when they can.

    >>> print(case_text(Case(Tape(ring_mm=566.0), label="a head", doubtful=("inion",))))
    [case]
    label = "a head"
    age = "adult"
    system = "10-10"
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
        | {name: value for name, value in optional.items() if value},
        "tape": table_of_tape(case.tape, case.unit, case.doubtful),
    }
    if case.shape:
        document["shape"] = dict(case.shape)
    chosen = {k: v for k, v in asdict(case.rules).items() if v != getattr(Rules(), k)}
    if chosen:
        document["rules"] = chosen
    if case.marks_file:
        document["marks"] = {"file": _shown_path(case.marks_file, folder), "align": case.align}
    if case.free:
        document["free"] = [
            {name: _plain(value) for name, value in asdict(place).items() if value}
            for place in case.free
        ]
    if case.derivations:
        document["derivations"] = {"set": case.derivations}
    elif case.derivations_file:
        document["derivations"] = {"file": _shown_path(case.derivations_file, folder)}
    return tomli_w.dumps(document)


def _plain(value: Any) -> Any:
    return [_plain(part) for part in value] if isinstance(value, tuple) else value


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
