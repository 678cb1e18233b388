"""A drawing for each landmark and every measurement, of the mesh of the head that is drawn."""

import re
from functools import cache
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from commands import refused, said

from headfit.anatomy.arcs import ArcTracer, Rules
from headfit.anatomy.landmarks import NAMES
from headfit.anatomy.template import load_template
from headfit.fitting.measurements import MEASUREMENTS
from headfit.output.measuring_drawings import MeasuringDrawings

NUMBER = re.compile(r"-?\d+\.?\d*")


@cache
def drawings(age: str) -> MeasuringDrawings:
    head = load_template(age)
    return MeasuringDrawings(head, ArcTracer(head.scalp, head.landmarks, Rules()))


def parts(svg: str, kind: str) -> list[ET.Element]:
    return [each for each in ET.fromstring(svg).iter() if each.get("class") == kind]


def corners(path: ET.Element) -> np.ndarray:
    return np.array(NUMBER.findall(path.get("d", "")), dtype=float).reshape(-1, 2)


@pytest.mark.parametrize("age", ["adult", "newborn"])
@pytest.mark.parametrize("name", NAMES)
def test_a_landmark_is_where_the_finger_points_and_in_its_frame(age: str, name: str) -> None:
    drawn = drawings(age)
    svg = drawn.landmark(name)
    (target,) = parts(svg, "target")
    x, y, _ = drawn.at("right" if name.startswith("right") else "left",
                       getattr(drawn.head.landmarks, name))  # fmt: skip
    assert (float(target.get("cx", "")), float(target.get("cy", ""))) == pytest.approx(
        (x, y), abs=0.06
    )
    left, top, width, height = map(float, ET.fromstring(svg).get("viewBox", "").split())
    assert left < x < left + width
    assert top < y < top + height
    assert parts(svg, "finger")
    assert parts(svg, "skin")


@pytest.mark.parametrize("age", ["adult", "newborn"])
@pytest.mark.parametrize("name", MEASUREMENTS)
def test_every_measurement_is_drawn_where_it_is_taken(age: str, name: str) -> None:
    svg = drawings(age).measurement(name)
    assert MEASUREMENTS[name].title in ET.fromstring(svg).get("aria-label", "")
    if MEASUREMENTS[name].tool == "caliper":
        assert len(parts(svg, "tip")[0].get("d", "")) > 10
        (line,) = parts(svg, "behind")
        assert len(corners(line)) == 2
    else:
        assert parts(svg, "tape")
        assert parts(svg, "zero") or parts(svg, "spot averted")


def test_the_midline_runs_from_nasion_to_inion_and_the_caliper_meets_its_points() -> None:
    drawn = drawings("adult")
    marks = drawn.head.landmarks
    (tape,) = parts(drawn.measurement("nasion_inion"), "tape")
    ends = corners(tape)[[0, -1]]
    told = drawn.view("left").on_skin(np.array([marks.nasion, marks.inion]))[0]
    assert np.abs(ends - told).max() < 3.0  # lifted off the skin by 2 mm
    (line,) = parts(drawn.measurement("nasion_inion_chord"), "behind")
    straight = drawn.view("left").project(np.array([marks.nasion, marks.inion]))[:, :2]
    assert np.abs(corners(line) - straight).max() < 0.06


def test_no_two_drawings_are_the_same() -> None:
    every = [drawings("adult").measurement(name) for name in MEASUREMENTS]
    every += [drawings("adult").landmark(name) for name in NAMES]
    every.append(drawings("adult").flat_inion())
    assert len(set(every)) == len(MEASUREMENTS) + 5


def test_a_flat_inion_has_the_ridges_of_both_sides_alike() -> None:
    svg = drawings("adult").flat_inion()
    (ridge,) = parts(svg, "ridge")
    (target,) = parts(svg, "target")
    away = corners(ridge)[:, 0] - float(target.get("cx", ""))
    # The template is alike on both sides to a millimetre or two.
    assert away.min() == pytest.approx(-away.max(), abs=3.0)
    assert away.max() > 40.0


def test_the_command_writes_them_all_with_how_each_is_taken(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "measuring.html"
    code, out, err = said(capsys, "measurements", "--html", path, "--age", "6 months")
    assert (code, err) == (0, "")
    assert out.startswith("Wrote ")
    text = path.read_text(encoding="utf-8")
    assert text.count("<svg ") == len(MEASUREMENTS) + 5
    for kind in MEASUREMENTS.values():
        assert kind.title in text
        assert kind.how[1:] in text
    assert "http" not in text.replace("http-equiv", "").replace("http://www.w3.org/2000/svg", "")
    assert "unknown age" in refused(capsys, "measurements", "--html", path, "--age", "elf")
