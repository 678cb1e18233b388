"""Measurements taken by computer, and their derivatives."""

from __future__ import annotations

import numpy as np
import pytest

from headfit import Head, Landmarks, load_template, measure_head
from headfit.anatomy.arcs import ARCS
from headfit.errors import UnknownNameError
from headfit.fitting.model_measures import measures_at
from headfit.fitting.shape import parameter_names, real_harmonic, shape_model
from headfit.fitting.tape import MEASUREMENTS


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
    generator = np.random.default_rng(2)
    start, way = (root @ generator.normal(size=model.n_parameters) for _ in range(2))
    parameters = model.prior.mean + start
    here = measures_at(model, parameters)
    # No vertex is the widest place: it lies on an edge, on both sides, where the level cuts it.
    assert (here._widest[2] > 0).all()
    after, before = (measures_at(model, parameters + s * 0.003 * way) for s in (1, -1))
    rise = (after.value_mm("head_breadth") - before.value_mm("head_breadth")) / 0.006
    assert here.rate("head_breadth") @ way == pytest.approx(rise, abs=0.01 * (1 + abs(rise)))


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
