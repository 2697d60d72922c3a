"""Where a surface runs through itself."""

from __future__ import annotations

import numpy as np
from scipy.spatial import KDTree

CROSSING_TOLERANCE = 1e-6
"""Part of the largest dimension by which triangles must reach through each other's plane, and along the line they
share: panels that lie on each other or touch along an edge do not cross."""


def crossing_triangles(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(p, 2) int, pairs of triangles that run through each other, lower number first.

    Left out: pairs that share a vertex, that only touch, that overlap in one plane, and that cross just where
    both have an edge.
    """
    pairs = _near_pairs(vertices, triangles)
    tolerance = CROSSING_TOLERANCE * float(np.ptp(vertices, axis=0).max())
    corner = vertices[triangles]
    crossed = _run_through(corner[pairs[:, 0]], corner[pairs[:, 1]], tolerance)
    found = np.sort(pairs[crossed], axis=1)
    return found[np.lexsort(found.T[::-1])]


def _near_pairs(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(p, 2) int, pairs without a common vertex whose boxes overlap.

    Triangles are sorted into classes of like size, each doubling the last, so that a few large ones do not
    widen the search around all the small ones.
    """
    corner = vertices[triangles]
    low, high = corner.min(axis=1), corner.max(axis=1)
    centre, radius = (low + high) / 2, np.linalg.norm(high - low, axis=1) / 2
    size_class = np.floor(np.log2(np.maximum(radius, radius.max() * 1e-6 or 1.0))).astype(int)
    classes = [np.flatnonzero(size_class == c) for c in np.unique(size_class)]
    trees = [KDTree(centre[members]) for members in classes]
    kept = [np.empty((0, 2), np.int64)]
    for i, small in enumerate(classes):
        for j in range(i, len(classes)):
            large = classes[j]
            reach = radius[small].max() + radius[large].max()
            if i == j:
                pairs = small[trees[i].query_pairs(reach, output_type="ndarray")]
            else:
                near = trees[i].query_ball_point(centre[large], reach)
                counts = np.array([len(one) for one in near])
                pairs = np.stack([small[np.concatenate(near).astype(np.int64)], np.repeat(large, counts)], axis=1)
            one, other = pairs[:, 0], pairs[:, 1]
            overlap = ((low[one] <= high[other]) & (low[other] <= high[one])).all(axis=1)
            pairs = pairs[overlap]
            common = triangles[pairs[:, 0]][:, :, None] == triangles[pairs[:, 1]][:, None, :]
            kept.append(pairs[~common.any(axis=(1, 2))])
    return np.concatenate(kept)


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
