"""The flat head map against closed forms on a sphere, and as plain shapes."""

import json
from dataclasses import asdict
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from solids import SPHERE_A, bumpy_head, polar_and_azimuth, turn

from headfit import Head, Sites, load_template, place_sites
from headfit.anatomy.arcs import mirrored
from headfit.anatomy.template import template_set
from headfit.output.flattening import flatten
from headfit.output.headmap import NUMBER_MM, PENS, Circle, HeadMap, Line, Text, as_svg, head_map
from headfit.output.scene import site_label
from headfit.planning.derivations import measure_montage
from headfit.planning.displacement import displace
from headfit.planning.montages import standard_montages
from headfit.planning.obstacles import disc

WIDTH, HEIGHT = 180.0, 200.0


def places_of(drawn: HeadMap) -> dict[str, np.ndarray]:
    """Where each name stands on the paper."""
    return {
        shape.words: np.array([shape.x, shape.y])
        for shape in drawn.shapes
        if isinstance(shape, Text) and shape.bold
    }


def lines_of(drawn: HeadMap, pen: str) -> list[np.ndarray]:
    return [np.array(s.points) for s in drawn.shapes if isinstance(s, Line) and s.pen == pen]


def circles_of(drawn: HeadMap, pen: str) -> list[Circle]:
    return [s for s in drawn.shapes if isinstance(s, Circle) and s.pen == pen]


def area_of(outline: np.ndarray) -> float:
    x, y = outline.T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


def demo(system: str = "10-20") -> Sites:
    return place_sites(load_template(), system)


def test_on_a_sphere_a_place_stands_by_its_fraction_on_a_round_ring() -> None:
    """The ring of sphere A is the circle at 72 degrees; inside, the angle is the fraction."""
    sites = place_sites(SPHERE_A.head(), "10-10")
    known = [name for name in sites.names if name in SPHERE_A.sites]
    found = flatten(sites.tracer).places(np.array([sites[name] for name in known]))
    for name, place in zip(known, found, strict=True):
        polar, azimuth = polar_and_azimuth(SPHERE_A.sites[name])
        distance = 90 * np.sin(np.radians(72)) * polar / 72
        expected = distance * np.array([np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))])
        assert place == pytest.approx(expected, abs=0.15)  # between rays it is interpolated
    assert len(known) > 60


@pytest.mark.parametrize("head", ["adult", "newborn", "no symmetry"])
def test_the_ring_has_its_true_shape(head: str) -> None:
    surface = bumpy_head(0) if head == "no symmetry" else load_template(head)
    sites = place_sites(surface, "10-10")
    flat = flatten(sites.tracer)
    ring = ["Fpz", "Fp2", "AF8", "F8", "FT8", "T8", "TP8", "P8", "PO8", "O2", "Oz"]
    ring += [mirrored(name) for name in ring[-2:0:-1]]
    on_head = np.array([sites[name] for name in ring])
    on_map = flat.places(on_head)
    # Seen along the normal of the plane in which it lies best; the ring is nearly plane.
    centred = on_head - on_head.mean(axis=0)
    plane = np.linalg.svd(centred)[2][:2]
    seen = centred @ plane.T
    gaps_seen = np.linalg.norm(seen[:, None] - seen[None], axis=2)
    gaps_map = np.linalg.norm(on_map[:, None] - on_map[None], axis=2)
    assert gaps_map == pytest.approx(gaps_seen, rel=0.03, abs=1.0)


def test_midline_and_coronal_sites_stand_in_line_by_their_fractions() -> None:
    sites = place_sites(bumpy_head(3), "10-10")
    flat = flatten(sites.tracer)
    for line, ends in (
        (["Fpz", "AFz", "Fz", "FCz", "Cz"], 4),
        (["Oz", "POz", "Pz", "CPz", "Cz"], 4),
        (["T7", "C5", "C3", "C1", "Cz"], 4),
        (["T8", "C6", "C4", "C2", "Cz"], 4),
    ):
        places = flat.places(np.array([sites[name] for name in line]))
        for step, place in enumerate(places):
            # The tape may bridge a hollow of this bumpy head; the map goes by the skin.
            assert place == pytest.approx(places[0] * (ends - step) / ends, abs=0.6)
        assert places[-1] == pytest.approx([0, 0], abs=0.01)


def test_a_symmetric_head_has_a_symmetric_map_and_a_skewed_one_has_not() -> None:
    def unevenness(head: Head) -> float:
        sites = place_sites(head, "10-10")
        places = dict(zip(sites.names, flatten(sites.tracer).places(sites.points_mm), strict=True))
        return max(
            float(np.linalg.norm(places[mirrored(name)] - place * [-1, 1]))
            for name, place in places.items()
        )

    assert unevenness(load_template()) < 0.1
    assert unevenness(bumpy_head(3)) > 3.0


def test_the_map_does_not_depend_on_the_frame() -> None:
    head = bumpy_head(1)
    rotation, shift = turn(4), np.array([10.0, -200.0, 33.0])
    moved = Head(
        head.vertices_mm @ rotation.T + shift, head.faces, head.landmarks.moved(rotation, shift)
    )
    here, there = (place_sites(h, "10-20") for h in (head, moved))
    assert flatten(there.tracer).places(there.points_mm) == pytest.approx(
        flatten(here.tracer).places(here.points_mm), abs=1e-5
    )


@pytest.mark.parametrize("age", list(template_set().ages))
@pytest.mark.parametrize("system", ["10-20", "10-10", "10-5"])
def test_every_site_is_on_the_paper_and_none_outside_the_head_but_below_its_rim(
    age: str, system: str
) -> None:
    sites = place_sites(load_template(age), system)
    drawn = head_map(sites, WIDTH, HEIGHT)
    places = places_of(drawn)
    assert set(places) == set(sites.names)
    everything = np.vstack(
        [
            *(np.array(shape.points) for shape in drawn.shapes if isinstance(shape, Line)),
            [(shape.x, shape.y) for shape in drawn.shapes if not isinstance(shape, Line)],
        ]
    )
    assert everything.min() > 0
    assert (everything.max(axis=0) < [WIDTH, HEIGHT]).all()
    (head,) = [s for s in drawn.shapes if isinstance(s, Line) and s.pen == "head" and s.closed]
    outline = np.array(head.points)
    middle = places["Cz"]
    rim = np.linalg.norm(outline - middle, axis=1)
    turns = np.arctan2(*(outline - middle).T)
    order = np.argsort(turns)
    for name in set(sites.names) & set(place_sites(load_template(age), "10-20").names):
        if name in ("A1", "A2"):
            continue
        gap = places[name] - middle
        here = np.interp(np.arctan2(*gap), turns[order], rim[order])
        assert np.linalg.norm(gap) <= 0.81 * here  # on or inside the 10 % ring


def test_shapes_are_plain_data_with_known_pens() -> None:
    drawn = head_map(demo(), WIDTH, HEIGHT)
    assert json.loads(json.dumps(asdict(drawn)))["width_mm"] == WIDTH
    assert {shape.pen for shape in drawn.shapes} <= set(PENS)
    assert {"left", "right", "nose"} <= set(drawn.texts())


def test_the_left_ear_is_on_the_left_and_the_nose_on_top() -> None:
    drawn = head_map(demo(), WIDTH, HEIGHT)
    places = places_of(drawn)
    words = {s.words: s for s in drawn.shapes if isinstance(s, Text)}
    assert places["T7"][0] < places["Cz"][0] < places["T8"][0]
    assert places["Fp1"][1] < places["Cz"][1] < places["O1"][1]
    assert words["left"].x < words["right"].x
    assert words["nose"].y < places["Fp1"][1]


def test_names_fit_in_their_circles_and_circles_stand_apart() -> None:
    for system in ("10-20", "10-10"):
        drawn = head_map(demo(system), WIDTH, HEIGHT)
        circles = circles_of(drawn, "site")
        centres = np.array([(c.x, c.y) for c in circles])
        gaps = np.linalg.norm(centres[:, None] - centres[None], axis=2)
        gaps[np.diag_indices(len(gaps))] = np.inf
        # A mastoid and a site below a row may meet at the edge of the map.
        assert (gaps.min(axis=1) > 1.9 * circles[0].radius).mean() > 0.85
        for shape in drawn.shapes:
            if isinstance(shape, Text) and shape.bold:
                assert len(shape.words) * 0.68 * shape.size_mm <= 2 * circles[0].radius


def test_a_place_that_must_stay_free_is_hatched_inside_its_outline() -> None:
    sites = demo()
    found = displace(sites, [disc(sites, "FC3", 25, "wound")])
    drawn = head_map(sites, WIDTH, HEIGHT, displacement=found)
    (outline,) = lines_of(drawn, "free place")
    hatch = lines_of(drawn, "hatch")
    length = sum(float(np.linalg.norm(line[1] - line[0])) for line in hatch)
    assert length * 2.0 == pytest.approx(area_of(outline), rel=0.08)  # spacing 2 mm
    middle = outline.mean(axis=0)
    reach = np.linalg.norm(outline - middle, axis=1).max()
    assert all(np.linalg.norm(line - middle, axis=1).max() <= reach + 0.01 for line in hatch)
    flat = flatten(sites.tracer)
    assert (
        np.linalg.norm(
            (outline[0] - places_of(drawn)["Cz"]) / drawn.scale
            - flat.places(found.obstacles[0].outline_mm)[0] * [1, -1]
        )
        < 1e-3
    )


def test_a_moved_site_is_black_where_it_stands_and_crossed_where_it_stood() -> None:
    sites = demo()
    found = displace(sites, [disc(sites, "F3", 20, "wound")])
    drawn = head_map(sites, WIDTH, HEIGHT, displacement=found)
    old, new = circles_of(drawn, "old place"), circles_of(drawn, "moved site")
    assert len(old) == len(new) == 2
    names = {s.words: s for s in drawn.shapes if isinstance(s, Text) and s.pen == "text on black"}
    assert set(names) == {site_label(move.site, "moved") for move in found.moves}
    assert set(names) == {"F3→", "F4→"}  # as in 3D
    flat, centre = flatten(sites.tracer), places_of(drawn)["Cz"]
    for move, circle in zip(found.moves, new, strict=True):
        expected = centre + drawn.scale * flat.places(move.point_mm)[0] * [1, -1]
        assert (circle.x, circle.y) == pytest.approx(expected, abs=1e-3)
    assert len(lines_of(drawn, "cross")) == 4
    heads = [s for s in drawn.shapes if isinstance(s, Line) and s.pen == "arrow" and s.closed]
    assert len(heads) == 2
    assert "F3" not in drawn.texts()


def test_a_site_that_is_left_out_keeps_its_name_beside_its_cross() -> None:
    sites = demo()
    found = displace(sites, [disc(sites, "Cz", 20, "wound")], farthest_mm=5.0)
    drawn = head_map(sites, WIDTH, HEIGHT, displacement=found)
    assert circles_of(drawn, "moved site") == []
    (old,) = circles_of(drawn, "old place")
    label = places_of(drawn)["Cz"]
    assert label[0] == pytest.approx(old.x)
    assert label[1] < old.y - old.radius


@pytest.mark.parametrize("name", list(standard_montages()))
def test_every_derivation_is_drawn_with_its_length_and_hides_no_name(name: str) -> None:
    sites = demo("ifcn-25" if name == "inferior-temporal" else "10-20")
    measured = measure_montage(standard_montages()[name], sites)
    drawn = head_map(sites, WIDTH, HEIGHT, montage=measured)
    lines = lines_of(drawn, "derivation")
    assert len(lines) == len(measured.derivations)
    places = places_of(drawn)
    for derivation, line in zip(measured.derivations, lines, strict=True):
        for end, site in (
            (line[0], derivation.derivation.first),
            (line[-1], derivation.derivation.second),
        ):
            assert end == pytest.approx(places[site], abs=1e-3)
    numbers = [s for s in drawn.shapes if isinstance(s, Text) and s.size_mm == NUMBER_MM]
    lengths = [f"{d.length_mm:.0f}" for d in measured.derivations]
    assert {n.words for n in numbers} <= set(lengths)
    assert len(numbers) >= 0.8 * len(lengths)
    radius = circles_of(drawn, "site")[0].radius
    for number in numbers:
        gaps = [np.hypot(*(place - (number.x, number.y))) for place in places.values()]
        assert min(gaps) > radius


def test_the_svg_is_whole_stands_alone_and_keeps_a_hostile_title_as_text() -> None:
    hostile = '</title><script>alert("x")</script> & <b>'
    drawn = head_map(demo(), WIDTH, HEIGHT)
    text = as_svg(drawn, hostile)
    root = ET.fromstring(text)
    space = "{http://www.w3.org/2000/svg}"
    assert root.find(f"{space}title").text == hostile
    assert {child.tag.removeprefix(space) for child in root.iter()} == {
        "svg",
        "title",
        "polygon",
        "polyline",
        "circle",
        "text",
    }
    assert len(root) == 1 + len(drawn.shapes)
    assert [child.text for child in root.iter(f"{space}text")] == list(drawn.texts())
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    assert as_svg(drawn, hostile) == text


def test_a_colour_prints_as_dark_as_the_grey_in_its_place() -> None:
    """Luma of ITU-R BT.601, by which printers and PIL turn colours into greys."""
    coloured = {name: pen for name, pen in PENS.items() if pen.colour}
    assert {"tape", "slip", "spread", "kept free"} <= coloured.keys()
    for name, pen in coloured.items():
        red, green, blue = bytes.fromhex(pen.colour[1:])
        luma = (0.299 * red + 0.587 * green + 0.114 * blue) / 255
        grey = pen.fill_grey if pen.grey is None else pen.grey
        assert luma == pytest.approx(grey, abs=0.07), name
    assert PENS["tape"].grey != PENS["other tape"].grey
