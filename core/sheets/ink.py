"""Drawing primitives onto a reportlab canvas, in millimetres from the lower left corner of the paper."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from math import degrees

import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.pdfgen.pathobject import PDFPathObject

from .drawing import CONTINUOUS_NARROW, LineType, Primitive, Region, Text
from .drawing import Line as DrawnLine
from .fonts import BOLD, CAPITAL_OF_SIZE, PLAIN, register_fonts, showable, width_mm

BLACK, GREY = 0.0, 0.45


class Ink:
    """A canvas that takes lines, regions and words in mm. Lines are drawn with round joins, flat ends."""

    def __init__(self, canvas: Canvas) -> None:
        register_fonts()
        self.canvas = canvas
        canvas.setLineJoin(1)

    # --- primitives ----------------------------------------------------------------------------

    def draw(self, primitives: Iterable[Primitive]) -> None:
        for primitive in primitives:
            if isinstance(primitive, DrawnLine):
                self.line(primitive.points, primitive.layer.line, closed=primitive.closed)
            elif isinstance(primitive, Region):
                self.fill(primitive.points)
            elif isinstance(primitive, Text):
                self.words(primitive.words, primitive.x, primitive.y, primitive.height_mm, angle=primitive.angle)

    def line(
        self, points: np.ndarray, line: LineType = CONTINUOUS_NARROW, *, closed: bool = False, grey: float = BLACK
    ) -> None:
        self._pen(line, grey)
        self.canvas.drawPath(self._path(points, closed), stroke=1, fill=0)

    def fill(self, points: np.ndarray, grey: float = BLACK) -> None:
        self.canvas.setFillGray(grey)
        self.canvas.drawPath(self._path(points, True), stroke=0, fill=1)

    def box(self, x: float, y: float, wide: float, tall: float, *, line_mm: float = 0.25, grey: float = BLACK) -> None:
        self._pen(LineType("", "", line_mm), grey)
        self.canvas.rect(x * mm, y * mm, wide * mm, tall * mm, stroke=1, fill=0)

    def words(
        self,
        words: str,
        x: float,
        y: float,
        height_mm: float,
        *,
        angle: float = 0.0,
        at: str = "middle",
        bold: bool = False,
        grey: float = BLACK,
        widest_mm: float | None = None,
    ) -> None:
        """One line, its capitals centred on y; `at` is "start", "middle" or "end"; set smaller if over widest_mm."""
        font = BOLD if bold else PLAIN
        text = showable(words)
        wide = width_mm(text, height_mm, font)
        if widest_mm is not None and wide > widest_mm:
            height_mm, wide = height_mm * widest_mm / wide, widest_mm
        back = {"start": 0.0, "middle": wide / 2, "end": wide}[at]
        self.canvas.saveState()
        self.canvas.translate(x * mm, y * mm)
        self.canvas.rotate(degrees(angle))
        self.canvas.setFillGray(grey)
        self.canvas.setFont(font, height_mm / CAPITAL_OF_SIZE * mm)
        self.canvas.drawString(-back * mm, -height_mm / 2 * mm, text)
        self.canvas.restoreState()

    # --- frames --------------------------------------------------------------------------------

    @contextmanager
    def within(self, left: float, bottom: float, right: float, top: float) -> Iterator[None]:
        """Nothing drawn meanwhile leaves the box."""
        self.canvas.saveState()
        path = self.canvas.beginPath()
        path.rect(left * mm, bottom * mm, (right - left) * mm, (top - bottom) * mm)
        self.canvas.clipPath(path, stroke=0, fill=0)
        yield
        self.canvas.restoreState()

    @contextmanager
    def scaled(self, x: float, y: float, scale: float) -> Iterator[None]:
        """Meanwhile mm are `scale` mm, counted from (x, y); line widths and words shrink too."""
        self.canvas.saveState()
        self.canvas.translate(x * mm, y * mm)
        self.canvas.scale(scale, scale)
        yield
        self.canvas.restoreState()

    # --- helpers -------------------------------------------------------------------------------

    def _pen(self, line: LineType, grey: float) -> None:
        self.canvas.setStrokeGray(grey)
        self.canvas.setLineWidth(line.width_mm * mm)
        self.canvas.setDash([part * mm for part in line.dashes])

    def _path(self, points: np.ndarray, closed: bool) -> PDFPathObject:
        path = self.canvas.beginPath()
        path.moveTo(*(float(v) * mm for v in points[0]))
        for point in points[1:]:
            path.lineTo(*(float(v) * mm for v in point))
        if closed:
            path.close()
        return path
