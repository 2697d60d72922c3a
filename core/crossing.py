"""Where a surface runs through itself."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .nearby import size_classes, within
from .progress import Progress, Steps

CROSSING_TOLERANCE = 1e-6
"""Part of the largest dimension by which triangles must reach through each other's plane, and along the line they
share: panels that lie on each other or touch along an edge do not cross."""


def crossing_triangles(vertices: np.ndarray, triangles: np.ndarray) -> Steps[np.ndarray]:
    """(p, 2) int, pairs of triangles that run through each other, lower number first. Yields Progress.

    Left out: pairs that share a vertex, that only touch, that overlap in one plane, and that cross just where
    both have an edge.
    """
    tolerance = CROSSING_TOLERANCE * float(np.ptp(vertices, axis=0).max())
    corner = vertices[triangles]
    found = [np.empty((0, 2), np.int64)]
    for pairs, done in _near_pairs(corner, triangles):
        yield Progress("Checking the shell", done)
        found.append(pairs[_run_through(corner[pairs[:, 0]], corner[pairs[:, 1]], tolerance)])
    crossed = np.sort(np.concatenate(found), axis=1)
    return crossed[np.lexsort(crossed.T[::-1])]


def _near_pairs(corner: np.ndarray, triangles: np.ndarray) -> Iterator[tuple[np.ndarray, float]]:
    """(p, 2) int, pairs without a common vertex whose boxes overlap, some at a time; and the part of the work done."""
    low, high = corner.min(axis=1), corner.max(axis=1)
    classes = size_classes(corner)
    searches = [(small, large) for i, small in enumerate(classes) for large in classes[i:]]
    total = sum(len(large.members) for _, large in searches)
    done = 0
    for small, large in searches:
        for place, near in within(large.middle, small.tree, small.radius + large.radius):
            one, other = small.members[near], large.members[place]
            fits = one < other if small is large else np.ones(len(one), bool)
            fits[fits] = ((low[one[fits]] <= high[other[fits]]) & (low[other[fits]] <= high[one[fits]])).all(axis=1)
            pairs = np.stack([one[fits], other[fits]], axis=1)
            common = triangles[pairs[:, 0]][:, :, None] == triangles[pairs[:, 1]][:, None, :]
            yield pairs[~common.any(axis=(1, 2))], (done + int(place.max(initial=0))) / total
        done += len(large.members)


def _run_through(one: np.ndarray, other: np.ndarray, tolerance: float) -> np.ndarray:
    """(p,) bool, where triangles `one` and `other`, both (p, 3, 3) mm, share more than `tolerance` of a line.

    Tomas Moller: A Fast Triangle-Triangle Intersection Test, 1997: each must reach through the other's plane,
    and what they cut out of the common line of both planes must overlap.
    """
    normal_one, normal_other = _unit_normal(one), _unit_normal(other)
    height_one = np.einsum("pij,pj->pi", one - other[:, :1], normal_other)
    height_other = np.einsum("pij,pj->pi", other - one[:, :1], normal_one)
    through = _straddles(height_one, tolerance) & _straddles(height_other, tolerance)
    line = np.cross(normal_one[through], normal_other[through])
    line /= np.linalg.norm(line, axis=1, keepdims=True)
    # positions along the line count from a corner of `one`, to keep their digits
    origin = one[through, :1]
    low_one, high_one = _span(one[through] - origin, height_one[through], line)
    low_other, high_other = _span(other[through] - origin, height_other[through], line)
    through[through] = np.minimum(high_one, high_other) - np.maximum(low_one, low_other) > tolerance
    return through


def _unit_normal(corner: np.ndarray) -> np.ndarray:
    normal = np.cross(corner[:, 1] - corner[:, 0], corner[:, 2] - corner[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    return normal / np.where(length > 0, length, 1.0)


def _straddles(height: np.ndarray, tolerance: float) -> np.ndarray:
    return (height.min(axis=1) < -tolerance) & (height.max(axis=1) > tolerance)


def _span(corner: np.ndarray, height: np.ndarray, line: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Lowest and highest position along `line` (p, 3) at which the sides of each triangle change height's sign."""
    place = np.einsum("pij,pj->pi", corner, line)
    place_next, height_next = np.roll(place, -1, axis=1), np.roll(height, -1, axis=1)
    changes = (height < 0) != (height_next < 0)
    fall = np.where(changes, height - height_next, 1.0)
    meeting = place + height / fall * (place_next - place)
    return np.where(changes, meeting, np.inf).min(axis=1), np.where(changes, meeting, -np.inf).max(axis=1)
