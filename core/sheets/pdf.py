"""The printed book of a pattern: front pages, then every piece at full size. The same input gives the same bytes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from functools import partial
from pathlib import Path

from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Frame, PageTemplate

from ..files import whole_file
from ..layout.paging import A4, Page, Paper, paginate
from ..pattern import Pattern
from ..progress import Progress, Steps, finish, in_thread
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
    return finish(pdf_steps(pattern, path, paper, when))


def pdf_steps(pattern: Pattern, path: str | Path, paper: Paper = A4, when: date | None = None) -> Steps[Path]:
    """`write_pdf` in steps: the front pages, then page by page."""
    with whole_file(path) as draft:
        register_fonts()
        yield from _write_book(pattern, draft, paper, when, Path(path).name)
    return Path(path)


def draw_page(ink: Ink, pattern: Pattern, page: Page, paper: Paper, last_number: int) -> None:
    """One full-size page."""
    page_frame(ink, page, paper)
    with ink.within(*paper.drawing_area):
        for placement in page.placements:
            ink.draw(draw_piece(pattern, pattern.piece(placement.piece), placement))
    page_joins(ink, page, paper)
    page_foot(ink, page, paper, pattern.shell.name, last_number)


class _OpenCanvas(Canvas):
    """Takes more pages after the front pages have been set; `close` writes the file."""

    def save(self) -> None:
        pass

    def close(self) -> None:
        super().save()


def _write_book(pattern: Pattern, path: Path, paper: Paper, when: date | None, name: str) -> Steps[None]:
    # a pass tells on which page each section begins and how many front pages there are; the next one prints
    # that on the cover, which may push the rest on by a page
    known: dict[str, int] = {}
    front_count = 0
    for _ in range(MOST_PASSES):
        at = Progress(f"{name}, front pages", 0.0)
        yield at
        pages = yield from in_thread(partial(paginate, pattern, paper, front_count + 1), at)
        found: dict[str, int] = {}
        last_number = front_count + len(pages)
        # pages are set by a library that reports nothing; they stay in memory until the book is closed
        setting = partial(_set_front, pattern, path, paper, pages, when, known, found, last_number)
        canvas, counted = yield from in_thread(setting, at)
        settled = (found, counted) == (known, front_count)
        known, front_count = found, counted
        if settled:
            break
    for page in pages:
        at = Progress(f"{name}, page {page.number} of {last_number}", page.number / last_number)
        yield at
        yield from in_thread(partial(draw_page, Ink(canvas), pattern, page, paper, last_number), at)
        canvas.showPage()
    canvas.close()


def _set_front(
    pattern: Pattern,
    path: Path,
    paper: Paper,
    pages: Sequence[Page],
    when: date | None,
    known: dict[str, int],
    found: dict[str, int],
    last_number: int,
) -> tuple[_OpenCanvas, int]:
    """A canvas with the front pages on it, and how many there are; known and found as of `front_story`."""
    document = _front_document(path, paper, pattern, last_number)
    document.build(list(front_story(pattern, paper, pages, when, known, found)), canvasmaker=_OpenCanvas)
    return document.canv, int(document.page)


def _front_document(path: Path, paper: Paper, pattern: Pattern, last_number: int) -> BaseDocTemplate:
    size = (paper.width_mm * mm, paper.height_mm * mm)
    margin = paper.margin_mm * mm
    name = showable(pattern.shell.name)

    def number_front_page(canvas: Canvas, document: BaseDocTemplate) -> None:
        ink = Ink(canvas)
        foot = paper.margin_mm - 2.0
        left, _, right, _ = paper.drawing_area
        ink.words(f"{name} · Foamwright", left, foot, 1.8, at="start", grey=GREY)
        ink.words(f"page {canvas.getPageNumber()} of {last_number}", right, foot, 1.8, at="end", grey=GREY)

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
    document = BaseDocTemplate(
        str(path), pagesize=size, title=name, author="", subject="full-size foam templates", creator="Foamwright"
    )
    document.invariant = 1
    document.addPageTemplates([PageTemplate("front", [text], onPage=number_front_page, pagesize=size)])
    return document
