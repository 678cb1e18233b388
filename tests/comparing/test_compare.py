"""Deviations, common part, stand-outs: closed forms on the sphere, recovery, invariances."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from marked_heads import (
    landmarks_of,
    moved_set,
    on_the_spot,
    slipped,
    template_sites,
    template_targets,
    three_of,
)
from scipy.spatial.transform import Rotation
from solids import SPHERE_C, direction

import headfit
from headfit import Sites, load_template, place_sites
from headfit.anatomy.site_table import TABLE, BeyondRow
from headfit.anatomy.sites import row_nine_words
from headfit.comparing.compare import compare_marks
from headfit.errors import MarksError, UnknownNameError
from headfit.fitting.spreads import SiteSpreads
from headfit.geometry.rigid import RigidMotion
from headfit.marks.marks import Marks

HEAD = load_template()
SITES = template_sites("10-20")
TARGETS = template_targets("10-20")
WIDE = template_sites("10-10")
RADIUS = 90.0


def sphere_marks(points: dict[str, np.ndarray]) -> tuple[Sites, Marks]:
    head = SPHERE_C.head(6)
    return place_sites(head, tuple(points)), Marks(
        tuple(points), np.array(list(points.values())), landmarks_of(head)
    )


def test_marks_on_their_sites_deviate_by_nothing() -> None:
    comparison = compare_marks(SITES, on_the_spot(TARGETS))
    for d in comparison.deviations:
        assert d.over_scalp_mm == pytest.approx(0.0, abs=1e-6)
        assert d.distance_mm == pytest.approx(0.0, abs=1e-6)
        assert (d.band, d.mixed_up) == (0, False)
    assert comparison.moves == ()
    assert comparison.stands_out == ()
    assert comparison.mixups == ()


def test_on_a_sphere_a_mark_along_the_midline_deviates_by_its_angle() -> None:
    # Closed form: a mark s degrees behind Cz on the midline lies R s along the arc, nothing across;
    # the midline is 225 degrees long.
    s = 6.0
    points = {name: SPHERE_C.sites[name] for name in ("Fz", "Pz", "C3", "C4")}
    points["Cz"] = RADIUS * direction(s, 180.0)
    d = compare_marks(*sphere_marks(points))["Cz"]
    # The mesh of 40,962 vertices lies within 0.02 mm of the sphere.
    assert d.along_mm == pytest.approx(RADIUS * np.radians(s), abs=0.02)
    assert d.across_mm == pytest.approx(0.0, abs=0.02)
    assert d.fraction_of_arc == pytest.approx(s / 225.0, abs=1e-4)
    assert d.distance_mm == pytest.approx(2 * RADIUS * np.sin(np.radians(s) / 2), abs=0.02)
    assert d.off_surface_mm == pytest.approx(0.0, abs=0.02)
    assert d.words == "9 mm toward the back"


def test_on_a_sphere_across_is_to_the_left_of_the_way_seen_from_outside() -> None:
    # Walking the midline from nose to back over the top, left of the way is the right of the head.
    points = {name: SPHERE_C.sites[name] for name in ("Fz", "Pz", "C3", "C4")}
    points["Cz"] = RADIUS * direction(4.0, 90.0)
    d = compare_marks(*sphere_marks(points))["Cz"]
    assert d.across_mm == pytest.approx(RADIUS * np.radians(4.0), abs=0.02)
    assert d.along_mm == pytest.approx(0.0, abs=0.02)
    assert d.words == "6 mm to the right"


def test_on_a_sphere_t7_moved_along_the_coronal_arc_goes_up() -> None:
    # T7 stands at polar 90 degrees on the left; 5 degrees along the arc bring it to 85.
    points = {name: SPHERE_C.sites[name] for name in ("Fz", "Pz", "Cz", "T8")}
    points["T7"] = RADIUS * direction(85.0, -90.0)
    d = compare_marks(*sphere_marks(points))["T7"]
    assert (d.arc, d.words) == ("coronal", "8 mm up")
    assert d.along_mm == pytest.approx(RADIUS * np.radians(5.0), abs=0.02)


@pytest.mark.parametrize("height_mm", [-3.0, 12.0])
def test_on_a_sphere_height_is_told_apart_from_the_way_over_the_scalp(height_mm: float) -> None:
    points = {name: SPHERE_C.sites[name] for name in ("Fz", "Pz", "C3", "C4")}
    points["Cz"] = (RADIUS + height_mm) * direction(6.0, 0.0)
    d = compare_marks(*sphere_marks(points))["Cz"]
    assert d.off_surface_mm == pytest.approx(height_mm, abs=0.02)
    # A facet of the mesh is 0.3 degrees off the sphere: that share of the height shifts the foot.
    assert d.along_mm == pytest.approx(-RADIUS * np.radians(6.0), abs=0.1)


def test_a_slip_is_told_as_common_and_the_rest_as_own() -> None:
    points = moved_set(TARGETS, np.array([0, 0, 2.1]), np.array([0, -6.0, 0]))
    row = TARGETS.names.index("T7")
    points[row] += 15.0 * TARGETS.along[row]
    comparison = compare_marks(SITES, Marks(TARGETS.names, points, landmarks_of(HEAD)))
    assert comparison.common is not None
    assert comparison.common.yaw_degrees == pytest.approx(2.1, abs=0.02)
    np.testing.assert_allclose(comparison.common.slide_mm, [0, -6.0, 0], atol=0.05)
    assert comparison.stands_out == ("T7",)
    assert comparison["T7"].own_along_mm == pytest.approx(15.0, abs=0.5)
    others = [d.own_mm for d in comparison.deviations if d.site != "T7"]
    assert max(others) < 0.1
    assert [m.sentence for m in comparison.own_moves] == ["Move T7 15 mm down."]
    sizes = [m.distance_mm for m in comparison.moves]
    assert sizes == sorted(sizes, reverse=True)
    assert len(sizes) > 10


def test_chance_alone_makes_few_marks_stand_out() -> None:
    # Noise of 4 mm per axis, well above the band: one set in twenty by design, 120 draws tell it
    # to 2 %; the tail of the robust fit doubles it.
    rng = np.random.default_rng(5)
    found = 0
    for _ in range(120):
        slip = slipped(TARGETS, rng, 4.0, single=False)
        marks = Marks(TARGETS.names, slip.points_mm, landmarks_of(HEAD))
        found += bool(compare_marks(SITES, marks).stands_out)
    assert 1 <= found <= 20


def test_a_move_undoes_the_deviation() -> None:
    points = np.array(SITES.points_mm)
    row = TARGETS.names.index("Cz")
    points[row] += [-8.0, 0.0, 0.0]
    comparison = compare_marks(SITES, Marks(TARGETS.names, points, landmarks_of(HEAD)))
    assert comparison["Cz"].words == "8 mm to the left"
    assert comparison.moves[0].sentence == "Move Cz 8 mm to the right."


def test_known_slips_on_five_hundred_draws() -> None:
    # Rotation 3 degrees, slide 5 mm, one site 12 mm off, two names exchanged, noise 2 mm per axis,
    # which leaves the one site 8 to 16 mm off. Sites below a row hang on the end of a cap and are
    # called off more rarely; they are counted apart.
    targets, landmarks = template_targets("10-10"), landmarks_of(HEAD)
    rng = np.random.default_rng(2026)
    turns, slides, exchanged = [], [], 0
    named: dict[bool, list[bool]] = {True: [], False: []}
    n_draws = 500
    for _ in range(n_draws):
        slip = slipped(targets, rng)
        comparison = compare_marks(WIDE, Marks(targets.names, slip.points_mm, landmarks))
        assert comparison.common is not None
        turns.append(comparison.common.turn_degrees - slip.turn_degrees)
        slides.append(comparison.common.slide_mm - slip.slide_mm)
        below = isinstance(TABLE[slip.off], BeyondRow)
        named[below].append(comparison.stands_out[:1] == (slip.off,))
        exchanged += [set(m.names) for m in comparison.mixups] == [set(slip.exchanged)]
    assert np.mean(named[False]) >= 0.94
    assert np.mean(named[True]) >= 0.25
    assert exchanged >= 0.98 * n_draws
    # Noise of 2 mm leaves a standard error of 0.2 degrees and 0.3 mm however it is estimated.
    assert (np.abs(turns) <= 0.5).mean(axis=0).min() >= 0.975
    assert (np.abs(slides) <= 1.0).mean(axis=0).min() >= 0.98


@settings(max_examples=25)
@given(st.integers(0, 2**32 - 1))
def test_no_rigid_motion_of_the_marks_changes_the_result(seed: int) -> None:
    rng = np.random.default_rng(seed)
    slip = slipped(TARGETS, rng)
    marks = Marks(TARGETS.names, slip.points_mm, landmarks_of(HEAD))
    motion = RigidMotion(Rotation.random(rng=rng).as_matrix(), rng.normal(scale=300.0, size=3))
    for align in ("landmarks", "best-fit"):
        here, there = (compare_marks(SITES, m, align) for m in (marks, marks.moved(motion)))  # type: ignore[arg-type]
        for a, b in zip(here.deviations, there.deviations, strict=True):
            assert (a.along_mm, a.across_mm, a.off_surface_mm) == pytest.approx(
                (b.along_mm, b.across_mm, b.off_surface_mm), abs=0.02
            )
        assert [m.names for m in here.mixups] == [m.names for m in there.mixups]
        assert here.common is not None
        assert there.common is not None
        np.testing.assert_allclose(here.common.slide_mm, there.common.slide_mm, atol=0.02)


@settings(max_examples=10)
@given(st.integers(0, 2**32 - 1))
def test_no_rigid_motion_of_the_head_changes_the_result(seed: int) -> None:
    rng = np.random.default_rng(seed)
    slip = slipped(TARGETS, rng)
    motion = RigidMotion(Rotation.random(rng=rng).as_matrix(), rng.normal(scale=300.0, size=3))
    moved = type(HEAD)(
        motion.on(HEAD.vertices_mm),
        HEAD.faces,
        HEAD.landmarks.moved(motion.rotation, motion.translation_mm),
        HEAD.part,
    )
    marks = Marks(TARGETS.names, slip.points_mm, landmarks_of(HEAD))
    here = compare_marks(SITES, marks)
    there = compare_marks(place_sites(moved, SITES.names), marks)
    for a, b in zip(here.deviations, there.deviations, strict=True):
        assert (a.along_mm, a.across_mm) == pytest.approx((b.along_mm, b.across_mm), abs=0.02)
    assert here.common is not None
    assert there.common is not None
    np.testing.assert_allclose(here.common.turn_degrees, there.common.turn_degrees, atol=0.01)
    np.testing.assert_allclose(here.common.slide_mm, there.common.slide_mm, atol=0.01)


def test_a_head_serves_as_well_as_its_sites_and_other_sites_are_placed() -> None:
    marks = on_the_spot(template_targets("10-10"))
    few = place_sites(HEAD, ["Fz", "Cz"])
    for given_ in (HEAD, few):
        comparison = compare_marks(given_, marks)
        assert comparison.names == marks.names
        assert max(d.over_scalp_mm for d in comparison.deviations) < 1e-6


def test_places_beside_the_ears_and_below_the_rows_are_compared_too() -> None:
    names = ("A1", "M2", "F9", "P10", "Cz", "Fz", "C3", "C4")
    sites = place_sites(HEAD, names)
    comparison = compare_marks(HEAD, Marks(names, sites.points_mm, landmarks_of(HEAD)))
    assert comparison["A1"].arc is None
    assert comparison["A1"].fraction_of_arc is None
    assert max(d.over_scalp_mm for d in comparison.deviations) < 1e-6


def test_no_mark_beside_an_ear_is_called_off() -> None:
    names = (*TARGETS.names, "A1", "M2")
    points = np.array(place_sites(HEAD, names).points_mm)
    points[-2:] += [0.0, 0.0, -25.0]
    comparison = compare_marks(HEAD, Marks(names, points, landmarks_of(HEAD)))
    assert comparison["A1"].distance_mm > 20.0
    assert comparison.stands_out == ()


def test_bands_are_settings_and_widen_with_the_uncertainty_of_the_site() -> None:
    points = np.array(SITES.points_mm)
    row = TARGETS.names.index("Cz")
    points[row] += [0.0, -7.0, 0.0]
    marks = Marks(TARGETS.names, points, landmarks_of(HEAD))
    assert compare_marks(SITES, marks)["Cz"].band == 1
    assert compare_marks(SITES, marks, bands_mm=(3.0, 6.0))["Cz"].band == 2
    assert compare_marks(SITES, marks, bands_mm=(8.0, 12.0))["Cz"].band == 0
    n = len(SITES)
    spreads = SiteSpreads(
        SITES.names, TARGETS.along, TARGETS.across, {"shape": np.tile(np.eye(2), (n, 1, 1))}
    )
    comparison = compare_marks(SITES, marks, spreads=spreads)
    # 95 % of a 2-D Gaussian of 1 mm: sqrt(5.991) mm (chi-square table).
    assert comparison["Cz"].uncertainty_mm == pytest.approx(np.sqrt(5.991), abs=1e-3)
    assert comparison["Cz"].band == 0


def test_a_mark_stands_out_only_beyond_what_its_site_is_sure_to() -> None:
    points = np.array(SITES.points_mm)
    row = TARGETS.names.index("Pz")
    points[row] += 14.0 * TARGETS.along[row]
    marks = Marks(TARGETS.names, points, landmarks_of(HEAD))
    assert compare_marks(SITES, marks).stands_out == ("Pz",)
    for spread_mm, expected in ((2.0, ("Pz",)), (8.0, ())):
        # The longer half axis of the 95 % region is sqrt(5.991) spreads: 5 mm and 20 mm.
        parts = np.tile(np.eye(2), (len(SITES), 1, 1))
        parts[row] *= spread_mm**2
        spreads = SiteSpreads(SITES.names, TARGETS.along, TARGETS.across, {"shape": parts})
        assert compare_marks(SITES, marks, spreads=spreads).stands_out == expected


def test_a_mixed_up_pair_gets_no_move_and_does_not_stand_out() -> None:
    points = np.array(SITES.points_mm)
    rows = [TARGETS.names.index(n) for n in ("C3", "C4")]
    points[rows] = points[rows[::-1]]
    marks = Marks(TARGETS.names, points, landmarks_of(HEAD))
    comparison = compare_marks(SITES, marks)
    assert (comparison["C3"].mixed_up, comparison["Cz"].mixed_up) == (True, False)
    assert comparison.stands_out == ()
    assert comparison.moves == ()
    # Nothing is applied until it is asked for.
    assert comparison["C3"].over_scalp_mm > 80.0
    put_right = compare_marks(SITES, marks.renamed(comparison.mixups[0].renaming))
    assert put_right.mixups == ()
    assert put_right["C3"].over_scalp_mm == pytest.approx(0.0, abs=1e-6)
    assert "renamed" in [r.code for r in put_right.remarks]


def test_where_all_names_are_mixed_up_none_stands_out() -> None:
    names = ("C3", "C4", "F3", "F4", "P3", "P4")
    points = np.array([SITES[n] for n in ("C4", "C3", "F4", "F3", "P4", "P3")])
    comparison = compare_marks(SITES, Marks(names, points, landmarks_of(HEAD)))
    assert all(d.mixed_up for d in comparison.deviations)
    assert (comparison.stands_out, comparison.own_spread_mm) == ((), 0.0)


def test_one_mark_has_no_neighbour() -> None:
    comparison = compare_marks(SITES, Marks(("Cz",), SITES["Cz"][None], three_of(HEAD)))
    assert (comparison.spacings, comparison.pairs) == ((), ())


def test_without_landmarks_the_fit_is_by_names_and_a_doubt_says_so() -> None:
    comparison = compare_marks(SITES, Marks(TARGETS.names, SITES.points_mm))
    assert comparison.aligned_by == "best-fit"
    assert comparison.common is None
    assert [r.code for r in comparison.remarks] == ["compare-best-fit"]
    assert set(comparison.alignments) == {"best-fit", "robust"}


@pytest.mark.parametrize(("system", "rule"), [("10-10", "row"), ("10-5", "contour")])
def test_marks_of_row_nine_are_told_by_which_definition_they_are_judged(
    system: str, rule: str
) -> None:
    sites = place_sites(HEAD, system)
    for names, noted in ((("Fz", "Cz", "F9", "F10", "P9"), True), (("Fz", "Cz", "C3"), False)):
        points = np.array([sites[name] for name in names])
        comparison = compare_marks(sites, Marks(names, points, three_of(HEAD)))
        notes = [r for r in comparison.remarks if r.code == "compare-row-nine"]
        assert [r.sentence for r in notes] == ([row_nine_words(sites)] if noted else [])
        assert [(r.kind, r.evidence["rule"]) for r in notes] == ([("note", rule)] if noted else [])


def test_a_head_of_another_size_is_doubted() -> None:
    landmarks = {name: 1.12 * point for name, point in three_of(HEAD).items()}
    comparison = compare_marks(SITES, Marks(TARGETS.names, 1.12 * SITES.points_mm, landmarks))
    (remark,) = comparison.remarks
    assert (remark.code, remark.evidence["ratio"]) == ("compare-other-size", 1.12)


def test_three_marks_are_compared_by_landmarks_without_a_common_part() -> None:
    names = ("Fz", "Cz", "Pz")
    points = np.array([SITES[n] for n in names]) - np.array([0.0, 3.0, 0.0])
    comparison = compare_marks(HEAD, Marks(names, points, three_of(HEAD)))
    assert comparison.common is None
    assert comparison["Cz"].words == "3 mm toward the back"
    assert set(comparison.alignments) == {"landmarks"}


def test_pairs_tell_left_from_right() -> None:
    points = np.array(SITES.points_mm)
    row = TARGETS.names.index("F4")
    assert TARGETS.words[row][1][0] == "toward the nose"
    points[row] += 5.0 * TARGETS.across[row]
    comparison = compare_marks(SITES, Marks(TARGETS.names, points, landmarks_of(HEAD)))
    worst = comparison.pairs[0]
    assert (worst.left, worst.right) == ("F3", "F4")
    expected = 5.0 * TARGETS.to_head.rotation @ TARGETS.across[row]
    # The scalp curves away by 0.14 mm on 5 mm, and its normal turns with it.
    np.testing.assert_allclose([worst.outward_mm, worst.front_mm, worst.up_mm], expected, atol=0.35)
    assert worst.expected_mm == pytest.approx(0.0, abs=0.05)  # the template is symmetric
    assert "F4 lies" in worst.sentence
    assert "toward the nose" in worst.sentence
    assert comparison.pairs[-1].sentence.endswith("are alike")


def test_spacings_on_a_sphere_are_those_of_the_closed_form() -> None:
    # Chords along the surface of sphere A of 90 mm: Fp1-F7 53.69, Fp1-F3 46.87, F3-C3 55.74,
    # Fz-Cz 56.55, F7-F3 43.52 mm [design paper of the project, derived].
    from solids import SPHERE_A

    names = ("Fp1", "Fp2", "F7", "F3", "Fz", "F4", "F8", "C3", "Cz", "C4", "T7", "T8")
    head = SPHERE_A.head(6)
    sites = place_sites(head, names)
    found = {
        frozenset((s.one, s.other)): s
        for s in compare_marks(sites, Marks(names, sites.points_mm, landmarks_of(head))).spacings
    }
    for one, other, length_mm in (
        ("Fp1", "F7", 53.69),
        ("Fp1", "F3", 46.87),
        ("F3", "C3", 55.74),
        ("Fz", "Cz", 56.55),
        ("F7", "F3", 43.52),
    ):
        spacing = found[frozenset((one, other))]
        assert spacing.marked_mm == pytest.approx(length_mm, abs=0.03)
        assert spacing.expected_mm == pytest.approx(length_mm, abs=0.03)


@pytest.mark.parametrize(
    ("call", "error", "message"),
    [
        (
            lambda: compare_marks(SITES, on_the_spot(TARGETS), "sideways"),
            UnknownNameError,  # type: ignore[arg-type]
            "unknown alignment 'sideways'",
        ),
        (
            lambda: compare_marks(
                SITES,
                Marks(
                    (),
                    np.empty((0, 3)),
                    other_names=("E1",),
                    other_points_mm=np.zeros((1, 3)),
                    source="a.tsv",
                ),
            ),
            MarksError,
            r"a.tsv must bear the names of sites .* none: its 1 marks are named E1",
        ),
        (
            lambda: compare_marks(SITES, Marks(TARGETS.names, SITES.points_mm), "landmarks"),
            MarksError,
            "both preauricular points to be aligned by landmarks, got none",
        ),
        (
            lambda: compare_marks(SITES, Marks(("Cz", "Fz"), SITES.points_mm[:2])),
            MarksError,
            "be 4 or more scalp sites, got 2",
        ),
        (
            lambda: compare_marks(
                SITES, Marks(("Cz", "Fz"), SITES.points_mm[:2], three_of(HEAD)), "robust"
            ),
            MarksError,
            "be enough scalp sites for robust, got 2",
        ),
        (
            lambda: compare_marks(
                SITES, Marks(("Cz", "Fz"), SITES.points_mm[:2], three_of(HEAD)), "surface"
            ),
            MarksError,
            "the surface must be 8 or more, got 2",
        ),
        (
            lambda: compare_marks(SITES, on_the_spot(TARGETS), bands_mm=(10.0, 5.0)),
            MarksError,
            r"bands must be two rising lengths in mm, got \(10.0, 5.0\)",
        ),
        (
            lambda: compare_marks(SITES, on_the_spot(TARGETS), bands_mm=(5.0,)),
            MarksError,  # type: ignore[arg-type]
            "bands must be two rising lengths",
        ),
        (
            lambda: compare_marks(SITES, on_the_spot(TARGETS))["Qz"],
            UnknownNameError,
            "unknown compared site 'Qz'",
        ),
    ],
)
def test_what_cannot_be_compared_is_refused_in_one_sentence(
    call: object, error: type[Exception], message: str
) -> None:
    with pytest.raises(error, match=message):
        call()  # type: ignore[operator]


def test_reading_and_comparing_are_public(tmp_path: Path) -> None:
    sites = headfit.place_sites(headfit.load_template(), "10-20")
    placed = zip(sites.names, sites.points_mm, strict=True)
    rows = [f"{name}\t{x}\t{y}\t{z}" for name, (x, y, z) in placed]
    path = tmp_path / "marks.tsv"
    path.write_text("\n".join(["name\tx\ty\tz", *rows]), encoding="utf-8")
    marks = headfit.read_marks(path, unit="mm")
    assert isinstance(marks, headfit.Marks)
    comparison = headfit.compare_marks(sites, marks)
    assert max(d.over_scalp_mm for d in comparison.deviations) < 0.1
