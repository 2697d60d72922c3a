"""One page that tells a pattern at a glance: its pieces, counts, strains and findings."""

from __future__ import annotations

from math import ceil
from pathlib import Path

import numpy as np
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable

from ..files import write_whole
from ..layout.paging import A4, Paper
from ..makeable import unmakeable_words
from ..pattern import Pattern, PatternPiece
from .findings import finding_heads
from .fonts import register_fonts, showable
from .ink import GREY, Ink
from .pictures import thumbnail
from .tables import common_words, counts, percent, piece_number
from .typeset import CELL, WARNING, bulleted, facts, words

MOST_FINDINGS = 8
CAPTION_MM = 9.0
MOST_COLUMNS = 12
LEAST_CELL_MM = CAPTION_MM + 7.0
"""A caption, the space beside a picture, and a picture that still shows which piece it is."""


def write_summary(pattern: Pattern, path: str | Path, paper: Paper = A4) -> Path:
    """Write the page; the same input gives the same bytes. Raises ExportError if the file cannot be written."""
    return write_whole(path, lambda draft: _write(pattern, draft, paper))


def _write(pattern: Pattern, path: Path, paper: Paper) -> None:
    register_fonts()
    canvas = Canvas(str(path), pagesize=(paper.width_mm * mm, paper.height_mm * mm), invariant=1)
    canvas.setTitle(showable(f"{pattern.shell.name}: summary"))
    canvas.setCreator("Foamwright")
    ink = Ink(canvas)
    left, right, top = paper.margin_mm, paper.width_mm - paper.margin_mm, paper.height_mm - paper.margin_mm
    wide = right - left
    ink.words(pattern.shell.name, left, top - 5.0, 6.0, at="start", bold=True, widest_mm=wide)
    size = " x ".join(f"{side:.0f}" for side in pattern.shell.size)
    ink.words(f"shell of {size} mm, summary", left, top - 12.0, 2.4, at="start", grey=GREY)
    column = (wide - 8.0) / 2
    y = top - 18.0
    used = _draw_down(canvas, [facts(counts(pattern), (column * 0.6, column * 0.4))], left, y, column)
    used_right = _draw_down(canvas, _findings(pattern), left + column + 8.0, y, column)
    grid_top = y - max(used, used_right) - 6.0
    hidden = _draw_grid(ink, pattern, left, paper.margin_mm + 4.0, wide, grid_top)
    more = f" {hidden} more pieces are in the templates." if hidden else ""
    figures = "Figures: largest pull / largest squeeze of the foam; what 99 % of the piece keeps to."
    note = f"{figures} All pieces at one scale.{more}"
    ink.words(
        f"{note} {paper.name} · Foamwright",
        left,
        paper.margin_mm - 2.0,
        1.8,
        at="start",
        grey=GREY,
    )
    canvas.showPage()
    canvas.save()


def _findings(pattern: Pattern) -> list[Flowable]:
    if not pattern.findings:
        return [words("No findings: nothing stands in the way of cutting.", CELL)]
    cannot = [words(warning, WARNING)] if (warning := unmakeable_words(pattern)) else []
    heads = finding_heads(pattern)
    shown, hidden = heads[:MOST_FINDINGS], len(heads) - MOST_FINDINGS
    return cannot + bulleted(shown) + ([words(f"and {hidden} more in the templates", CELL)] if hidden > 0 else [])


def _draw_down(canvas: Canvas, flowables: list[Flowable], x: float, y: float, wide: float) -> float:
    """Draw below y in a column, mm; returns the height used."""
    used = 0.0
    for flowable in flowables:
        _, tall = flowable.wrapOn(canvas, wide * mm, 1000 * mm)
        used += tall / mm
        flowable.drawOn(canvas, x * mm, (y - used) * mm)
    return used


def _draw_grid(ink: Ink, pattern: Pattern, left: float, floor: float, wide: float, top: float) -> int:
    """Every piece, as far as there is room; returns how many find none."""
    columns, cell_tall = _grid(len(pattern.parts), wide, top - floor)
    shown = pattern.parts[: columns * int((top - floor) / cell_tall + 1e-9)]
    gap = 3.0
    cell_wide = (wide - gap * (columns - 1)) / columns
    picture_tall = cell_tall - CAPTION_MM
    spans = np.array([np.ptp(piece.outside_outline[0], axis=0) for piece in shown])
    scale = float(((cell_wide - 3.0, picture_tall - 3.0) / spans.max(axis=0)).min())
    for index, piece in enumerate(shown):
        x = left + (cell_wide + gap) * (index % columns)
        y = top - cell_tall * (index // columns + 1)
        with ink.scaled(x, y + CAPTION_MM, 1.0):
            thumbnail(piece, cell_wide, picture_tall, scale).paint(ink)
        _caption(ink, pattern, piece, x, y + CAPTION_MM, cell_wide)
    return len(pattern.parts) - len(shown)


def _caption(ink: Ink, pattern: Pattern, piece: PatternPiece, x: float, y: float, wide: float) -> None:
    name = f"{piece_number(pattern, piece.name)}  {piece.name}"
    ink.words(name, x, y - 2.0, 2.0, at="start", bold=True, widest_mm=wide)
    strain = f"{percent(piece.largest_stretch)} / {percent(piece.largest_squeeze)}; 99 %: {common_words(piece)}"
    ink.words(strain, x, y - 5.2, 1.8, at="start", widest_mm=wide)


def _grid(count: int, wide: float, tall: float) -> tuple[int, float]:
    """Columns and height of a cell: the fewest columns (two at least) whose rows fit the room, as far as they can."""
    for columns in range(2, MOST_COLUMNS + 1):
        cell = wide / columns * 0.75 + CAPTION_MM
        if ceil(count / columns) * cell <= tall:
            return columns, cell
    return MOST_COLUMNS, max(LEAST_CELL_MM, tall / ceil(count / MOST_COLUMNS))
