"""The printed book of a pattern: front pages, then every piece at full size. The same input gives the same bytes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Flowable, Frame, NextPageTemplate, PageBreak, PageTemplate

from ..files import write_whole
from ..layout.paging import A4, Page, Paper, paginate
from ..pattern import Pattern
from .drawing import draw_piece
from .fonts import register_fonts, showable
from .front import front_story
from .ink import GREY, Ink
from .page_marks import page_foot, page_frame, page_joins

MOST_PASSES = 4


def write_pdf(pattern: Pattern, path: str | Path, paper: Paper = A4, when: date | None = None) -> Path:
    """Write the templates at full size; `when` is printed on the cover if given.

    Raises ExportError if the file cannot be written, SettingsError for paper too small.
    """
    register_fonts()
    return write_whole(path, lambda draft: _write_book(pattern, draft, paper, when))


def draw_page(ink: Ink, pattern: Pattern, page: Page, paper: Paper, last_number: int) -> None:
    """One full-size page."""
    page_frame(ink, page, paper)
    with ink.within(*paper.drawing_area):
        for placement in page.placements:
            ink.draw(draw_piece(pattern, pattern.piece(placement.piece), placement))
    page_joins(ink, page, paper)
    page_foot(ink, page, paper, pattern.shell.name, last_number)


class _FullPage(Flowable):
    """A full-size page as the only thing in a frame as large as the paper."""

    def __init__(self, pattern: Pattern, page: Page, paper: Paper, last_number: int) -> None:
        super().__init__()
        self.pattern, self.page, self.paper, self.last_number = pattern, page, paper, last_number

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return available_width, available_height

    def draw(self) -> None:
        draw_page(Ink(self.canv), self.pattern, self.page, self.paper, self.last_number)


def _write_book(pattern: Pattern, path: Path, paper: Paper, when: date | None) -> None:
    # a pass tells on which page each section begins and how many front pages there are; the next one prints
    # that on the cover, which may push the rest on by a page
    known: dict[str, int] = {}
    front_count = 0
    for _ in range(MOST_PASSES):
        pages = paginate(pattern, paper, front_count + 1)
        found: dict[str, int] = {}
        last_number = front_count + len(pages)
        story = front_story(pattern, paper, pages, when, known, found)
        counted = _build(pattern, path, paper, story, pages, last_number)
        settled = (found, counted - len(pages)) == (known, front_count)
        known, front_count = found, counted - len(pages)
        if settled:
            return


def _build(
    pattern: Pattern, path: Path, paper: Paper, story: Sequence[Flowable], pages: Sequence[Page], last_number: int
) -> int:
    """Write the file and return how many pages it has."""
    full: list[Flowable] = [NextPageTemplate("full size")]
    for page in pages:
        full += [PageBreak(), _FullPage(pattern, page, paper, last_number)]
    document = book(path, paper, pattern, {"last": last_number})
    document.build([*story, *full])
    return int(document.page)


def book(path: Path, paper: Paper, pattern: Pattern, numbering: Mapping[str, int]) -> BaseDocTemplate:
    """A document with a template for front pages and one for full-size pages."""
    size = (paper.width_mm * mm, paper.height_mm * mm)
    margin = paper.margin_mm * mm
    name = showable(pattern.shell.name)

    def number_front_page(canvas: Canvas, document: BaseDocTemplate) -> None:
        ink = Ink(canvas)
        foot = paper.margin_mm - 2.0
        left, _, right, _ = paper.drawing_area
        ink.words(f"{name} · Foamwright", left, foot, 1.8, at="start", grey=GREY)
        ink.words(f"page {canvas.getPageNumber()} of {numbering['last']}", right, foot, 1.8, at="end", grey=GREY)

    text = Frame(
        margin,
        margin + 4 * mm,
        size[0] - 2 * margin,
        size[1] - 2 * margin - 4 * mm,
        leftPadding=0,
        rightPadding=0,
        topPadding=0,
        bottomPadding=0,
    )
    whole = Frame(0, 0, *size, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    document = BaseDocTemplate(
        str(path), pagesize=size, title=name, author="", subject="full-size foam templates", creator="Foamwright"
    )
    document.invariant = 1
    document.addPageTemplates(
        [
            PageTemplate("front", [text], onPage=number_front_page, pagesize=size),
            PageTemplate("full size", [whole], pagesize=size),
        ]
    )
    return document
