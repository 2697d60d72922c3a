"""Which triangles are near a place, or on a line: found through trees of their middles, sorted by size.

Each class of sizes has a tree of its own, so that a few large triangles do not widen the search around all the small
ones.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.spatial import KDTree

from .progress import Progress, Steps

MOST_PLACES, MOST_PAIRS = 4_000, 400_000
"""Places asked about, and pairs answered, at a time: for the sake of memory, and of a window that waits meanwhile."""

STEP_MM = 2.0
"""Half of the way between balls along a line through triangles that are smaller: closer ones would only be more."""

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


@dataclass(frozen=True, eq=False)
class Hits:
    """Where lines run through triangles: the number of each line (h,), of the triangle (h,), and how far above it in
    mm (h,) the line's foot lies."""

    line: np.ndarray
    triangle: np.ndarray
    height: np.ndarray

    def where(self, wanted: np.ndarray) -> Hits:
        """Those of the mask `wanted` (h,)."""
        return Hits(self.line[wanted], self.triangle[wanted], self.height[wanted])

    def nearest(self) -> Hits:
        """The one nearest to the foot of each line, in the order of the lines; of equal ones the lowest triangle."""
        order = np.lexsort((self.triangle, np.abs(self.height), self.line))
        line = self.line[order]
        return self.where(order[np.flatnonzero(np.diff(line, prepend=-1))])


def hitting(
    stage: str, corners: np.ndarray, classes: Sequence[SizeClass], feet: np.ndarray, ways: np.ndarray, reach: float
) -> Steps[Hits]:
    """Triangles (m, 3, 3) mm, sorted into `size_classes`, that lines through feet (n, 3) along unit ways (n, 3) meet
    no further than `reach` mm from the foot, on either side. Yields Progress."""
    found = [Hits(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0))]
    for number, group in enumerate(classes):
        # balls so close that each triangle which a line meets has its middle in one of them
        count = max(1, math.ceil(reach / max(group.radius, STEP_MM)))
        along = reach * ((np.arange(count) + 0.5) * 2 / count - 1)
        balls = (feet[:, None] + along[:, None] * ways[:, None]).reshape(-1, 3)
        for ball, near in within(balls, group.tree, group.radius + reach / count):
            yield Progress(stage, (number + ball.max(initial=0) / len(balls)) / len(classes))
            met = np.unique(ball // count * len(corners) + group.members[near])
            line, triangle = np.divmod(met, len(corners))
            height = heights_over(feet[line], ways[line], corners[triangle])
            found.append(Hits(line, triangle, height).where(np.abs(height) <= reach))
    # balls that were asked about one after the other may have met the same triangle
    together = Hits(*(np.concatenate([getattr(own, name) for own in found]) for name in ("line", "triangle", "height")))
    once = np.unique(together.line * max(len(corners), 1) + together.triangle, return_index=True)[1]
    return together.where(once)


def heights_over(foot: np.ndarray, normal: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """(m,) mm, how far above each triangle (m, 3, 3) its foot (m, 3) lies along its normal (m, 3); nan beside it."""
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    across = np.cross(normal, other)
    scale = np.einsum("ij,ij->i", one, across)
    with np.errstate(divide="ignore", invalid="ignore"):
        away = foot - corners[:, 0]
        u = np.einsum("ij,ij->i", away, across) / scale
        turned = np.cross(away, one)
        v = np.einsum("ij,ij->i", turned, normal) / scale
        distance = np.einsum("ij,ij->i", other, turned) / scale
        inside = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
    # the ray runs along the normal: a hit ahead lies above the foot
    return np.where(inside, -distance, np.nan)
