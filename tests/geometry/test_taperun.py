"""A tape on a curve: taut against the convex hull, fractions against closed forms."""

import numpy as np
import pytest
import trimesh
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull
from solids import bumpy_head, direction

from headfit.errors import MeshError
from headfit.geometry.mesh import TriangleMesh
from headfit.geometry.sections import Curve, cut
from headfit.geometry.taperun import TapeRun, hull_rows, lay, lay_all

SEEDS = st.integers(0, 2**32 - 1)


def curve_of(
    plane_points: np.ndarray, via: int | None = None, *, before: int = 0, after: int = 0
) -> Curve:
    """A curve in the plane y = 5 from (x, z) points that run from left to right over the top."""
    x, z = np.asarray(plane_points, dtype=float).T
    points = np.column_stack([x, np.full(len(x), 5.0), z])
    end = len(points) - 1 - after
    return Curve(
        points,
        before,
        (before + end) // 2 if via is None else via,
        end,
        np.full(len(x), -1),
        np.zeros(len(x)),
        np.array([0.0, -1.0, 0.0]),
    )


def half_circle(n: int, radius: float = 90.0) -> np.ndarray:
    angle = np.linspace(np.pi, 0, n)
    return radius * np.column_stack([np.cos(angle), np.sin(angle)])


def length(points: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def outer_path(points: np.ndarray) -> np.ndarray:
    """Rows of the convex hull of (n, 2) points from the first over the outside to the last.

    The chord from the first to the last must be an edge of the hull.
    """
    rows = ConvexHull(points).vertices[::-1]  # clockwise: from left to right over the top
    return np.roll(rows, -int(np.flatnonzero(rows == 0)[0]))


@given(SEEDS, st.integers(8, 80), st.sampled_from([0.003, 0.02, 0.1]))
def test_a_taut_tape_is_the_convex_hull(seed: int, n: int, roughness: float) -> None:
    rng = np.random.default_rng(seed)
    angle = np.linspace(1.15 * np.pi, -0.15 * np.pi, n)  # beyond half a turn, as on a head
    radius = 90 * np.exp(roughness * rng.standard_normal(n))
    points = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    chord = points[-1] - points[0]
    assume(
        (
            chord[0] * (points[1:-1] - points[0])[:, 1]
            > chord[1] * (points[1:-1] - points[0])[:, 0]
        ).all()
    )
    run = lay(curve_of(points), "taut")
    expected = outer_path(points)
    assert run.length_mm == pytest.approx(length(points[expected]), rel=1e-12)
    np.testing.assert_array_equal(run.rows, expected)


@given(SEEDS)
@settings(max_examples=30)
def test_a_taut_tape_on_a_section_is_the_convex_hull_of_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = bumpy_head(seed % 7, subdivisions=3, bumps=0.03).surface
    weights = rng.dirichlet([1, 1, 1], size=3)
    faces = [mesh.vertices_mm @ direction(p, a) for p, a in ((80, 0), (5, 60), (85, 180))]
    named = [
        w @ mesh.vertices_mm[mesh.faces[(mesh.faces == f.argmax()).any(axis=1)][0]]
        for f, w in zip(faces, weights, strict=True)
    ]
    curve = cut(mesh, *named)
    chord = named[2] - named[0]
    flat = curve.path_mm @ np.column_stack([chord, np.cross(curve.normal, chord)])
    flat /= np.linalg.norm(chord)
    hull = ConvexHull(flat)
    assume({0, len(flat) - 1} <= set(hull.vertices.tolist()))
    assume((flat[1:-1, 1] > flat[0, 1]).all())
    straight = float(np.linalg.norm(chord))
    assert lay(curve, "taut").length_mm == pytest.approx(hull.area - straight, rel=1e-9)
    assert lay(curve, "skin").length_mm == pytest.approx(length(flat), rel=1e-9)


def test_taut_and_skin_are_one_on_a_convex_curve() -> None:
    curve = curve_of(half_circle(50))
    taut, skin = lay(curve, "taut"), lay(curve, "skin")
    np.testing.assert_array_equal(taut.rows, skin.rows)
    assert taut.length_mm == skin.length_mm


def test_a_curve_that_only_sags_is_bridged_by_one_straight_piece() -> None:
    run = lay(curve_of([[-40, 0], [-20, -15], [0, -20], [25, -10], [40, 0]]), "taut")
    assert run.rows.tolist() == [0, 4]
    assert run.length_mm == pytest.approx(80.0)


def test_length_of_a_half_circle_converges_by_the_second_order() -> None:
    short = [np.pi * 90 - lay(curve_of(half_circle(n))).length_mm for n in (9, 17, 33, 65, 129)]
    np.testing.assert_allclose(np.log2(np.array(short[:-1]) / short[1:]), 2.0, atol=0.02)


def test_middle_of_a_half_circle_is_its_top() -> None:
    run = lay(curve_of(half_circle(101)))
    np.testing.assert_allclose(run.point_mm(0.5), [0.0, 5.0, 90.0], atol=1e-9)
    np.testing.assert_allclose(run.point_mm(0.25), [-90 / 2**0.5, 5.0, 90 / 2**0.5], atol=1e-9)


RUNS = {
    f"{length} {'pinned' if pinned else 'free'}": lay(
        curve_of([[-50, 0], [-45, 30], [-20, 42], [0, 40], [20, 55], [45, 35], [60, 0]], via=2),
        length,
        pinned=pinned,
    )
    for length in ("taut", "skin")
    for pinned in (True, False)
}


@pytest.mark.parametrize("run", RUNS.values(), ids=RUNS)
def test_fraction_is_the_inverse_of_distance(run: TapeRun) -> None:
    fractions = np.linspace(0, 1, 21)
    distances = [run.distance_mm(fraction) for fraction in fractions]
    np.testing.assert_allclose([run.fraction(d) for d in distances], fractions, atol=1e-12)
    assert distances[0] == 0
    assert distances[-1] == pytest.approx(run.length_mm)
    assert (np.diff(distances) > 0).all()


@pytest.mark.parametrize("run", RUNS.values(), ids=RUNS)
def test_a_tape_begins_and_ends_where_its_curve_does(run: TapeRun) -> None:
    np.testing.assert_array_equal(run.points_mm([0.0, 1.0]), run.curve.path_mm[[0, -1]])


def test_a_pinned_tape_has_its_via_point_at_one_half() -> None:
    for kind in ("taut", "skin"):
        run = RUNS[f"{kind} pinned"]
        np.testing.assert_allclose(run.point_mm(0.5), run.curve.points_mm[2], atol=1e-12)
        # Each side is divided for itself: a quarter is half of the first side.
        assert run.distance_mm(0.25) == pytest.approx(run.via_mm / 2)
        assert run.distance_mm(0.75) == pytest.approx((run.via_mm + run.length_mm) / 2)
        free = RUNS[f"{kind} free"]
        assert abs(free.via_mm / free.length_mm - 0.5) > 0.05
        assert free.distance_mm(0.25) == pytest.approx(free.length_mm / 4)


def test_a_pinned_taut_tape_is_held_down_in_a_hollow() -> None:
    sag = curve_of([[-40, 0], [-20, 20], [0, 5], [20, 20], [40, 0]])
    assert lay(sag, "taut").rows.tolist() == [0, 1, 3, 4]
    held = lay(sag, "taut", pinned=True)
    assert held.rows.tolist() == [0, 1, 2, 3, 4]
    assert held.via_mm == pytest.approx(np.hypot(20, 20) + np.hypot(20, 15))


def test_a_tape_over_a_hollow_is_marked_on_the_skin_beneath() -> None:
    run = lay(curve_of([[-40, 0], [-20, 20], [0, 5], [20, 20], [40, 0]]), "taut")
    assert run.length_mm == pytest.approx(2 * np.hypot(20, 20) + 40)
    assert run.via_mm == pytest.approx(run.length_mm / 2)
    np.testing.assert_allclose(run.point_mm(0.5), [0.0, 5.0, 5.0], atol=1e-12)
    quarter_of_bridge = run.fraction(np.hypot(20, 20) + 10)
    np.testing.assert_allclose(run.point_mm(quarter_of_bridge), [-10.0, 5.0, 12.5], atol=1e-12)


def test_over_an_undercut_the_tape_length_never_goes_back() -> None:
    # The skin goes back under itself between x = 5 and x = -5.
    run = lay(curve_of([[-40, 0], [-20, 30], [5, 20], [-5, 10], [20, 30], [40, 0]]), "taut")
    over = run.over_skin_mm
    assert (np.diff(over) >= 0).all()
    assert over[0] == 0
    assert over[-1] == pytest.approx(run.length_mm)


@given(SEEDS)
@settings(max_examples=30)
def test_a_tape_from_the_other_end_divides_the_same(seed: int) -> None:
    rng = np.random.default_rng(seed)
    angle = np.linspace(np.pi, 0, 25)
    radius = 90 * np.exp(0.03 * rng.standard_normal(25))
    points = radius[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    mirrored = points[::-1] * [-1, 1]
    for kind in ("taut", "skin"):
        for pinned in (True, False):
            there = lay(curve_of(points, via=9), kind, pinned=pinned)
            back = lay(curve_of(mirrored, via=15), kind, pinned=pinned)
            fractions = np.linspace(0, 1, 9)
            np.testing.assert_allclose(
                back.points_mm(1 - fractions) * [-1, 1, 1], there.points_mm(fractions), atol=1e-9
            )


def test_a_tape_goes_on_along_the_skin_beyond_both_ends() -> None:
    run = lay(curve_of(half_circle(181), before=40, after=30))  # whole degrees
    start, end = 180 - 40, 30
    going_on = 90 * np.radians(20)
    assert_on = np.testing.assert_allclose

    def at(degrees: float) -> list[float]:
        return [90 * np.cos(np.radians(degrees)), 5.0, 90 * np.sin(np.radians(degrees))]

    assert_on(run.before_start_mm(going_on), at(start + 20), atol=0.01)
    assert_on(run.after_end_mm(going_on), at(end - 20), atol=0.01)
    assert_on(run.before_start_mm(0.0), at(start), atol=1e-12)
    assert_on(run.after_end_mm(0.0), at(end), atol=1e-12)


def test_a_tape_goes_on_to_the_end_of_the_surface_and_not_beyond() -> None:
    run = lay(
        curve_of([[-60, 0], [-40, 0], [-40, 30], [40, 30], [40, 0], [55, 0]], before=1, after=1)
    )
    np.testing.assert_array_equal(run.before_start_mm(20.0), [-60.0, 5.0, 0.0])
    np.testing.assert_array_equal(run.after_end_mm(15.0), [55.0, 5.0, 0.0])
    for go_on, wanted, there in ((run.before_start_mm, 20.2, 20.0), (run.after_end_mm, 15.2, 15.0)):
        with pytest.raises(MeshError, match=f"reach on for {wanted} mm, got {there} mm"):
            go_on([1.0, wanted])


def test_a_tape_over_a_flat_side_touches_all_of_it() -> None:
    """A box: every row of its section lies on the tape, those amid a flat side too."""
    box = trimesh.creation.box((40, 60, 80))
    curve = cut(
        TriangleMesh(box.vertices, box.faces),
        *np.array([[0.0, 30, -10], [0, 0, 40], [0, -30, -10]]),
    )
    run = lay(curve, "taut")
    assert len(curve.path_mm) > 5  # more than start, two corners, middle and end
    np.testing.assert_array_equal(run.touched_mm, curve.path_mm)


def test_a_tape_round_a_square_turns_at_its_corners_only() -> None:
    """Neither the middle of a side nor a corner given twice is a corner more."""
    points = np.array([[0.0, 0], [1, 0], [2, 0], [2, 0], [2, 1], [2, 2], [0, 2], [0, 1], [1, 1]])
    rows = hull_rows(points)
    assert len(rows) == 4
    assert points[rows].tolist() == [[0, 0], [2, 0], [2, 2], [0, 2]]


@given(SEEDS)
@settings(max_examples=30)
def test_several_tapes_at_once_are_laid_as_one_by_one(seed: int) -> None:
    rng = np.random.default_rng(seed)
    curves = [
        curve_of(60 * rng.uniform(0.8, 1.25, n)[:, None] * half_circle(n, 1.0), before=2, after=1)
        for n in (25, 8, 40, 12)
    ]
    pinned = rng.random(4) < 0.5
    for kind in ("taut", "skin"):
        for together, curve, hold in zip(
            lay_all(curves, kind, pinned), curves, pinned, strict=True
        ):
            alone = lay(curve, kind, pinned=bool(hold))
            np.testing.assert_array_equal(together.rows, alone.rows)
            np.testing.assert_allclose(together.reached_mm, alone.reached_mm, atol=1e-10)
            np.testing.assert_allclose(together.over_skin_mm, alone.over_skin_mm, atol=1e-10)
            assert together.curve is curve
            assert together.pinned == hold
