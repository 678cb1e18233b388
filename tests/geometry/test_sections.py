"""Plane sections against closed forms, trimesh's plane cut, and the order of points by angle."""

import re

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import cKDTree
from solids import bumpy_head, direction, turn, unit_sphere

from headfit.errors import MeshError
from headfit.geometry.mesh import TriangleMesh
from headfit.geometry.sections import Curve, cut, cut_all

SEEDS = st.integers(0, 2**32 - 1)


def length(points: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def closed_length(curve: Curve) -> float:
    return length(np.vstack([curve.points_mm, curve.points_mm[:1]]))


def places_on(mesh: TriangleMesh, n: int, rng: np.random.Generator) -> np.ndarray:
    """(n, 3) points, each on another triangle drawn by lot."""
    weights = rng.dirichlet([1, 1, 1], size=n)
    chosen = rng.choice(len(mesh.faces), size=n, replace=False)
    return np.einsum("ij,ijk->ik", weights, mesh.triangles_mm[chosen])


def pieces_of_trimesh(mesh: TriangleMesh, curve: Curve) -> np.ndarray:
    """(m, 2, 3) the pieces that trimesh finds in the plane of a curve, in no order."""
    other = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    return trimesh.intersections.mesh_plane(other, curve.normal, curve.points_mm[curve.start])


def assert_no_row_twice(curve: Curve) -> None:
    steps = np.linalg.norm(np.diff(curve.points_mm, axis=0), axis=1)
    assert steps.min() > 1e-10


@given(SEEDS)
@settings(max_examples=40)
def test_a_section_is_what_trimesh_cuts_in_order(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = bumpy_head(seed % 11, subdivisions=3, bumps=0.01).surface
    named = places_on(mesh, 3, rng)
    curve = cut(mesh, *named)
    pieces = pieces_of_trimesh(mesh, curve)
    rows = curve.points_mm[curve.half_edges >= 0]
    ends = pieces.reshape(-1, 3)
    assert len(rows) == len(pieces)  # every piece ends where the next begins
    assert cKDTree(ends).query(rows)[0].max() < 1e-7
    assert cKDTree(rows).query(ends)[0].max() < 1e-7
    assert closed_length(curve) == pytest.approx(
        np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=1).sum(), rel=1e-9
    )
    np.testing.assert_array_equal(curve.points_mm[[curve.start, curve.via, curve.end]], named)
    # Each row is where its half edge says it is.
    first, second, _ = mesh.half_edges
    on = curve.half_edges >= 0
    begin, end = (mesh.vertices_mm[v[curve.half_edges[on]]] for v in (first, second))
    np.testing.assert_allclose(begin + curve.weights[on, None] * (end - begin), rows, atol=1e-9)


def by_angle(mesh: TriangleMesh, named: np.ndarray) -> np.ndarray:
    """The path start - via - end on a convex mesh: points of the section in the order of angle."""
    normal = np.cross(named[2] - named[0], named[1] - named[0])
    normal = normal / np.linalg.norm(normal)
    other = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    ends = trimesh.intersections.mesh_plane(other, normal, named[0]).reshape(-1, 3)
    middle = ends.mean(axis=0)
    first = named[0] - middle
    second = np.cross(normal, first)

    def angle(points: np.ndarray) -> np.ndarray:
        gap = points - middle
        return np.arctan2(gap @ second, gap @ first) % (2 * np.pi)

    if angle(named[1]) > angle(named[2]):
        second = -second
    at = angle(ends)
    between = (at > 1e-12) & (at < angle(named[2]))
    path = np.vstack([named[1:2], ends[between]])
    path = path[np.argsort(angle(path))]
    return np.vstack([named[:1], path, named[2:]])


@given(SEEDS, st.integers(0, 2))
@settings(max_examples=80)
def test_a_path_on_a_convex_solid_is_ordered_by_angle(seed: int, subdivisions: int) -> None:
    # At 0 subdivisions two named points often lie on one triangle, in either order.
    vertices, faces = unit_sphere(subdivisions, turn(seed))
    mesh = TriangleMesh(90 * vertices, faces)
    named = places_on(mesh, 3, np.random.default_rng(seed))
    curve = cut(mesh, *named)
    expected = by_angle(mesh, named)
    assert length(curve.path_mm) == pytest.approx(length(expected), rel=1e-7)
    assert cKDTree(expected).query(curve.path_mm)[0].max() < 1e-6
    assert_no_row_twice(curve)


@given(SEEDS, st.permutations(["one", "one again", "other"]))
@settings(max_examples=60)
def test_two_points_on_one_triangle_are_met_in_order(seed: int, order: list[str]) -> None:
    rng = np.random.default_rng(seed)
    vertices, faces = unit_sphere(1, turn(seed))
    mesh = TriangleMesh(90 * vertices, faces)
    first, second = mesh.triangles_mm[rng.choice(len(faces), size=2, replace=False)]
    one, again, other = rng.dirichlet([1, 1, 1], size=3)
    places = {"one": one @ first, "one again": again @ first, "other": other @ second}
    named = np.array([places[name] for name in order])
    curve = cut(mesh, *named)
    assert length(curve.path_mm) == pytest.approx(length(by_angle(mesh, named)), rel=1e-7)
    assert_no_row_twice(curve)


@given(SEEDS)
@settings(max_examples=25)
def test_from_end_to_start_it_is_the_same_path_backwards(seed: int) -> None:
    mesh = bumpy_head(seed % 5, subdivisions=2, bumps=0.01).surface
    start, via, end = places_on(mesh, 3, np.random.default_rng(seed))
    there, back = cut(mesh, start, via, end), cut(mesh, end, via, start)
    np.testing.assert_allclose(back.path_mm, there.path_mm[::-1], atol=1e-7)
    np.testing.assert_allclose(back.normal, -there.normal, atol=1e-9)


@pytest.mark.parametrize("n_planes", [2, 9, 17, 33, 70])  # each more than a narrower word holds
@given(seed=SEEDS)
@settings(max_examples=10)
def test_several_planes_at_once_are_cut_as_one_by_one(seed: int, n_planes: int) -> None:
    mesh = bumpy_head(seed % 5, subdivisions=2, bumps=0.01).surface
    named = places_on(mesh, 3 * n_planes, np.random.default_rng(seed)).reshape(n_planes, 3, 3)
    for together, (start, via, end) in zip(
        cut_all(mesh, [tuple(triple) for triple in named]), named, strict=True
    ):
        alone = cut(mesh, start, via, end)
        np.testing.assert_allclose(together.points_mm, alone.points_mm, atol=1e-9)
        assert (together.start, together.via, together.end) == (alone.start, alone.via, alone.end)
        np.testing.assert_array_equal(together.half_edges, alone.half_edges)
        np.testing.assert_allclose(together.weights, alone.weights, atol=1e-9)


def sphere_points(*polar_azimuth: tuple[float, float], radius: float = 90.0) -> np.ndarray:
    return radius * direction(*np.array(polar_azimuth).T)


def test_the_plane_normal_times_the_way_points_outwards() -> None:
    vertices, faces = unit_sphere(3, turn(2))
    mesh = TriangleMesh(90 * vertices, faces)
    for named in (places_on(mesh, 3, np.random.default_rng(k)) for k in range(20)):
        curve = cut(mesh, *named)
        way = np.diff(curve.path_mm, axis=0)
        out = np.cross(curve.normal, way)
        middle = curve.points_mm.mean(axis=0)
        assert (np.einsum("ij,ij->i", out, curve.path_mm[:-1] - middle) > 0).all()


def test_the_rest_of_a_closed_section_is_shared_between_both_ends() -> None:
    mesh = bumpy_head(3, subdivisions=3).surface
    curve = cut(mesh, *places_on(mesh, 3, np.random.default_rng(8)))
    before, after = curve.start, len(curve.points_mm) - 1 - curve.end
    assert abs(before - after) <= 1
    assert before > 5


@pytest.mark.parametrize("subdivisions", [0, 1, 2, 3])
def test_a_plane_along_edges_gives_each_place_once(subdivisions: int) -> None:
    # The sphere that is not turned has edges in x = 0, whose ends lie in the plane exactly.
    vertices, faces = unit_sphere(subdivisions)
    mesh = TriangleMesh(vertices, faces)
    in_plane = vertices[np.abs(vertices[:, 0]) < 1e-12]
    assert len(in_plane) >= 4
    around = in_plane[np.argsort(np.arctan2(in_plane[:, 2], in_plane[:, 1]))]
    start, via, end = around[0], around[len(around) // 3], around[2 * len(around) // 3]
    curve = cut(mesh, start, via, end)
    assert_no_row_twice(curve)
    # The icosahedron's section in x = 0 also runs over the middles of edges across the plane.
    assert cKDTree(curve.points_mm).query(around)[0].max() < 1e-12
    np.testing.assert_allclose(curve.points_mm[:, 0], 0.0, atol=1e-12)
    crossing = by_angle(mesh, np.array([start, via, end]))
    assert length(curve.path_mm) == pytest.approx(length(crossing), rel=1e-9)


def test_a_plane_through_vertices_gives_each_place_once() -> None:
    vertices, faces = unit_sphere(2, turn(9))
    mesh = TriangleMesh(vertices, faces)
    rng = np.random.default_rng(4)
    for _ in range(40):
        named = vertices[rng.choice(len(vertices), 3, replace=False)]
        curve = cut(mesh, *named)
        assert_no_row_twice(curve)
        assert length(curve.path_mm) == pytest.approx(length(by_angle(mesh, named)), rel=1e-9)


def test_a_plane_through_edge_middles_keeps_them_as_named_points() -> None:
    vertices, faces = unit_sphere(1)
    mesh = TriangleMesh(vertices, faces)
    named = np.array([vertices[faces[k, :2]].mean(axis=0) for k in (0, 33, 61)])
    curve = cut(mesh, *named)
    assert_no_row_twice(curve)
    np.testing.assert_array_equal(curve.path_mm[[0, -1]], named[[0, 2]])
    assert length(curve.path_mm) == pytest.approx(length(by_angle(mesh, named)), rel=1e-9)


def test_a_box_is_cut_along_its_faces() -> None:
    box = trimesh.creation.box((40, 60, 80))
    mesh = TriangleMesh(box.vertices, box.faces)
    curve = cut(mesh, *np.array([[0.0, 30, -10], [0, 0, 40], [0, -30, -10]]))
    assert length(curve.path_mm) == pytest.approx(50 + 60 + 50)
    assert closed_length(curve) == pytest.approx(2 * (60 + 80))


# A ring of 100 mm with a tube of 30 mm: planes cut it in two loops.
TORUS = trimesh.creation.torus(100.0, 30.0, major_sections=256, minor_sections=64)
RING = TriangleMesh(TORUS.vertices @ turn(7).T, TORUS.faces)


def around(radius: float, *azimuths: float) -> np.ndarray:
    """Points of the plane that halves the ring."""
    return sphere_points(*((90.0, azimuth) for azimuth in azimuths), radius=radius) @ turn(7).T


@pytest.mark.parametrize("radius", [130.0, 70.0], ids=["outer rim", "inner rim"])
def test_of_several_loops_the_one_through_the_points_is_taken(radius: float) -> None:
    at = np.degrees(2 * np.pi / 256)  # vertices stand at multiples of this
    curve = cut(RING, *around(radius, 0 * at, 40 * at, 128 * at))
    assert length(curve.path_mm) == pytest.approx(np.pi * radius, rel=1e-3)
    assert closed_length(curve) == pytest.approx(2 * np.pi * radius, rel=1e-3)


@pytest.mark.parametrize("radius", [130.0, 70.0], ids=["outer rim", "inner rim"])
def test_a_ring_with_a_gap_is_cut_up_to_the_gap(radius: float) -> None:
    at = np.degrees(2 * np.pi / 256)
    gap = around(1.0, 192 * at)[0]
    middle = RING.triangles_mm.mean(axis=1)
    kept = middle @ gap < np.linalg.norm(middle, axis=1) * np.cos(np.radians(20))
    ring = TriangleMesh(RING.vertices_mm, RING.faces[kept])
    curve = cut(ring, *around(radius, 0 * at, 40 * at, 128 * at))
    assert length(curve.path_mm) == pytest.approx(np.pi * radius, rel=1e-3)
    for reach in (curve.points_mm[0], curve.points_mm[-1]):
        assert np.degrees(np.arccos(reach @ gap / radius)) == pytest.approx(20, abs=1.5)
    assert length(curve.points_mm) == pytest.approx(np.pi * radius * 320 / 180, rel=0.01)


def test_points_on_different_loops_are_no_arc() -> None:
    at = np.degrees(2 * np.pi / 256)
    outer, inner = around(130.0, 0, 64 * at), around(70.0, 128 * at)
    with pytest.raises(MeshError, match="which lie on different curves of the section"):
        cut(RING, outer[0], outer[1], inner[0])


def holed_sphere(polar: float, azimuth: float, size_deg: float) -> TriangleMesh:
    """A sphere of 90 mm with a round hole."""
    vertices, faces = unit_sphere(4, turn(3))
    gone = vertices @ direction(polar, azimuth) > np.cos(np.radians(size_deg))
    return TriangleMesh(90 * vertices, faces[~gone[faces].any(axis=1)])


FRONT_TOP_BACK = sphere_points((89.0, 1.0), (2.0, 5.0), (91.0, 181.0))


def on_sphere(named: np.ndarray, mesh: TriangleMesh) -> np.ndarray:
    """The points moved radially onto the mesh, which the holes do not reach."""
    other = trimesh.Trimesh(mesh.vertices_mm, mesh.faces, process=False)
    return trimesh.proximity.closest_point(other, named)[0]


WHOLE = TriangleMesh(90 * unit_sphere(4, turn(3))[0], unit_sphere(4)[1])


def test_a_hole_away_from_the_arc_changes_nothing() -> None:
    named = on_sphere(FRONT_TOP_BACK, WHOLE)
    whole, holed = cut(WHOLE, *named), cut(holed_sphere(60, 90, 20), *named)
    np.testing.assert_allclose(holed.points_mm, whole.points_mm, atol=1e-12)


@pytest.mark.parametrize("reverse", [False, True])
def test_a_hole_in_the_rest_of_the_section_shortens_only_the_rest(reverse: bool) -> None:
    named = on_sphere(FRONT_TOP_BACK, WHOLE)
    named = named[::-1] if reverse else named
    mesh = holed_sphere(160, 0, 30)
    whole, holed = cut(WHOLE, *named), cut(mesh, *named)
    np.testing.assert_allclose(holed.path_mm, whole.path_mm, atol=1e-9)
    assert holed.start > 2
    assert len(holed.points_mm) - holed.end > 2
    # What is left of the rest, in degrees of arc: 178 of the whole less the hole of 60.
    rest = length(holed.points_mm) - length(holed.path_mm)
    assert np.degrees(rest / 90) == pytest.approx(178 - 60, abs=9)  # triangles of 4 degrees
    gap = np.linalg.norm(holed.points_mm[0] - holed.points_mm[-1])
    assert gap > 90 * 2 * np.sin(np.radians(28))


def test_an_arc_may_begin_and_end_on_triangles_at_the_border() -> None:
    """A scan that ends at the landmarks."""
    vertices, faces = unit_sphere(4, turn(3))
    vault = TriangleMesh(90 * vertices, faces[(vertices[faces][:, :, 2] > 0).all(axis=1)])
    border = np.flatnonzero((vault.neighbours < 0).any(axis=1))
    middles = vault.triangles_mm.mean(axis=1)
    front, back = (border[(sign * middles[border, 1]).argmax()] for sign in (1, -1))
    for share in ([0.98, 0.01, 0.01], [0.01, 0.98, 0.01], [0.01, 0.01, 0.98]):
        start, end = np.array(share) @ vault.triangles_mm[front], middles[back]
        named = np.array([start, on_sphere(FRONT_TOP_BACK, WHOLE)[1], end])
        there, whole = cut(vault, *named), cut(WHOLE, *named)
        np.testing.assert_allclose(there.path_mm, whole.path_mm, atol=1e-9)


@pytest.mark.parametrize("polar", [40.0, -40.0], ids=["before the top", "after the top"])
def test_a_hole_across_the_arc_is_an_error(polar: float) -> None:
    named = on_sphere(FRONT_TOP_BACK, WHOLE)
    message = (
        r"an arc must run over unbroken surface through its three points, got .* which lie on "
        r"different curves of the section, or a border parts them \(close the holes of the mesh"
    )
    with pytest.raises(MeshError, match=message):
        cut(holed_sphere(polar, 3, 8), *named)


def test_two_holes_across_the_plane_part_the_arc() -> None:
    named = on_sphere(FRONT_TOP_BACK, WHOLE)
    once = holed_sphere(40, 3, 8)
    gone = once.vertices_mm @ direction(150.0, 0.0) > 90 * np.cos(np.radians(8))
    twice = TriangleMesh(once.vertices_mm, once.faces[~gone[once.faces].any(axis=1)])
    with pytest.raises(MeshError, match="a border parts them"):
        cut(twice, *named)


def test_a_point_off_the_surface_is_an_error_with_its_distance() -> None:
    named = on_sphere(FRONT_TOP_BACK, WHOLE)
    named[2] *= 1.02
    with pytest.raises(MeshError, match=r"got .*, the farthest 1\.8 mm off the section") as caught:
        cut(WHOLE, *named)
    assert caught.value.facts["distance_mm"] == pytest.approx(1.8, abs=0.05)


@pytest.mark.parametrize(("off_mm", "refused"), [(0.005, False), (0.02, True), (0.5, True)])
def test_a_named_point_may_miss_the_curve_by_the_rounding_of_files(
    off_mm: float, refused: bool
) -> None:
    """A hundredth of a millimetre, as files write it; headfit's own choice, no source."""
    named = on_sphere(FRONT_TOP_BACK, WHOLE)
    named[2] *= 1 + off_mm / np.linalg.norm(named[2])
    if refused:
        with pytest.raises(MeshError, match="mm off the section"):
            cut(WHOLE, *named)
    else:
        np.testing.assert_array_equal(cut(WHOLE, *named).path_mm[-1], named[2])


def test_a_section_keeps_its_first_row_where_the_one_before_ended() -> None:
    """There and back: the rest of the loop is parted at one row, which both sections have."""
    mesh = bumpy_head(3, subdivisions=3).surface
    met = 0
    for seed in range(8):
        start, via, end = places_on(mesh, 3, np.random.default_rng(seed))
        ways = [(start, via, end), (end, via, start)]
        together = cut_all(mesh, ways)
        met += np.linalg.norm(together[0].points_mm[-1] - together[1].points_mm[0]) < 1e-9
        for curve, way in zip(together, ways, strict=True):
            np.testing.assert_allclose(curve.points_mm, cut(mesh, *way).points_mm, atol=1e-9)
    assert met >= 2  # every loop of an even rest


def test_three_points_in_line_are_refused() -> None:
    message = "must not lie in line, got (90.0, 0.0, 0.0), (0.0, 0.0, 0.0), (-90.0, 0.0, 0.0)"
    with pytest.raises(MeshError, match=re.escape(f"three points of an arc {message}")):
        cut(WHOLE, *np.array([[90.0, 0, 0], [0, 0, 0], [-90, 0, 0]]))


def test_a_plane_beside_the_surface_is_refused() -> None:
    message = "must cut the surface, got (0.0, 0.0, 200.0), (9.0, 0.0, 200.0), (0.0, 9.0, 200.0)"
    with pytest.raises(MeshError, match=re.escape(f"plane of an arc {message}")):
        cut(WHOLE, *np.array([[0.0, 0, 200], [9, 0, 200], [0, 9, 200]]))


def test_two_points_in_one_place_are_refused() -> None:
    start, _, end = on_sphere(FRONT_TOP_BACK, WHOLE)
    with pytest.raises(MeshError, match="three points of an arc must be apart, got"):
        cut(WHOLE, start, start + 1e-10, end)


@given(SEEDS)
@settings(max_examples=25)
def test_a_hint_turns_the_plane_and_its_nearest_place_stands_for_it(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = bumpy_head(seed % 5, subdivisions=2, bumps=0.01).surface
    start, via, end = places_on(mesh, 3, rng)
    hint = via * rng.uniform(1.01, 1.8)
    curve = cut(mesh, start, hint, end, via_is_hint=True)
    place = curve.points_mm[curve.via]
    assert abs((hint - place) @ curve.normal) < 1e-7
    ends = np.vstack([curve.points_mm, curve.points_mm[:1]])
    begin, span = ends[:-1], np.diff(ends, axis=0)
    share = np.einsum("ij,ij->i", hint - begin, span) / np.einsum("ij,ij->i", span, span)
    feet = begin + np.clip(share, 0, 1)[:, None] * span
    assert np.linalg.norm(hint - place) == pytest.approx(
        np.linalg.norm(hint - feet, axis=1).min(), abs=1e-9
    )
