"""The page of one person of a study, from their row alone."""

from __future__ import annotations

import numpy as np

from headfit import __version__
from headfit.anatomy.sites import TABLE, BesideEar
from headfit.anatomy.template import load_template
from headfit.cohort.people import Cohort
from headfit.cohort.person_row import PersonRow
from headfit.cohort.report_tables import shown, table_of
from headfit.output.headmap import as_svg
from headfit.output.report import Section, plain_page
from headfit.output.site_map import SiteError, error_map
from headfit.output.tables import Table


def person_page(row: PersonRow, cohort: Cohort) -> str:
    """The page of one person, from the row alone.

    The map shows the marks on a template head; the head of the person itself is not kept.
    """
    about = [("Head from", row.get("head_from", "") or "no head"), ("Sex", row["sex"] or "")]
    about.append(("Age", "" if row["age"] is None else f"{row['age']:g} years"))
    if row["child"]:
        about.append(("Child", "head model illustrative only"))
    if row["invented"]:
        about.append(("Invented", "no real person"))
    if cohort.in_prior:
        about.append(("In the shape prior", cohort.in_prior))
    facts = tuple((word, text) for word, text in about if text)
    said = [row["problem"]] if row["problem"] else []
    repeat = row.get("repeat", {})
    said += [f"Over the sessions: {text}." for text in repeat.get("sentences", ())]
    said += [text for text in (repeat.get("problem", ""), *repeat.get("doubts", ())) if text]
    sections = [Section("Person", (*said, *row.get("sentences", ())), facts=facts)]
    for unit in row["units"]:
        name = (
            " ".join(
                filter(
                    None,
                    [
                        unit["session"] and f"session {unit['session']}",
                        unit["run"] and f"run {unit['run']}",
                    ],
                )
            )
            or "Marks"
        )
        if "names" not in unit:
            sections.append(Section(f"{name}: {unit['file']}", (unit["problem"],)))
            continue
        sections.append(
            Section(
                f"{name}: {unit['file']}",
                (unit["verdict"], *(f"Doubt: {text}." for text in unit["doubts"].values())),
                (_marks(unit),),
                _map_of(unit, row["person"]),
            )
        )
    return plain_page(f"{row['person']} of {cohort.name}", sections, __version__)


def _marks(unit: PersonRow) -> Table:
    lines = []
    for i in np.argsort([-_size(unit, k, "own_") for k in range(len(unit["names"]))]).tolist():
        site = unit["names"][i]
        note = "name mixed up?" if site in unit["mixed_up"] else ""
        note = note or ("stands out" if site in unit["stands_out"] else "")
        lines.append([site, shown(_size(unit, i, "")), shown(_size(unit, i, "own_")), note])
    return table_of(
        "marks",
        "The farthest first.",
        ["Site", "By the landmarks|mm", "Own part|mm", "Note"],
        lines,
    )


def _size(unit: PersonRow, i: int, part: str) -> float:
    along, across = unit[f"{part}along_mm"][i], unit[f"{part}across_mm"][i]
    return float("nan") if along is None else float(np.hypot(along, across))


def _map_of(unit: PersonRow, label: str) -> str:
    errors = [
        SiteError(site, along, across)
        for site, along, across in zip(
            unit["names"], unit["own_along_mm"], unit["own_across_mm"], strict=True
        )
        if not isinstance(TABLE[site], BesideEar)
    ]
    drawing = error_map(load_template(), errors, 120.0, 130.0)
    return as_svg(drawing, f"{label}: marks around their sites, own part, on a template head")
