"""The letters that printed words are set in, and what happens to signs they lack."""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path

import reportlab
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

PLAIN, BOLD = "FoamwrightPlain", "FoamwrightBold"
CAPITAL_OF_SIZE = 0.729
"""Height of capitals over the size of the type, of the fonts that reportlab carries."""
MISSING = "?"

_FOLDER = Path(reportlab.__file__).parent / "fonts"
_FILES = {PLAIN: "Vera.ttf", BOLD: "VeraBd.ttf"}


@cache
def register_fonts() -> None:
    """Make both fonts known to reportlab, which embeds them in every file."""
    for name in _FILES:
        pdfmetrics.registerFont(TTFont(name, str(font_file(name))))
    pdfmetrics.registerFontFamily(PLAIN, normal=PLAIN, bold=BOLD, italic=PLAIN, boldItalic=BOLD)


def font_file(name: str) -> Path:
    return _FOLDER / _FILES[name]


@cache
def _covered() -> frozenset[int]:
    register_fonts()
    glyphs = [pdfmetrics.getFont(name).face.charToGlyph for name in _FILES]
    return frozenset(set(glyphs[0]) & set(glyphs[1]))


def showable(words: str) -> str:
    """The same words with what both fonts lack put in plainer letters, or as a question mark."""
    return "".join(sign if ord(sign) in _covered() else _plainer(sign) for sign in words)


def _plainer(sign: str) -> str:
    if unicodedata.category(sign) in ("Mn", "Cc", "Cf"):
        return " " if sign.isspace() else ""
    base = "".join(c for c in unicodedata.normalize("NFKD", sign) if ord(c) in _covered())
    return base or MISSING


def width_mm(words: str, height_mm: float, font: str = PLAIN) -> float:
    """Printed width of words whose capitals are `height_mm` tall."""
    register_fonts()
    return pdfmetrics.stringWidth(showable(words), font, height_mm / CAPITAL_OF_SIZE)
