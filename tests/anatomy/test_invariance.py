"""Sites do not care where a head stands, how large it is, which way round or how it is numbered."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from solids import bumpy_head, turn

from headfit import Head, Landmarks, Rules, Sites, place_sites
from headfit.anatomy.arcs import CZ_SETTLED_MM, mirrored

SAME_MM = 1e-6  # rounding of coordinates of some hundred millimetres, over some hundred pieces
SEEDS = st.integers(0, 2**32 - 1)
RULES = st.builds(
    Rules,
    inner=st.sampled_from(["row", "parasagittal", "crossing"]),
    temporal=st.sampled_from(["coronal", "ring"]),
    inferior=st.sampled_from(["system", "row", "contour"]),
    length=st.sampled_from(["taut", "skin"]),
)
HEADS = {seed: bumpy_head(seed, subdivisions=3, bumps=0.01 + 0.003 * seed) for seed in range(8)}
_placed: dict[tuple[int, Rules], Sites] = {}

some_examples = settings(max_examples=30)


def usual(which: int, rules: Rules) -> Sites:
    """Sites of one of the heads as it stands, placed once for each set of rules."""
    if (which, rules) not in _placed:
        _placed[which, rules] = place_sites(HEADS[which], "10-10", rules)
    return _placed[which, rules]


WHICH = st.sampled_from(sorted(HEADS))


@given(WHICH, RULES, SEEDS)
@some_examples
def test_sites_move_with_the_head(which: int, rules: Rules, seed: int) -> None:
    head, rotation = HEADS[which], turn(seed)
    shift = np.random.default_rng(seed).normal(scale=300, size=3)
    moved = Head(
        head.vertices_mm @ rotation.T + shift, head.faces, head.landmarks.moved(rotation, shift)
    )
    expected = usual(which, rules).points_mm @ rotation.T + shift
    np.testing.assert_allclose(place_sites(moved, "10-10", rules).points_mm, expected, atol=SAME_MM)


@given(WHICH, RULES, st.floats(0.6, 1.4))
@some_examples
def test_sites_grow_with_the_head(which: int, rules: Rules, scale: float) -> None:
    head = HEADS[which]
    points = head.landmarks.points_mm * scale
    grown = Head(head.vertices_mm * scale, head.faces, Landmarks.from_points(points))
    found = place_sites(grown, "10-10", rules)
    expected = usual(which, rules)
    # Cz is settled to a length, not to a share of the head; so one of the two may take one round
    # more, which moves it by less than that length.
    apart = np.linalg.norm(found.points_mm / scale - expected.points_mm, axis=1).max()
    moved_cz = np.linalg.norm(found["Cz"] / scale - expected["Cz"])
    assert moved_cz <= CZ_SETTLED_MM / 0.6
    assert apart <= 3 * moved_cz + SAME_MM


@given(WHICH, RULES)
@some_examples
def test_sites_exchange_sides_in_a_mirror(which: int, rules: Rules) -> None:
    head = HEADS[which]
    flip = np.array([-1.0, 1.0, 1.0])
    nasion, inion, left, right = head.landmarks.points_mm * flip
    image = Head(
        head.vertices_mm * flip, head.faces[:, ::-1], Landmarks(nasion, inion, right, left)
    )
    found, expected = place_sites(image, "10-10", rules), usual(which, rules)
    for name in expected.names:
        np.testing.assert_allclose(found[mirrored(name)] * flip, expected[name], atol=SAME_MM)


@given(WHICH, RULES, SEEDS)
@some_examples
def test_sites_do_not_know_the_numbers_of_vertices(which: int, rules: Rules, seed: int) -> None:
    head = HEADS[which]
    order = np.random.default_rng(seed).permutation(len(head.vertices_mm))
    number = np.argsort(order)
    shuffled = Head(head.vertices_mm[order], number[head.faces], head.landmarks)
    found = place_sites(shuffled, "10-10", rules)
    np.testing.assert_allclose(found.points_mm, usual(which, rules).points_mm, atol=SAME_MM)


@given(WHICH, RULES, SEEDS)
@some_examples
def test_sites_do_not_know_the_order_of_triangles_and_corners(
    which: int, rules: Rules, seed: int
) -> None:
    head, rng = HEADS[which], np.random.default_rng(seed)
    faces = head.faces[rng.permutation(len(head.faces))]
    first = rng.integers(3, size=(len(faces), 1))
    faces = np.take_along_axis(faces, (first + np.arange(3)) % 3, axis=1)
    found = place_sites(Head(head.vertices_mm, faces, head.landmarks), "10-10", rules)
    np.testing.assert_allclose(found.points_mm, usual(which, rules).points_mm, atol=SAME_MM)


@given(WHICH, SEEDS)
@some_examples
def test_vertices_that_no_triangle_uses_change_nothing(which: int, seed: int) -> None:
    head = HEADS[which]
    stray = np.random.default_rng(seed).normal(scale=80, size=(5, 3))
    more = Head(np.vstack([head.vertices_mm, stray]), head.faces, head.landmarks)
    found = place_sites(more, "10-10")
    np.testing.assert_allclose(found.points_mm, usual(which, Rules()).points_mm, atol=SAME_MM)


def test_the_shortest_curve_rule_moves_and_mirrors_with_the_head() -> None:
    head, rules = HEADS[2], Rules(curve="shortest")
    rotation, shift, names = turn(5), np.array([40.0, -10, 90]), ["F3", "F4", "C5", "PO4", "F9"]
    expected = place_sites(head, names, rules)
    moved = Head(
        head.vertices_mm @ rotation.T + shift, head.faces, head.landmarks.moved(rotation, shift)
    )
    found = place_sites(moved, names, rules).points_mm
    # Edge flips settle on a path that is shortest up to a hundred-thousandth.
    np.testing.assert_allclose(found, expected.points_mm @ rotation.T + shift, atol=1e-3)
    flip = np.array([-1.0, 1.0, 1.0])
    nasion, inion, left, right = head.landmarks.points_mm * flip
    image = Head(
        head.vertices_mm * flip, head.faces[:, ::-1], Landmarks(nasion, inion, right, left)
    )
    there = place_sites(image, [mirrored(name) for name in names], rules)
    for name in names:
        assert np.linalg.norm(there[mirrored(name)] * flip - expected[name]) < 1e-3


@pytest.mark.parametrize("kind", ["taut", "skin"])
def test_these_heads_are_uneven_enough_to_tell(kind: str) -> None:
    """The checks above would say little on heads that are the same from both sides, or convex."""
    sites = [usual(which, Rules(length=kind)) for which in HEADS]
    flip = np.array([-1.0, 1.0, 1.0])
    for found in sites:
        assert np.linalg.norm(found["F3"] * flip - found["F4"]) > 1.0
    runs = [found.tracer.run("midline") for found in sites]
    bridged = [len(run.curve.path_mm) - len(run.rows) for run in runs]
    assert max(bridged) > 3 if kind == "taut" else max(bridged) == 0
