"""The prior is what the committed extract makes, and says what open data say."""

from __future__ import annotations

import numpy as np
import pytest
from prior_study.extract import PEOPLE_SETS, read_people, read_vaults
from prior_study.leftover import leftover_field, wider
from prior_study.matching import match_person, match_vault
from prior_study.pooling import pooled, predictive, start

from headfit import measure_head
from headfit.anatomy.landmarks import NAMES
from headfit.anatomy.template import template_set
from headfit.fitting.leftover import leftover_fields
from headfit.fitting.shape import opposed_parameters, parameter_names, shape_model


def test_the_extract_makes_the_prior_that_is_committed() -> None:
    """All 83 people and 16 skins; `scripts/build_prior` makes the files themselves."""
    begin, prior = start(), shape_model().prior
    matches = [match_person(person, begin) for person in read_people()]
    matches += [match_vault(vault, begin) for vault in read_vaults()]
    again = predictive(pooled(matches, begin))
    # Spreads are stored to four places, correlations to three.
    assert np.abs((again.mean - prior.mean) / prior.spread).max() < 0.01
    assert np.abs(again.spread / prior.spread - 1).max() < 0.01
    outer = np.outer(prior.spread, prior.spread)
    assert np.abs(again.covariance / outer - prior.covariance / outer).max() < 0.01


def test_a_skin_leaves_what_the_committed_modes_hold() -> None:
    vault = read_vaults()[6]
    match = match_vault(vault, wider(shape_model().prior), low=True)
    field, known = leftover_field(vault, match)
    modes = leftover_fields()
    shares, *_ = np.linalg.lstsq(modes.T, field, rcond=None)
    # The modes keep 98 % of all skins together; of one by itself a little more or less.
    assert ((field - modes.T @ shares) ** 2).sum() < 0.06 * (field**2).sum()
    assert known.sum() > 2000


def test_a_head_and_its_mirror_image_are_equally_likely() -> None:
    prior, opposed = shape_model().prior, opposed_parameters()
    assert not prior.mean[opposed].any()
    assert not prior.covariance[np.ix_(opposed, ~opposed)].any()
    modes = leftover_fields()
    mirrored = modes[:, template_set().mirror]
    alike, unlike = (np.abs(mirrored - way * modes).max(axis=1) for way in (1, -1))
    assert np.minimum(alike, unlike).max() < 0.015  # stored to 0.01 mm
    assert 5 < (alike < unlike).sum() < len(modes) - 5


def test_the_ears_to_nasion_distance_is_that_of_open_data() -> None:
    """Ear axis to nasion in mm: ds003645 98.2 (n 16), the same on MRI (ds000117) 96.4, ds004024
    95.0 (13), head coils of ds000247 96.6 (5); a laboratory is within 2 mm of the others."""
    model = shape_model()
    nasion = model.head(model.prior.mean, "").in_own_frame().landmarks.nasion
    assert nasion[1] == pytest.approx(np.mean([98.2, 96.4, 95.0, 96.6]), abs=2.0)


def test_the_mean_head_is_about_as_large_as_surveyed() -> None:
    """ANSUR II 2012, women and men: head length 189.8 and 199.5, breadth 147.8 and 154.3 mm.

    The mean was drawn half way there from heads that are shorter and broader: 2 mm stay.
    """
    model = shape_model()
    values = measure_head(model.head(model.prior.mean, "")).values_mm
    assert values["head_length"] == pytest.approx((189.8 + 199.5) / 2, abs=2.5)
    assert values["head_breadth"] == pytest.approx((147.8 + 154.3) / 2, abs=2.5)


# Along the skin a step of 2 mm comes out up to 6 % shorter in its axis: ears stand aslant.
@pytest.mark.parametrize(
    ("name", "moves"),
    [
        ("nasion_x", {"nasion": (0, 2)}),
        ("nasion_y", {"nasion": (1, 2)}),
        ("nasion_z", {"nasion": (2, 2)}),
        ("inion_along", {"inion": (2, 2)}),
        ("inion_x", {"inion": (0, 2)}),
        ("ears_out", {"left_preauricular": (0, -2), "right_preauricular": (0, 2)}),
        ("ears_x", {"left_preauricular": (0, 2), "right_preauricular": (0, 2)}),
        ("ears_y", {"left_preauricular": (1, 2), "right_preauricular": (1, 2)}),
        ("ears_z", {"left_preauricular": (2, 2), "right_preauricular": (2, 2)}),
        ("ears_y_opposed", {"left_preauricular": (1, -2), "right_preauricular": (1, 2)}),
        ("ears_z_opposed", {"left_preauricular": (2, -2), "right_preauricular": (2, 2)}),
    ],
)
def test_a_parameter_of_a_landmark_moves_it_by_millimetres_and_no_other(
    name: str, moves: dict[str, tuple[int, float]]
) -> None:
    model = shape_model()
    step = np.zeros(model.n_parameters)
    step[parameter_names().index(name)] = 2.0
    before, after = (
        model.pose(parameters).landmarks.points_mm
        for parameters in (model.prior.mean, model.prior.mean + step)
    )
    for k, landmark in enumerate(NAMES):
        moved = after[k] - before[k]
        if landmark not in moves:
            np.testing.assert_allclose(moved, 0.0, atol=1e-4)
            continue
        axis, by_mm = moves[landmark]
        assert moved[axis] == pytest.approx(by_mm, rel=0.06)
        assert np.linalg.norm(moved) == pytest.approx(2.0, rel=0.03)


def test_the_sexes_are_as_far_apart_as_surveyed() -> None:
    """ANSUR II 2012, (mean, SD) in mm of women and men: breadth, length, tragion height."""
    surveyed = {
        "scale_x": ((147.8, 5.19), (154.3, 5.53)),
        "scale_y": ((189.8, 7.45), (199.5, 7.02)),
        "scale_z": ((126.5, 6.55), (131.1, 6.16)),
    }
    names = parameter_names()
    pooled, *sexes = (shape_model(sex=sex).prior for sex in (None, "female", "male"))
    women, men = sexes
    for name, both in surveyed.items():
        k = names.index(name)
        assert men.mean[k] - women.mean[k] == pytest.approx(np.log(both[1][0] / both[0][0]))
        apart = (both[1][0] - both[0][0]) / (both[1][0] + both[0][0])
        for prior, (mean_mm, sd_mm) in zip(sexes, both, strict=True):
            # The gap between the sexes goes; none is surer than its survey.
            rest = np.sqrt(pooled.spread[k] ** 2 - apart**2)
            assert prior.spread[k] == pytest.approx(max(rest, sd_mm / mean_mm)), name
    others = [k for k, name in enumerate(names) if name not in surveyed]
    np.testing.assert_array_equal(women.mean[others], pooled.mean[others])


def test_every_source_is_told_in_the_extract() -> None:
    people = read_people()
    counts = [sum(person.data_set == name for person in people) for name in PEOPLE_SETS]
    assert counts == [16, 13, 23, 31]
    assert len(read_vaults()) == 16
