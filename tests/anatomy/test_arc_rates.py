"""Rates of tapes and sites against central differences on heads that deform smoothly."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pytest
from solids import bumpy_head

from headfit import Head, Landmarks, Rules, load_template
from headfit.anatomy import arcs
from headfit.anatomy.arcs import ARCS, ArcTracer, SurfaceMotion
from headfit.anatomy.landmarks import NAMES
from headfit.anatomy.sites import SYSTEMS, TABLE, OnArc
from headfit.geometry.surface import nearest

N_PARAMETERS = 6
STEP = 1e-5
ON_ARC = {name: place for name in SYSTEMS["10-10"] if isinstance(place := TABLE[name], OnArc)}


@dataclass(frozen=True)
class Deforming:
    """A head that grows along three axes and is bent by three smooth fields drawn by lot."""

    head: Head
    seed: int

    @cached_property
    def basis(self) -> np.ndarray:
        """(n, 3, 6) how each vertex moves with each parameter."""
        rng = np.random.default_rng(self.seed)
        vertices = self.head.scalp.vertices_mm
        scales = np.stack([vertices * axis for axis in np.eye(3)], axis=-1)
        waves, phases = rng.normal(scale=0.012, size=(3, 3)), rng.uniform(0, 6.28, size=3)
        swing = np.sin(vertices @ waves.T + phases)[:, None, :]
        return np.concatenate([scales, 5 * swing * rng.normal(size=(3, 3))], axis=-1)

    def tracer(self, parameters: np.ndarray, rules: Rules) -> ArcTracer:
        scalp = self.head.scalp
        places, _ = nearest(scalp, self.head.landmarks.points_mm)
        vertices = scalp.vertices_mm + self.basis @ parameters

        def material(first: np.ndarray, second: np.ndarray, weight: np.ndarray) -> np.ndarray:
            share = weight[:, None, None]
            return (1 - share) * self.basis[first] + share * self.basis[second]

        riding = np.einsum("ij,ijkl->ikl", places.weights, self.basis[places.corners])
        motion = SurfaceMotion(material, dict(zip(NAMES, riding, strict=True)), N_PARAMETERS)
        landmarks = Landmarks.from_points(places.on(vertices))
        return ArcTracer(scalp.moved(vertices), landmarks, rules, motion)


def hollow_head() -> Head:
    return bumpy_head(5, subdivisions=4, bumps=0.03)


# Away from symmetry, so that no plane passes through a vertex.
AT = np.array([0.029, -0.018, 0.042, 0.83, -0.47, 0.61])


@pytest.fixture(scope="module", params=["taut", "skin"])
def rules(request: pytest.FixtureRequest) -> Rules:
    return Rules(length=request.param)


@pytest.fixture(scope="module", params=["template", "head with hollows"])
def here_and_there(
    request: pytest.FixtureRequest, rules: Rules
) -> tuple[ArcTracer, list[tuple[ArcTracer, ArcTracer]]]:
    """The tracer at one shape, and those a step on and a step back along each parameter."""
    head = load_template() if request.param == "template" else hollow_head()
    deforming = Deforming(head, seed=1)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(arcs, "CZ_SETTLED_MM", 1e-10)  # the differences divide its error by 1e-5
        here = deforming.tracer(AT, rules)
        around = [
            (deforming.tracer(AT + step, rules), deforming.tracer(AT - step, rules))
            for step in STEP * np.eye(N_PARAMETERS)
        ]
    return here, around


def assert_same(rate: np.ndarray, difference: np.ndarray, what: str) -> None:
    """Equal to 1e-5 of the largest of the parameters."""
    assert np.abs(rate - difference).max() <= 1e-5 * np.abs(difference).max(), what


def test_tape_rates_of_every_arc(here_and_there: tuple) -> None:
    here, around = here_and_there
    for arc in ARCS:
        difference = [(on.length_mm(arc) - back.length_mm(arc)) / (2 * STEP) for on, back in around]
        assert_same(here.run_rates(arc).length, np.array(difference), arc)


def test_rates_of_every_site_on_an_arc(here_and_there: tuple) -> None:
    here, around = here_and_there
    assert len(ON_ARC) == 65
    for name, place in ON_ARC.items():
        arc, fraction = place.arc, place.fraction
        difference = np.stack(
            [
                (on.run(arc).point_mm(fraction) - back.run(arc).point_mm(fraction)) / (2 * STEP)
                for on, back in around
            ],
            axis=-1,
        )
        assert_same(here.rate_on(arc, fraction), difference, name)


def test_rates_of_the_marks_that_arcs_start_from(here_and_there: tuple) -> None:
    here, around = here_and_there
    for name in ("Cz", "Fpz", "T8", "F7", "C3", "nasion", "right_preauricular"):
        difference = np.stack(
            [(on.point(name) - back.point(name)) / (2 * STEP) for on, back in around], axis=-1
        )
        assert_same(here.point_rate(name), difference, name)


def test_the_head_with_hollows_has_sites_under_a_bridging_tape() -> None:
    """Otherwise the rates of such sites would not have been looked at."""
    tracer = Deforming(hollow_head(), seed=1).tracer(AT, Rules())
    bridged = []
    for name, place in ON_ARC.items():
        run = tracer.run(place.arc)
        reached = run.distance_mm(place.fraction)
        on_tape = [np.interp(reached, run.reached_mm, axis) for axis in run.touched_mm.T]
        if np.linalg.norm(on_tape - run.point_mm(place.fraction)) > 0.05:
            bridged.append(name)
    assert len(bridged) >= 3


def test_growth_of_a_whole_head_is_its_own_rate() -> None:
    """Exact without differences: scaling by (1 + t) multiplies every length and place."""
    tracer = Deforming(hollow_head(), seed=2).tracer(np.zeros(N_PARAMETERS), Rules())
    for arc in ARCS:
        growth = tracer.run_rates(arc).length[:3].sum()
        assert growth == pytest.approx(tracer.length_mm(arc), rel=2e-5)  # Cz settled to 1e-3 mm
    for name in ("Cz", "F7", "C4"):
        growth = tracer.point_rate(name)[:, :3].sum(axis=1)
        np.testing.assert_allclose(growth, tracer.point(name), atol=5e-3)
