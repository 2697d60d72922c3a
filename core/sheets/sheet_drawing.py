"""Everything on one foam sheet: its pieces, and a reference length to check the scale by."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..layout import Sheet
from ..pattern import Pattern
from .drawing import REFERENCE, Line, Primitive, Text, draw_piece

REFERENCE_MM = 100.0


def draw_sheet(pattern: Pattern, sheet: Sheet) -> Iterator[tuple[str, tuple[Primitive, ...]]]:
    """(piece name, what is drawn on it), mm from the sheet's lower left corner."""
    for placement in sheet.placements:
        yield placement.piece, draw_piece(pattern, pattern.piece(placement.piece), placement)


def reference_bar() -> tuple[Primitive, ...]:
    """A bar 100 mm long with its length in words, in the sheet's margin, where no piece comes."""
    left, right, foot = 5.0, 5.0 + REFERENCE_MM, 1.0
    bar = np.array([(left, foot + 2.5), (left, foot), (right, foot), (right, foot + 2.5)])
    return Line(REFERENCE, bar), Text(REFERENCE, "100 mm", right + 9.0, foot + 1.2, 0.0, 2.0)


def reference_square() -> tuple[Primitive, ...]:
    """A square of 100 mm below the sheet, with the unit in words."""
    low, high = -120.0, -20.0
    corners = np.array([(0.0, low), (REFERENCE_MM, low), (REFERENCE_MM, high), (0.0, high)])
    middle = (low + high) / 2
    return (
        Line(REFERENCE, corners, closed=True),
        Text(REFERENCE, "unit: millimetre", REFERENCE_MM / 2, middle + 5.0, 0.0, 4.0),
        Text(REFERENCE, "this square is 100 x 100 mm", REFERENCE_MM / 2, middle - 5.0, 0.0, 4.0),
    )
