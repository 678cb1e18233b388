"""Type and pen on a page of paper, in millimetres from its top left corner; type sizes in points.

DejaVu Sans comes with headfit, so that Greek and Cyrillic print anywhere. Chinese, Japanese and
Korean use the fonts every PDF reader has or substitutes (Adobe's standard CID fonts, not embedded).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from functools import cache, lru_cache
from io import BytesIO
from itertools import groupby
from pathlib import Path

from reportlab import rl_config
from reportlab.lib.colors import HexColor
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.cidfonts import UnicodeCIDFont
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from headfit.errors import InputError, sentence
from headfit.output.headmap import PENS, Circle, HeadMap, Line, Pen, Text

PT_PER_MM = 72 / 25.4
MM_PER_PT = 25.4 / 72

# ISO 216 and ANSI/ASME Y14.1.
PAPERS: dict[str, tuple[float, float]] = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}

_REGULAR, _BOLD = "headfit DejaVu Sans", "headfit DejaVu Sans Bold"
_CHINESE, _KOREAN = "STSong-Light", "HYSMyeongJo-Medium"
# Ranges of Unicode blocks drawn with the Chinese font (it has kana too) and the Korean one.
_CHINESE_RANGES = ((0x3000, 0x30FF), (0x3400, 0x4DBF), (0x4E00, 0x9FFF), (0xFF00, 0xFFEF))
_KOREAN_RANGES = ((0xAC00, 0xD7A3),)


Ink = float | str  # a grey from 0 to 1, or #rrggbb
Stroke = tuple[float, Ink, tuple[float, ...]]  # width in mm, ink, dashes in mm


@cache
def _covered() -> frozenset[int]:
    """Characters of DejaVu Sans; registers all fonts once."""
    folder = Path(__file__).parent / "fonts"
    characters: list[frozenset[int]] = []
    for name, file in ((_REGULAR, "DejaVuSans.ttf"), (_BOLD, "DejaVuSans-Bold.ttf")):
        font = TTFont(name, BytesIO((folder / file).read_bytes()))
        pdfmetrics.registerFont(font)
        characters.append(frozenset(font.face.charToGlyph))
    for name in (_CHINESE, _KOREAN):
        pdfmetrics.registerFont(UnicodeCIDFont(name))
    return characters[0] & characters[1]


def clean(words: str, what: str = "text") -> str:
    r"""One line of text, composed, without control characters.

    Raises
    ------
    InputError
        A character that none of the fonts can draw, or that is written from right to left.

    >>> clean(" Ne\u0301a \n X ")
    'Néa X'
    """
    composed = unicodedata.normalize("NFC", " ".join(words.split()))
    kept = "".join(c for c in composed if unicodedata.category(c) not in ("Cc", "Cf"))
    for character in kept:
        if unicodedata.bidirectional(character) in ("R", "AL") or not _font(character, bold=False):
            raise InputError(
                sentence(
                    what,
                    "be in Latin, Greek, Cyrillic, Chinese, Japanese or Korean letters "
                    "to be printed",
                    f"{character!r} (U+{ord(character):04X})",
                    "use a short code instead",
                ),
                code="cannot-print",
            )
    return kept


@cache
def _font(character: str, *, bold: bool) -> str:
    """The font that draws a character, empty where none does."""
    code = ord(character)
    if code in _covered():
        return _BOLD if bold else _REGULAR
    for name, ranges in ((_CHINESE, _CHINESE_RANGES), (_KOREAN, _KOREAN_RANGES)):
        if any(low <= code <= high for low, high in ranges):
            return name
    return ""


def _runs(words: str, *, bold: bool) -> Iterator[tuple[str, str]]:
    """Font and words of each piece that one font draws."""
    if _covered().issuperset(map(ord, words)):  # nearly every line
        yield _BOLD if bold else _REGULAR, words
        return
    for font, characters in groupby(words, key=lambda c: _font(c, bold=bold) or _REGULAR):
        yield font, "".join(characters)


@lru_cache(maxsize=10_000)  # a page is laid out several times over
def width_mm(words: str, size: float, *, bold: bool = False) -> float:
    """How wide a line is set."""
    points = sum(pdfmetrics.stringWidth(part, font, size) for font, part in _runs(words, bold=bold))
    return float(points) * MM_PER_PT


def wrapped(words: str, size: float, room_mm: float, *, bold: bool = False) -> list[str]:
    """The words in lines no wider than the room; a word that is wider is broken.

    Chinese and Japanese have no spaces and break anywhere.
    """
    lines: list[str] = []
    line = ""
    for word in words.split():
        longer = f"{line} {word}" if line else word
        if width_mm(longer, size, bold=bold) <= room_mm:
            line = longer
            continue
        if line:
            lines.append(line)
        line = word
        while width_mm(line, size, bold=bold) > room_mm and len(line) > 1:
            n_fit = next(
                n
                for n in range(len(line) - 1, 0, -1)
                if n == 1 or width_mm(line[:n], size, bold=bold) <= room_mm
            )
            lines.append(line[:n_fit])
            line = line[n_fit:]
    return [*lines, line] if line else lines


class Paper:
    """Pages of one PDF that is the same, byte for byte, whenever it is made again.

    Parameters
    ----------
    size_mm : (width, height)
    title : str
    producer : str
        Program and version.
    subject : str
        What kind of paper it is.
    """

    def __init__(
        self,
        size_mm: tuple[float, float],
        title: str,
        producer: str,
        subject: str = "10-20 mark sheet",
    ) -> None:
        _covered()
        rl_config.useA85 = 0  # streams as they are: text in base 85 is longer and slower
        self.width_mm, self.height_mm = size_mm
        self._stroke: Stroke | None = None  # as last told to this page, and so is the fill
        self._fill: Ink | None = None
        self._file = BytesIO()
        points = (self.width_mm * PT_PER_MM, self.height_mm * PT_PER_MM)
        self._canvas = Canvas(self._file, pagesize=points, invariant=1, lang="en")
        self._canvas.setTitle(title)
        self._canvas.setSubject(subject)
        self._canvas.setAuthor(producer)
        self._canvas.setCreator(producer)
        # Asks the print dialogue for 100 %.
        self._canvas.setViewerPreference("PrintScaling", "None")

    def _y(self, y: float) -> float:
        return (self.height_mm - y) * PT_PER_MM

    def text(
        self,
        x: float,
        y: float,
        words: str,
        size: float = 9.0,
        *,
        bold: bool = False,
        align: str = "left",
        grey: float = 0.0,
    ) -> None:
        """A line of text with its baseline at y, from, to or around x."""
        if not words:
            return
        shift = {"left": 0.0, "right": 1.0, "middle": 0.5}[align]
        x -= shift * width_mm(words, size, bold=bold) if shift else 0.0
        self._set_fill(grey)
        line = self._canvas.beginText(x * PT_PER_MM, self._y(y))
        for font, part in _runs(words, bold=bold):
            line.setFont(font, size)
            line.textOut(part)
        self._canvas.drawText(line)

    def paragraph(
        self,
        x: float,
        y: float,
        words: str,
        room_mm: float,
        size: float = 9.0,
        *,
        bold: bool = False,
    ) -> float:
        """Text wrapped to the room, first baseline at y; returns the baseline that would follow."""
        for line in wrapped(words, size, room_mm, bold=bold):
            self.text(x, y, line, size, bold=bold)
            y += line_height_mm(size)
        return y

    def line(self, x0: float, y0: float, x1: float, y1: float, pen: float = 0.2) -> None:
        """A straight line of a width in mm."""
        self._pen(Pen(pen))
        self._canvas.line(x0 * PT_PER_MM, self._y(y0), x1 * PT_PER_MM, self._y(y1))

    def box(
        self,
        x: float,
        y: float,
        width: float,
        height: float,
        *,
        pen: float = 0.3,
        fill_grey: float | None = None,
    ) -> None:
        """A rectangle with its top left corner at (x, y); no line when the pen is 0."""
        self._pen(Pen(pen, 0.0 if pen else None, fill_grey))
        self._canvas.rect(
            x * PT_PER_MM,
            self._y(y + height),
            width * PT_PER_MM,
            height * PT_PER_MM,
            stroke=int(pen > 0),
            fill=int(fill_grey is not None),
        )

    def hatch(self, x: float, y: float, width: float, height: float, step: float = 2.0) -> None:
        """Slanted lines in a rectangle with its top left corner at (x, y)."""
        self._pen(Pen(0.25))
        at = step
        while at < width + height:
            x0, y0 = (at, 0.0) if at <= width else (width, at - width)
            x1, y1 = (0.0, at) if at <= height else (at - height, height)
            self._canvas.line(
                (x + x0) * PT_PER_MM, self._y(y + y0), (x + x1) * PT_PER_MM, self._y(y + y1)
            )
            at += step

    def triangle(self, x: float, y: float, size: float) -> None:
        """A black triangle with its middle at (x, y), point upwards."""
        self._pen(Pen(0.0, None, 0.0))
        path = self._canvas.beginPath()
        for k, (dx, dy) in enumerate(((0.0, -0.62), (0.6, 0.48), (-0.6, 0.48))):
            step = path.lineTo if k else path.moveTo
            step((x + dx * size) * PT_PER_MM, self._y(y + dy * size))
        path.close()
        self._canvas.drawPath(path, stroke=0, fill=1)

    def dot(self, x: float, y: float, radius: float) -> None:
        """A black dot round (x, y)."""
        self._pen(Pen(0.0, None, 0.0))
        self._canvas.circle(x * PT_PER_MM, self._y(y), radius * PT_PER_MM, stroke=0, fill=1)

    def polyline(self, points: Sequence[tuple[float, float]], pen: Pen) -> None:
        """A line through points on the page."""
        self._pen(pen)
        self._polyline(Line(tuple(points), ""), 0.0, 0.0, stroke=1, fill=0)

    def map(self, x: float, y: float, head: HeadMap) -> None:
        """A head map with its top left corner at (x, y)."""
        for shape in head.shapes:
            pen = PENS[shape.pen]
            if isinstance(shape, Text):
                self.text(
                    x + shape.x,
                    y + shape.baseline_mm,
                    shape.words,
                    shape.size_mm * PT_PER_MM,
                    bold=shape.bold,
                    align="middle",
                    grey=pen.fill_grey or 0.0,
                )
                continue
            self._pen(pen)
            stroke, fill = int(pen.grey is not None), int(pen.fill_grey is not None)
            if isinstance(shape, Circle):
                self._canvas.circle(
                    (x + shape.x) * PT_PER_MM,
                    self._y(y + shape.y),
                    shape.radius * PT_PER_MM,
                    stroke=stroke,
                    fill=fill,
                )
            else:
                self._polyline(shape, x, y, stroke=stroke, fill=fill)

    def _polyline(self, shape: Line, x: float, y: float, *, stroke: int, fill: int) -> None:
        path = self._canvas.beginPath()
        for k, (px, py) in enumerate(shape.points):
            step = path.lineTo if k else path.moveTo
            step((x + px) * PT_PER_MM, self._y(y + py))
        if shape.closed:
            path.close()
        self._canvas.drawPath(path, stroke=stroke, fill=fill if shape.closed else 0)

    def _pen(self, pen: Pen) -> None:
        if pen.grey is not None:
            self._set_stroke((pen.width_mm, pen.colour or pen.grey, pen.dash_mm))
        if pen.fill_grey is not None:
            self._set_fill(pen.colour if pen.colour and pen.grey is None else pen.fill_grey)

    def _set_stroke(self, stroke: Stroke) -> None:
        if stroke == self._stroke:
            return
        self._stroke = width_mm, ink, dash_mm = stroke
        self._canvas.setLineWidth(width_mm * PT_PER_MM)
        if isinstance(ink, str):
            self._canvas.setStrokeColor(HexColor(ink))
        else:
            self._canvas.setStrokeGray(ink)
        self._canvas.setDash([length * PT_PER_MM for length in dash_mm])
        self._canvas.setLineJoin(1)

    def _set_fill(self, ink: Ink) -> None:
        if ink == self._fill:
            return
        self._fill = ink
        if isinstance(ink, str):
            self._canvas.setFillColor(HexColor(ink))
        else:
            self._canvas.setFillGray(ink)

    def end_page(self) -> None:
        """The next thing drawn is on a new page."""
        self._canvas.showPage()
        self._stroke = self._fill = None

    def pdf(self) -> bytes:
        """The finished file."""
        self._canvas.save()
        return self._file.getvalue()


def line_height_mm(size: float) -> float:
    """From one baseline to the next."""
    return 1.3 * size * MM_PER_PT


def tallest_that_fits(
    words: str, room_mm: float, sizes: Sequence[float], n_lines: int, *, bold: bool = False
) -> tuple[float, list[str]]:
    """The first type size at which the words fit in some lines, and the lines.

    At the smallest size what does not fit ends in an ellipsis.
    """
    for size in sizes:
        lines = wrapped(words, size, room_mm, bold=bold)
        if len(lines) <= n_lines:
            return size, lines
    size, lines = sizes[-1], wrapped(words, sizes[-1], room_mm, bold=bold)[:n_lines]
    while width_mm(lines[-1] + "…", size, bold=bold) > room_mm:
        lines[-1] = lines[-1][:-1]
    return size, [*lines[:-1], lines[-1] + "…"]
