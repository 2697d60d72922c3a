"""The reference surface: the layer inside the foam that keeps its length when a piece is bent.

Smoothly bent foam keeps the length of its neutral surface; a fold keeps the length of its hinge line. Each
triangle is carried inwards along mitred normals and measured in its own plane, so that a difference of depth
between neighbours never counts as length.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..folds import Hinge
from ..patch import Patch
from ..pieces import Piece
from ..shell import Shell

SIDEWAYS_STIFFNESS = 1e-4
"""Weight against a mitre that slides sideways, relative to the face planes it follows: a vertex between two
nearly parallel planes has no sure mitre, and noise must not send it away."""

LEAST_AREA = 0.2
HALVINGS = 4
"""Where a bend is tighter than the foam is thick, sinking would turn a triangle inside out. Such a triangle is
sunk less, down to not at all, so that it keeps this part of its area; foam cannot be bent there in any case."""


def reference_corners(shell: Shell, piece: Piece, folds: Sequence[Hinge], model_is_inside: bool) -> np.ndarray:
    """(m, 3, 2) mm, the patch's triangles at their reference depth, each in a plane of its own."""
    stock = piece.stock
    depth = np.full(piece.patch.vertex_count, stock.neutral_depth * stock.thickness_mm)
    for fold in folds:
        depth[fold.path] = fold.hinge_depth_mm
    if model_is_inside:
        depth -= stock.thickness_mm
    points = shell.vertices[piece.patch.shell_vertex]
    return plane_corners(_sunk(points, piece.patch, depth))


def plane_corners(corners: np.ndarray) -> np.ndarray:
    """Triangles (m, 3, 3) laid each in a plane of its own, first corner at 0, first side along x: (m, 3, 2)."""
    first, second = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    length = np.linalg.norm(first, axis=1)
    along = np.einsum("ij,ij->i", first, second) / length
    height = np.linalg.norm(np.cross(first, second), axis=1) / length
    flat = np.zeros((len(corners), 3, 2))
    flat[:, 1, 0], flat[:, 2, 0], flat[:, 2, 1] = length, along, height
    return flat


def _sunk(points: np.ndarray, patch: Patch, depth: np.ndarray) -> np.ndarray:
    """(m, 3, 3) mm, each triangle moved by depth times mitre within its own plane."""
    corners = points[patch.triangles]
    vector = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal = vector / np.linalg.norm(vector, axis=1)[:, None]
    mitre = mitre_vectors(patch, corners, normal)
    slide = mitre[patch.triangles] - normal[:, None, :]
    slide -= np.einsum("mvi,mi->mv", slide, normal)[:, :, None] * normal[:, None, :]
    sunk = depth[patch.triangles][:, :, None] * slide
    crushed = _crushed(corners, sunk, vector)
    for _ in range(HALVINGS):
        sunk[crushed] /= 2
        crushed = _crushed(corners, sunk, vector)
    sunk[crushed] = 0
    return corners - sunk


def _crushed(corners: np.ndarray, sunk: np.ndarray, vector: np.ndarray) -> np.ndarray:
    """(m,) bool, triangles that keep too little of their area; vector (m, 3) is twice that area."""
    a, b, c = (corners - sunk).transpose(1, 0, 2)
    kept = np.einsum("ij,ij->i", np.cross(b - a, c - a), vector)
    return kept < LEAST_AREA * np.einsum("ij,ij->i", vector, vector)


def mitre_vectors(patch: Patch, corners: np.ndarray, normal: np.ndarray) -> np.ndarray:
    """(v, 3) per patch vertex, the vector m with m . n = 1 for the normal n of each of its triangles.

    corners : (m, 3, 3) mm, normal : (m, 3). Least squares with corner angles as weights; where the planes
    leave a direction open, the shortest.
    """
    angle = _corner_angles(corners)
    index = patch.triangles.ravel()
    weight = angle.ravel()
    n = np.repeat(normal, 3, axis=0)
    count = patch.vertex_count
    total = np.bincount(index, weight, count)
    mean = np.stack([np.bincount(index, weight * n[:, i], count) for i in range(3)], axis=1) / total[:, None]
    # planes folded back onto each other have no mean, and no direction to go
    mean /= np.maximum(np.linalg.norm(mean, axis=1), 1e-9)[:, None]
    spread = np.empty((count, 3, 3))
    for i in range(3):
        for j in range(3):
            spread[:, i, j] = np.bincount(index, weight * n[:, i] * n[:, j], count) / total
    pull = np.stack([np.bincount(index, weight * n[:, i], count) for i in range(3)], axis=1) / total[:, None]
    sideways = np.eye(3) - mean[:, :, None] * mean[:, None, :]
    return np.linalg.solve(spread + SIDEWAYS_STIFFNESS * sideways, pull[:, :, None])[:, :, 0]


def _corner_angles(corners: np.ndarray) -> np.ndarray:
    ahead = np.roll(corners, -1, axis=1) - corners
    behind = np.roll(corners, 1, axis=1) - corners
    across = np.linalg.norm(np.cross(ahead, behind), axis=2)
    return np.arctan2(across, np.einsum("mvi,mvi->mv", ahead, behind))
