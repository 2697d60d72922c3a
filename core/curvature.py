"""Discrete curvatures of a triangle mesh, one value per vertex.

Mark Meyer, Mathieu Desbrun, Peter Schroeder, Alan H. Barr: Discrete Differential-Geometry Operators for
Triangulated 2-Manifolds, 2003. Works on a shell (`shell.vertices`, `shell.triangles`) and on a patch
(`shell.vertices[patch.shell_vertex]`, `patch.triangles`) alike; triangles must have area.
"""

from __future__ import annotations

import numpy as np


def corner_angles(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(m, 3) rad, the angle of each triangle at each of its corners; vertices (n, 3) mm."""
    p = vertices[triangles]
    ahead = np.roll(p, -1, axis=1) - p
    behind = np.roll(p, 1, axis=1) - p
    # the arctangent keeps its digits where the arccosine loses them, near 0 and pi
    return np.arctan2(np.linalg.norm(np.cross(ahead, behind), axis=2), np.einsum("ijk,ijk->ij", ahead, behind))


def rim_count(triangles: np.ndarray, vertex_count: int) -> np.ndarray:
    """(n,) int, how many rim edges leave each vertex: 0 inside, 1 on a rim, 2 where two rims touch."""
    start, end = triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()
    forward, backward = start * vertex_count + end, end * vertex_count + start
    return np.bincount(start[~np.isin(forward, backward)], minlength=vertex_count)


def angle_defect(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(n,) rad: 2 pi less the angles around a vertex inside, pi less them on a rim; 0 for a loose vertex.

    Inside it is the vertex's Gaussian curvature, on a rim the rim's turning to the left seen from outside.
    Their sum is 2 pi times the Euler characteristic (Gauss-Bonnet), whatever the shape.
    """
    count = len(vertices)
    around = np.bincount(triangles.ravel(), corner_angles(vertices, triangles).ravel(), minlength=count)
    used = np.bincount(triangles.ravel(), minlength=count) > 0
    return np.where(used, 2 * np.pi - np.pi * rim_count(triangles, count) - around, 0.0)


def mixed_area(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(n,) mm^2, each vertex's share of the surface, adding up to all of it (Meyer et al. 2003, A_mixed).

    The Voronoi region within triangles that are not obtuse; of an obtuse triangle half goes to the obtuse
    corner and a quarter to each other.
    """
    angle = corner_angles(vertices, triangles)
    area = _areas(vertices, triangles)
    opposite_squared = _opposite_squared(vertices, triangles)
    weighted = opposite_squared / np.tan(np.clip(angle, 1e-12, np.pi - 1e-12))
    voronoi = (weighted.sum(axis=1)[:, None] - weighted) / 8
    obtuse = angle > np.pi / 2
    quarters = np.where(obtuse, 0.5, 0.25) * area[:, None]
    share = np.where(obtuse.any(axis=1, keepdims=True), quarters, voronoi)
    return np.bincount(triangles.ravel(), share.ravel(), minlength=len(vertices))


def gaussian_curvature(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(n,) 1/mm^2, angle defect over mixed area; 0 on rims, where it is not defined (Meyer et al. 2003)."""
    inside = rim_count(triangles, len(vertices)) == 0
    area = mixed_area(vertices, triangles)
    return np.where(inside & (area > 0), angle_defect(vertices, triangles), 0.0) / np.where(area > 0, area, 1.0)


def mean_curvature(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(n,) 1/mm, half the length of the mean curvature normal, + where the surface bulges outward.

    The normal is the sum of (cot a + cot b)(x_i - x_j) over the edges at x_i, over 2 A_mixed (Meyer et al.
    2003); 0 on rims, where it is not defined.
    """
    count = len(vertices)
    p = vertices[triangles]
    cotangent = 1 / np.tan(np.clip(corner_angles(vertices, triangles), 1e-12, np.pi - 1e-12))
    pull = np.zeros((count, 3))
    for corner in range(3):
        one, other = (corner + 1) % 3, (corner + 2) % 3
        along = cotangent[:, corner, None] * (p[:, one] - p[:, other])
        np.add.at(pull, triangles[:, one], along)
        np.subtract.at(pull, triangles[:, other], along)
    outward = np.zeros((count, 3))
    facing = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    np.add.at(outward, triangles.ravel(), np.repeat(facing, 3, axis=0))
    area = mixed_area(vertices, triangles)
    inside = (rim_count(triangles, count) == 0) & (area > 0)
    size = np.linalg.norm(pull, axis=1) / (4 * np.where(area > 0, area, 1.0))
    return np.where(inside, np.sign(np.einsum("ij,ij->i", pull, outward)) * size, 0.0)


def _areas(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    p = vertices[triangles]
    return np.linalg.norm(np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0]), axis=1) / 2


def _opposite_squared(vertices: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(m, 3) mm^2, squared length of the side across from each corner."""
    p = vertices[triangles]
    across = np.roll(p, -1, axis=1) - np.roll(p, -2, axis=1)
    return np.einsum("ijk,ijk->ij", across, across)
