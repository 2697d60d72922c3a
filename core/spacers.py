"""What of a recessed panel lies under the foam before it: the outline of a spacer between the two."""

from __future__ import annotations

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.polygon import orient

from .buildup import EVEN_MM
from .outline import GRID_MM, parts_of
from .pattern import Pattern, PatternPiece

PLANE_DEG = 1.0
"""Faces that turn less from each other make a plane, on which a spacer is drawn without laying anything flat."""

LEAST_WIDTH_MM = 4.0
"""A spacer narrower than this all round holds no glue (common practice)."""


def under_foam(pattern: Pattern, panel: PatternPiece, height_mm: float) -> Polygon | None:
    """What of a flat panel lies under the flat pieces that stand `height_mm` before it, on the panel's flat; None
    where that is not one part wide enough."""
    if not _is_plane(pattern, panel):
        return None
    points, normal = pattern.shell.vertices[panel.patch.shell_vertex], pattern.shell.face_normal[panel.faces[0]]
    onto_flat = _Affine(points, panel.flat)
    before = []
    for piece in pattern.pieces:
        own = pattern.shell.vertices[piece.patch.shell_vertex]
        stands = -float((own - points[0]).mean(axis=0) @ normal)
        level = abs(stands - height_mm) <= EVEN_MM and _is_plane(pattern, piece)
        if level and pattern.shell.face_normal[piece.faces[0]] @ normal > np.cos(np.radians(PLANE_DEG)):
            there = onto_flat(own - ((own - points[0]) @ normal)[:, None] * normal)
            across = _Affine(piece.flat, there)
            rings = [across(ring) for ring in piece.inside_outline]
            before += [shapely.make_valid(Polygon(rings[0], rings[1:]))] if rings else []
    whole = Polygon(panel.outside_outline[0], panel.outside_outline[1:])
    covered = parts_of(shapely.intersection(whole, shapely.union_all(before), grid_size=GRID_MM))
    wide = [part for part in covered if not part.buffer(-LEAST_WIDTH_MM / 2).is_empty]
    return orient(wide[0]) if len(covered) == len(wide) == 1 else None


def _is_plane(pattern: Pattern, piece: PatternPiece) -> bool:
    normals = pattern.shell.face_normal[piece.faces]
    return bool((normals @ normals[0] > np.cos(np.radians(PLANE_DEG))).all())


class _Affine:
    """The affine map that takes points (n, d) to places (n, 2), by least squares."""

    def __init__(self, points: np.ndarray, places: np.ndarray) -> None:
        self.middle, self.place = points.mean(axis=0), places.mean(axis=0)
        self.turn = np.linalg.lstsq(points - self.middle, places - self.place, rcond=None)[0]

    def __call__(self, points: np.ndarray) -> np.ndarray:
        return (points - self.middle) @ self.turn + self.place
