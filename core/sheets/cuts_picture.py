"""Cross-sections of the foam on the cover: how a bevel is measured, how edges meet, how the foam folds."""

from __future__ import annotations

from collections.abc import Callable
from math import cos, pi, radians, sin, tan

import numpy as np

from .drawing import CONTINUOUS_NARROW, DASHED_NARROW
from .ink import Ink
from .pictures import Picture

ARM, THICK = 14.0, 5.0
"""Length of an arm and thickness of the foam as drawn, mm."""
FOAM_GREY = 0.87
CELL_TALL, WORDS_MM, LINE_MM = 20.5, 1.7, 2.9
COLUMNS = 4

Drawn = Callable[[Ink, float, float], None]


def cuts_picture(wide_mm: float) -> Picture:
    """All sections in two rows, the outside face above in each."""
    sections: list[tuple[Drawn, str, str]] = [
        (_bevel, "bevel 25°", "degrees from a blade held upright"),
        (_joint(44, "mitre"), "ridge, mitre", "each edge takes half of the bend"),
        (_joint(-44, "mitre"), "valley, mitre", "the inside face is the larger one"),
        (_joint(30, "one-sided"), "ridge, one-sided", "one edge square, one takes the bend"),
        (_joint(14, "butt"), "ridge, butt", "both square: the inside is squeezed"),
        (_joint(-14, "butt"), "valley, butt", "both square: the inside gapes"),
        (_groove, "V-groove on the inside face", "ridge fold: glue it shut"),
        (_score, "score on the inside face", "valley fold: it opens, fill it"),
    ]
    cell = wide_mm / COLUMNS
    rows = -(-len(sections) // COLUMNS)

    def paint(ink: Ink) -> None:
        for index, (draw, name, meaning) in enumerate(sections):
            x, y = cell * (index % COLUMNS + 0.5), CELL_TALL * (rows - index // COLUMNS)
            draw(ink, x, y - 2.5)
            ink.words(name, x, y - CELL_TALL + 2 * LINE_MM, WORDS_MM, bold=True, widest_mm=cell - 2)
            ink.words(meaning, x, y - CELL_TALL + LINE_MM, WORDS_MM, widest_mm=cell - 2)

    return Picture(wide_mm, rows * CELL_TALL, paint)


def _foam(ink: Ink, corners: list[tuple[float, float]], x: float, y: float) -> None:
    ring = np.array(corners)
    with ink.scaled(x, y, 1.0):
        ink.fill(ring, grey=FOAM_GREY)
        ink.line(ring, CONTINUOUS_NARROW, closed=True)


def _bevel(ink: Ink, x: float, y: float) -> None:
    """A slab whose right edge leans in under its outside face, and the angle to the upright."""
    tilt, edge = radians(25), 3.0
    foot = edge - THICK * tan(tilt)
    _foam(ink, [(-ARM, 0), (edge, 0), (foot, -THICK), (-ARM, -THICK)], x, y)
    beyond = THICK + 2.0
    turn = -pi / 2 - np.linspace(0, tilt, 12)
    with ink.scaled(x, y, 1.0):
        ink.line(np.array([(edge, 2.0), (edge, -THICK - 3)]), DASHED_NARROW)
        ink.line(np.array([(edge, 0), (edge - beyond * tan(tilt), -beyond)]))
        ink.line(np.stack([edge + (THICK + 1.2) * np.cos(turn), (THICK + 1.2) * np.sin(turn)], axis=1))
        ink.words("25°", edge + 3.2, -THICK - 0.6, WORDS_MM)
        ink.words("outside face", -ARM, 1.6, WORDS_MM, at="start")
        ink.words("inside face", -ARM, -THICK - 1.7, WORDS_MM, at="start")


def _joint(bend_deg: float, rule: str) -> Drawn:
    """Two arms that share the line on the outside face; + bend is a ridge."""
    half = radians(bend_deg) / 2

    def draw(ink: Ink, x: float, y: float) -> None:
        drop = max(-half, 0.0)
        apex_y = y - (ARM * sin(drop) if drop else 0.0)
        for side in (-1, 1):
            out = np.array([side * cos(half), -sin(half)])
            inward = np.array([-side * sin(half), -cos(half)])
            # where this edge ends on the inside face, counted along the arm from a square cut
            bevel = {"mitre": half, "one-sided": 2 * half if side < 0 else 0.0, "butt": 0.0}[rule]
            corner = THICK * (inward + tan(bevel) * out)
            corners = [np.zeros(2), ARM * out, ARM * out + THICK * inward, corner]
            _foam(ink, [(float(u), float(v)) for u, v in corners], x, apex_y)

    return draw


def _groove(ink: Ink, x: float, y: float) -> None:
    half, skin = 2.8, 1.0
    ring = [(-ARM, 0), (ARM, 0), (ARM, -THICK), (half, -THICK), (0, -skin), (-half, -THICK), (-ARM, -THICK)]
    _foam(ink, [(float(u), float(v)) for u, v in ring], x, y)


def _score(ink: Ink, x: float, y: float) -> None:
    _foam(ink, [(-ARM, 0), (ARM, 0), (ARM, -THICK), (-ARM, -THICK)], x, y)
    ink.line(np.array([(x, y - THICK), (x, y - THICK / 2)]))
