"""Small pictures for the printed front pages: pieces, foam sheets, page maps, the legend."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import shapely
from reportlab.lib.units import mm
from reportlab.platypus import Flowable

from ..layout import Placement, Sheet
from ..layout.paging import Page, Paper
from ..pattern import Pattern, PatternPiece
from .drawing import (
    CHAIN_DOUBLE,
    CONTINUOUS_NARROW,
    CUT,
    FOLD,
    FOLD_END_RADIUS_MM,
    GROOVE,
    INSIDE,
    KERF,
    LEADER_DOT_MM,
    OUTSIDE,
    STANDING,
    LineType,
    net_area,
)
from .fonts import BOLD, width_mm
from .ink import GREY, Ink
from .page_marks import registration_mark
from .tables import piece_number

HAIR = LineType("hair", "01.1", 0.15)
MAP_SCALE = 1 / 6
MAP_NAMES = 40
"""So many pieces are named under a page map; small ones fill a page by the hundred, and the cut list has them all."""
MAP_HEAD_MM = 30.0
"""Heading and words above the first map of a page."""
NAME_MM = 1.7
"""Height of the names of pieces."""


class Picture(Flowable):
    """A drawing of fixed size in mm that flows with the text; `paint` draws it from its lower left corner."""

    def __init__(self, wide_mm: float, tall_mm: float, paint: Callable[[Ink], None]) -> None:
        super().__init__()
        self.wide_mm, self.tall_mm, self.paint = wide_mm, tall_mm, paint

    def wrap(self, available_width: float, available_height: float) -> tuple[float, float]:
        return self.wide_mm * mm, self.tall_mm * mm

    def draw(self) -> None:
        self.paint(Ink(self.canv))


def beside(pictures: Sequence[Picture], gap_mm: float) -> Picture:
    """Pictures in a row, standing on one line."""
    wide = sum(picture.wide_mm for picture in pictures) + gap_mm * (len(pictures) - 1)

    def paint(ink: Ink) -> None:
        x = 0.0
        for picture in pictures:
            with ink.scaled(x, 0.0, 1.0):
                picture.paint(ink)
            x += picture.wide_mm + gap_mm

    return Picture(wide, max(picture.tall_mm for picture in pictures), paint)


def in_rows(pictures: Sequence[Picture], width_mm: float, gap_mm: float) -> list[Picture]:
    """Rows of pictures, as many side by side as the width takes."""
    rows: list[list[Picture]] = []
    filled = 0.0
    for picture in pictures:
        if rows and filled + gap_mm + picture.wide_mm <= width_mm:
            rows[-1].append(picture)
            filled += gap_mm + picture.wide_mm
        else:
            rows.append([picture])
            filled = picture.wide_mm
    return [beside(row, gap_mm) for row in rows]


def draw_outline(ink: Ink, piece: PatternPiece, to_paper: Callable[[np.ndarray], np.ndarray]) -> None:
    """Outlines and folds only, in fine lines, wherever `to_paper` puts them."""
    for ring in piece.outside_outline:
        ink.line(to_paper(ring[:-1]), CONTINUOUS_NARROW, closed=True)
    for fold in piece.folds:
        ink.line(to_paper(piece.flat[fold.path]), HAIR, grey=GREY)


def label_piece(
    ink: Ink, pattern: Pattern, piece: PatternPiece, to_paper: Callable[[np.ndarray], np.ndarray], tallest: float = 3.2
) -> None:
    """The piece's number, and its name where there is room, in its widest place."""
    widest = shapely.maximum_inscribed_circle(net_area(piece))
    centre, rim = to_paper(shapely.get_coordinates(widest))
    radius = float(np.hypot(*(rim - centre)))
    height = min(tallest, radius * 0.9)
    below = height / 2 + 1.2
    named = float(np.hypot(width_mm(piece.name, NAME_MM) / 2, below + NAME_MM / 2)) <= radius
    x, y = (float(v) for v in centre)
    ink.words(str(piece_number(pattern, piece.name)), x, y + (1.2 if named else 0.0), height, bold=True)
    if named:
        ink.words(piece.name, x, y - below, NAME_MM)


def sheet_picture(pattern: Pattern, sheet: Sheet, wide_mm: float, tallest_mm: float) -> Picture:
    """One foam sheet with its pieces, as large as fits."""
    scale = min(wide_mm / sheet.width_mm, tallest_mm / sheet.height_mm)

    def paint(ink: Ink) -> None:
        ink.box(0, 0, sheet.width_mm * scale, sheet.height_mm * scale, line_mm=0.35)
        for placement in sheet.placements:
            piece = pattern.piece(placement.piece)

            def to_paper(points: np.ndarray, placement: Placement = placement) -> np.ndarray:
                return placement.apply(points) * scale

            draw_outline(ink, piece, to_paper)
            label_piece(ink, pattern, piece, to_paper)

    return Picture(sheet.width_mm * scale, sheet.height_mm * scale, paint)


def page_map(pattern: Pattern, group: Sequence[Page], paper: Paper) -> Picture:
    """The pages of one group as they join, with the pieces on them and the page numbers; smaller where many join."""
    left, bottom, right, top = paper.drawing_area
    first = group[0].placements[0]
    shifts = np.array([[first.x - page.placements[0].x, first.y - page.placements[0].y] for page in group])
    low = np.array([left, bottom]) + shifts.min(axis=0)
    high = np.array([right, top]) + shifts.max(axis=0)
    names = [*group[0].pieces[:MAP_NAMES]]
    if len(group[0].pieces) > MAP_NAMES:
        names.append(f"and {len(group[0].pieces) - MAP_NAMES} more: see the cut list")
    pitch = 3.0
    caption = pitch * len(names) + 1.0
    widest, tallest = paper.drawing_size
    scale = min(MAP_SCALE, widest / (high - low)[0], (tallest - MAP_HEAD_MM - caption) / (high - low)[1])
    wide, tall = (high - low) * scale
    room = max([float(wide), *(width_mm(name, NAME_MM) for name in names)])

    def to_paper(points: np.ndarray) -> np.ndarray:
        return (points - low) * scale + ((room - wide) / 2, caption)

    def paint(ink: Ink) -> None:
        feet = to_paper(np.array([left, bottom]) + shifts)
        for x, y in feet.tolist():
            ink.box(x, y, (right - left) * scale, (top - bottom) * scale, line_mm=0.2, grey=GREY)
        for placement in group[0].placements:
            piece = pattern.piece(placement.piece)

            def placed(points: np.ndarray, placement: Placement = placement) -> np.ndarray:
                return to_paper(placement.apply(points))

            draw_outline(ink, piece, placed)
        heads = feet + np.array([1.8, (top - bottom) * scale - 3.4])
        for page, (x, y) in zip(group, heads.tolist(), strict=True):
            wide, half = width_mm(str(page.number), 3.4, BOLD), 2.2
            # outlines do not run through the number
            ink.fill(np.array([(x, y - half), (x + wide, y - half), (x + wide, y + half), (x, y + half)]), grey=1.0)
            ink.words(str(page.number), x, y, 3.4, at="start", bold=True)
        for row, name in enumerate(names):
            ink.words(name, room / 2, caption - 2.0 - pitch * row, NAME_MM)

    return Picture(room, float(tall) + caption, paint)


def thumbnail(piece: PatternPiece, wide_mm: float, tall_mm: float, scale: float) -> Picture:
    """One piece as drawn, centred, on a pale ground."""
    points = piece.outside_outline[0]
    middle = (points.min(axis=0) + points.max(axis=0)) / 2

    def to_paper(points: np.ndarray) -> np.ndarray:
        return (points - middle) * scale + (wide_mm / 2, tall_mm / 2)

    def paint(ink: Ink) -> None:
        ink.fill(np.array([(0, 0), (wide_mm, 0), (wide_mm, tall_mm), (0, tall_mm)]), grey=0.96)
        draw_outline(ink, piece, to_paper)

    return Picture(wide_mm, tall_mm, paint)


def legend_picture(wide_mm: float) -> Picture:
    """Every line and sign of the templates with its meaning, in two columns."""
    column, pitch, sample = wide_mm / 2, 6.5, 22.0

    def straight(layer_line: LineType) -> Callable[[Ink, float, float], None]:
        return lambda ink, x, y: ink.line(np.array([(x, y), (x + sample, y)]), layer_line)

    def fold(ink: Ink, x: float, y: float) -> None:
        turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
        circle = FOLD_END_RADIUS_MM * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        straight(FOLD.line)(ink, x, y)
        for end in (x, x + sample):
            ink.line(circle + np.array([end, y]), FOLD.line, closed=True)

        ink.words("f1", x + sample / 2, y + 1.9, 1.8)

    def cut(ink: Ink, x: float, y: float) -> None:
        straight(CUT.line)(ink, x, y - 2.0)
        ink.words("H  bevel 22-31", x + sample / 2, y + 0.4, 1.8)

    def leader(ink: Ink, x: float, y: float) -> None:
        straight(CUT.line)(ink, x, y - 2.0)
        ink.words("A  square", x + 6, y + 0.4, 1.8)
        ink.line(np.array([(x + 13, y + 0.4), (x + 17, y - 2.0)]))
        turn = np.linspace(0, 2 * np.pi, 16, endpoint=False)
        ink.fill(LEADER_DOT_MM * np.stack([np.cos(turn), np.sin(turn)], axis=1) + np.array([x + 17, y - 2.0]))

    def kerfs(ink: Ink, x: float, y: float) -> None:
        for left in (x + 3, x + 9, x + 15):
            ink.line(
                np.array([(left, y - 2), (left + 2, y - 2), (left + 2, y + 2), (left, y + 2)]), KERF.line, closed=True
            )

    def standing(ink: Ink, x: float, y: float) -> None:
        straight(STANDING.line)(ink, x, y - 2.0)
        ink.words("12 disc", x + sample / 2, y + 0.4, 1.8)

    def notch(ink: Ink, x: float, y: float) -> None:
        straight(CUT.line)(ink, x, y - 2.0)
        ink.line(np.array([(x + 10, y - 2.0), (x + 10, y + 2.0)]))
        ink.words("C2", x + 13.5, y + 0.8, 1.8)

    def up(ink: Ink, x: float, y: float) -> None:
        ink.line(np.array([(x + 4, y), (x + 14, y)]))
        ink.fill(np.array([(x + 20, y), (x + 13, y + 1.8), (x + 13, y - 1.8)]))

    entries: list[tuple[Callable[[Ink, float, float], None], str]] = [
        (straight(CUT.line), "trace and cut: the larger outline"),
        (straight(OUTSIDE.line), "outside face, where the inside face is larger"),
        (straight(INSIDE.line), "inside face: the tilted blade comes out here"),
        (cut, "edge H: its tilt from square in degrees"),
        (leader, "words that belong to the line at the dot"),
        (fold, "fold 1 of the piece: see the list of folds"),
        (straight(GROOVE.line), "mouth of a wide V-groove on the inside face"),
        (standing, "loose part 12 is glued on here"),
        (kerfs, "kerfs (true width) and scores on the inside face"),
        (notch, "notch: meets the same label on the other piece"),
        (up, "this way is up on the finished shell"),
        (lambda ink, x, y: registration_mark(ink, x + sample / 2, y, "7·8"), "pages 7 and 8 meet here: lay tip on tip"),
        (straight(CHAIN_DOUBLE), "rim of a page where another page goes on"),
    ]
    rows = (len(entries) + 1) // 2

    def paint(ink: Ink) -> None:
        for index, (draw, words) in enumerate(entries):
            x = column * (index // rows) + 2
            y = pitch * (rows - index % rows) - pitch / 2
            draw(ink, x, y)
            ink.words(words, x + sample + 6, y, 1.9, at="start", widest_mm=column - sample - 10)

    return Picture(wide_mm, rows * pitch, paint)
