"""Charts of plain shapes for reports and papers: ranges by name, one line each. Paper millimetres.

Black and white like the head map, so that they print and copy anywhere; as SVG by
`headmap.as_svg`, as PNG by `raster.drawing_png`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from headfit.output.headmap import Circle, HeadMap, Line, Shape, Text

_ROW_MM, _LETTER_MM, _NAME_WIDTH_MM = 4.2, 2.9, 26.0
_TOP_MM, _BOTTOM_MM, _SIDE_MM, _GAP_MM = 12.0, 12.0, 4.0, 8.0


@dataclass(frozen=True)
class Range:
    """One line of a chart: what is known of one quantity.

    Attributes
    ----------
    low, high : float
        Ends of the whisker: 5th and 95th percentile, or of a 95 % interval.
    middle : float
        Median, or the estimate.
    box : (float, float) or None
        Quartiles.
    """

    low: float
    middle: float
    high: float
    box: tuple[float, float] | None = None


def range_of(values: Sequence[float]) -> Range:
    """Percentiles 5, 25, 50, 75 and 95 of some values.

    >>> range_of([0.0, 1.0, 2.0]).middle
    1.0
    """
    low, first, middle, third, high = np.percentile(values, [5, 25, 50, 75, 95]).tolist()
    return Range(low, middle, high, (first, third))


@dataclass(frozen=True)
class Panel:
    """One column of a chart: its title, the words under its axis, and a range a row, or none."""

    title: str
    axis: str
    ranges: tuple[Range | None, ...]


def range_chart(
    names: Sequence[str],
    panels: Sequence[Panel],
    width_mm: float = 170.0,
    *,
    one_scale: bool = False,
) -> HeadMap:
    """A chart with a line for every name, and panels side by side.

    Parameters
    ----------
    names : sequence of str
    panels : sequence of Panel
        Each with as many ranges as there are names.
    width_mm : float
    one_scale : bool
        All panels have the same axis, so that they can be held against each other.
    """
    bottom = _TOP_MM + _ROW_MM * len(names)
    shapes: list[Shape] = []
    for row, name in enumerate(names):
        y = _TOP_MM + _ROW_MM * (row + 0.5)
        end = _SIDE_MM + _NAME_WIDTH_MM - 2.0
        shapes.append(Text(end, y, name, _LETTER_MM, ends_at_x=True))
    room = width_mm - 2 * _SIDE_MM - _NAME_WIDTH_MM
    wide = (room - _GAP_MM * (len(panels) - 1)) / len(panels)
    for column, panel in enumerate(panels):
        left = _SIDE_MM + _NAME_WIDTH_MM + column * (wide + _GAP_MM)
        ends = _ends(panels if one_scale else [panel])
        shapes += _panel(panel, left, wide, bottom, ends)
    return HeadMap(width_mm, bottom + _BOTTOM_MM, 1.0, tuple(shapes))


def _ends(panels: Sequence[Panel]) -> tuple[float, float]:
    """Least and greatest of what is drawn, and nought."""
    known = [r for panel in panels for r in panel.ranges if r is not None]
    ends = [end for r in known for end in (r.low, r.middle, r.high) if np.isfinite(end)]
    return min(0.0, *ends, 0.0), max(1e-3, *ends, 1e-3)


def _panel(
    panel: Panel, left: float, wide: float, bottom: float, ends: tuple[float, float]
) -> list[Shape]:
    ticks = nice_ticks(*ends, most=max(3, int(wide / 9)))
    first, last = ticks[0], ticks[-1]

    def x(value: float) -> float:
        return left + wide * (value - first) / (last - first)

    shapes: list[Shape] = [Text(left + wide / 2, 5.0, panel.title, 3.2, bold=True)]
    for tick in ticks:
        pen = "ring" if tick == 0.0 else "grid"
        shapes.append(Line(((x(tick), _TOP_MM), (x(tick), bottom)), pen))
        shapes.append(Text(x(tick), bottom + 3.0, f"{tick:g}", 2.6, "small text"))
    shapes.append(Text(left + wide / 2, bottom + 7.5, panel.axis, 2.7, "small text"))
    for row, found in enumerate(panel.ranges):
        if found is None or not np.isfinite(found.middle):
            continue
        y = _TOP_MM + _ROW_MM * (row + 0.5)
        if np.isfinite(found.low) and np.isfinite(found.high):
            shapes.append(Line(((x(found.low), y), (x(found.high), y)), "whisker"))
        half = 0.3 * _ROW_MM
        if found.box is None:
            shapes.append(Circle(x(found.middle), y, 0.85, "dot"))
            continue
        a, b = (x(end) for end in found.box)
        shapes.append(
            Line(((a, y - half), (b, y - half), (b, y + half), (a, y + half)), "box", closed=True)
        )
        middle = x(found.middle)
        shapes.append(Line(((middle, y - half), (middle, y + half)), "median"))
    return shapes


def nice_ticks(low: float, high: float, most: int = 7) -> list[float]:
    """Round numbers that hold a range, few enough to read: steps of 1, 2 or 5.

    >>> nice_ticks(0.0, 9.3, 6)
    [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    """
    span = max(high - low, 1e-6)
    power = 10.0 ** np.floor(np.log10(span))
    for factor in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0):
        step = factor * power
        first, last = np.floor(low / step), np.ceil(high / step)
        if last - first + 1 <= most or factor == 5.0:
            break
    last = max(last, first + 1)
    return [round(float(k * step), 9) + 0.0 for k in np.arange(first, last + 1)]
