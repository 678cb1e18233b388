"""Charts and maps of plain shapes: what they show is where it should be; PNG and SVG agree."""

from __future__ import annotations

import io

import numpy as np
import pytest
from PIL import Image

from headfit import load_template
from headfit.output.charts import Panel, Range, nice_ticks, range_chart, range_of
from headfit.output.headmap import Circle, HeadMap, Line, Text, as_svg
from headfit.output.raster import DOTS_PER_INCH, drawing_png
from headfit.output.site_map import SiteError, error_map, error_scene


def grey(drawing: HeadMap) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(drawing_png(drawing))))


def test_a_disc_covers_its_share_of_the_picture() -> None:
    found = grey(HeadMap(20.0, 20.0, 1.0, (Circle(10.0, 10.0, 8.0, "dot"),)))
    black = (255.0 - found).mean() / 255.0
    # Pi r^2 over the square; the pixels of the rim are 0.13 mm.
    assert black == pytest.approx(np.pi * 64 / 400, abs=0.01)
    assert found.shape == (round(20 * DOTS_PER_INCH / 25.4),) * 2


def test_lines_dashes_and_words_leave_ink_where_they_lie() -> None:
    shapes = (
        Line(((2.0, 5.0), (18.0, 5.0)), "head"),
        Line(((2.0, 9.0), (10.0, 9.0), (18.0, 9.0), (18.0, 9.5)), "old place"),
        Text(18.0, 15.0, "Fz", 3.0, ends_at_x=True),
    )
    found = grey(HeadMap(20.0, 20.0, 1.0, shapes))
    mm = DOTS_PER_INCH / 25.4
    assert found[round(5 * mm), round(10 * mm)] < 60
    assert found[round(9 * mm), round(5 * mm)] < 200
    ink = np.flatnonzero((found[round(13 * mm) : round(17 * mm)] < 128).any(axis=0)) / mm
    assert 12.0 < ink.min() < ink.max() <= 18.2
    assert 'text-anchor="end"' in as_svg(HeadMap(20.0, 20.0, 1.0, shapes), "x")


def test_ticks_are_few_round_and_hold_the_range() -> None:
    for low, high in ((0.0, 9.3), (-7.4, 5.6), (0.0, 1e-3), (-40.0, -1.0), (3.0, 3.0)):
        ticks = nice_ticks(low, high, 6)
        assert ticks[0] <= low <= high <= ticks[-1]
        assert 2 <= len(ticks) <= 6
        steps = np.diff(ticks)
        assert np.allclose(steps, steps[0])


def test_ranges_stand_in_proportion_to_their_values() -> None:
    panel = Panel("mm", "mm", (Range(0.0, 5.0, 10.0), range_of([2.0, 2.0]), None))
    drawing = range_chart(["Cz", "Fz", "Pz"], [panel])
    whisker = next(s for s in drawing.shapes if isinstance(s, Line) and s.pen == "whisker")
    dot = next(s for s in drawing.shapes if isinstance(s, Circle))
    (left, _), (right, _) = whisker.points
    assert dot.x == pytest.approx((left + right) / 2)
    assert {"Cz", "Fz", "Pz", "0", "10"} <= set(drawing.texts())


def test_panels_on_one_scale_can_be_held_against_each_other() -> None:
    panels = [Panel(t, "mm", (Range(0.0, v, v),)) for t, v in (("a", 2.0), ("b", 20.0))]
    wide = [
        s.points[1][0] - s.points[0][0]
        for s in range_chart(["Cz"], panels, one_scale=True).shapes
        if isinstance(s, Line) and s.pen == "whisker"
    ]
    assert wide[1] / wide[0] == pytest.approx(10.0)


def test_the_map_draws_the_mean_place_where_it_lies() -> None:
    # 10 mm along the midline from Fz, away from the nasion: towards the back, downwards on paper.
    drawing = error_map(load_template(), [SiteError(n, 10.0, 0.0) for n in ("Fz", "C3", "C4")])
    sites = [s for s in drawing.shapes if isinstance(s, Circle) and s.pen == "hollow dot"]
    means = [s for s in drawing.shapes if isinstance(s, Circle) and s.pen == "dot"]
    assert len(sites) == len(means) == 3
    assert means[0].x == pytest.approx(sites[0].x, abs=0.3)
    # An arc over the vertex is longer than it looks from above: never more than true to scale.
    assert 0.6 * 10.0 * drawing.scale < means[0].y - sites[0].y <= 10.0 * drawing.scale
    assert not any(isinstance(s, Line) and s.pen == "ellipse" for s in drawing.shapes)


def test_the_scene_has_an_arrow_and_an_ellipse_a_site_and_says_what_they_are() -> None:
    errors = [SiteError(n, 6.0, 0.0, 5.0, 2.0, 30.0) for n in ("Fz", "C3", "C4")]
    scene = error_scene(load_template(), errors, "a study")
    assert [e.site for e in scene.ellipses] == [a.site for a in scene.arrows] == ["Fz", "C3", "C4"]
    assert scene.site("C3").state == "off"
    assert "next person" in scene.ellipse_words
    for ellipse in scene.ellipses:
        assert np.linalg.norm(ellipse.major_mm) == pytest.approx(5.0)
        assert np.linalg.norm(ellipse.minor_mm) == pytest.approx(2.0)
        assert ellipse.major_mm @ ellipse.minor_mm == pytest.approx(0.0, abs=1e-9)
    assert len(error_scene(load_template(), errors, "x", drawn=True).regions) == 3
