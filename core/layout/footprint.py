"""The room a piece takes on a flat surface, and the turns at which it fits a rectangle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import Polygon

from . import Placement, Sheet

if TYPE_CHECKING:
    from ..pattern import PatternPiece

TURNS_TRIED = np.radians(np.arange(180.0))


def footprint(piece: PatternPiece) -> Polygon:
    """The outer outlines of both faces together, mm on the piece's flat, holes filled.

    The knife tilts between the two outlines, so both must lie on foam. Should they not touch, as on a ring
    that crosses itself, the convex hull stands in: too much room, never too little.
    """
    rings = [outline[0] for outline in (piece.outside_outline, piece.inside_outline) if outline]
    joined = shapely.union_all([shapely.make_valid(Polygon(ring)) for ring in rings])
    if not isinstance(joined, Polygon):
        joined = shapely.convex_hull(joined)
    return Polygon(joined.exterior)


def placed(shape: Polygon, placement: Placement) -> Polygon:
    """The shape where the placement puts it."""
    return shapely.transform(shape, placement.apply)


def used_size(pieces: Sequence[PatternPiece], sheet: Sheet) -> tuple[float, float]:
    """Sides in mm of the upright box around what lies on a sheet: the offcut that would do."""
    shape_of = {piece.name: piece for piece in pieces}
    shapes = [placed(footprint(shape_of[placement.piece]), placement) for placement in sheet.placements]
    left, low, right, high = shapely.total_bounds(shapes).tolist()
    return right - left, high - low


def rim_points(shape: Polygon) -> np.ndarray:
    """Corners (n, 2) of the convex hull: all that turning and fitting needs."""
    return shapely.get_coordinates(shapely.convex_hull(shape))[:-1]


def turned_box(points: np.ndarray, angles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lower corner and size, each (a, 2) mm, of the box around points (n, 2) turned by each angle (a,) rad."""
    cosine, sine = np.cos(angles)[:, None], np.sin(angles)[:, None]
    x = points[:, 0] * cosine - points[:, 1] * sine
    y = points[:, 0] * sine + points[:, 1] * cosine
    low = np.stack([x.min(axis=1), y.min(axis=1)], axis=1)
    high = np.stack([x.max(axis=1), y.max(axis=1)], axis=1)
    return low, high - low


def candidate_turns(points: np.ndarray) -> np.ndarray:
    """Angles (a,) rad worth trying: as drawn, then each hull edge laid along x or y, then every degree.

    The box of least area lies along a hull edge (Freeman and Shapira, Determining the minimum-area encasing
    rectangle for an arbitrary closed curve, Communications of the ACM 18, 1975); the even steps find the long
    thin piece that fits only on the diagonal.
    """
    edge = np.roll(points, -1, axis=0) - points
    along = -np.arctan2(edge[:, 1], edge[:, 0])
    return np.concatenate([[0.0, np.pi / 2], along, along + np.pi / 2, TURNS_TRIED])


def snug_turn(points: np.ndarray, width: float, height: float) -> float | None:
    """The turn whose box fits width x height mm with least area, the flatter of equals; None if none fits."""
    angles = candidate_turns(points)
    _, size = turned_box(points, angles)
    fits = (size[:, 0] <= width + 1e-9) & (size[:, 1] <= height + 1e-9)
    if not fits.any():
        return None
    # rounding keeps the choice the same where two turns are equal but for noise
    area = np.round(size.prod(axis=1), 3)
    tall = np.round(size[:, 1], 3)
    order = np.lexsort((np.arange(len(angles)), tall, area))
    return float(angles[order[fits[order]][0]])
