"""Head and slip found together. Heads are drawn or the template; marks and slips are invented."""

from __future__ import annotations

import numpy as np
import pytest
from drawn_heads import THREE, drawn, sheet_of
from marked_heads import Floats, landmarks_of, scalp_names, template_targets, three_of

from headfit import Head, Marks, compare_marks, load_template, place_sites
from headfit.anatomy.arcs import mirrored
from headfit.comparing.common_shift import fit_set
from headfit.comparing.head_from_marks import head_under
from headfit.comparing.target_sites import targets_for
from headfit.comparing.verdict import summary
from headfit.geometry.surface import nearest, normals_at

NAMES = scalp_names("10-20")


def slid(
    head: Head, rng: np.random.Generator, noise_mm: float = 1.6, landmark_mm: float = 3.0
) -> tuple[Marks, Floats]:
    """Marks of a cap that slid over the skin of a head, and (6,) the slip of the whole set.

    A cap slides over the skin: its marks stay on it, and float over it by one height.
    """
    targets = targets_for(place_sites(head, NAMES), NAMES)
    middle = targets.points_mm.mean(axis=0)
    turn, slide = np.radians(3.5) * rng.normal(size=3), 4.0 * rng.normal(size=3)
    put = targets.points_mm + np.cross(turn, targets.points_mm - middle) + slide
    put = put + rng.normal(scale=noise_mm, size=put.shape)
    places, _ = nearest(head.scalp, put)
    foot, normals = places.on(head.scalp.vertices_mm), normals_at(head.scalp, places)
    points = foot + (5.0 + rng.normal(scale=0.8, size=(len(foot), 1))) * normals
    truth = fit_set(points, targets)
    landmarks = {n: p + landmark_mm * rng.normal(size=3) for n, p in three_of(head).items()}
    return Marks(NAMES, points, landmarks, source="marks.tsv"), truth.six


def misses(n_heads: int, *, tape: bool) -> tuple[Floats, Floats]:
    """(n, 6) errors of the slips of drawn heads, and their standard errors."""
    errors, spreads = [], []
    for number in range(n_heads):
        head, values = drawn(number, 1.0)
        for again in range(3):
            marks, truth = slid(head, np.random.default_rng([number, again]))
            found, _ = head_under(marks, sheet_of(values, THREE) if tape else None)
            common = compare_marks(found, marks).common
            assert common is not None
            errors.append(common.six - truth)
            spreads.append(common.six_spread)
    return np.array(errors), np.array(spreads)


@pytest.mark.parametrize("tape", [False, True], ids=["alone", "three tapes"])
def test_the_spread_of_each_motion_holds_its_true_error(tape: bool) -> None:
    # 95 % are promised; of 36 draws 90 % may be missed by four more. The full tables, on open heads
    # too, are those of scripts/bench_marks.
    errors, spreads = misses(12, tape=tape)
    inside = (np.abs(errors) <= 1.96 * spreads).mean(axis=0)
    assert inside.min() >= 0.80
    assert inside.mean() >= 0.90
    # Landmarks sure to 3 mm leave 1.2 to 1.9 degrees and 1.9 to 2.7 mm by themselves [derived].
    assert np.sqrt((errors**2).mean(axis=0)).max() < 2.6
    # A spread that holds everything would be none.
    assert (np.abs(errors) > spreads).mean() > 0.1


def test_on_a_known_head_the_spread_holds_the_errors_of_the_landmarks() -> None:
    head = load_template()
    errors, spreads = [], []
    for seed in range(60):
        marks, truth = slid(head, np.random.default_rng(seed))
        common = compare_marks(head, marks).common
        assert common is not None
        errors.append(common.six - truth)
        spreads.append(common.six_spread)
    inside = (np.abs(errors) <= 1.96 * np.array(spreads)).mean(axis=0)
    assert inside.min() >= 0.86
    assert inside.mean() <= 0.995


def test_with_exact_landmarks_and_marks_a_slip_is_told_from_the_shape() -> None:
    marks, truth = slid(drawn(5, 1.0)[0], np.random.default_rng(1), noise_mm=0.0, landmark_mm=0.0)
    common = compare_marks(head_under(marks)[0], marks).common
    assert common is not None
    # What the priors of head and slip take from each other; 1.5 to 2.9 with the head fitted first.
    assert np.abs(common.six - truth).max() < 2.0


def test_the_first_line_says_what_a_guessed_head_cannot_tell() -> None:
    marks, _ = slid(drawn(2, 1.0)[0], np.random.default_rng(2))
    comparison = compare_marks(head_under(marks)[0], marks)
    first, *rest = summary(comparison)
    assert first.startswith("No tape, no scan: the head is guessed from these marks; a slide ")
    assert "three tapes" in first
    assert rest[0] == comparison.verdict
    known = compare_marks(load_template(), marks)
    assert summary(known)[0] == known.verdict


def test_scrambled_names_are_put_right_before_the_head_is_fitted() -> None:
    marks, _ = slid(drawn(2, 1.0)[0], np.random.default_rng(3))
    rng = np.random.default_rng(4)
    rows = rng.choice(len(marks), 11, replace=False)
    order = np.arange(len(marks))
    order[rows] = np.roll(rows, 1)
    mixed = Marks(NAMES, marks.points_mm[order], marks.landmarks)
    comparison = compare_marks(head_under(mixed)[0], mixed)
    renaming = {old: new for mixup in comparison.mixups for old, new in mixup.renaming.items()}
    assert renaming == {NAMES[i]: NAMES[order[i]] for i in rows}
    assert [remark.code for remark in comparison.doubts_on_set] == ["set-names-mixed"]
    assert comparison.verdict.startswith("Doubt on the whole set: 11 of 19 names do not belong")
    right = compare_marks(head_under(marks)[0], marks).common
    assert right is not None
    assert comparison.common is not None
    np.testing.assert_allclose(comparison.common.six, right.six, atol=0.05)


def test_a_mirrored_set_is_told_with_its_reason() -> None:
    marks, _ = slid(drawn(2, 1.0)[0], np.random.default_rng(5))
    row = {name: i for i, name in enumerate(NAMES)}
    points = marks.points_mm[[row[mirrored(name)] for name in NAMES]]
    mixed = Marks(NAMES, points, marks.landmarks)
    comparison = compare_marks(head_under(mixed)[0], mixed)
    assert "left and right are exchanged" in comparison.verdict


def test_clean_sets_raise_no_doubt_and_call_nothing_off() -> None:
    off, doubts = 0, 0
    for number in range(20):
        marks, _ = slid(drawn(number, 1.0)[0], np.random.default_rng(number))
        comparison = compare_marks(head_under(marks)[0], marks)
        off += bool(comparison.stands_out)
        doubts += bool(comparison.doubts_on_set) or bool(comparison.mixups)
    assert doubts == 0
    assert off <= 2


def test_a_single_site_12_mm_off_is_called_by_its_neighbours() -> None:
    called = 0
    for number in range(20):
        rng = np.random.default_rng(number)
        marks, _ = slid(drawn(number, 1.0)[0], rng)
        targets = template_targets("10-20")
        row = int(rng.integers(len(NAMES)))
        angle = rng.uniform(0, 2 * np.pi)
        way = np.cos(angle) * targets.along[row] + np.sin(angle) * targets.across[row]
        points = np.array(marks.points_mm)
        points[row] += 12.0 * way
        moved = Marks(NAMES, points, marks.landmarks)
        called += NAMES[row] in compare_marks(head_under(moved)[0], moved).stands_out
    # 80 % on real caps whose own means are stored, measured by scripts/bench_marks; an invented cap
    # has none and 50 % are asked.
    assert called >= 12


def test_a_mark_far_off_the_head_is_told_whatever_its_name() -> None:
    marks, _ = slid(drawn(2, 1.0)[0], np.random.default_rng(6))
    wild = Marks(NAMES, marks.points_mm, marks.landmarks, ("X9",), np.array([[0.0, 20.0, 250.0]]))
    (told,) = (
        r for r in compare_marks(head_under(wild)[0], wild).remarks if r.code == "mark-off-head"
    )
    assert told.evidence["names"] == ["X9"]


def test_the_methods_name_version_head_and_every_motion() -> None:
    marks, _ = slid(drawn(2, 1.0)[0], np.random.default_rng(7))
    comparison = compare_marks(head_under(marks)[0], marks)
    said = comparison.methods()
    for part in ("headfit 0.", "29 shape parameters", "pitch ", "yaw ", "up ", "inferior row"):
        assert part in said
    assert comparison.head is comparison.under.head  # type: ignore[union-attr]
    given = compare_marks(load_template(), marks)
    assert "The head was given beforehand." in given.methods()
    np.testing.assert_allclose(
        given.head.landmarks.points_mm, list(landmarks_of(load_template()).values()), atol=1e-6
    )
