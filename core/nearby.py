"""Which triangles may be near a place: found through trees of their middles, sorted by size.

Each class of sizes has a tree of its own, so that a few large triangles do not widen the search around all the small
ones.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

MOST_PLACES, MOST_PAIRS = 10_000, 1_000_000
"""Places asked about, and pairs answered, at a time: for the sake of memory, and of a window that waits meanwhile."""

LEAST_SIZE = 1e-6
"""Part of the largest triangle under which all are of one class."""


@dataclass(frozen=True, eq=False)
class SizeClass:
    """Triangles of like size: their numbers (m,), the tree of their middles (m, 3), and the largest of the radii mm
    around those that hold them."""

    members: np.ndarray
    middle: np.ndarray
    tree: KDTree
    radius: float


def size_classes(corners: np.ndarray) -> list[SizeClass]:
    """Triangles (m, 3, 3) mm in classes, each of up to twice the size of the one before."""
    if not len(corners):
        return []
    low, high = corners.min(axis=1), corners.max(axis=1)
    middle, radius = (low + high) / 2, np.linalg.norm(high - low, axis=1) / 2
    number = np.floor(np.log2(np.maximum(radius, radius.max() * LEAST_SIZE or 1.0))).astype(int)
    classes = [np.flatnonzero(number == own) for own in np.unique(number)]
    return [SizeClass(own, middle[own], KDTree(middle[own]), float(radius[own].max())) for own in classes]


def within(places: np.ndarray, tree: KDTree, reach: float) -> Iterator[tuple[np.ndarray, np.ndarray]]:
    """Some at a time, the places (p, 3) and points of the tree that are within reach of each other: two arrays of
    numbers."""
    for first in range(0, len(places), MOST_PLACES):
        some = places[first : first + MOST_PLACES]
        answers = np.cumsum(tree.query_ball_point(some, reach, return_length=True))
        for block in np.split(np.arange(len(some)), np.flatnonzero(np.diff(answers // MOST_PAIRS)) + 1):
            pairs = KDTree(some[block]).sparse_distance_matrix(tree, reach, output_type="ndarray")
            yield first + block[pairs["i"]], pairs["j"]
