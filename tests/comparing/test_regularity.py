"""Each mark against all others, held against the closed form of its distribution."""

from __future__ import annotations

import numpy as np
import pytest
from marked_heads import Floats, template_targets

from headfit.anatomy.site_table import TABLE
from headfit.comparing import regularity
from headfit.comparing.regularity import regularity_of, site_means

TARGETS = template_targets("10-10")
FRAME = np.stack([TARGETS.along, TARGETS.across], axis=1)


def clean_sets(n: int, extra_mm: float, seed: int) -> Floats:
    """(n, sites, 2) errors as the module has them of clean sets."""
    rng = np.random.default_rng(seed)
    kernel = regularity._shared(TARGETS, FRAME) + extra_mm**2 * np.eye(2 * len(TARGETS))
    root = np.linalg.cholesky(kernel)
    return (root @ rng.normal(size=(len(kernel), n))).T.reshape(n, -1, 2)


def test_in_clean_sets_the_surprise_is_chi_square_of_two(monkeypatch: pytest.MonkeyPatch) -> None:
    # Of a Gaussian set what each mark is off from what the others foresee, in its own spread, is
    # chi-square with two degrees of freedom: P(q > x) = exp(-x / 2).
    monkeypatch.setattr(regularity, "site_means", lambda: {"caps": {}})
    monkeypatch.setattr(regularity, "_BELOW_ROW_NO_CAP_MM", 0.0)
    monkeypatch.setattr(regularity, "_BELOW_ROW_OTHER_MM", 0.0)
    monkeypatch.setattr(regularity, "_OTHER_CAP_MM", regularity._NO_CAP_MM)
    spread = float(np.hypot(regularity._OWN_MM, regularity._NO_CAP_MM))
    found = [regularity_of(own, TARGETS) for own in clean_sets(120, spread, 1)]
    surprise = np.concatenate([one.surprise for one in found if one is not None])
    assert len(surprise) == 120 * len(TARGETS)
    for x in (1.0, 3.0, 6.0):
        # The scale is read off the median of each set, which widens the tail: 14 % at 6.
        assert (surprise > x).mean() == pytest.approx(np.exp(-x / 2), rel=0.2, abs=0.004)


def test_turn_and_shift_of_the_whole_set_surprise_nobody() -> None:
    own = clean_sets(1, 2.0, 2)[0]
    moved = own + np.einsum("nij,j->ni", FRAME, [4.0, -9.0, 3.0])
    before, after = regularity_of(own, TARGETS), regularity_of(moved, TARGETS)
    assert before is not None
    assert after is not None
    # Held to 20 mm beforehand, 10 mm are free but for one part in some hundred.
    np.testing.assert_allclose(after.surprise, before.surprise, atol=0.5)


def test_one_mark_off_is_the_most_surprising_and_said_to_be_off() -> None:
    called = 0
    for seed in range(30):
        own = clean_sets(1, 2.0, seed)[0]
        row = TARGETS.names.index("C3")
        own[row] += [9.0, -8.0]
        found = regularity_of(own, TARGETS)
        assert found is not None
        called += int(found.surprise.argmax()) == row and found.surprise[row] > found.gate
    assert called >= 27


def test_a_stretched_cap_surprises_nobody() -> None:
    own = 0.04 * np.einsum("nij,nj->ni", FRAME, TARGETS.points_mm) + clean_sets(1, 1.5, 4)[0]
    found = regularity_of(own, TARGETS)
    assert found is not None
    assert (found.surprise < found.gate).all()


def test_a_set_of_a_known_cap_is_judged_by_its_means() -> None:
    title, cap = next(iter(site_means()["caps"].items()))
    names = tuple(name for name in cap["means_mm"] if name in TARGETS.names)
    targets = TARGETS.taken([TARGETS.names.index(name) for name in names])
    rng = np.random.default_rng(5)
    own = np.array([cap["means_mm"][name] for name in names]) + rng.normal(size=(len(names), 2))
    found = regularity_of(own, targets)
    assert found is not None
    assert found.judged_by == f"clean sets of {title}"
    # TP9 lies 10 mm across its place on this cap: practice, and no error of the set.
    assert np.hypot(*own[names.index("TP9")]) > 8.0
    assert (found.surprise < found.gate).all()


def test_a_wild_mark_changes_nothing_about_the_others() -> None:
    title, cap = next(iter(site_means()["caps"].items()))
    names = tuple(name for name in cap["means_mm"] if name in TARGETS.names)
    targets = TARGETS.taken([TARGETS.names.index(name) for name in names])
    rng = np.random.default_rng(6)
    own = np.array([cap["means_mm"][name] for name in names]) + rng.normal(size=(len(names), 2))
    row = names.index("P3")
    own[row] += [150.0, 80.0]
    others = np.arange(len(names)) != row
    found = regularity_of(own, targets)
    alone = regularity_of(own[others], targets.taken(np.flatnonzero(others).tolist()))
    assert found is not None
    assert alone is not None
    assert found.judged_by == f"clean sets of {title}"
    assert found.surprise[row] > 1000.0
    np.testing.assert_array_equal(found.surprise[others], alone.surprise)


def test_the_gate_lets_one_clean_set_in_eighty_through() -> None:
    # Of n values with P(q > x) = exp(-x / 2) the largest is beyond 2 ln(80 n) in 1 set of 80.
    rng = np.random.default_rng(7)
    largest = rng.chisquare(2, size=(40_000, len(TARGETS))).max(axis=1)
    found = regularity_of(np.zeros((len(TARGETS), 2)), TARGETS, {})
    assert found is not None
    gate = found.gate / regularity._NO_CAP_TAILS
    assert (largest > gate).mean() == pytest.approx(1 / 80, rel=0.2)


def test_the_stored_means_are_of_known_sites_with_their_source() -> None:
    stored = site_means()
    assert "CC0" in stored["licence"]
    assert "scripts/build_site_means" in stored["provenance"]
    assert len(stored["caps"]) == 2
    for cap in stored["caps"].values():
        assert cap["n_people"] >= 10
        assert 0.0 <= cap["below_row_mm"] <= 8.0
        assert 0.0 <= cap["iz_mm"] <= 8.0
        assert set(cap["means_mm"]) <= set(TABLE)
        sizes = np.linalg.norm(list(cap["means_mm"].values()), axis=1)
        assert 1.0 < np.median(sizes) < 5.0
        assert sizes.max() < 20.0


def test_fewer_than_eight_marks_foresee_nothing() -> None:
    assert regularity_of(np.zeros((7, 2)), TARGETS.taken(list(range(7)))) is None
