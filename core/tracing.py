"""The line to trace: the larger of the two outlines, so that the knife has foam to tilt in."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry.polygon import orient

from .outline import GRID_MM, face_of, parts_of
from .pattern import PatternPiece


def traced_rings(piece: PatternPiece) -> tuple[np.ndarray, ...]:
    """Closed rings (r, 2) mm around both faces of a piece: the outer one first, counter-clockwise, then holes.

    It is the outside outline but where the inside face is the larger one (valley bevels); half of what the blade
    takes away is added.
    """
    allowance = piece.stock.blade_mm / 2
    if not allowance and not inside_sticks_out(piece):
        return piece.outside_outline
    both = shapely.union_all([face_of(piece.outside_outline), face_of(piece.inside_outline)], grid_size=GRID_MM)
    if allowance:
        both = both.buffer(allowance, join_style="mitre")
    whole = orient(parts_of(both)[0])
    return tuple(np.array(ring.coords) for ring in (whole.exterior, *whole.interiors))


def inside_sticks_out(piece: PatternPiece) -> bool:
    """Whether the inside face is anywhere larger than the outside face."""
    outside, inside = face_of(piece.outside_outline), face_of(piece.inside_outline)
    return bool(shapely.difference(inside, outside, grid_size=GRID_MM).area > 0.01)
