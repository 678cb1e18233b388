"""Rows of a table of marks while they are cleaned, and the rules by which some are left out.

A row is a name and a place as the file has them. Functions named `set_aside_...` leave rows out,
those named `tell_...` only add a remark.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from headfit.geometry.mesh import Floats
from headfit.marks.remarks import Remark, correction, doubt, listed, note
from headfit.marks.site_names import NameReading, near_sites
from headfit.marks.unit_detection import FEWEST

# Numbers beyond this are not coordinates in any unit.
IMPOSSIBLE = 1e12
FAR_MM = 300.0
_SAME_PLACE_MM = 1.0
_LISTED = 8
# Shares of the median distance from the middle. On heads of 16 marks or more none lies nearer than
# 0.3 [derived: random sets of the 10-10 system], and none so near to the middle between the ears.
_DEEP_SHARE, _ZERO_SHARE, _MANY = 0.25, 0.6, 16
# No mark on a head lies farther out than 1.75; the rim of a set lies at 1.2.
_OFF_SHARE, _RIM_SHARE = 1.75, 1.2
# Eight random sites of a head are thicker than 0.08 of their length.
_FLAT_SHARE, _FEWEST_FLAT = 0.04, 8


@dataclass
class Rows:
    """Names and places of the rows that are left, and the remarks so far."""

    readings: list[NameReading]
    places: Floats
    remarks: list[Remark] = field(default_factory=list)

    def leave_out(self, rows: set[int]) -> None:
        """Take rows out."""
        kept = [i for i in range(len(self.readings)) if i not in rows]
        self.readings = [self.readings[i] for i in kept]
        self.places = self.places[kept]

    def rows(self, *kinds: str) -> list[int]:
        """Numbers of the rows of these kinds."""
        return [i for i, reading in enumerate(self.readings) if reading.kind in kinds]

    def given(self, rows: list[int]) -> list[str]:
        """The names of rows as written."""
        return [self.readings[i].given.strip() or "(blank)" for i in rows]


def _shown(reading: NameReading) -> str:
    """The name as written, in quotes where only blanks make the difference."""
    plain = reading.given.strip()
    return plain if plain != reading.name else repr(reading.given)


def tell_names(work: Rows) -> None:
    """Tell which names of sites are not written in the system's spelling."""
    changed = {
        _shown(reading): reading.name
        for reading in work.readings
        if reading.kind == "site" and reading.given != reading.name
    }
    if changed:
        said = listed(f"{old} is {new}" for old, new in changed.items())
        rules = sorted({r for reading in work.readings for r in reading.rules})
        work.remarks.append(
            correction(
                "names-respelled",
                f"names are read in the system's spelling: {said}",
                names=changed,
                rules=rules,
            )
        )


def set_aside_rows(work: Rows) -> None:
    """Take out rows that are no marks: no place, no name, not on the scalp."""
    work.places[np.abs(np.nan_to_num(work.places, nan=0.0, posinf=np.inf)) > IMPOSSIBLE] = np.inf
    lacks = np.isnan(work.places)
    wild = np.isinf(work.places).any(axis=1)
    everything, something = lacks.all(axis=1), lacks.any(axis=1)
    told: list[tuple[list[int], str, str, str]] = [
        (
            np.flatnonzero(everything & ~wild).tolist(),
            "note",
            "place-missing",
            "rows without a place are left out: {}",
        ),
        (
            np.flatnonzero(something & ~everything & ~wild).tolist(),
            "correction",
            "place-incomplete",
            "rows with less than three coordinates are left out: {}",
        ),
        (
            np.flatnonzero(wild).tolist(),
            "correction",
            "place-impossible",
            "rows with a coordinate that no unit explains are left out: {}",
        ),
    ]
    gone = set(np.flatnonzero(something | wild).tolist())
    there = [i for i in range(len(work.readings)) if i not in gone]
    for kind, how, code, text in (
        ("not scalp", "note", "not-scalp", "rows that are not on the scalp are left out: {}"),
        ("blank", "correction", "name-blank", "rows without a name are left out: {}"),
    ):
        told.append(([i for i in there if work.readings[i].kind == kind], how, code, text))
        gone.update(i for i in there if work.readings[i].kind == kind)
    for rows, how, code, text in told:
        if rows:
            make = note if how == "note" else correction
            names = work.given(rows)
            work.remarks.append(make(code, text.format(listed(names)), names=names))
    work.leave_out(gone)


def set_aside_far(work: Rows) -> None:
    """Take out rows that lie nowhere near the others; places must be in millimetres."""
    gap = np.linalg.norm(work.places - np.median(work.places, axis=0), axis=1)
    far = np.flatnonzero(gap > FAR_MM).tolist()
    if far and len(work.places) >= FEWEST:
        names = work.given(far)
        work.remarks.append(
            correction(
                "mark-far-off",
                f"rows farther than {FAR_MM:.0f} mm from the middle of the marks are left out: "
                f"{listed(names)}",
                names=names,
                distance_mm=[float(f"{gap[i]:.4g}") for i in far],
            )
        )
        work.leave_out(set(far))


def set_aside_inside(work: Rows, landmarks: Mapping[str, Floats]) -> None:
    """Take out rows that lie deep inside the head: another unit, or zeros for "not measured".

    Places and landmarks must be in millimetres.
    """
    gap = np.linalg.norm(work.places - np.median(work.places, axis=0), axis=1)
    share = gap / max(float(np.median(gap)), 1e-9)
    inside = share < _DEEP_SHARE if len(gap) >= _MANY else np.zeros(len(gap), bool)
    ears = [landmarks.get(f"{side}_preauricular") for side in ("left", "right")]
    if ears[0] is not None and ears[1] is not None:
        off = np.linalg.norm(work.places - (ears[0] + ears[1]) / 2, axis=1)
        inside |= off < _DEEP_SHARE * np.linalg.norm(ears[0] - ears[1])
    inside |= (share < _ZERO_SHARE) & (work.places == 0.0).all(axis=1)
    rows = np.flatnonzero(inside).tolist()
    if rows and len(gap) - len(rows) >= FEWEST:
        names = work.given(rows)
        text = f"rows that lie deep inside the head are left out: {listed(names)}"
        work.remarks.append(correction("mark-inside", text, names=names))
        work.leave_out(set(rows))


def tell_off_set(work: Rows) -> None:
    """Tell of rows far outside the head that the others outline; they are kept.

    Places must be in millimetres. On 41 files none lies farther from the middle than 1.41 times the
    median (OpenNeuro ds003645, ds004561).
    """
    gap = np.linalg.norm(work.places - np.median(work.places, axis=0), axis=1)
    if len(gap) < _MANY:
        return
    middle = float(np.median(gap))
    off = np.flatnonzero(gap > _OFF_SHARE * middle).tolist()
    if off:
        names = work.given(off)
        said = listed(
            f"{name} (about {gap[i] - _RIM_SHARE * middle:.0f} mm)"
            for name, i in zip(names, off, strict=True)
        )
        text = f"rows lie off the head that the other marks outline, and are kept: {said}"
        evidence = [float(f"{gap[i]:.4g}") for i in off]
        work.remarks.append(doubt("mark-off-set", text, names=names, distance_mm=evidence))


def tell_flat(work: Rows) -> None:
    """Tell of marks that lie in one plane, as on a printed map."""
    if len(work.places) < _FEWEST_FLAT:
        return
    extent = np.linalg.svd(work.places - work.places.mean(axis=0), compute_uv=False)
    if extent[2] < _FLAT_SHARE * extent[0]:
        text = (
            "marks lie in one plane, as on a map of the head; they are no places on a head, and "
            "nothing they are compared with means anything"
        )
        work.remarks.append(doubt("marks-flat", text, share=round(float(extent[2] / extent[0]), 4)))


def without_doubles(work: Rows, names: list[str], points: Floats) -> tuple[list[int], set[int]]:
    """Rows whose name is theirs alone, and rows that only repeat another one."""
    rows_of: dict[str, list[int]] = {}
    for i, name in enumerate(names):
        rows_of.setdefault(name, []).append(i)
    matched: list[int] = []
    repeats: set[int] = set()
    torn: list[str] = []
    sites = work.rows("site")
    for name, rows in rows_of.items():
        if len(rows) == 1:
            matched += rows
            continue
        gap_mm = float(np.linalg.norm(points[rows] - points[rows[0]], axis=1).max())
        if gap_mm <= _SAME_PLACE_MM:
            matched.append(rows[0])
            repeats.update(rows[1:])
            continue
        spelled = " and ".join(work.given([sites[i] for i in rows]))
        torn.append(f"{name} (as {spelled}, {gap_mm:.0f} mm apart)")
    if repeats:
        work.remarks.append(
            correction(
                "name-repeated",
                f"rows that repeat a name at the same place count once: "
                f"{listed(names[i] for i in sorted(repeats))}",
                names=[names[i] for i in sorted(repeats)],
            )
        )
    if torn:
        work.remarks.append(
            doubt(
                "name-twice",
                f"names that stand at two places are not matched: {listed(torn)}",
                names=torn,
            )
        )
    return matched, repeats


def tell_others(work: Rows, rows: list[int]) -> None:
    """Tell of names that are no sites, with the sites they may have been meant for."""
    if not rows:
        return
    given = work.given(rows)
    # Many such names are a scheme of their own; a few may be typing errors.
    near = {name: near_sites(name) for name in given} if len(given) <= _LISTED else {}
    meant = {name: list(found[:3]) for name, found in near.items() if found}
    hint = "; ".join(f"is {name} meant for {' or '.join(found)}?" for name, found in meant.items())
    work.remarks.append(
        note(
            "names-not-sites",
            f"{len(given)} marks bear names that are no sites and are kept as points of the head: "
            f"{listed(given)}{f' ({hint})' if hint else ''}",
            names=given,
            near=meant,
        )
    )
