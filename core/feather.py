"""How thin the foam runs out at bevelled edges."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from .joints import Run
from .pattern import PatternPiece
from .pieces import Piece

EDGE_MM = 2.0
"""How far in from the tip of a bevelled edge its thickness is judged: what glue and fingers hold (common practice)."""


def thinnest_edges(piece: Piece | PatternPiece, flat: np.ndarray, runs: Sequence[Run]) -> list[tuple[Run, np.ndarray]]:
    """The runs of a piece, each with the foam's thickness (k,) in mm at the middle of each step.

    flat : (v, 2) mm. `EDGE_MM` in from its tip an edge of bevel b is EDGE_MM / tan(b) thick. Where a strip is so
    narrow that the bevels of both its edges meet within the foam, it is as thick as where they meet: the width
    over tan(b1) + tan(b2) / cos(a), the far edge turned by a against the near one.
    """
    loops = piece.patch.loops
    start = np.concatenate([flat[loop] for loop in loops])
    end = np.concatenate([flat[np.roll(loop, -1)] for loop in loops])
    first = np.cumsum([0, *(len(loop) for loop in loops)])
    slope = np.zeros(len(start))
    own = [(run, side, first[side.loop] + side.steps) for run in runs for side in run.sides if side.piece == piece.name]
    for _, side, steps in own:
        slope[steps] = np.tan(np.radians(side.bevels_deg))
    return [(run, _thickness(start, end, slope, steps, piece.stock.thickness_mm)) for run, _, steps in own]


def _thickness(start: np.ndarray, end: np.ndarray, slope: np.ndarray, steps: np.ndarray, whole: float) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        at_tip = EDGE_MM / np.abs(slope[steps])
        along = end - start
        along /= np.linalg.norm(along, axis=1)[:, None]
        inward = np.stack([-along[:, 1], along[:, 0]], axis=1)
        middle, ray = (start[steps] + end[steps]) / 2, inward[steps]
        # where the ray from each middle meets each side of the outline
        side = (end - start)[None]
        apart = start[None] - middle[:, None]
        cross = ray[:, None, 0] * side[..., 1] - ray[:, None, 1] * side[..., 0]
        width = (apart[..., 0] * side[..., 1] - apart[..., 1] * side[..., 0]) / cross
        place = (apart[..., 0] * ray[:, None, 1] - apart[..., 1] * ray[:, None, 0]) / cross
        hit = (place >= 0) & (place <= 1) & (width > 1e-6) & np.isfinite(width)
        facing = np.abs(ray @ inward.T)
        closing = np.maximum(slope[steps], 0)[:, None] + np.maximum(slope, 0)[None] / facing
        meeting = np.where(hit & (closing > 0), width / closing, np.inf).min(axis=1)
    return np.minimum(np.minimum(at_tip, np.where(slope[steps] > 0, meeting, np.inf)), whole)
