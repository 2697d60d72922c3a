"""The pages that show where the pieces go: the shell from four sides with numbers, names and joint letters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from math import ceil

import numpy as np
from reportlab.lib.units import mm
from reportlab.platypus import CondPageBreak, Flowable, KeepTogether, Spacer

from ..pattern import Pattern
from ..shell_lines import ShellDrawing, shell_drawings
from .drawing import CONTINUOUS_NARROW, LineType
from .fonts import BOLD, width_mm
from .ink import GREY, Ink
from .pictures import Picture
from .tables import piece_number
from .typeset import BODY, words

VIEWS = (("front", 0.0), ("back", 180.0), ("the wearer's left", 90.0), ("the wearer's right", 270.0))
VIEWS_DOWN = 3
"""So many fit on a page, one above another."""
HEAD_MM = 20.0
"""Heading and note above the first view."""
CAPTION_MM, GAP_MM, NAMES_MM = 6.0, 5.0, 34.0
NUMBER_MM, LETTER_MM, NAME_MM = 2.2, 1.5, 1.9
ROW_MM = NAME_MM + 1.6
BORDER = CONTINUOUS_NARROW
FOLD_LINE = LineType("fold in a view", "02.1", 0.13, (1.2, 0.6))
LEADER = LineType("leader", "01.1", 0.1)

DOT = 0.4 * np.array([(np.cos(turn), np.sin(turn)) for turn in np.linspace(0, 2 * np.pi, 12, endpoint=False)])

Box = tuple[float, float, float, float]


def where_pages(
    pattern: Pattern, wide_mm: float, tall_mm: float, section: Callable[[str], list[Flowable]]
) -> list[Flowable]:
    """The views in which something is seen, all at one scale: a plate shows nothing from behind."""
    drawings = shell_drawings(pattern, tuple(azimuth for _, azimuth in VIEWS))
    room = np.array([wide_mm - 2 * NAMES_MM, tall_mm / VIEWS_DOWN - CAPTION_MM - GAP_MM])
    seen = [(name, drawing) for (name, _), drawing in zip(VIEWS, drawings, strict=True) if drawing.borders]
    extents = [np.ptp(np.concatenate(drawing.borders), axis=0) for _, drawing in seen]
    scale = float((room / np.max(extents, axis=0, initial=1e-9)).min()) if seen else 1.0
    most_names = 2 * int((tall_mm - HEAD_MM - CAPTION_MM) / ROW_MM)
    pictures = [
        _view(pattern, part, title, scale, wide_mm)
        for name, drawing in seen
        for title, part in _parts(f"from {name}" if " " in name else f"from the {name}", drawing, most_names)
    ]
    unseen = [piece.name for piece in pattern.pieces if not any(piece.name in drawing.pieces for drawing in drawings)]
    hidden = f" Out of sight: {', '.join(unseen)}." if unseen else ""
    note = words(f"Dashes are folds. Joint letters that find no room here are on the pieces.{hidden}", BODY)
    story: list[Flowable] = [KeepTogether([*section("Where the pieces go"), note, *pictures[:1]])]
    for picture in pictures[1:]:
        story += [Spacer(0, GAP_MM * mm), CondPageBreak(picture.tall_mm * mm), picture]
    return story


def _parts(title: str, drawing: ShellDrawing, most: int) -> list[tuple[str, ShellDrawing]]:
    """The same view again and again, from the top down, where it has more pieces than names find room beside it."""
    down = sorted(drawing.pieces, key=lambda name: -float(drawing.pieces[name][1]))
    if len(down) <= most:
        return [(title, drawing)]
    count = ceil(len(down) / most)
    bounds = [round(len(down) * index / count) for index in range(count + 1)]
    return [
        (f"{title}, {number} of {count}", replace(drawing, pieces={name: drawing.pieces[name] for name in down[a:b]}))
        for number, (a, b) in enumerate(pairwise(bounds), start=1)
    ]


def _view(pattern: Pattern, drawing: ShellDrawing, title: str, scale: float, wide_mm: float) -> Picture:
    cloud = np.concatenate(drawing.borders)
    low, high = cloud.min(axis=0) * scale, cloud.max(axis=0) * scale
    columns = _columns(drawing)
    rows = max(len(column) for column in columns)
    tall = max(float(high[1] - low[1]), rows * ROW_MM)
    shift = np.array([wide_mm / 2, tall / 2]) - (low + high) / 2

    def to_paper(points: np.ndarray) -> np.ndarray:
        return points * scale + shift

    def paint(ink: Ink) -> None:
        ink.words(title, 0, tall + 3.0, 2.4, at="start", bold=True)
        for lines, look in ((drawing.borders, BORDER), (drawing.folds, FOLD_LINE)):
            for line in lines:
                ink.line(to_paper(line), look)
        taken: list[Box] = []
        for column, at_left in zip(columns, (True, False), strict=True):
            _write_column(ink, pattern, [(n, to_paper(drawing.pieces[n])) for n in column], at_left, wide_mm, tall)
        for piece, point in drawing.pieces.items():
            number = str(piece_number(pattern, piece))
            box = _box(to_paper(point), width_mm(number, NUMBER_MM, BOLD), NUMBER_MM)
            if any(_meet(box, other) for other in taken):
                # the leader still tells: its name carries the number, and a dot ends it
                ink.fill(to_paper(point) + DOT)
                continue
            taken.append(box)
            _on_white(ink, number, box, NUMBER_MM, bold=True)
        for letter, places in drawing.joints.items():
            boxes = (_box(place, width_mm(letter, LETTER_MM), LETTER_MM) for place in to_paper(places))
            free = next((box for box in boxes if not any(_meet(box, other) for other in taken)), None)
            if free:
                taken.append(free)
                _on_white(ink, letter, free, LETTER_MM)

    return Picture(wide_mm, tall + CAPTION_MM, paint)


def _columns(drawing: ShellDrawing) -> tuple[list[str], list[str]]:
    """Names left and right of the view, as many on each side, from the top down: leaders hardly cross."""
    across = sorted(drawing.pieces, key=lambda name: float(drawing.pieces[name][0]))
    half = (len(across) + 1) // 2
    left, right = (
        sorted(side, key=lambda name: -float(drawing.pieces[name][1])) for side in (across[:half], across[half:])
    )
    return left, right


def _write_column(
    ink: Ink, pattern: Pattern, named: list[tuple[str, np.ndarray]], at_left: bool, wide_mm: float, tall_mm: float
) -> None:
    """Names spread over the height of the view, each with a line to its piece."""
    for row, (name, point) in enumerate(named):
        y = tall_mm * (1 - (row + 0.5) / len(named))
        label = f"{piece_number(pattern, name)}  {name}"
        edge = NAMES_MM - 4.0
        start = min(width_mm(label, NAME_MM), edge) + 1.2
        x = start if at_left else wide_mm - start
        ink.line(np.array([(x, y), point]), LEADER, grey=GREY)
        ink.words(label, 0 if at_left else wide_mm, y, NAME_MM, at="start" if at_left else "end", widest_mm=edge)


def _box(middle: np.ndarray, wide: float, tall: float) -> Box:
    """left, bottom, right, top of words with a little white around them."""
    x, y = (float(v) for v in middle)
    return x - wide / 2 - 0.4, y - tall / 2 - 0.4, x + wide / 2 + 0.4, y + tall / 2 + 0.4


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def _on_white(ink: Ink, text: str, box: Box, height_mm: float, bold: bool = False) -> None:
    left, bottom, right, top = box
    ink.fill(np.array([(left, bottom), (right, bottom), (right, top), (left, top)]), grey=1.0)
    ink.words(text, (left + right) / 2, (bottom + top) / 2, height_mm, bold=bold)
