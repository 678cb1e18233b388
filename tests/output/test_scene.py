"""The scene holds what was placed, in the places where it was placed; every page gets the same."""

import base64
import itertools
import json
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from demo_case import demo_result
from scipy.stats import chi2
from solids import Ellipsoid

from headfit import place_sites
from headfit.errors import UnknownNameError
from headfit.output.cameras import CAMERAS, VIEW_ANGLE_DEGREES
from headfit.output.drawing import line_drawing
from headfit.output.page import packed, scene_data, script_text, thinned
from headfit.output.scene import HEAD_COLOUR, STATES, Scene, make_scene
from headfit.output.tables import site_table
from headfit.units import cm

# Sphere of standards' case C: landmarks below the equator, so that the ring runs on it.
SPHERE = Ellipsoid((90.0, 90.0, 90.0), 22.5)


@cache
def sphere_scene() -> Scene:
    head = SPHERE.head(4)
    return make_scene(head, place_sites(head, "10-10"), title="sphere")


@cache
def demo_scene() -> Scene:
    result = demo_result()
    return make_scene(result.fitted.head, result.sites, spreads=result.spreads, title="demo")


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2 glossary."""
    parts = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(parts <= 0.04045, parts / 12.92, ((parts + 0.055) / 1.055) ** 2.4)
    return float(linear @ [0.2126, 0.7152, 0.0722])


def contrast(first: str, second: str) -> float:
    """Contrast ratio, WCAG 2.2 glossary."""
    bright, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_distances_on_a_sphere_are_fractions_of_its_great_circle() -> None:
    # Closed form: landmarks 112.5 degrees from the vertex, arcs 1.25 pi R (standards, section 3 C).
    scene = sphere_scene()
    whole = 1.25 * np.pi * 90.0
    for name, fraction in (("Fpz", 0.1), ("Fz", 0.3), ("Cz", 0.5), ("Pz", 0.7), ("Oz", 0.9)):
        site = scene.site(name)
        assert site.arc == "midline"
        assert site.start == "nasion"
        assert site.from_start_mm == pytest.approx(fraction * whole, abs=0.3)
    assert scene.site("T7").start == "left preauricular point"
    assert {arc.name for arc in scene.arcs} == {site.arc for site in scene.sites if site.arc}


def test_normals_of_a_sphere_point_away_from_its_middle() -> None:
    for site in sphere_scene().sites:
        outward = site.point_mm / np.linalg.norm(site.point_mm)
        # Facets of a mesh of 2,562 vertices lean up to half an edge: 0.04 rad.
        assert site.normal @ outward > np.cos(0.04), site.name


def test_a_camera_stands_on_its_side_and_the_head_fills_its_share_of_the_picture() -> None:
    scene = demo_scene()
    for name, axis, sign in (
        ("front", 1, 1),
        ("back", 1, -1),
        ("left", 0, -1),
        ("right", 0, 1),
        ("top", 2, 1),
    ):
        position, focus, up = scene.camera(name)
        away = position - focus
        assert np.argmax(np.abs(away)) == axis
        assert np.sign(away[axis]) == sign
        assert abs(up @ away) < 0.99 * np.linalg.norm(away)
        seen = 2 * np.linalg.norm(away) * np.tan(np.radians(VIEW_ANGLE_DEGREES) / 2)
        assert seen == pytest.approx(CAMERAS[name].height_share * scene.height_mm)
    assert np.array_equal(scene.camera("nasion")[1], scene.landmarks[0].point_mm)


def test_an_unknown_camera_or_site_is_named_with_its_nearest_spelling() -> None:
    with pytest.raises(UnknownNameError, match="unknown view 'lft': did you mean 'left'"):
        demo_scene().camera("lft")
    with pytest.raises(UnknownNameError, match="unknown site 'Cy'"):
        demo_scene().site("Cy")


def test_an_ellipse_holds_95_percent_of_its_gaussian() -> None:
    scene, spreads = demo_scene(), demo_result().spreads
    quantile = chi2.ppf(0.95, 2)  # scipy's, not ours
    # Lobes and bone behind the ear are set by eye: no ring.
    beside = {"A1", "A2", "M1", "M2"}
    assert {site.name for site in scene.sites} - {e.site for e in scene.ellipses} == beside
    by_name = dict(zip(spreads.names, spreads.covariance_mm2, strict=True))
    for ellipse in scene.ellipses:
        covariance = by_name[ellipse.site]
        a, b = np.linalg.norm(ellipse.major_mm), np.linalg.norm(ellipse.minor_mm)
        assert a * b == pytest.approx(quantile * np.sqrt(np.linalg.det(covariance)), rel=1e-6)
        assert abs(ellipse.major_mm @ ellipse.minor_mm) < 1e-6 * a * b
        site = scene.site(ellipse.site)
        assert site.sure_mm == pytest.approx(a)
        assert abs(ellipse.major_mm @ site.normal) < 0.05 * a
        reached = np.linalg.norm(ellipse.outline_mm(80) - site.point_mm, axis=1)
        assert reached.max() == pytest.approx(a, rel=1e-3)
        assert reached.min() == pytest.approx(b, rel=1e-3)


def test_states_are_told_apart_without_colour_and_stand_out_from_the_skin() -> None:
    for (_, one), (_, other) in itertools.combinations(STATES.items(), 2):
        assert one.sign != other.sign
        assert one.words != other.words
    for name, state in STATES.items():
        # WCAG 2.2, 1.4.11: graphics at 3:1.
        assert contrast(state.colour, HEAD_COLOUR) >= 3.0, name


def lab(colour: str) -> np.ndarray:
    """CIE 1976 L*a*b* of sRGB (IEC 61966-2-1, white D65)."""
    coded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    to_xyz = [[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]
    share = np.array(to_xyz) @ linear / [0.9505, 1.0, 1.089]
    root = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def test_colours_of_states_are_told_apart_at_a_glance() -> None:
    # One unit of L*a*b* is just seen side by side; marks stand apart and are small.
    np.testing.assert_allclose(lab("#ffffff"), [100, 0, 0], atol=0.05)
    for one, other in itertools.combinations(STATES, 2):
        apart = np.linalg.norm(lab(STATES[one].colour) - lab(STATES[other].colour))
        assert apart > 25, (one, other, apart)


def test_contrast_is_that_of_the_standard() -> None:
    # WCAG 2.2: black on white is 21:1.
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)


def test_exchanging_sites_leaves_the_others_alone() -> None:
    scene = demo_scene()
    moved = replace(scene.site("C3"), state="moved", note="to CCP5h")
    changed = scene.with_sites([moved])
    assert changed.site("C3").state == "moved"
    assert [s for s in changed.sites if s.name != "C3"] == [
        s for s in scene.sites if s.name != "C3"
    ]


def test_a_thinned_curve_keeps_its_ends_and_its_length() -> None:
    for arc in demo_scene().arcs:
        thin = thinned(arc.points_mm)
        assert len(thin) < len(arc.points_mm)
        assert np.array_equal(thin[[0, -1]], arc.points_mm[[0, -1]])
        lengths = [
            np.linalg.norm(np.diff(curve, axis=0), axis=1).sum() for curve in (thin, arc.points_mm)
        ]
        # A chord of 5 mm on a radius of 60 mm is 0.03 % short.
        assert lengths[0] == pytest.approx(lengths[1], rel=2e-3)


def test_a_page_gets_every_site_arc_and_ellipse_of_the_scene() -> None:
    scene = demo_scene()
    data = scene_data(scene)
    assert [site["name"] for site in data["sites"]] == [site.name for site in scene.sites]
    for sent, site in zip(data["sites"], scene.sites, strict=True):
        assert np.allclose(sent["point_mm"], site.point_mm, atol=0.006)
    outline = np.frombuffer(base64.b64decode(data["ellipses"][0]["outline_mm"]), "<f4")
    assert np.allclose(outline.reshape(-1, 3), scene.ellipses[0].outline_mm(28), atol=1e-3)
    assert len(data["arcs"]) == len(scene.arcs)


def test_packed_numbers_are_little_endian() -> None:
    assert base64.b64decode(packed([1.0, -2.0])) == bytes.fromhex("0000803f000000c0")
    assert base64.b64decode(packed([258], "<u4")) == bytes([2, 1, 0, 0])


@pytest.mark.parametrize("text", ["</script><b>", "<!--", "\u2028", 'a"b\\'])
def test_no_text_ends_the_script_tag_that_carries_it(text: str) -> None:
    written = script_text({"title": text})
    assert "<" not in written
    assert json.loads(written)["title"] == text


def drawn_names(scene: Scene, camera: str) -> set[str]:
    drawing = ET.fromstring(line_drawing(scene, camera))
    return {text.text or "" for text in drawing.iter("text")}


def test_a_line_drawing_names_what_faces_the_viewer_and_hides_the_rest() -> None:
    front, back = (drawn_names(demo_scene(), camera) for camera in ("front", "back"))
    assert {"Fpz", "Nz", "Fz", "Cz"} <= front
    assert {"Oz", "Iz", "POz"} <= back
    assert not {"Oz", "Iz", "POz", "O1", "O2"} & front
    assert not {"Fpz", "Nz", "Fp1", "Fp2"} & back
    left, right = (drawn_names(demo_scene(), camera) for camera in ("left", "right"))
    assert {"C3", "T7", "F7"} <= left
    assert {"C4", "T8", "F8"} <= right
    assert not {"C4", "T8"} & left


def test_the_contour_of_a_sphere_is_a_circle() -> None:
    drawing = ET.fromstring(line_drawing(sphere_scene(), "left"))
    (contour,) = (path for path in drawing.iter("path") if path.get("class") == "contour")
    numbers = contour.get("d", "").replace("M", " ").replace("L", " ").split()
    points = np.array(numbers, float).reshape(-1, 2)
    # An edge of the mesh is 6 mm long: the contour steps by half of one to either side.
    assert np.linalg.norm(points, axis=1) == pytest.approx(90.0, abs=1.0)
    angle = np.sort(np.arctan2(points[:, 1], points[:, 0]))
    assert np.diff(angle).max() < np.radians(8.0)


def test_hostile_text_in_a_drawing_stays_text() -> None:
    scene = replace(demo_scene(), title='"><script>alert(1)</script>')
    drawing = ET.fromstring(line_drawing(scene, "top"))
    assert not list(drawing.iter("script"))
    assert "<script>" in drawing.get("aria-label", "")


def test_the_site_table_lists_every_site_under_its_arc_in_the_order_of_the_tape() -> None:
    scene = demo_scene()
    table = site_table(scene)
    assert sorted(row.site for row in table.rows if row.site) == sorted(s.name for s in scene.sites)
    arc, last = "", -1.0
    for row in table.rows:
        if row.heading:
            arc, last = row.cells[0], -1.0
            continue
        site = scene.site(row.site)
        assert not site.arc or arc.casefold().startswith(site.arc.casefold())
        # Nobody taped the head of this scene.
        said = cm(site.from_start_mm)
        assert row.cells[1] == (f"≈ {said}" if said else "")
        if site.from_start_mm is not None:
            assert site.from_start_mm > last
            last = site.from_start_mm
