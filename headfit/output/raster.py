"""A drawing of plain shapes as a PNG, for whoever cannot take an SVG; the same shapes and pens."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from headfit.output.headmap import PENS, Circle, HeadMap, Line, Text

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

DOTS_PER_INCH = 200
# Drawn so many times as large and averaged: smooth edges.
_OVERSAMPLING = 3
_FONTS = Path(__file__).parent / "fonts"


def drawing_png(drawing: HeadMap) -> bytes:
    """The PNG of a drawing, 200 dots an inch; equal shapes give equal bytes.

    >>> drawing_png(HeadMap(10.0, 5.0, 1.0, (Circle(5.0, 2.5, 2.0, "dot"),)))[1:4]
    b'PNG'
    """
    from PIL import Image, ImageDraw

    scale = DOTS_PER_INCH / 25.4
    size = round(drawing.width_mm * scale), round(drawing.height_mm * scale)
    coloured = any(PENS[shape.pen].colour for shape in drawing.shapes)
    mode = "RGB" if coloured else "L"
    large = Image.new(mode, (size[0] * _OVERSAMPLING, size[1] * _OVERSAMPLING), "#ffffff")
    brush = _Brush(ImageDraw.Draw(large), scale * _OVERSAMPLING)
    for shape in drawing.shapes:
        brush.draw(shape)
    out = io.BytesIO()
    large.resize(size, Image.Resampling.BOX).save(
        out, "PNG", dpi=(DOTS_PER_INCH, DOTS_PER_INCH), optimize=True
    )
    return out.getvalue()


class _Brush:
    def __init__(self, canvas: ImageDraw, scale: float) -> None:
        self.canvas, self.scale = canvas, scale

    def draw(self, shape: Line | Circle | Text) -> None:
        pen = PENS[shape.pen]
        ink, fill = pen.ink, pen.fill
        width = max(1, round(pen.width_mm * self.scale))
        if isinstance(shape, Text):
            font = _font(shape.bold, round(shape.size_mm * self.scale))
            place = (shape.x * self.scale, shape.baseline_mm * self.scale)
            anchor = "rs" if shape.ends_at_x else "ms"
            self.canvas.text(place, shape.words, fill=fill, font=font, anchor=anchor)
        elif isinstance(shape, Circle):
            x, y, r = (value * self.scale for value in (shape.x, shape.y, shape.radius))
            box = (x - r, y - r, x + r, y + r)
            self.canvas.ellipse(box, fill=fill, outline=ink, width=width if ink is not None else 0)
        else:
            points = [(x * self.scale, y * self.scale) for x, y in shape.points]
            if shape.closed and fill is not None:
                self.canvas.polygon(points, fill=fill)
            if shape.closed:
                points.append(points[0])
            if ink is not None and not pen.dash_mm:
                self.canvas.line(points, fill=ink, width=width, joint="curve")
            elif ink is not None:
                for start, end in zip(points[::2], points[1::2], strict=False):
                    self.canvas.line([start, end], fill=ink, width=width)


@cache
def _font(bold: bool, size: int) -> FreeTypeFont:
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(_FONTS / name, max(size, 1))
