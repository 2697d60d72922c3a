"""The line to trace: the larger of the two outlines, so that the knife has foam to tilt in."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import LineString, MultiLineString
from shapely.geometry.polygon import orient

from .outline import GRID_MM, face_of, parts_of
from .pattern import PatternPiece

SHORTEST_SLIT_MM = 0.1
"""What no knife cuts by intent, and corners lose by rounding."""


def traced_lines(piece: PatternPiece) -> tuple[np.ndarray, ...]:
    """Lines (r, 2) mm to trace around both faces of a piece: closed rings, the outer one first and counter-clockwise,
    then holes, then open slits.

    It is the outside outline but where the inside face is the larger one (valley bevels); half of what the blade
    takes away is added. Where that leaves nothing of a gap, the middle of a dart is cut, or both sides of the gap.
    """
    allowance = piece.stock.blade_mm / 2
    if allowance or inside_sticks_out(piece):
        both = shapely.union_all([face_of(piece.outside_outline), face_of(piece.inside_outline)], grid_size=GRID_MM)
        whole = both.buffer(allowance, join_style="mitre") if allowance else both
        parts = [orient(part) for part in parts_of(whole)]
        rings = tuple(np.array(ring.coords) for part in parts for ring in (part.exterior, *part.interiors))
        gaps = _closed_gaps(both, whole, allowance)
    else:
        rings, whole, gaps = piece.outside_outline, face_of(piece.outside_outline), MultiLineString()
    darts = shapely.intersection(_middle_of_darts(piece), whole)
    darts = darts.difference(MultiLineString([LineString(ring) for ring in rings]).buffer(SHORTEST_SLIT_MM))
    slits = [*_lines(darts), *_lines(gaps.difference(darts.buffer(max(piece.stock.blade_mm, SHORTEST_SLIT_MM))))]
    return (*rings, *slits) if slits else rings


def _lines(shape: shapely.Geometry) -> Iterator[np.ndarray]:
    for line in shapely.get_parts(shapely.line_merge(shape)):
        if line.length > SHORTEST_SLIT_MM:
            yield shapely.get_coordinates(line)


def _closed_gaps(both: shapely.Geometry, whole: shapely.Geometry, allowance: float) -> shapely.Geometry:
    """What of the rim of both faces has no line beside it in their rim widened by an allowance: gaps narrower than
    the blade, and the tips of sharp ones."""
    back = whole.buffer(-allowance).boundary if allowance else whole.boundary
    return shapely.difference(both.boundary, back.buffer(max(SHORTEST_SLIT_MM, allowance / 2)))


def _middle_of_darts(piece: PatternPiece) -> MultiLineString:
    """Half-way between both sides of every edge that the piece meets itself in."""
    edge = np.concatenate(piece.patch.loop_edges)
    ends = np.concatenate([np.stack([loop, np.roll(loop, -1)], axis=1) for loop in piece.patch.loops])
    order = np.argsort(edge, kind="stable")
    twice = np.flatnonzero(edge[order][:-1] == edge[order][1:])
    # one side runs against the other
    one, other = ends[order[twice]], ends[order[twice + 1]][:, ::-1]
    return MultiLineString(list((piece.flat[one] + piece.flat[other]) / 2))


def inside_sticks_out(piece: PatternPiece) -> bool:
    """Whether the inside face is anywhere larger than the outside face."""
    outside, inside = face_of(piece.outside_outline), face_of(piece.inside_outline)
    return bool(shapely.difference(inside, outside, grid_size=GRID_MM).area > 0.01)
