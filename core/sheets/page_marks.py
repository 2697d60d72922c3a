"""What every full-size page carries besides the pieces: scale bars, registration marks, joins, the foot strip."""

from __future__ import annotations

from math import pi

import numpy as np

from ..layout.paging import Page, Paper
from .drawing import CHAIN_DOUBLE, CONTINUOUS_NARROW, CONTINUOUS_WIDE
from .ink import GREY, Ink

BAR_MM = 100.0
MARK_MM = 2.5


def scale_bar(ink: Ink, x: float, y: float, *, upright: bool = False, words: str = "") -> None:
    """A line 100 mm long with a tick every 10 mm, long ones at the ends and the middle, words over its end."""
    along, across = (np.array([0.0, 1.0]), np.array([-1.0, 0.0])) if upright else (np.eye(2)[0], np.eye(2)[1])
    start = np.array([x, y])
    ink.line(np.stack([start, start + BAR_MM * along]), CONTINUOUS_NARROW)
    for step in range(11):
        at = start + 10.0 * step * along
        ink.line(np.stack([at, at + (2.4 if step % 5 == 0 else 1.3) * across]), CONTINUOUS_NARROW)
    if words:
        x, y = (start + 1.0 * along + 4.2 * across).tolist()
        ink.words(words, x, y, 1.9, at="start", angle=pi / 2 if upright else 0.0)


def registration_mark(ink: Ink, x: float, y: float, label: str) -> None:
    """A diamond with its upper and lower quarter filled: the tips meet in the point that must coincide."""
    point = np.array([x, y])
    right, up = MARK_MM * np.eye(2)
    ink.line(np.stack([point + right, point + up, point - right, point - up]), closed=True)
    ink.fill(np.stack([point, point + (up + right) / 2, point + up, point + (up - right) / 2]))
    ink.fill(np.stack([point, point - (up + right) / 2, point - up, point - (up - right) / 2]))
    ink.words(label, x, y - MARK_MM - 1.4, 1.4)


def page_frame(ink: Ink, page: Page, paper: Paper) -> None:
    """The rim of the drawing area: continuous at an outer edge, chain line where another page goes on."""
    left, bottom, right, top = paper.drawing_area
    corners = {
        "left": ((left, bottom), (left, top)),
        "right": ((right, bottom), (right, top)),
        "top": ((left, top), (right, top)),
        "bottom": ((left, bottom), (right, bottom)),
    }
    joined = {join.side for join in page.joins}
    for side, ends in corners.items():
        ink.line(np.array(ends), CHAIN_DOUBLE if side in joined else CONTINUOUS_NARROW, grey=GREY)


def page_joins(ink: Ink, page: Page, paper: Paper) -> None:
    """In words at each joined edge, and the registration marks in the overlaps."""
    left, bottom, right, top = paper.drawing_area
    half = 3.0
    # off the middle at the left, where the upright scale bar stands
    spots = {
        "left": (left - half, bottom + 0.75 * (top - bottom), pi / 2),
        "right": (right + half, bottom + 0.5 * (top - bottom), pi / 2),
        "top": ((left + right) / 2, top + half, 0.0),
        "bottom": ((left + right) / 2, bottom - half + 0.4, 0.0),
    }
    for join in page.joins:
        x, y, angle = spots[join.side]
        ink.words(f"{join.side} edge {join.words}", x, y, 2.0, angle=angle)
        for mark in join.marks:
            registration_mark(ink, *mark, f"{min(page.number, join.page)}·{max(page.number, join.page)}")


def page_foot(ink: Ink, page: Page, paper: Paper, shell_name: str, last_number: int) -> None:
    """The strip at the foot: scale bars, size of the paper in words, page number, what is shown."""
    left, bottom, right, _ = paper.drawing_area
    floor = paper.margin_mm
    scale_bar(ink, left, floor + 2.0, words="this bar is 100 mm: check it with a ruler")
    scale_bar(ink, left - 1.2, bottom + 1.0, upright=True)
    ink.words("100 mm", left - 2.4, bottom + BAR_MM + 8.0, 1.9, angle=pi / 2)
    room = right - left - BAR_MM - 8.0
    ink.words(f"{page.number}", right, floor + 11.0, 6.0, at="end", bold=True)
    ink.words(f"of {last_number} pages", right, floor + 5.2, 1.9, at="end")
    ink.words("full size 1:1", right, floor + 1.6, 1.9, at="end")
    start = left + BAR_MM + 8.0
    ink.words(shell_name, start, floor + 12.4, 3.0, at="start", bold=True, widest_mm=room - 22.0)
    ink.words(_shown(page), start, floor + 8.0, 2.0, at="start", widest_mm=room - 22.0)
    ink.words(paper.size_in_words, start, floor + 4.6, 1.9, at="start")
    ink.words("print at 100 %, do not fit to page", start, floor + 1.6, 1.9, at="start", widest_mm=room - 22.0)
    ink.line(np.array([(left, floor - 1.0), (right, floor - 1.0)]), CONTINUOUS_WIDE)


def _shown(page: Page) -> str:
    if page.tiled:
        return f"{page.pieces[0]}: row {page.row} of {page.rows}, column {page.column} of {page.columns}"
    return " · ".join(page.pieces)
