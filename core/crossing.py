"""Where a surface runs through itself."""

from __future__ import annotations

import numpy as np
from scipy.spatial import KDTree

CROSSING_TOLERANCE = 1e-6
"""Part of the largest dimension by which a side must pass through a triangle, and within its outline: panels
that lie on each other or touch along an edge do not cross."""


def crossing_triangles(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(p, 2) int, pairs of triangles that run through each other, lower number first.

    Left out: pairs that share a vertex, that only touch, and that overlap in one plane.
    """
    pairs = _near_pairs(vertices, triangles)
    tolerance = CROSSING_TOLERANCE * float(np.ptp(vertices, axis=0).max())
    crossed = _sides_through(vertices, triangles[pairs[:, 0]], triangles[pairs[:, 1]], tolerance)
    crossed |= _sides_through(vertices, triangles[pairs[:, 1]], triangles[pairs[:, 0]], tolerance)
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
    size_class = np.floor(np.log2(np.maximum(radius, radius.max() * 1e-6))).astype(int)
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


def _sides_through(vertices: np.ndarray, one: np.ndarray, other: np.ndarray, tolerance: float) -> np.ndarray:
    """(p,) bool, where a side of triangle `one` passes through triangle `other`; both (p, 3) int."""
    a, b, c = (vertices[other[:, i]] for i in range(3))
    normal = np.cross(b - a, c - a)
    length = np.linalg.norm(normal, axis=1)
    unit = normal / np.where(length > 0, length, 1.0)[:, None]
    height = np.einsum("pij,pj->pi", vertices[one] - a[:, None], unit)
    through = np.zeros(len(one), bool)
    for i in range(3):
        start, end = height[:, i], height[:, (i + 1) % 3]
        passes = (np.minimum(start, end) < -tolerance) & (np.maximum(start, end) > tolerance) & (length > 0)
        p, q = vertices[one[passes, i]], vertices[one[passes, (i + 1) % 3]]
        part = (start[passes] / (start[passes] - end[passes]))[:, None]
        meeting = p + part * (q - p)
        within = np.ones(passes.sum(), bool)
        for corner, following in ((a, b), (b, c), (c, a)):
            along = (following - corner)[passes]
            inward = np.cross(unit[passes], along) / np.linalg.norm(along, axis=1, keepdims=True)
            within &= np.einsum("ij,ij->i", meeting - corner[passes], inward) > tolerance
        through[np.flatnonzero(passes)[within]] = True
    return through
