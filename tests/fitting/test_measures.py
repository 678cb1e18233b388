"""Measurements taken by computer, and their derivatives."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import trimesh

from headfit import Head, Landmarks, load_template, measure_head, place_sites
from headfit.anatomy.arcs import ARCS
from headfit.anatomy.landmarks import NAMES
from headfit.errors import UnknownNameError
from headfit.fitting.measurements import MEASUREMENTS
from headfit.fitting.measures import measures_of
from headfit.fitting.model_measures import measures_at
from headfit.fitting.shape import parameter_names, real_harmonic, shape_model


def bent() -> np.ndarray:
    """Parameters away from every symmetry, so that no plane passes through a vertex."""
    model = shape_model()
    generator = np.random.default_rng(1)
    return model.prior.mean + 0.7 * model.prior.spread * generator.normal(size=model.n_parameters)


def test_the_derivative_of_every_measurement_is_that_of_central_differences() -> None:
    model, parameters = shape_model(), bent()
    here = measures_at(model, parameters)
    slopes = {name: here.rate(name) for name in MEASUREMENTS}
    # Along a few random directions: each mixes all 29 parameters.
    generator = np.random.default_rng(2)
    for _ in range(3):
        way = model.prior.spread * generator.normal(size=model.n_parameters) / 29**0.5
        step = 0.01
        after, before = (measures_at(model, parameters + s * step * way) for s in (1, -1))
        for name, slope in slopes.items():
            rise = (after.value_mm(name) - before.value_mm(name)) / (2 * step)
            assert slope @ way == pytest.approx(rise, abs=0.02 * (1 + abs(rise))), name


@pytest.mark.parametrize("seed", range(4))
def test_no_measurement_jumps_when_the_shape_changes_a_little(seed: int) -> None:
    """A farthest or widest place may wander, but a jump would make a fit stumble."""
    model, names = shape_model(), tuple(MEASUREMENTS)
    generator = np.random.default_rng(seed)
    root = np.linalg.cholesky(model.prior.covariance)
    start, way = (root @ generator.normal(size=model.n_parameters) for _ in range(2))
    steps = np.linspace(-0.3, 0.3, 25)
    walk = [
        measures_at(model, model.prior.mean + start + step * way).values_mm(names) for step in steps
    ]
    bend = dict(zip(names, np.abs(np.diff(walk, n=2, axis=0)).max(axis=0), strict=True))
    assert max(bend.values()) < 0.3, bend
    # The farthest place of the occiput is a middle and goes smoothly; a tape lifts off an edge.
    round_the_skull = ("head_length", "largest_circumference", "left_diagonal", "right_diagonal")
    assert max(bend[name] for name in round_the_skull) < 0.05, bend


def test_breadth_on_the_level_it_is_taken_from_has_the_derivative_of_differences() -> None:
    model = shape_model()
    root = np.linalg.cholesky(model.prior.covariance)
    generator = np.random.default_rng(59)
    start, way = (root @ generator.normal(size=model.n_parameters) for _ in range(2))
    parameters = model.prior.mean + start
    here = measures_at(model, parameters)
    # No vertex is the widest place: it lies on an edge, on both sides, where the level cuts it.
    assert (here._widest[2] > 0).all()
    after, before = (measures_at(model, parameters + s * 0.003 * way) for s in (1, -1))
    rise = (after.value_mm("head_breadth") - before.value_mm("head_breadth")) / 0.006
    assert here.rate("head_breadth") @ way == pytest.approx(rise, abs=0.01 * (1 + abs(rise)))


def test_chords_are_the_straight_distances_of_landmarks() -> None:
    head = load_template()
    values, points = measure_head(head).values_mm, dict(zip(NAMES, head.landmarks, strict=True))
    for mark in ("nasion", "inion"):
        for side in ("left", "right"):
            ends = points[f"{side}_preauricular"] - points[mark]
            chord = values[f"{side}_preauricular_{mark}_chord"]
            assert chord == pytest.approx(np.sqrt((ends**2).sum()))


def test_halves_and_quarters_add_up() -> None:
    values = measure_head(load_template()).values_mm
    assert values["left_ring"] + values["right_ring"] == pytest.approx(values["ring"])
    assert values["left_ring_front"] + values["left_ring_back"] == pytest.approx(
        values["left_ring"]
    )
    assert values["nasion_cz"] + values["cz_inion"] == pytest.approx(values["nasion_inion"])


def test_a_symmetric_head_measures_alike_on_both_sides() -> None:
    values = measure_head(load_template()).values_mm
    for name in ("parasagittal", "ring_front", "ring_back", "ring", "diagonal"):
        assert values[f"left_{name}"] == pytest.approx(values[f"right_{name}"], abs=0.05), name


def test_the_adult_template_lies_within_published_ranges() -> None:
    """ANSUR II 2012, 5th percentile of women to 95th of men: length, breadth, circumference."""
    values = measure_head(load_template()).values_mm
    assert 178 <= values["head_length"] <= 211
    assert 140 <= values["head_breadth"] <= 163
    assert 532 <= values["largest_circumference"] <= 601


def test_a_measurement_is_the_same_in_any_frame() -> None:
    head = load_template()
    turn, _ = np.linalg.qr(np.random.default_rng(3).normal(size=(3, 3)))
    turn *= np.sign(np.linalg.det(turn))
    moved = Head(
        head.vertices_mm @ turn.T + [30, -20, 10],
        head.faces,
        Landmarks.from_points(head.landmarks.points_mm @ turn.T + [30, -20, 10]),
        head.part,
    )
    here, there = measure_head(head).values_mm, measure_head(moved).values_mm
    for name, value in here.items():
        assert there[name] == pytest.approx(value, abs=0.02), name


@pytest.mark.parametrize("name", ["nonsense", "left_diagonl", "", "ring_mm_mm"])
def test_a_measurement_that_nobody_declared_is_refused(name: str) -> None:
    measures = measures_at(shape_model(), shape_model().prior.mean)
    for ask in (measures.value_mm, measures.rate, lambda n: measures.values_mm([n])):
        with pytest.raises(UnknownNameError, match="unknown measurement"):
            ask(name)


def test_a_measurement_is_the_same_by_its_keyword_of_the_sheet() -> None:
    measures = measures_at(shape_model(), bent())
    for name in MEASUREMENTS:
        assert measures.value_mm(f"{name}_mm") == measures.value_mm(name)


def test_the_arcs_of_a_measurement_are_declared_and_have_its_length() -> None:
    measures = measures_at(shape_model(), bent())
    along = {name: kind.arcs for name, kind in MEASUREMENTS.items() if kind.arcs}
    assert along["ring"] == ("left ring", "right ring")
    assert len(along) >= 13
    for name, arcs in along.items():
        assert set(arcs) <= set(ARCS)
        whole = sum(measures.tracer.length_mm(arc) for arc in arcs)
        assert measures.value_mm(name) == pytest.approx(whole, abs=1e-9), name


def test_harmonics_have_unit_mean_square_and_are_odd_or_even_from_left_to_right() -> None:
    n = np.arange(20000) + 0.5
    z, azimuth = 1 - 2 * n / len(n), np.pi * (1 + 5**0.5) * n
    ball = np.column_stack([*(np.sqrt(1 - z**2) * f(azimuth) for f in (np.cos, np.sin)), z])
    for name in parameter_names():
        if not name.startswith("vault"):
            continue
        degree, order = name.removeprefix("vault_").replace("m", "-").split("_")
        wave = real_harmonic(ball, int(degree), int(order))
        assert np.mean(wave**2) == pytest.approx(1.0, abs=2e-3), name
        mirrored = real_harmonic(ball * [-1, 1, 1], int(degree), int(order))
        assert np.allclose(mirrored, -wave if int(order) < 0 else wave), name


def deformed_template(move: Callable[[np.ndarray], np.ndarray]) -> Head:
    """The template with every vertex and landmark moved in the head frame."""
    head = load_template()
    marks = Landmarks.from_points(move(np.array(head.landmarks.points_mm)))
    return Head(move(np.array(head.vertices_mm)), head.faces, marks, head.part)


def test_the_longer_diagonal_is_the_one_that_is_named() -> None:
    # Sheared: what lies in front goes to the right, so the diagonal from front right grows.
    found = measure_head(deformed_template(lambda p: p + p[:, 1:2] * np.array([0.08, 0.0, 0.0])))
    assert found.right_diagonal_mm is not None
    assert found.left_diagonal_mm is not None
    assert found.right_diagonal_mm - found.left_diagonal_mm > 8.0


def test_each_quarter_of_the_ring_is_measured_on_its_own_side() -> None:
    # The right half a tenth broader: every arc of that side is longer.
    def broader(points: np.ndarray) -> np.ndarray:
        return points * np.column_stack(
            [np.where(points[:, 0] > 0, 1.1, 1.0), *np.ones((2, len(points)))]
        )

    values = measure_head(deformed_template(broader)).values_mm
    for part in ("ring_front", "ring_back", "ring", "parasagittal"):
        assert values[f"right_{part}"] - values[f"left_{part}"] > 1.5, part
    for side in ("left", "right"):
        parts = values[f"{side}_ring_front"] + values[f"{side}_ring_back"]
        assert parts == pytest.approx(values[f"{side}_ring"], abs=1e-6)


def test_glabella_is_a_twentieth_of_the_midline_above_the_nasion() -> None:
    # Opisthocranion is the farthest place of the occiput from it, found here by looking at all.
    head = load_template()
    run = place_sites(head, "10-20").tracer.run("midline")
    behind = run.points_mm(np.linspace(0.5, 1.0, 2001))
    farthest_mm = np.linalg.norm(behind - run.point_mm(0.05), axis=1).max()
    # The fit takes a mean over all that is as far within half a millimetre.
    assert measure_head(head).head_length_mm == pytest.approx(farthest_mm, abs=0.5)


def test_breadth_is_taken_from_forty_millimetres_above_the_ears_on_a_narrowing_head() -> None:
    # A head that narrows upwards is broadest where breadth begins, for a preauricular width of
    # 145 mm (ANSUR II 2012: above the attachment of the ears; the 40 mm are headfit's own choice).
    head = load_template()
    up = 40.0 * np.linalg.norm(np.subtract(*head.landmarks.points_mm[2:])) / 145.0

    def narrowing(points: np.ndarray) -> np.ndarray:
        share = 1 - 0.003 * np.maximum(points[:, 2], 0.0)
        return points * np.column_stack([share, *np.ones((2, len(points)))])

    narrow = deformed_template(narrowing)
    skin = trimesh.Trimesh(narrow.scalp.vertices_mm, narrow.scalp.faces, process=False)
    section = skin.section(plane_origin=[0, 0, up], plane_normal=[0, 0, 1])
    reach = np.ptp(np.asarray(section.vertices)[:, 0])
    # A level 2 % off would be 0.3 mm; the frame of the narrowed head itself tilts by less than 0.1.
    assert measure_head(narrow).head_breadth_mm == pytest.approx(reach, abs=0.1)


def test_a_diagonal_runs_thirty_degrees_beside_the_line_of_head_length() -> None:
    # By trimesh's section: radius over angle, read at 30 degrees and at the opposite place. The
    # diagonals of this head grow by 1 mm a degree.
    head = load_template()
    measures = measures_of(head)
    back, front = measures.path_mm("head_length")
    ahead = (front - back) / np.linalg.norm(front - back)
    right = head.landmarks.right_preauricular - head.landmarks.left_preauricular
    right = right - (right @ ahead) * ahead
    right /= np.linalg.norm(right)
    middle = (front + back) / 2
    skin = trimesh.Trimesh(head.scalp.vertices_mm, head.scalp.faces, process=False)
    section = skin.section(plane_origin=middle, plane_normal=np.cross(right, ahead))
    gaps = np.asarray(section.vertices) - middle
    angle = np.arctan2(gaps @ right, gaps @ ahead)
    radius = np.linalg.norm(gaps, axis=1)
    order = angle.argsort()
    for name, degrees in (("left_diagonal", -30.0), ("right_diagonal", 30.0)):
        both = np.radians([degrees, degrees - 180 * np.sign(degrees)])
        expected = np.interp(both, angle[order], radius[order], period=2 * np.pi).sum()
        assert measures.value_mm(name) == pytest.approx(expected, abs=0.15), name
