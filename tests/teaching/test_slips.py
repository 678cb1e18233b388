"""What slips do, against the published average scalp and against closed forms.

The average scalp is `fsaverage-head.fif`, carried by mne. The figures are those that stand in the
lesson: the same slips over the same 27 sites, derived for headfit on an adult scalp; they are in no
publication. Which 27 is from the IFCN list of Seeck et al. 2017 with Fpz and Oz.
"""

from __future__ import annotations

import numpy as np
import pytest
from published_scalp import average_scalp
from solids import Ellipsoid

from headfit import Sites, place_sites
from headfit.files.lesson_file import built_in_lesson
from headfit.teaching.bench import SLIP_SITES
from headfit.teaching.slips import moves_mm, over_the_brow, place_beside, pushed, slackened


@pytest.fixture(scope="module")
def scalp() -> Sites:
    return place_sites(average_scalp(), SLIP_SITES)


def test_there_are_27_sites() -> None:
    assert len(set(SLIP_SITES)) == 27


@pytest.mark.parametrize(
    ("landmark", "way", "by", "mean", "largest", "told"),
    [
        ("inion", "lower", 10.0, 3.7, 9.6, {"O1": 7.5, "O2": 7.5}),
        ("inion", "lower", -10.0, 3.7, 9.6, {}),
        ("inion", "right", 10.0, 4.1, 8.8, {}),
        ("nasion", "lower", 5.0, 1.7, 4.4, {}),
        ("left_preauricular", "lower", -5.0, 1.9, 4.4, {}),
        ("left_preauricular", "forward", 10.0, None, None, {"T7": 8.9, "C3": 5.3}),
    ],
)
def test_slips_agree_with_those_of_an_adult_scalp(
    scalp: Sites,
    landmark: str,
    way: str,
    by: float,
    mean: float | None,
    largest: float | None,
    told: dict[str, float],
) -> None:
    moves = moves_mm(scalp, pushed(scalp, landmark, way, by))
    if mean is not None:
        assert np.mean(list(moves.values())) == pytest.approx(mean, rel=0.2)
        assert max(moves.values()) == pytest.approx(largest, rel=0.2)
    for site, far in told.items():
        assert moves[site] == pytest.approx(far, rel=0.2)


def test_the_lesson_tells_the_same_figures_and_their_source() -> None:
    lesson = built_in_lesson("slips")
    told = " ".join(line for step in lesson.steps for line in step.beside)
    for figure in ("3.7", "9.6", "7.5", "4.1", "8.8", "1.7", "4.4", "1.9", "8.9", "5.3"):
        assert figure in told
    assert "published average scalp" in lesson.sources[0]
    assert "mne" in lesson.sources[0]
    assert all(line.startswith("Average scalp") for step in lesson.steps for line in step.beside)


def test_on_a_sphere_a_mark_of_the_midline_takes_its_share_of_a_slip() -> None:
    """Klem et al. 1999: marks are shares of the arc. Along a circle that is a closed form."""
    sites = place_sites(Ellipsoid((90.0, 90.0, 90.0)).head(), ("Fpz", "Fz", "Cz", "Pz", "Oz"))
    radius = np.linalg.norm(sites["Cz"])
    for by in (5.0, 10.0, -10.0):
        moves = moves_mm(sites, pushed(sites, "inion", "lower", by))
        for site, share in zip(sites.names, (0.1, 0.3, 0.5, 0.7, 0.9), strict=True):
            chord = 2 * radius * np.sin(abs(by) * share / 2 / radius)
            assert moves[site] == pytest.approx(chord, abs=0.03)


def test_a_slack_tape_moves_the_midline_as_a_low_inion_does() -> None:
    sites = place_sites(
        Ellipsoid((90.0, 90.0, 90.0)).head(), ("Fpz", "Fz", "Cz", "Pz", "Oz", "T7", "O1")
    )
    low = pushed(sites, "inion", "lower", 12.0)
    slack = slackened(sites, 12.0)
    np.testing.assert_allclose(low.points_mm, slack.points_mm, atol=0.15)


def test_a_ring_over_the_brow_leaves_what_no_ring_marks(scalp: Sites) -> None:
    moves = moves_mm(scalp, over_the_brow(scalp, 20.0))
    assert moves["Fpz"] == pytest.approx(20.0, abs=0.3)
    for site in ("Fz", "Cz", "T7", "Oz"):
        assert moves[site] == pytest.approx(0.0, abs=1e-9), site  # mm: the same place, rounded
    # The nearer to the front, the more of it; and both sides nearly alike.
    assert moves["Fpz"] > moves["Fp1"] > moves["F7"] > 5.0
    assert moves["Fp1"] == pytest.approx(moves["Fp2"], abs=0.5)


@pytest.mark.parametrize("way", ["lower", "right", "forward"])
def test_a_push_goes_as_far_over_the_skin_as_it_says(scalp: Sites, way: str) -> None:
    here = scalp.tracer.point("inion" if way != "forward" else "left_preauricular")
    landmark = "inion" if way != "forward" else "left_preauricular"
    there = place_beside(scalp.tracer, landmark, way, 10.0)
    # Straight through is a little shorter than over the skin.
    assert 9.3 <= np.linalg.norm(there - here) <= 10.01
