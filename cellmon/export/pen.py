"""A pen: the few strokes that pictures on paper are drawn with, in points from the lower left."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from reportlab.lib.colors import HexColor
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

if TYPE_CHECKING:
    from collections.abc import Iterator

PLAIN, BOLD = "CellmonText", "CellmonBold"
"""Names the packaged fonts go by inside a document."""

INK = "#1d2226"
SOFT = "#545b61"
LINE = "#82898f"
QUIET = "#adb2b6"
HAIR = "#d4d2cc"
ALLOWED = "#f1eee6"
INSIDE = "#dfe6ea"
ATTENTION = "#b34700"
"""Vermilion, darkened: 5.6 to 1 on white paper."""

Points = Sequence[tuple[float, float]]


@cache
def register_fonts() -> None:
    """Make the packaged fonts known; they hold Latin, Greek and Cyrillic, which the standard 14 do not."""
    folder = Path(__file__).parent / "fonts"
    pdfmetrics.registerFont(TTFont(PLAIN, folder / "DejaVuSansCondensed.ttf"))
    pdfmetrics.registerFont(TTFont(BOLD, folder / "DejaVuSansCondensed-Bold.ttf"))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


class Pen:
    """Draws in one box of a page; its origin is the lower left corner of the box."""

    def __init__(self, canvas: Any) -> None:
        self.canvas = canvas

    def line(
        self,
        x0: float,
        y0: float,
        x1: float,
        y1: float,
        *,
        ink: str = INK,
        width: float = 0.6,
        dash: Any = (),
    ) -> None:
        """Draw a straight line."""
        self.lines([(x0, y0), (x1, y1)], ink=ink, width=width, dash=dash)

    def lines(self, points: Points, *, ink: str = INK, width: float = 0.8, dash: Any = ()) -> None:
        """Draw one line through the points."""
        if len(points) < 2:
            return
        self._stroke(ink, width, dash)
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        self.canvas.drawPath(path, stroke=1, fill=0)

    def strokes(
        self, starts: Points, *, dx: float = 0.0, dy: float = 0.0, ink: str = INK, width: float = 0.6
    ) -> None:
        """Draw many equal strokes from their starts, as one path."""
        self._stroke(ink, width, ())
        path = self.canvas.beginPath()
        for x, y in starts:
            path.moveTo(x, y)
            path.lineTo(x + dx, y + dy)
        self.canvas.drawPath(path, stroke=1, fill=0)

    def area(self, points: Points, *, fill: str, ink: str | None = None, width: float = 0.5) -> None:
        """Fill a closed shape."""
        if len(points) < 3:
            return
        self.canvas.setFillColor(HexColor(fill))
        if ink is not None:
            self._stroke(ink, width, ())
        path = self.canvas.beginPath()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        path.close()
        self.canvas.drawPath(path, stroke=int(ink is not None), fill=1)

    def box(
        self, x0: float, y0: float, x1: float, y1: float, *, fill: str | None = None, ink: str | None = None
    ) -> None:
        """Draw a rectangle, filled or not."""
        if fill is not None:
            self.area([(x0, y0), (x1, y0), (x1, y1), (x0, y1)], fill=fill)
        if ink is not None:
            self.lines([(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)], ink=ink, width=0.6)

    def hatched(
        self, x0: float, y0: float, x1: float, y1: float, *, ink: str = LINE, pitch: float = 4.0
    ) -> None:
        """Hatch a rectangle at 45 degrees."""
        width, height = x1 - x0, y1 - y0
        if width <= 0 or height <= 0:
            return
        with self.inside(x0, y0, x1, y1):
            count = int((width + height) / pitch) + 1
            starts = [(x0 - height + i * pitch, y0) for i in range(1, count)]
            self.strokes(starts, dx=height, dy=height, ink=ink, width=0.4)

    def dots(self, centres: Points, *, radius: float = 1.0, ink: str = INK) -> None:
        """Draw filled dots."""
        self.canvas.setFillColor(HexColor(ink))
        path = self.canvas.beginPath()
        for x, y in centres:
            path.circle(x, y, radius)
        self.canvas.drawPath(path, stroke=0, fill=1)

    def ring(self, x: float, y: float, *, radius: float = 4.0, ink: str = ATTENTION) -> None:
        """Draw a ring round what needs attention."""
        self._stroke(ink, 1.2, ())
        self.canvas.circle(x, y, radius, stroke=1, fill=0)

    def word(
        self,
        x: float,
        y: float,
        text: str,
        *,
        size: float = 7.5,
        ink: str = INK,
        bold: bool = False,
        anchor: str = "start",
    ) -> None:
        """Write words on one line; `anchor` is start, middle or end."""
        font = BOLD if bold else PLAIN
        self.canvas.setFillColor(HexColor(ink))
        self.canvas.setFont(font, size)
        shift = {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor]
        self.canvas.drawString(x - shift * word_width(text, size=size, bold=bold), y, text)

    @contextmanager
    def inside(self, x0: float, y0: float, x1: float, y1: float) -> Iterator[None]:
        """Cut off what is drawn outside a rectangle."""
        self.canvas.saveState()
        path = self.canvas.beginPath()
        path.rect(x0, y0, x1 - x0, y1 - y0)
        self.canvas.clipPath(path, stroke=0, fill=0)
        try:
            yield
        finally:
            self.canvas.restoreState()

    def _stroke(self, ink: str, width: float, dash: Any) -> None:
        self.canvas.setStrokeColor(HexColor(ink))
        self.canvas.setLineWidth(width)
        self.canvas.setLineJoin(1)
        self.canvas.setDash(*dash) if dash else self.canvas.setDash()


def word_width(text: str, *, size: float, bold: bool = False) -> float:
    """Return the width of words on one line, in points."""
    register_fonts()
    return float(pdfmetrics.stringWidth(text, BOLD if bold else PLAIN, size))
