"""A head: what is refused, and the surfaces derived from it."""

import re

import numpy as np
import pytest
import trimesh
from solids import ELLIPSOID, SPHERE_A, SPHERE_C, Capsule, bumpy_head, turn, unit_sphere

from headfit import Head, Landmarks, load_template, place_sites
from headfit.anatomy.head import EAR, NECK, PART_NAMES, SCALP
from headfit.errors import LandmarkError, MeshError
from headfit.geometry.surface import nearest

ADULT = load_template()
UNIT, FACES = unit_sphere(4, turn(1))
BALL = 90 * UNIT
MARKS = SPHERE_C.landmarks


ONE_PIECE = "be one connected piece, got 2 pieces (keep the scalp only, and merge vertices that"
OUTWARDS = "be wound so that normals point outwards, got an inside-out surface (reverse the corner"
ACROSS = "measure 120 to 1500 mm across its bounding box, got"
SIZE_MM = float(np.linalg.norm(np.ptp(BALL, axis=0)))


@pytest.mark.parametrize(
    ("vertices", "faces", "message"),
    [
        (
            np.where(np.arange(len(BALL))[:, None] == 7, np.nan, BALL),
            FACES,
            "vertex coordinates must be finite, got 1 that are not (first at vertex 7)",
        ),
        (
            BALL,
            np.vstack([FACES, [[0, 1, 2562]]]),
            "corner numbers of triangles must lie in 0 to 2561, got 2562 in triangle 5120",
        ),
        (BALL[:0], FACES, "vertices must be a table of three columns, not empty, got shape (0, 3)"),
        (
            np.vstack([BALL, BALL + 200]),
            np.vstack([FACES, FACES + 2562]),
            f"head surface must {ONE_PIECE}",
        ),
        (BALL, FACES[:, ::-1], f"triangles of the head surface must {OUTWARDS}"),
        (
            BALL / 1000,
            FACES,
            f"head surface must {ACROSS} {SIZE_MM / 1000:.3g} mm (are these metres?)",
        ),
        (
            BALL / 10,
            FACES,
            f"head surface must {ACROSS} {SIZE_MM / 10:.3g} mm (are these centimetres?)",
        ),
        (
            BALL * 1000,
            FACES,
            f"head surface must {ACROSS} {round(SIZE_MM) * 1000} mm (are these micrometres?)",
        ),
    ],
    ids=[
        "not finite",
        "corner out of range",
        "empty",
        "two pieces",
        "inside out",
        "metres",
        "centimetres",
        "micrometres",
    ],
)
def test_a_surface_that_is_no_head_is_refused(
    vertices: np.ndarray, faces: np.ndarray, message: str
) -> None:
    with pytest.raises(MeshError, match=f"^{re.escape(message)}"):
        Head(vertices, faces, MARKS)


def test_winding_that_disagrees_is_refused() -> None:
    faces = FACES.copy()
    faces[10] = faces[10, ::-1]
    with pytest.raises(MeshError, match=r"run along it in opposite directions, got 3 edges"):
        Head(BALL, faces, MARKS)


@pytest.mark.parametrize("name", ["nasion", "inion", "left_preauricular", "right_preauricular"])
def test_a_landmark_20_mm_off_the_surface_is_refused(name: str) -> None:
    points = {
        n: getattr(MARKS, n) for n in ("nasion", "inion", "left_preauricular", "right_preauricular")
    }
    points[name] = points[name] * (110 / 90)
    title = name.replace("_preauricular", " preauricular point")
    message = rf"^{title} must lie on the head surface, got (19\.9|20\.[01]) mm off it \(do landm"
    with pytest.raises(LandmarkError, match=message) as caught:
        Head(BALL, FACES, Landmarks(**points))
    assert caught.value.facts["landmark"] == name
    assert caught.value.facts["distance_mm"] == pytest.approx(20, abs=0.2)


def test_a_landmark_a_little_off_is_moved_to_the_surface_and_told() -> None:
    head = Head(BALL, FACES, Landmarks.from_points(MARKS.points_mm * [[1.05], [0.97], [1], [1]]))
    np.testing.assert_allclose(head.landmark_offsets_mm, [4.5, 2.7, 0, 0], atol=0.1)
    assert nearest(head.surface, head.landmarks.points_mm)[1].max() < 1e-9
    np.testing.assert_allclose(head.landmarks.points_mm, MARKS.points_mm, atol=0.5)


def exchanged(landmarks: Landmarks, how: str) -> Landmarks:
    nasion, inion, left, right = landmarks
    if how == "left and right":
        return Landmarks(nasion, inion, right, left)
    return Landmarks(inion, nasion, left, right)


@pytest.mark.parametrize("how", ["left and right", "nasion and inion"])
@pytest.mark.parametrize("age", ["newborn", "m06", "m12", "y05", "y10", "adult"])
def test_exchanged_landmarks_are_refused(age: str, how: str) -> None:
    head = load_template(age)
    message = (
        "left and right preauricular points must lie left and right of the nose, got a head that "
        "stands upside down between them (exchange left and right, or nasion and inion)"
    )
    with pytest.raises(LandmarkError, match=f"^{re.escape(message)}$"):
        Head(head.vertices_mm, head.faces, exchanged(head.landmarks, how))


def test_exchanged_landmarks_on_a_bare_vault_are_refused() -> None:
    """A scan that ends below the ears has nothing where the chin should be."""
    vault = FACES[(BALL[FACES][:, :, 2] > -45).all(axis=1)]
    assert Head(BALL, vault, MARKS).landmarks is not None
    with pytest.raises(LandmarkError, match="stands upside down"):
        Head(BALL, vault, exchanged(MARKS, "left and right"))


def test_turning_about_the_vertical_axis_is_not_an_exchange() -> None:
    """Both pairs exchanged is a head that looks the other way: the surface cannot tell."""
    twice = exchanged(exchanged(MARKS, "left and right"), "nasion and inion")
    assert Head(BALL, FACES, twice).landmarks.up[2] > 0.9


def test_a_head_with_long_triangles_is_not_taken_for_upside_down() -> None:
    """Breadth is taken of the surface: the side of this one has no vertex on its whole height."""
    capsule = Capsule()
    assert capsule.head(24).landmarks.up[2] > 0.9
    mesh = trimesh.creation.capsule(height=70, radius=80, count=[24, 24])
    assert np.abs(np.abs(mesh.vertices[:, 2]) - 35).min() < 1e-9
    assert not (np.abs(mesh.vertices[:, 2]) < 34).any()


@pytest.mark.parametrize("part", [[SCALP] * 3, np.zeros((len(BALL), 1)), SCALP])
def test_part_labels_must_be_one_for_each_vertex(part: object) -> None:
    message = rf"^part labels must be {len(BALL)}, one for each vertex, got shape \("
    with pytest.raises(MeshError, match=message):
        Head(BALL, FACES, MARKS, part)


def test_without_ear_labels_the_surface_is_bare() -> None:
    head = Head(BALL, FACES, MARKS, np.full(len(BALL), SCALP))
    assert head.bare is head.surface
    assert head.part is not None
    with pytest.raises(ValueError, match="read-only"):
        head.part[0] = EAR


def test_ears_are_smoothed_away_where_they_are_labelled() -> None:
    """Lobes drawn out of a sphere go, and the arcs are those of the sphere."""
    lobe = (np.abs(UNIT @ [1.0, -0.2, -0.25]) > 0.98) | (np.abs(UNIT @ [1.0, 0.2, 0.25]) > 0.98)
    lobe &= UNIT[:, 2] < 0
    assert lobe.sum() > 20
    outwards = np.where(lobe[:, None], np.sign(UNIT[:, :1]) * [25.0, 0, 0], 0.0)
    part = np.where(lobe, EAR, SCALP)
    head = Head(BALL + outwards, FACES, SPHERE_A.landmarks, part)
    assert np.abs(np.linalg.norm(head.bare.vertices_mm, axis=1) - 90).max() < 1.0
    np.testing.assert_array_equal(head.surface.vertices_mm, BALL + outwards)
    found = place_sites(head, "10-20").points_mm
    expected = place_sites(Head(BALL, FACES, SPHERE_A.landmarks), "10-20").points_mm
    np.testing.assert_allclose(found[:19], expected[:19], atol=0.3)


def test_the_scalp_is_cut_off_well_below_the_landmarks() -> None:
    for head in (ADULT, load_template("newborn"), bumpy_head(2), ELLIPSOID.head(4)):
        scalp, whole = head.scalp, head.bare
        assert 0 < len(scalp.faces) < len(whole.faces)
        np.testing.assert_array_equal(scalp.vertices_mm, whole.vertices_mm)
        rotation, shift = head.landmarks.frame
        height = (scalp.vertices_mm @ rotation.T + shift)[:, 2]
        lowest = (head.landmarks.points_mm @ rotation.T + shift)[:, 2].min()
        width = np.linalg.norm(head.landmarks.right_preauricular - head.landmarks.left_preauricular)
        used = height[np.unique(scalp.faces)].min()
        assert used < lowest - 30 * width / 145
        uncut = Head(head.vertices_mm, head.faces, head.landmarks, head.part)
        uncut.__dict__["scalp"] = uncut.bare
        np.testing.assert_allclose(
            place_sites(head, "10-5").points_mm, place_sites(uncut, "10-5").points_mm, atol=1e-9
        )


def test_the_own_frame_moves_everything_together() -> None:
    head = bumpy_head(4)
    turned = Head(head.vertices_mm @ turn(3).T + 50, head.faces, head.landmarks.moved(turn(3), 50))
    own = turned.in_own_frame()
    nasion, _, left, right = own.landmarks
    assert nasion[[0, 2]] == pytest.approx([nasion[0], 0.0], abs=1e-9)
    np.testing.assert_allclose(left, -right, atol=1e-9)
    found = place_sites(own, "10-10").points_mm
    rotation, shift = turned.landmarks.frame
    expected = place_sites(turned, "10-10").points_mm @ rotation.T + shift
    np.testing.assert_allclose(found, expected, atol=1e-6)


def test_a_deformed_head_is_the_head_made_anew() -> None:
    stretch = np.array([1.05, 0.97, 1.02])
    bare = ADULT.bare.vertices_mm * stretch
    landmarks = Landmarks.from_points(ADULT.landmarks.points_mm * stretch)
    quick = ADULT.deformed(ADULT.vertices_mm * stretch, bare, landmarks, "stretched")
    anew = Head(bare, ADULT.faces, landmarks)
    assert quick.label == "stretched"
    np.testing.assert_allclose(quick.bare.vertices_mm, bare)
    names = ["Fp1", "F3", "Cz", "T8", "PO4"]
    np.testing.assert_allclose(
        place_sites(quick, names).points_mm, place_sites(anew, names).points_mm, atol=1e-6
    )


def test_parts_are_named() -> None:
    assert PART_NAMES[SCALP] == "scalp"
    assert PART_NAMES[EAR] == "ear"
    assert PART_NAMES[NECK] == "neck"
    assert len(set(PART_NAMES)) == 5
