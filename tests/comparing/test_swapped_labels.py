"""Exchanged, shifted and mirrored names are found, and where there are none, none."""

import numpy as np
import pytest
from marked_heads import moved_set, slipped, template_targets, unit_vector
from scipy.spatial.transform import Rotation

from headfit.anatomy.arcs import mirrored
from headfit.comparing.swapped_labels import explain
from headfit.comparing.target_sites import targets_for

TARGETS = template_targets("10-10")
SMALL = template_targets("10-20")


def noisy(targets, seed: int, spread_mm: float = 2.0) -> np.ndarray:  # type: ignore[no-untyped-def]
    """Marks of a set that slipped, with noise of 2 mm per axis."""
    rng = np.random.default_rng(seed)
    points = moved_set(targets, 3 * unit_vector(rng), 5 * unit_vector(rng), rng.uniform(0, 10))
    return points + rng.normal(scale=spread_mm, size=points.shape)


@pytest.mark.parametrize(
    ("one", "other"), [("C3", "C4"), ("Fp1", "Oz"), ("FC1", "FC3"), ("T7", "TP7")]
)
def test_an_exchanged_pair_is_named_with_the_distances_that_speak_for_it(
    one: str, other: str
) -> None:
    points = noisy(TARGETS, 1)
    rows = [TARGETS.names.index(one), TARGETS.names.index(other)]
    points[rows] = points[rows[::-1]]
    (mixup,) = explain(points, TARGETS, placed=True).mixups
    assert mixup.kind == "exchanged"
    assert mixup.renaming == {one: other, other: one}
    apart = float(np.linalg.norm(TARGETS.points_mm[rows[0]] - TARGETS.points_mm[rows[1]]))
    # Marks float up to 10 mm over a head of 80 to 90 mm, so they lie up to an eighth farther apart.
    assert mixup.as_named_mm == pytest.approx((apart, apart), rel=0.125, abs=8.0)
    assert max(mixup.as_found_mm) < 9.0
    first, second = mixup.names
    assert mixup.sentence.startswith(f"{first} and {second} look exchanged; as named they are ")


def test_three_exchanged_pairs_are_three_mixups() -> None:
    points = noisy(TARGETS, 2)
    pairs = [("F3", "F4"), ("P7", "P8"), ("O1", "Cz")]
    for one, other in pairs:
        rows = [TARGETS.names.index(one), TARGETS.names.index(other)]
        points[rows] = points[rows[::-1]]
    found = explain(points, TARGETS, placed=True).mixups
    assert {frozenset(m.names) for m in found} == {frozenset(pair) for pair in pairs}


def test_half_of_the_pairs_exchanged_is_no_mirrored_set() -> None:
    points = noisy(SMALL, 2)
    pairs = [("F3", "F4"), ("P7", "P8"), ("O1", "O2"), ("C3", "C4")]  # of eight
    for one, other in pairs:
        rows = [SMALL.names.index(one), SMALL.names.index(other)]
        points[rows] = points[rows[::-1]]
    found = explain(points, SMALL, placed=True).mixups
    assert {m.kind for m in found} == {"exchanged"}
    assert {frozenset(m.names) for m in found} == {frozenset(pair) for pair in pairs}


@pytest.mark.parametrize("length", [3, 8, 16, 32])
def test_a_block_shifted_by_one_plug_is_told_as_one_chain(length: int) -> None:
    points = noisy(TARGETS, 3)
    block = list(range(10, 10 + length))
    points[block] = np.roll(points[block], -1, axis=0)
    (mixup,) = explain(points, TARGETS, placed=True).mixups
    assert mixup.kind == "shifted"
    expected = {
        TARGETS.names[i]: TARGETS.names[block[(k + 1) % length]] for k, i in enumerate(block)
    }
    assert mixup.renaming == expected
    name, at = next(iter(expected.items()))
    assert mixup.sentence.startswith(f"{length} names look shifted: {name} lies at {at}, ")


def test_of_an_open_chain_the_last_name_lies_nowhere_and_is_not_told() -> None:
    points = noisy(TARGETS, 4)
    block = list(range(20, 28))
    last = points[block[-1]] + [0.0, 0.0, -60.0]  # the next plug was no site
    points[block[:-1]] = points[block[1:]]
    points[block[-1]] = last
    (mixup,) = explain(points, TARGETS, placed=True).mixups
    assert set(mixup.names) == {TARGETS.names[i] for i in block[:-1]}


@pytest.mark.parametrize("placed", [True, False])
@pytest.mark.parametrize("targets", [SMALL, TARGETS], ids=["10-20", "10-10"])
def test_a_mirrored_set_is_one_finding_with_and_without_landmarks(
    targets,
    placed: bool,  # type: ignore[no-untyped-def]
) -> None:
    row = {name: i for i, name in enumerate(targets.names)}
    points = noisy(targets, 5)[[row[mirrored(name)] for name in targets.names]]
    if not placed:
        points = Rotation.random(rng=np.random.default_rng(6)).apply(points) + 40.0
    (mixup,) = explain(points, targets, placed=placed).mixups
    assert mixup.kind == "mirrored"
    lateral = {name for name in targets.names if mirrored(name) != name}
    assert set(mixup.names) == lateral
    assert all(mirrored(name) == at for name, at in mixup.renaming.items())
    assert f"({len(lateral)} marks)" in mixup.sentence


def test_a_mirrored_set_on_tall_electrodes_is_found() -> None:
    row = {name: i for i, name in enumerate(TARGETS.names)}
    raised = TARGETS.points_mm + 26.0 * TARGETS.normals  # on a head that is too small
    points = raised[[row[mirrored(name)] for name in TARGETS.names]]
    points = points + np.random.default_rng(0).normal(scale=2.0, size=points.shape)
    assert [m.kind for m in explain(points, TARGETS, placed=True).mixups] == ["mirrored"]


def test_the_common_part_is_that_of_the_set_even_when_half_the_names_are_wrong() -> None:
    turn, slide = np.array([0.0, 0.0, 3.0]), np.array([0.0, -5.0, 0.0])
    points = moved_set(TARGETS, turn, slide, 4.0)
    block = list(range(36))
    points[block] = np.roll(points[block], -1, axis=0)
    fit = explain(points, TARGETS, placed=True).fit
    np.testing.assert_allclose(fit.turn_degrees, turn, atol=0.05)
    np.testing.assert_allclose(fit.slide_mm, slide, atol=0.05)


def test_marks_beside_the_ears_alone_start_no_mirrored_set() -> None:
    names = ("A1", "A2", "M1", "M2", "Fz", "Cz", "Pz", "Oz")
    targets = targets_for(TARGETS.sites, names)
    points = targets.points_mm + np.random.default_rng(0).normal(scale=40.0, size=(8, 3))
    assert all(m.kind != "mirrored" for m in explain(points, targets, placed=False).mixups)


def test_one_mark_far_off_drags_no_others_along() -> None:
    points = noisy(TARGETS, 7, 1.0)
    points[TARGETS.names.index("T7")] = TARGETS.points_mm[TARGETS.names.index("P7")]
    assert explain(points, TARGETS, placed=True).mixups == ()


def test_neighbours_as_near_as_the_noise_are_not_told_apart() -> None:
    # Two sites of a newborn's 10-5 set, 8 mm apart, exchanged: noise of 3 mm hides it, 0.5 not.
    targets = template_targets("10-5", "newborn")
    gap = np.linalg.norm(targets.points_mm[:, None] - targets.points_mm[None], axis=2)
    rows = list(np.unravel_index(int(np.abs(gap - 8.0).argmin()), gap.shape))
    assert gap[rows[0], rows[1]] == pytest.approx(8.0, abs=0.5)
    for noise_mm, n_found in ((0.5, 1), (3.0, 0)):
        rng = np.random.default_rng(1)
        points = targets.points_mm + rng.normal(scale=noise_mm, size=targets.points_mm.shape)
        points[rows] = targets.points_mm[rows[::-1]]
        assert len(explain(points, targets, placed=True).mixups) == n_found


def test_no_exchange_is_told_where_there_is_none() -> None:
    # 500 clean draws of each system; the promise is less than one in two hundred.
    rng = np.random.default_rng(8)
    for targets in (SMALL, TARGETS):
        false = sum(
            bool(
                explain(slipped(targets, rng, single=False).points_mm, targets, placed=True).mixups
            )
            for _ in range(500)
        )
        assert false <= 2


def test_no_exchange_is_told_on_the_closest_sites_of_the_smallest_head() -> None:
    # 10-5 on a newborn: neighbours 4 to 9 mm apart, noise of 1 mm per axis.
    targets = template_targets("10-5", "newborn")
    rng = np.random.default_rng(9)
    points = targets.points_mm + rng.normal(size=targets.points_mm.shape)
    assert explain(points, targets, placed=True).mixups == ()


@pytest.mark.parametrize(("off_mm", "told"), [(22.5, True), (27.5, False)])
def test_a_mark_is_said_to_lie_at_a_site_up_to_25_mm_from_it(off_mm: float, told: bool) -> None:
    """Headfit's own choice, no source; the sites of 10-20 are 50 mm and more apart."""
    points = noisy(SMALL, 3, 0.5)
    rows = [SMALL.names.index("C3"), SMALL.names.index("C4")]
    points[rows] = points[rows[::-1]] + [0.0, off_mm, 0.0]
    found = explain(points, SMALL, placed=True).mixups
    assert [m.renaming for m in found] == ([{"C3": "C4", "C4": "C3"}] if told else [])


def test_one_exchanged_pair_of_a_set_with_one_is_no_mirrored_set() -> None:
    names = ("Fpz", "Fz", "Cz", "Pz", "Oz", "C3", "C4")
    targets = targets_for(TARGETS.sites, names)
    points = noisy(targets, 3, 1.0)
    points[[5, 6]] = points[[6, 5]]
    (mixup,) = explain(points, targets, placed=True).mixups
    assert (mixup.kind, set(mixup.names)) == ("exchanged", {"C3", "C4"})


@pytest.mark.parametrize("seed", range(4))
def test_half_a_set_shifted_is_found_where_no_landmarks_tell_how_it_lies(seed: int) -> None:
    """Names and slip are found in turn: the first assignment is not the last."""
    rng = np.random.default_rng(seed)
    points = moved_set(TARGETS, 8 * unit_vector(rng), 10 * unit_vector(rng), 5.0)
    points = points + rng.normal(scale=1.5, size=points.shape)
    block = list(range(5, 5 + len(points) // 2))
    points[block] = np.roll(points[block], -1, axis=0)
    (mixup,) = explain(points, TARGETS, placed=False).mixups
    following = dict(zip(block, np.roll(block, -1), strict=True))
    assert mixup.renaming == {TARGETS.names[i]: TARGETS.names[k] for i, k in following.items()}
