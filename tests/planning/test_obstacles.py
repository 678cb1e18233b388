"""Places that must stay free, against caps and triangles on a sphere."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from solids import SPHERE_A

from headfit import load_template, place_sites
from headfit.errors import InputError, UnknownNameError
from headfit.geometry.surface import nearest
from headfit.planning.obstacles import Disc, Polygon, disc, polygon

SPHERE = place_sites(SPHERE_A.head(), "10-10")
ADULT = place_sites(load_template(), "10-20")
SEEDS = st.integers(0, 2**32 - 1)


def places(n: int, seed: int) -> np.ndarray:
    """(n, 3) drawn evenly from the upper half of sphere A."""
    points = np.random.default_rng(seed).normal(size=(n, 3))
    points[:, 2] = np.abs(points[:, 2])
    return 90 * points / np.linalg.norm(points, axis=1, keepdims=True)


@given(SEEDS, st.floats(5, 60), st.floats(0, 10))
@settings(max_examples=25)
def test_a_disc_covers_a_cap_of_the_sphere(seed: int, radius: float, clearance: float) -> None:
    wound = disc(SPHERE, "C3", radius, "wound", clearance)
    points = places(300, seed)
    angle = np.arccos(np.clip(points @ SPHERE_A.sites["C3"] / 90**2, -1, 1))
    chord = 2 * 90 * np.sin(angle / 2)
    clear_cut = np.abs(chord - radius - clearance) > 0.1  # the mesh is a little inside the sphere
    assert clear_cut.sum() > 200
    assert (wound.covers(points) == (chord < radius + clearance))[clear_cut].all()
    assert (wound.covers(points, 0.0) == (chord < radius))[np.abs(chord - radius) > 0.1].all()


@pytest.mark.parametrize("radius", [2.0, 10.0, 40.0])
def test_the_outline_of_a_disc_runs_once_round_at_its_radius(radius: float) -> None:
    outline = disc(SPHERE, "C3", radius, "wound").outline_mm
    gaps = np.linalg.norm(outline - SPHERE["C3"], axis=1)
    # Interpolated along edges of 3 mm.
    assert np.abs(gaps - radius).max() < 0.4
    flat = (outline - SPHERE["C3"]) @ np.linalg.svd(SPHERE["C3"][None])[2][1:].T
    turns = np.unwrap(np.arctan2(flat[:, 1], flat[:, 0]))
    assert np.abs(np.diff(turns)).max() < 1.0
    assert abs(turns[-1] - turns[0]) > 2 * np.pi - 1.0


CORNERS = ("F3", "C1", "C5")


@given(SEEDS, st.floats(0, 10))
@settings(max_examples=25)
def test_a_polygon_covers_a_triangle_of_great_circles(seed: int, clearance: float) -> None:
    """Inside is on the same side of all three planes through the centre."""
    defect = polygon(SPHERE, CORNERS, "bone defect", clearance)
    corners = np.array([SPHERE_A.sites[name] for name in CORNERS])
    middle = corners.mean(axis=0)
    # As many near the triangle as anywhere.
    points = np.vstack([places(200, seed), middle + 25 * (places(200, seed + 1) - middle) / 90])
    points = 90 * points / np.linalg.norm(points, axis=1, keepdims=True)
    following = np.roll(corners, -1, axis=0)
    normals = np.cross(corners, following)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    normals *= np.sign(normals @ middle)[:, None]
    inside = (points @ normals.T > 0).all(axis=1)
    # Straight distance to the edges, sampled much finer than the tolerance.
    edges = np.vstack([(1 - t) * corners + t * following for t in np.linspace(0, 1, 400)])
    edges = 90 * edges / np.linalg.norm(edges, axis=1, keepdims=True)
    off = np.linalg.norm(points[:, None] - edges[None], axis=2).min(axis=1)
    expected = inside | (off < clearance)
    clear_cut = (np.abs(off - clearance) > 0.5) & (off > 0.5)
    assert 20 < (expected & clear_cut).sum() < clear_cut.sum() - 100
    assert (defect.covers(points) == expected)[clear_cut].all()


def test_the_order_of_the_corners_does_not_matter() -> None:
    one, other = (polygon(SPHERE, c, "shunt", 0.0) for c in (CORNERS, CORNERS[::-1]))
    points = places(500, 3)
    assert one.covers(points).sum() > 5
    assert (one.covers(points) == other.covers(points)).all()


def test_the_far_side_of_the_head_is_never_inside() -> None:
    defect = polygon(SPHERE, CORNERS, "bone defect")
    assert defect.covers(SPHERE_A.sites["C3"][None])[0]
    toward = defect.corners_mm - defect.inside_mm
    look = (toward / np.linalg.norm(toward, axis=1, keepdims=True)).mean(axis=0)
    behind = defect.inside_mm - np.outer([1.0, 40.0], look / np.linalg.norm(look))
    assert not defect.covers(np.vstack([behind, -SPHERE_A.sites["C3"]])).any()


def test_a_place_is_given_by_any_site_or_a_point_near_the_scalp() -> None:
    by_site = disc(ADULT, "fc3", 20, "shunt")
    point = by_site.centre_mm
    outwards = point / np.linalg.norm(point)
    by_point = disc(ADULT, (point + 4 * outwards).tolist(), 20, "shunt")
    assert by_site.where == "20 mm around FC3"
    assert by_point.where == "20 mm around a place between C3 and F3"
    # The nearest skin to a floating point: within its height of the place.
    assert np.linalg.norm(by_point.centre_mm - point) < 4
    for place in (by_site, by_point):
        assert nearest(ADULT.tracer.mesh, place.centre_mm[None])[1][0] < 1e-9


def test_a_title_says_what_and_where() -> None:
    assert disc(ADULT, "F3", 15, " bone \n defect ").title == "bone defect, 15 mm around F3"
    assert polygon(ADULT, ["F3", "C3", "Cz"], "wound").title == "wound, between F3, C3, Cz"


def test_a_tiny_disc_still_has_an_outline() -> None:
    found = disc(ADULT, "Cz", 1.0, "wound")
    assert len(found.outline_mm) >= 12
    assert np.allclose(np.linalg.norm(found.outline_mm - found.centre_mm, axis=1), 1.0)


@pytest.mark.parametrize(
    ("radius", "got"),
    [(0.5, "0.5"), (151, "151"), (float("nan"), "nan"), ("15", "'15'"), (True, "True")],
)
def test_a_radius_out_of_range_is_one_sentence(radius: object, got: str) -> None:
    with pytest.raises(InputError, match=f"radius_mm of wound must lie in 1 to 150 mm, got {got}"):
        disc(ADULT, "F3", radius, "wound")


def test_a_clearance_out_of_range_is_one_sentence() -> None:
    with pytest.raises(InputError, match="clearance_mm of wound must lie in 0 to 30 mm, got -1"):
        disc(ADULT, "F3", 15, "wound", -1)


@pytest.mark.parametrize("reason", ["", " ", 61 * "x", None])
def test_a_reason_that_says_nothing_or_too_much_is_one_sentence(reason: str) -> None:
    with pytest.raises(InputError, match="must be a short text such as wound or shunt, got"):
        disc(ADULT, "F3", 15, reason)


@pytest.mark.parametrize("point", [[0, 0], [0, 0, float("inf")], [0, "x", 0], []])
def test_a_point_that_is_none_is_one_sentence(point: list[float]) -> None:
    with pytest.raises(InputError, match="must be a site or three finite numbers in mm, got"):
        disc(ADULT, point, 15, "wound")


def test_a_point_off_the_scalp_is_one_sentence() -> None:
    with pytest.raises(InputError, match=r"must lie within 10 mm of the scalp, got 1\d\d mm"):
        disc(ADULT, [0, 0, 300], 15, "wound")


@pytest.mark.parametrize(
    ("corners", "got"), [(["F3", "C3"], "F3, C3"), ([], "none"), (["F3", "C3", "C3"], "F3, C3, C3")]
)
def test_too_few_corners_are_one_sentence(corners: list[str], got: str) -> None:
    with pytest.raises(InputError, match=f"have at least three different corners, got {got}"):
        polygon(ADULT, corners, "wound")


@pytest.mark.parametrize("corners", [["T9", "Nz", "T10", "Iz"], ["T7", "Fpz", "P8"]])
def test_a_polygon_round_the_head_is_one_sentence(corners: list[str]) -> None:
    with pytest.raises(InputError, match="lie on one side of the head, got one that reaches round"):
        polygon(ADULT, corners, "dressing")


def test_an_unknown_site_is_one_sentence() -> None:
    with pytest.raises(UnknownNameError, match="unknown site 'F33': did you mean"):
        disc(ADULT, "F33", 15, "wound")
    with pytest.raises(UnknownNameError, match="unknown site 'F33'"):
        polygon(ADULT, ["F3", "F33", "C3"], "wound")


def test_both_kinds_of_place_answer_the_same_questions() -> None:
    for place in (disc(ADULT, "F3", 15, "w"), polygon(ADULT, ["F3", "C3", "Cz"], "w")):
        assert isinstance(place, Disc | Polygon)
        assert place.covers(np.empty((0, 3))).tolist() == []
        assert not place.outline_mm.flags.writeable


def test_a_clicked_place_is_told_by_the_sites_around_it() -> None:
    """Seen: a click beside C3 was listed as "14 mm around (-58, 3, 79) mm"."""
    middle = (ADULT["C3"] + ADULT["T7"]) / 2
    title = disc(ADULT, nearest_skin(middle), 14, "wound").title
    assert title == "wound, 14 mm around a place between C3 and T7"
    assert disc(ADULT, ADULT["C3"], 14, "wound").title == "wound, 14 mm around C3"
    corners = [nearest_skin(middle + step) for step in ([0, 12, 0], [0, -12, 0], [0, 0, 14])]
    assert polygon(ADULT, corners, "graft").where.startswith("outlined near ")
    assert "mm" not in polygon(ADULT, corners, "graft").where


def nearest_skin(point: np.ndarray) -> np.ndarray:
    mesh = ADULT.tracer.mesh
    return mesh.vertices_mm[np.linalg.norm(mesh.vertices_mm - point, axis=1).argmin()]
