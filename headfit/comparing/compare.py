"""Digitised marks against where the sites should be: which are off, by how much, which way.

A deviation is the step over the scalp from a site to the foot of its mark, along the arc of the
site and across it, as a tape would measure it; the height of the mark over the scalp is given
apart. A band says how far off a mark is: within, between or beyond two limits. Millimetres.
"""

from __future__ import annotations

import math

import numpy as np

from headfit.anatomy.head import HasHead, Head
from headfit.anatomy.sites import Sites, place_sites, row_nine_words
from headfit.comparing.alignment import (
    Alignment,
    by_landmarks,
    by_surface,
    followed_by_marks,
    judged,
    pose_covariance,
)
from headfit.comparing.alignment_kinds import ALIGNMENTS, AlignmentKind
from headfit.comparing.common_shift import Doubt, fit_set
from headfit.comparing.comparison import Comparison, Deviation
from headfit.comparing.head_and_slip import HeadUnderMarks
from headfit.comparing.regularity import regularity_of
from headfit.comparing.scalp_steps import scalp_steps
from headfit.comparing.swapped_labels import Assignment, explain
from headfit.comparing.target_sites import Targets, targets_for
from headfit.comparing.whole_set import doubts_on_set, marks_off_head
from headfit.errors import MarksError, sentence, unknown_name
from headfit.fitting.fit import FittedHead
from headfit.fitting.spreads import SiteSpreads
from headfit.geometry.mesh import Floats, TriangleMesh, frozen
from headfit.geometry.rates import skew
from headfit.geometry.rigid import RigidMotion
from headfit.geometry.surface import nearest, normals_at
from headfit.marks.marks import Marks
from headfit.marks.remarks import Remark, doubt, listed, note

# A choice, no standard: 10 mm is about a third of a step of the 10-10 system.
BANDS_MM = (5.0, 10.0)
# The median length of a two-dimensional error of unit spread per axis: sqrt(2 ln 2).
_RAYLEIGH_MEDIAN = 1.1774
_LEAST_SPREAD_MM = 1.0
_OTHER_SIZE = 0.08


def compare_marks(
    head_or_sites: Head | HasHead | Sites,
    marks: Marks,
    align: AlignmentKind | None = None,
    *,
    bands_mm: tuple[float, float] = BANDS_MM,
    spreads: SiteSpreads | None = None,
    under: HeadUnderMarks | None = None,
) -> Comparison:
    """Hold marks against the sites of a head.

    Parameters
    ----------
    head_or_sites : Head, FittedHead, HeadUnderMarks or Sites
        A head, or sites placed on one: their head and rules then serve, and all marked sites are
        placed, in the set or not. Or what `head_under` found for these marks: then the marks stand
        as they were posed there.
    marks : Marks
    align : {"landmarks", "best-fit", "robust", "surface"}, optional
        Default by landmarks where they were measured, else best fit, with a doubt.
    bands_mm : (float, float)
        Limits of the bands.
    spreads : SiteSpreads, optional
        How sure the sites are; widens the bands. Default those of a fitted head when one is given.

    Raises
    ------
    MarksError
        No mark bears the name of a site, the alignment lacks landmarks or names, or bands that
        are not two rising lengths.
    UnknownNameError
        No such alignment.

    >>> from headfit import load_template, place_sites
    >>> sites = place_sites(load_template(), ["Fz", "Cz", "Pz", "C3", "C4"])
    >>> points = sites.points_mm + [0.0, -6.0, 0.0]
    >>> head = dict(
    ...     zip(
    ...         ("nasion", "inion", "left_preauricular", "right_preauricular"),
    ...         load_template().landmarks,
    ...     )
    ... )
    >>> comparison = compare_marks(sites, Marks(sites.names, points, head))
    >>> comparison["Cz"].words
    '6 mm toward the back'
    """
    if align is not None and align not in ALIGNMENTS:
        raise unknown_name("alignment", align, ALIGNMENTS)
    bands = _checked_bands(bands_mm)
    if not len(marks):
        others = marks.other_names
        named = f": its {len(others)} marks are named {listed(others, 3)}" if others else ""
        hint = "headfit places MARKS tells at which site each lies" if others else ""
        raise MarksError(
            sentence(
                f"marks of {marks.source}",
                "bear the names of sites to be compared",
                f"none{named}",
                hint,
            ),
            code="compare-no-sites",
        )
    if isinstance(head_or_sites, HeadUnderMarks):
        under = head_or_sites
        head_or_sites = place_sites(under.head, marks.names, under.rules)
        spreads = spreads or under.spreads(head_or_sites)
    targets = targets_for(head_or_sites, marks.names)
    if spreads is None and isinstance(head_or_sites, FittedHead):
        spreads = head_or_sites.spreads(targets.sites)
    points = np.asarray(marks.points_mm)
    by_marks = by_landmarks(marks, targets) if under is None else under.motion()
    chosen = align or ("best-fit" if by_marks is None else "landmarks")
    if chosen == "landmarks" and by_marks is None:
        raise MarksError(
            sentence(
                f"marks of {marks.source}",
                "hold nasion and both preauricular points to be aligned by landmarks",
                listed(marks.landmarks) or "none",
                "align them by best-fit",
            ),
            code="compare-no-landmarks",
        )
    placed = points if by_marks is None else by_marks.on(points)
    doubt = None
    if by_marks is not None:
        doubt = _doubt(placed, targets, marks, under, spreads)
    found = _explanation(placed, targets, by_marks, doubt)
    alignments = _alignments(marks, targets, by_marks, found, chosen)
    motion = alignments[chosen].motion
    # The marks without the motion that the whole set shares; too few marks share none.
    own = alignments["robust"].motion if found else motion
    both = np.concatenate([motion.on(points), own.on(points)])
    mesh = targets.sites.tracer.mesh
    places, _ = nearest(mesh, both, again=True)
    feet, normals = places.on(mesh.vertices_mm), normals_at(mesh, places)
    beside = np.tile(~targets.fixing, 2)
    if beside.any():  # what stands on an ear is held against the ear
        skin = targets.sites.tracer.skin
        on_skin, _ = nearest(skin, both[beside])
        feet[beside] = on_skin.on(skin.vertices_mm)
    n = len(points)
    # Places on ear lobe and mastoid stand off the scalp: there the mark itself is held to them.
    on_scalp = np.tile(targets.fixing, 2)[:, None]
    held = np.where(on_scalp, feet, both)
    steps = _tape_steps(targets, held[:n], normals[:n])
    own_steps = _tape_steps(targets, held[n:], normals[n:])
    mixed = {name for mixup in (found.mixups if found else ()) for name in mixup.names}
    off = both[:n] - feet[:n]
    straight = both[:n] - targets.points_mm
    table = np.column_stack(
        [
            steps,
            own_steps,
            np.einsum("ij,ij->i", off, normals[:n]),
            np.sqrt(np.einsum("ij,ij->i", straight, straight)),
            _uncertainty_mm(targets, spreads),
        ]
    )
    deviations = tuple(
        _deviation(row, targets, values, bands, mixed) for row, values in enumerate(table.tolist())
    )
    spread_mm, outstanding, judged_by = _outstanding(deviations, targets, bands[0])
    common = found.fit if found and by_marks is not None else None
    mixups = found.mixups if found else ()
    residuals = alignments["landmarks"].landmark_residuals_mm if by_marks is not None else {}
    remarks = _remarks(marks, targets, align, by_marks)
    remarks += doubts_on_set(len(targets), mixups, spread_mm, common, residuals, under)
    remarks += marks_off_head(
        (*marks.names, *marks.other_names), _heights(marks, motion, mesh, table)
    )
    return Comparison(
        targets.names,
        chosen,
        alignments,
        frozen(both[:n]),
        frozen(feet[:n]),
        deviations,
        common,
        mixups,
        outstanding,
        spread_mm,
        bands,
        (*marks.remarks, *remarks),
        marks.source,
        targets,
        frozen(normals[:n]),
        judged_by,
        under,
    )


def _checked_bands(bands_mm: tuple[float, float]) -> tuple[float, float]:
    try:
        first, second = (float(limit) for limit in bands_mm)
        good = 0 < first < second < np.inf
    except (TypeError, ValueError):
        good = False
        first = second = 0.0
    if not good:
        raise MarksError(
            sentence("bands", "be two rising lengths in mm", repr(bands_mm)), code="compare-bands"
        )
    return first, second


def _doubt(
    placed: Floats,
    targets: Targets,
    marks: Marks,
    under: HeadUnderMarks | None,
    spreads: SiteSpreads | None,
) -> Doubt:
    """What head and landmarks leave open about where the marks stand against their sites."""
    if under is not None:
        moves, covariance = under.moves(targets, placed)
        return Doubt(moves, covariance)
    pose = np.concatenate([-skew(placed), np.tile(np.eye(3), (len(placed), 1, 1))], axis=2)
    covariance = pose_covariance(marks, targets)
    if spreads is None or not all(name in spreads.names for name in targets.names):
        return Doubt(pose, covariance)
    # A fitted head: its sites move together as the shape does, and the marks with its landmarks.
    back = targets.to_head.rotation.T
    rows = [spreads.names.index(name) for name in targets.names]
    own, landmarks = (
        np.einsum("ij,njk->nik", back, rates)
        for rates in (spreads.rates[rows], spreads.landmark_rates)
    )
    shape = pose @ followed_by_marks(marks, targets, landmarks) - own
    k = shape.shape[2]
    both = np.zeros((k + 6, k + 6))
    both[:k, :k], both[k:, k:] = spreads.parameter_covariance, covariance
    return Doubt(np.concatenate([shape, pose], axis=2), both)


def _explanation(
    placed: Floats, targets: Targets, by_marks: RigidMotion | None, doubt: Doubt | None
) -> Assignment | None:
    """Common part and mix-ups; None with too few marks, if the landmarks can align them."""
    try:
        return explain(placed, targets, placed=by_marks is not None, doubt=doubt)
    except MarksError:
        if by_marks is None:
            raise
        return None


def _alignments(
    marks: Marks,
    targets: Targets,
    by_marks: RigidMotion | None,
    found: Assignment | None,
    chosen: AlignmentKind,
) -> dict[AlignmentKind, Alignment]:
    """Every alignment that is possible, and the surface when it is asked for."""
    points = np.asarray(marks.points_mm)
    before = by_marks or RigidMotion.identity()
    motions: dict[AlignmentKind, RigidMotion] = {}
    if by_marks is not None:
        motions["landmarks"] = by_marks
    if found is not None:
        plain = fit_set(before.on(points), targets, robust=False, start=found.fit.motion)
        motions["best-fit"] = plain.motion.inverse.after(before)
        motions["robust"] = found.fit.motion.inverse.after(before)
    if chosen == "surface":
        start = motions["landmarks" if by_marks is not None else "robust"]
        motions["surface"] = by_surface(marks, start, points, targets)
    if chosen not in motions:
        raise MarksError(
            sentence(
                f"marks of {marks.source}",
                f"be enough scalp sites for {chosen}",
                f"{len(marks)}",
                "align them by landmarks",
            ),
            code="align-too-few",
            n_marks=len(marks),
        )
    return {kind: judged(kind, motion, marks, points, targets) for kind, motion in motions.items()}


def _heights(marks: Marks, motion: RigidMotion, mesh: TriangleMesh, table: Floats) -> Floats:
    """(n + m,) heights of named and other marks over the scalp."""
    named = table[:, 4]
    if not marks.other_names:
        return named
    _, other = nearest(mesh, motion.on(marks.other_points_mm), again=True)
    return np.concatenate([named, other])


def _tape_steps(targets: Targets, feet: Floats, normals: Floats) -> Floats:
    """(n, 2) steps over the scalp from each site to its mark, along and across its arc."""
    steps = scalp_steps(targets.points_mm, targets.normals, feet, normals)
    return np.column_stack(
        [np.einsum("ij,ij->i", steps, axis) for axis in (targets.along, targets.across)]
    )


def _uncertainty_mm(targets: Targets, spreads: SiteSpreads | None) -> Floats:
    """(n,) longer half axis of the 95 % region of each site; 0 where nothing is known."""
    known = {} if spreads is None else dict(zip(spreads.names, spreads.ellipses_mm, strict=True))
    return np.array([float(known[name][0]) if name in known else 0.0 for name in targets.names])


def _deviation(
    row: int, targets: Targets, values: list[float], bands: tuple[float, float], mixed: set[str]
) -> Deviation:
    along, across, own_along, own_across, height, distance, uncertainty = values
    size = math.hypot(along, across)
    length = float(targets.arc_lengths_mm[row])
    return Deviation(
        site=targets.names[row],
        arc=targets.arcs[row],
        along_mm=along,
        across_mm=across,
        over_scalp_mm=size,
        fraction_of_arc=along / length if math.isfinite(length) else None,
        off_surface_mm=height,
        distance_mm=distance,
        band=sum(size > limit + uncertainty for limit in bands),
        uncertainty_mm=uncertainty,
        own_along_mm=own_along,
        own_across_mm=own_across,
        own_mm=math.hypot(own_along, own_across),
        mixed_up=targets.names[row] in mixed,
        directions=targets.words[row],
    )


def _outstanding(
    deviations: tuple[Deviation, ...], targets: Targets, least_mm: float
) -> tuple[float, tuple[str, ...], str]:
    """Spread of the own parts, the marks that are off (farthest first), what they are held to."""
    # On ear lobe and mastoid practice differs from one place to the next: nothing is off there.
    rows = [i for i, d in enumerate(deviations) if targets.fixing[i] and not d.mixed_up]
    if not rows:
        return 0.0, (), ""
    own = np.array([d.own_mm for d in deviations])[rows]
    spread = max(float(np.median(own)) / _RAYLEIGH_MEDIAN, _LEAST_SPREAD_MM)
    parts = np.array([(d.own_along_mm, d.own_across_mm) for d in deviations])[rows]
    regular = regularity_of(parts, targets.taken(rows))
    if regular is None:
        return spread, (), ""
    # What all sites of a head are unsure of moves the set; only what one is unsure of beyond that
    # can feign a mark that is off.
    unsure = np.array([deviations[i].uncertainty_mm for i in rows])
    least = least_mm + np.maximum(unsure - np.median(unsure), 0.0)
    far = [
        deviations[i]
        for i, surprise, beyond in zip(rows, regular.surprise, own - least, strict=True)
        if surprise > regular.gate and beyond > 0
    ]
    named = tuple(d.site for d in sorted(far, key=lambda d: -d.own_mm))
    return spread, named, regular.judged_by


def _remarks(
    marks: Marks, targets: Targets, align: AlignmentKind | None, by_marks: RigidMotion | None
) -> list[Remark]:
    """What the comparison itself has to tell."""
    remarks: list[Remark] = []
    if by_marks is None and align is None:
        text = (
            "there are no landmarks: the marks are fitted to the sites they name, so that a slip "
            "of the whole set does not show"
        )
        remarks.append(doubt("compare-best-fit", text))
    if by_marks is not None:
        names = list(marks.landmarks)
        ratio = _size([marks.landmarks[k] for k in names]) / _size(
            [targets.landmarks[k] for k in names]
        )
        if abs(ratio - 1) > _OTHER_SIZE:
            kind = "larger" if ratio > 1 else "smaller"
            text = (
                f"the landmarks lie {abs(ratio - 1):.0%} {kind} apart than those of the head: is "
                "this head fitted to this person?"
            )
            remarks.append(doubt("compare-other-size", text, ratio=round(ratio, 3)))
    row_nine = row_nine_words(targets.sites, targets.names)
    if row_nine:
        remarks.append(note("compare-row-nine", row_nine, rule=targets.sites.rules.inferior))
    return remarks


def _size(points: list[Floats]) -> float:
    """Root mean square distance of a few points from their middle."""
    gap = np.array(points) - np.mean(points, axis=0)
    return float(np.sqrt(np.einsum("ij,ij->i", gap, gap).mean()))
