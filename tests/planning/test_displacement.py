"""Moved sites: clear of what must stay free, mirrored, no farther than needed, and said."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from solids import SPHERE_A, bumpy_head

from headfit import Sites, load_template, place_sites
from headfit.anatomy.arcs import mirrored
from headfit.anatomy.sites import SYSTEMS, TABLE, sites_on
from headfit.anatomy.template import template_set
from headfit.errors import InputError
from headfit.planning import choosing
from headfit.planning.clear_places import NAME_WORTH_MM
from headfit.planning.displacement import FARTHEST_OF_MIDLINE, Displacement, displace
from headfit.planning.obstacles import CLEARANCE_MM, Obstacle, disc, polygon
from headfit.planning.scalp_paths import scalp_paths

AGES = list(template_set().ages)
SCALP = [name for name in SYSTEMS["10-20"] if name not in ("A1", "A2")]
NO_CUP = {"Nz", "Iz", "A1", "A2"}


def plan(sites: Sites, *obstacles: Obstacle, **settings_: object) -> Displacement:
    return displace(sites, obstacles, **settings_)


def covered(obstacles: tuple[Obstacle, ...], points: np.ndarray) -> np.ndarray:
    return np.any([obstacle.covers(points) for obstacle in obstacles], axis=0)


def assert_sound(sites: Sites, found: Displacement) -> None:
    """What holds of every plan with homologues."""
    inside = covered(found.obstacles, sites.points_mm)
    blocked = {name for name, hit in zip(sites.names, inside, strict=True) if hit}
    moved = {move.site: move for move in found.moves}
    assert blocked <= set(moved) | set(found.left_out)
    assert set(found.left_out) <= blocked
    if moved:
        points = np.array([move.point_mm for move in found.moves])
        assert not covered(found.obstacles, points).any()
    for site, move in moved.items():
        other = mirrored(site)
        if other == site:
            assert mirrored(move.toward) == move.toward  # it stays on the midline
        elif other in sites.names:
            assert moved[other].toward == mirrored(move.toward)
            if move.named:
                assert moved[other].named
            else:
                assert moved[other].fraction == pytest.approx(move.fraction, abs=1e-9)
        assert move.as_homologue == (site not in blocked)
        assert move.moved_mm <= FARTHEST_OF_MIDLINE * sites.tracer.length_mm("midline") + 1e-6
    cups = {n: p for n, p in zip(sites.names, sites.points_mm, strict=True) if n not in blocked}
    cups |= {move.site: move.point_mm for move in found.moves}
    all_cups = np.array(list(cups.values()))
    gaps = np.linalg.norm(all_cups[:, None] - all_cups[None], axis=2)
    gaps[np.diag_indices(len(gaps))] = np.inf
    own = np.linalg.norm(sites.points_mm[:, None] - sites.points_mm[None], axis=2)
    own[np.diag_indices(len(own))] = np.inf
    assert gaps.min() >= min(15.0, own.min() / 2) - 1e-9


@pytest.mark.parametrize("age", AGES)
def test_on_every_template_head_no_moved_site_lies_in_a_forbidden_place(age: str) -> None:
    sites = place_sites(load_template(age), "10-20")
    scale = sites.tracer.length_mm("midline") / 350
    cases = [
        [disc(sites, "F3", 15 * scale, "wound")],
        [disc(sites, "O1", 25 * scale, "dressing"), disc(sites, "Cz", 12 * scale, "shunt")],
        [polygon(sites, ["F4", "FC6", "C4", "FC2"], "bone defect")],
    ]
    for obstacles in cases:
        found = plan(sites, *obstacles)
        assert found.moves
        assert_sound(sites, found)


@pytest.mark.parametrize("radius", [8.0, 14.0, 30.0])
def test_among_dense_sites_no_cup_comes_too_near_another(radius: float) -> None:
    every = place_sites(load_template(), "10-10")
    sites = place_sites(load_template(), [n for n in every.names if n[0] not in "AMNI"])
    found = plan(sites, disc(sites, "C3", radius, "wound"), apart_mm=21.0)
    assert found.moves
    assert_sound(sites, found)
    moved = {move.site for move in found.moves} | set(found.left_out)
    staying = [p for n, p in zip(sites.names, sites.points_mm, strict=True) if n not in moved]
    for move in found.moves:
        assert np.linalg.norm(np.array(staying) - move.point_mm, axis=1).min() >= 21.0


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=10)
def test_on_a_head_without_symmetry_any_wounds_are_cleared(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sites = place_sites(bumpy_head(seed % 4), ["Fp1", "Fp2", "F3", "F4", "C3", "Cz", "C4", "Pz"])
    obstacles = [
        disc(sites, str(rng.choice(SCALP)), float(rng.uniform(3, 30)), "wound")
        for _ in range(rng.integers(1, 4))
    ]
    assert_sound(sites, plan(sites, *obstacles))


@pytest.mark.parametrize("radius", [8.0, 14.0, 20.0, 33.0, 50.0])
def test_a_site_in_the_middle_of_a_disc_moves_as_little_as_clears_it(radius: float) -> None:
    """On a sphere the least move over the skin is the arc over the chord radius + clearance."""
    sites = place_sites(SPHERE_A.head(), ["C3", "O2"])
    found = plan(sites, disc(sites, "C3", radius, "wound"), homologues=False)
    (move,) = found.moves
    least = 2 * 90 * np.arcsin((radius + CLEARANCE_MM) / (2 * 90))
    # Found in steps of a millimetre; a name is worth some more.
    assert least - 0.05 <= move.moved_mm <= least + (NAME_WORTH_MM if move.named else 1.0)


def all_ways(sites: Sites, site: str, obstacle: Obstacle) -> dict[str, float]:
    """Every declared site that clears, and its tape length, by trying the whole table."""
    names = tuple(name for name in TABLE if name not in NO_CUP)
    placed = sites_on(sites.tracer, names, "all")
    others = np.array([p for n, p in zip(sites.names, sites.points_mm, strict=True) if n != site])
    ways = {}
    for name, point in zip(placed.names, placed.points_mm, strict=True):
        near = np.linalg.norm(point - sites[site])
        apart = np.linalg.norm(others - point, axis=1).min()
        if not obstacle.covers(point[None])[0] and apart >= 15 and 0 < near < 80:
            (run,) = scalp_paths(sites.tracer, [(sites[site], point)])
            ways[name] = run.length_mm
    return ways


@pytest.mark.parametrize(
    ("site", "where", "radius"),
    [
        ("F3", "F3", 10.0),
        ("F3", "F3", 22.0),
        ("F3", "FC5", 40.0),
        ("C3", "C3", 20.0),
        ("C3", "C1", 33.0),
        ("P4", "P4", 17.0),
        ("O2", "Oz", 28.0),
        ("Fz", "F1", 24.0),
    ],
)
def test_a_place_takes_the_name_of_a_clear_site_when_one_is_near_enough(
    site: str, where: str, radius: float
) -> None:
    every = place_sites(load_template(), "10-20")
    obstacle = disc(every, where, radius, "wound")
    free = np.array(every.names)[~obstacle.covers(every.points_mm)]
    sites = place_sites(load_template(), [site, *free.tolist()])
    (move,) = plan(sites, obstacle, homologues=False).moves
    ways = all_ways(sites, site, obstacle)
    nearest_named = min(ways.values())
    if move.named:
        assert move.moved_mm == pytest.approx(nearest_named)
        assert ways[move.toward] == pytest.approx(nearest_named)
    else:
        assert nearest_named >= move.moved_mm + NAME_WORTH_MM - 1e-6
        names = tuple(ways)
        points = sites_on(sites.tracer, names, "all").points_mm
        # No clear name within 5 mm of the new place: it would have been taken.
        assert np.linalg.norm(points - move.point_mm, axis=1).min() > NAME_WORTH_MM - 0.5


def test_a_nameless_place_stands_so_far_along_the_tape_to_a_neighbour() -> None:
    sites = place_sites(load_template(), "10-20")
    (move,) = plan(sites, disc(sites, "Cz", 15, "wound")).moves
    assert not move.named
    (run,) = scalp_paths(sites.tracer, [(sites["Cz"], sites[move.toward])])
    assert run.length_mm == pytest.approx(move.toward_mm)
    assert np.linalg.norm(run.point_mm(move.fraction) - move.point_mm) < 1e-6
    assert move.words == (
        f"Cz is moved {move.moved_mm / 10:.1f} cm toward {move.toward} "
        f"({(move.toward_mm - move.moved_mm) / 10:.1f} cm short of it)."
    )


def test_the_mirror_image_of_a_wound_gives_the_mirror_image_of_the_plan() -> None:
    sites = place_sites(load_template(), "10-20")
    left, right = (plan(sites, disc(sites, name, 18, "wound")) for name in ("P3", "P4"))
    there = {move.site: move.toward for move in right.moves}
    assert {mirrored(m.site): mirrored(m.toward) for m in left.moves} == there
    assert len(there) == 2


def test_two_wounds_on_one_pair_are_cleared_by_equal_moves() -> None:
    sites = place_sites(load_template(), "10-20")
    found = plan(sites, disc(sites, "F3", 8, "wound"), disc(sites, "F4", 24, "shunt"))
    by_site = {move.site: move for move in found.moves}
    assert set(by_site) == {"F3", "F4"}
    assert by_site["F3"].moved_mm > 28  # the shunt of the other side needs 29
    assert_sound(sites, found)
    alone = plan(sites, disc(sites, "F3", 8, "wound"), homologues=False)
    assert [move.site for move in alone.moves] == ["F3"]
    assert alone.moves[0].moved_mm < 20


def test_a_homologue_that_is_not_in_use_does_not_move() -> None:
    sites = place_sites(load_template(), ["C3", "Cz"])
    found = plan(sites, disc(sites, "C3", 10, "wound"))
    assert [move.site for move in found.moves] == ["C3"]


def test_places_that_touch_no_site_move_nothing() -> None:
    sites = place_sites(load_template(), "10-20")
    found = plan(sites, disc(sites, "FC5", 10, "wound"))
    assert (found.moves, found.left_out, found.notes) == ((), {}, ())
    assert plan(sites).sentences == ()


def test_an_ear_lobe_goes_to_the_bone_behind_the_ear() -> None:
    sites = place_sites(load_template(), "10-20")
    found = plan(sites, disc(sites, "A1", 12, "wound"))
    assert [(move.site, move.toward) for move in found.moves] == [("A1", "M1"), ("A2", "M2")]
    assert found.sentences[1].endswith("cm away, as A1 does.")
    both = disc(sites, "A1", 12, "wound"), disc(sites, "A1", 60, "dressing")
    crowd = plan(sites, *both, homologues=False)
    # No tape runs over a lobe, so it is never moved so many millimetres toward a site.
    assert all(move.named for move in crowd.moves if move.site == "A1")


def test_what_cannot_be_solved_is_said() -> None:
    sites = place_sites(load_template(), "10-20")
    found = plan(sites, disc(sites, "Cz", 20, "wound"), farthest_mm=10.0)
    assert found.moves == ()
    assert found.left_out == {
        "Cz": "Cz is left out: no place within 10 mm clears what must stay free equally on both "
        "sides (it may move alone)."
    }
    assert found.points_mm == {"Cz": None}
    alone = plan(sites, disc(sites, "C3", 20, "wound"), farthest_mm=10.0, homologues=False)
    assert alone.left_out == {
        "C3": "C3 is left out: no place within 10 mm clears what must stay free."
    }
    pair = place_sites(load_template(), ["C3", "C5"])
    crowd = plan(pair, disc(pair, "C3", 40, "wound"), homologues=False, apart_mm=300.0)
    assert len(crowd.moves) == 1
    assert next(iter(crowd.left_out.values())).endswith(
        "is left out: the places that would do are taken by other moved sites."
    )


def test_too_many_crowded_sites_are_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(choosing, "MOST_BRANCHES", 2)
    sites = place_sites(load_template(), "ifcn-25")
    found = plan(sites, disc(sites, "F3", 60, "wound"))
    assert found.notes[0].endswith("these moves are possible, but there may be shorter ones.")
    assert not covered(found.obstacles, np.array([m.point_mm for m in found.moves])).any()


@pytest.mark.parametrize("system", ["10-20", "ifcn-25"])
def test_a_place_that_covers_the_whole_head_is_one_sentence(system: str) -> None:
    sites = place_sites(load_template(), system)
    with pytest.raises(
        InputError,
        match=r"places that must stay free must leave some of the scalp free, got dressing, 150 mm "
        r"around Cz; dressing, 150 mm around Pz, which covers every site of 10-20 \(is the "
        r"radius in millimetres\?\)",
    ):
        plan(sites, *(disc(sites, name, 150, "dressing") for name in ("Cz", "Pz")))


@pytest.mark.parametrize(
    ("name", "title", "what_to_do"),
    [
        ("nasion", "nasion", "mark the midline arc from the inion."),
        ("inion", "inion", "mark the midline arc from the nasion."),
        (
            "left_preauricular",
            "left preauricular point",
            "mark the coronal arc from the right preauricular point.",
        ),
        (
            "right_preauricular",
            "right preauricular point",
            "mark the coronal arc from the left preauricular point.",
        ),
    ],
)
def test_a_landmark_inside_a_place_is_one_sentence(name: str, title: str, what_to_do: str) -> None:
    sites = place_sites(load_template(), "10-20")
    place = disc(sites, sites.tracer.point(name).tolist(), 15, "wound")
    assert plan(sites, place).notes[0] == (
        f"The {title} lies inside a place that must stay free ({place.title}): do not touch it or "
        f"lay a tape to it; leave out what is measured from it, name it under doubtful, and "
        f"{what_to_do}"
    )


def test_a_tape_that_would_cross_a_place_is_named() -> None:
    sites = place_sites(load_template(), "10-20")
    notes = plan(sites, disc(sites, "Fz", 6, "wound")).notes
    place = "wound, 6 mm around Fz"
    assert list(notes) == [
        (
            f"Lay no tape on the place that must stay free ({place}) or within 5 mm of it: "
            "midline, row F end before it."
        )
    ]
