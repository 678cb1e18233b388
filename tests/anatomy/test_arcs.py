"""The arcs: what they hang on, how Cz settles, what is refused."""

import re

import numpy as np
import pytest
from solids import SPHERE_C, bumpy_head, direction, turn, unit_sphere

from headfit import Head, Landmarks, Rules, load_template
from headfit.anatomy import arcs
from headfit.anatomy.arcs import ARCS, CZ_SETTLED_MM, MARKS, ArcTracer, mirrored
from headfit.errors import ConvergenceError, MeshError, UnknownNameError

AGES = ("newborn", "m06", "m12", "y05", "y10", "adult")


def tracer_of(head: Head, rules: Rules | None = None) -> ArcTracer:
    return ArcTracer(head.scalp, head.landmarks, rules or Rules())


@pytest.mark.parametrize("head", [*AGES, *range(6)])
def test_the_vertex_bisects_both_arcs(head: str | int) -> None:
    chosen = load_template(head) if isinstance(head, str) else bumpy_head(head, bumps=0.03)
    tracer = tracer_of(chosen)
    for arc in ("midline", "coronal"):
        run = tracer.run(arc)
        assert abs(run.via_mm - run.length_mm / 2) <= CZ_SETTLED_MM


def test_a_vertex_that_does_not_settle_is_an_error_with_its_numbers(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(arcs, "CZ_SETTLED_MM", 0.0)
    message = (
        r"^Cz must bisect the midline and the coronal arc within 0\.0 mm, got \S+ mm after 50 "
        r"rounds, \S+ mm after the first \(are the landmarks right, and is the vertex"
    )
    with pytest.raises(ConvergenceError, match=message) as caught:
        tracer_of(bumpy_head(3, bumps=0.03))
    gaps = caught.value.facts["gaps_mm"]
    assert isinstance(gaps, list)
    assert len(gaps) == 50
    assert gaps[0] > 0.1 > 1e-6 > gaps[-1]


def test_the_vertex_settles_in_a_few_rounds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(arcs, "CZ_ROUNDS", 8)
    for seed in range(6):
        assert tracer_of(bumpy_head(seed, bumps=0.03)).point("Cz") is not None


def test_every_arc_names_sites_that_another_arc_marks() -> None:
    known = {"Cz", "nasion", "inion", "left_preauricular", "right_preauricular", *MARKS}
    for name, arc in ARCS.items():
        assert name == arc.name
        assert set(arc.marks) <= known
    assert {arc for arc, _ in MARKS.values()} <= set(ARCS)


def test_marks_of_the_first_arcs_stand_at_published_fractions() -> None:
    """Klem et al. 1999: 10, 20, 20, 20, 20, 10 % of each; the ring in tenths of its half."""
    percent = {name: (arc, round(100 * fraction, 9)) for name, (arc, fraction) in MARKS.items()}
    midline = {"Fpz": 10, "Fz": 30, "Cz": 50, "Pz": 70, "Oz": 90}
    assert {name: percent[name] for name in midline} == {
        name: ("midline", at) for name, at in midline.items()
    }
    coronal = {"T7": 10, "C3": 30, "C4": 70, "T8": 90}
    assert {name: percent[name] for name in coronal} == {
        name: ("coronal", at) for name, at in coronal.items()
    }
    for side, names in (("left", ("Fp1", "F7", "P7", "O1")), ("right", ("Fp2", "F8", "P8", "O2"))):
        for name, at in zip(names, (10, 30, 70, 90), strict=True):
            assert percent[name] == (f"{side} ring", at)


_BOTH_PARASAGITTAL = {"left parasagittal", "right parasagittal"}


@pytest.mark.parametrize("name", [name for name in MARKS if name[-1] in "123456789h0"])
def test_marks_of_both_sides_are_homologous(name: str) -> None:
    arc, fraction = MARKS[name]
    other_arc, other = MARKS[mirrored(name)]
    if arc == "coronal":
        assert (other_arc, other) == ("coronal", pytest.approx(1 - fraction))
    else:
        assert {arc, other_arc} in ({"left ring", "right ring"}, _BOTH_PARASAGITTAL)
        assert other == fraction
    assert mirrored(mirrored(name)) == name


def test_arcs_are_the_same_traced_together_or_one_by_one() -> None:
    head = bumpy_head(1, bumps=0.02)
    together, alone = tracer_of(head), tracer_of(head)
    together.trace(ARCS)
    for name in reversed(ARCS):
        assert together.length_mm(name) == pytest.approx(alone.length_mm(name), rel=1e-12)
        assert together.run(name) is together.run(name)


def test_landmarks_are_points_of_the_tracer() -> None:
    head = bumpy_head(1)
    np.testing.assert_array_equal(tracer_of(head).point("inion"), head.landmarks.inion)


@pytest.mark.parametrize("ask", ["run", "length_mm", "trace"])
def test_an_arc_nobody_declared_is_refused(ask: str) -> None:
    tracer = tracer_of(bumpy_head(1))
    message = "unknown arc 'midlin': did you mean 'midline'?"
    with pytest.raises(UnknownNameError, match=re.escape(message)):
        getattr(tracer, ask)(["midlin"] if ask == "trace" else "midlin")


def holed(polar: float, azimuth: float, size_deg: float) -> Head:
    """Sphere C with a round hole."""
    unit, faces = unit_sphere(5, turn(2))
    gone = unit @ direction(polar, azimuth) > np.cos(np.radians(size_deg))
    return Head(90 * unit, faces[~gone[faces].any(axis=1)], SPHERE_C.landmarks)


@pytest.mark.parametrize(
    ("polar", "azimuth"), [(0, 0), (45, 0), (45, 180), (60, 90)], ids=["top", "Fz", "Pz", "C6"]
)
def test_a_hole_across_an_arc_is_an_error(polar: float, azimuth: float) -> None:
    with pytest.raises(MeshError, match=r"unbroken surface .* \(close the holes of the mesh"):
        tracer_of(holed(polar, azimuth, 12)).trace(["midline", "coronal"])


def test_a_hole_between_the_arcs_does_no_harm() -> None:
    whole = tracer_of(SPHERE_C.head(5, 2))
    with_hole = tracer_of(holed(60, 30, 4))  # between F3, F1, AF3 and AFz
    for arc in ("midline", "coronal", "left ring", "row F"):
        assert with_hole.length_mm(arc) == pytest.approx(whole.length_mm(arc), rel=1e-12)


def test_a_scan_that_ends_at_the_landmarks_has_its_first_arcs() -> None:
    unit, faces = unit_sphere(5, turn(2))
    vault = faces[(90 * unit[faces][:, :, 2] > -38.0).all(axis=1)]  # below them 4 mm
    landmarks = Landmarks(*(90 * direction(112.0, a) for a in (0, 180, -90, 90)))
    tracer = tracer_of(Head(90 * unit, vault, landmarks))
    whole = tracer_of(Head(90 * unit, faces, landmarks))
    for arc in ("midline", "coronal", "left ring", "row F"):
        assert tracer.length_mm(arc) == pytest.approx(whole.length_mm(arc), rel=1e-9)
