"""Where a flat piece lies over itself.

With every triangle upright, a flat patch overlaps itself only if its rims cross: it is enough to look there.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from shapely import STRtree, linestrings


def rim_steps(loops: Sequence[np.ndarray]) -> np.ndarray:
    """(s, 2) int, the steps of all rims one after another."""
    return np.concatenate([np.stack([loop, np.roll(loop, -1)], axis=1) for loop in loops])


def crossing_steps(flat: np.ndarray, loops: Sequence[np.ndarray]) -> np.ndarray:
    """(c, 2) int, pairs of rim steps (numbered as in `rim_steps`) that cross on the flat (v, 2)."""
    steps = rim_steps(loops)
    lines = linestrings(flat[steps])
    tree = STRtree(lines)
    one, other = tree.query(lines, predicate="crosses")
    apart = (one < other) & ~(steps[one][:, :, None] == steps[other][:, None, :]).any(axis=(1, 2))
    return np.stack([one[apart], other[apart]], axis=1)
