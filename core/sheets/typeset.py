"""Type and tables of the printed front pages."""

from __future__ import annotations

from collections.abc import Sequence
from xml.sax.saxutils import escape

from reportlab.lib.colors import Color
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, Table, TableStyle

from .fonts import BOLD, PLAIN, showable

INK, SOFT, RULE = Color(0, 0, 0), Color(0.35, 0.35, 0.35), Color(0.6, 0.6, 0.6)

TITLE = ParagraphStyle("title", fontName=BOLD, fontSize=24, leading=29, textColor=INK)
SUBTITLE = ParagraphStyle("subtitle", fontName=PLAIN, fontSize=11, leading=15, textColor=SOFT, spaceAfter=4 * mm)
WARNING = ParagraphStyle("warning", fontName=BOLD, fontSize=9.5, leading=13, textColor=INK, spaceAfter=3 * mm)
HEADING = ParagraphStyle("heading", fontName=BOLD, fontSize=12, leading=15, spaceBefore=5 * mm, spaceAfter=2 * mm)
BODY = ParagraphStyle("body", fontName=PLAIN, fontSize=8.5, leading=12)
LISTED = ParagraphStyle(
    "listed", parent=BODY, leftIndent=5 * mm, bulletFontName=PLAIN, bulletFontSize=8.5, spaceAfter=0.8 * mm
)
DIGIT_MM = 2.0
"""What each digit more of a list's numbers takes."""
CELL = ParagraphStyle("cell", fontName=PLAIN, fontSize=7.5, leading=9.5)
CELL_HEAD = ParagraphStyle("cell head", parent=CELL, fontName=BOLD)


def words(text: str, style: ParagraphStyle = BODY, bullet: str | None = None) -> Paragraph:
    """A paragraph of plain words: nothing in them is taken for markup."""
    return Paragraph(escape(showable(text)), style, bulletText=bullet)


def numbered(texts: Sequence[str]) -> list[Flowable]:
    """All texts begin below each other, however many there are."""
    wider = (len(str(len(texts))) - 1) * DIGIT_MM * mm
    style = ParagraphStyle("numbered", parent=LISTED, leftIndent=LISTED.leftIndent + wider)
    return [words(text, style, bullet=f"{number}.") for number, text in enumerate(texts, start=1)]


def bulleted(texts: Sequence[str]) -> list[Flowable]:
    return [words(text, LISTED, bullet="–") for text in texts]


def table(head: Sequence[str], rows: Sequence[Sequence[str]], widths_mm: Sequence[float]) -> Table:
    """Rows under a head that is repeated on every page."""
    cells = [[words(text, CELL_HEAD) for text in head], *([words(text, CELL) for text in row] for row in rows)]
    return Table(cells, [width * mm for width in widths_mm], repeatRows=1, style=_RULED, hAlign="LEFT")


def facts(rows: Sequence[Sequence[str]], widths_mm: Sequence[float]) -> Table:
    """Rows without a head, the first column bold."""
    cells = [[words(row[0], CELL_HEAD), *(words(text, CELL) for text in row[1:])] for row in rows]
    return Table(cells, [width * mm for width in widths_mm], style=_PLAIN_RULED, hAlign="LEFT")


_PADDING = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 0),
    ("RIGHTPADDING", (0, 0), (-1, -1), 2 * mm),
    ("TOPPADDING", (0, 0), (-1, -1), 1.2 * mm),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 1.2 * mm),
]
_PLAIN_RULED = TableStyle(
    [
        *_PADDING,
        ("TOPPADDING", (0, 0), (-1, -1), 0.5 * mm),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 0.7 * mm),
        ("LINEBELOW", (0, 0), (-1, -1), 0.25, RULE),
    ]
)
_RULED = TableStyle([*_PADDING, ("LINEBELOW", (0, 0), (-1, 0), 1, INK), ("LINEBELOW", (0, 1), (-1, -1), 0.25, RULE)])
