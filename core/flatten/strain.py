"""What flattening costs: stretches per triangle and their summary."""

from __future__ import annotations

import numpy as np

from .energy import Deformation, RestTriangles

COMMON = 0.99
"""Part of a piece's area that its strain is told for: what is left are single faces, mostly in corners or slivers of a
scan, that foam evens out."""


def stretches(flat: np.ndarray, triangles: np.ndarray, rest: RestTriangles) -> np.ndarray:
    """(m, 2) largest and smallest stretch from flat to shell per triangle; 1 is unchanged. Of a triangle without
    area infinite, of one that is turned over negative."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return 1.0 / Deformation(flat, triangles, rest).singular_values()[::-1].T


def log_strain(stretch: np.ndarray) -> np.ndarray:
    """(m,) the larger absolute logarithm of the two stretches of each triangle; nan where one is turned over."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.abs(np.log(stretch)).max(axis=1)


def area_quantile(value: np.ndarray, area: np.ndarray, part: float) -> float:
    """The value that `part` of the area stays at or under."""
    order = np.argsort(value)
    filled = np.cumsum(area[order])
    return float(value[order][np.searchsorted(filled, part * filled[-1], side="left").clip(max=len(value) - 1)])
