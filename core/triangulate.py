"""Faces into triangles, without new vertices: the shorter diagonal for quads, ear clipping for the rest."""

from __future__ import annotations

import numpy as np


def triangulate_faces(
    vertices: np.ndarray, corner_vertex: np.ndarray, face_start: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Triangles (m, 3) int and the face of each (m,) int, in face order.

    Takes the vertex positions (n, 3) and the faces as in `Shell`. A face of s corners gives s - 2 triangles
    with its own orientation. The choice depends on shape first and numbering last, so a mirrored mesh gets
    mirrored triangles wherever the shape decides.
    """
    sides = np.diff(face_start)
    triangles = np.empty((int((sides - 2).sum()), 3), np.int64)
    triangle_start = np.concatenate([[0], np.cumsum(sides - 2)])
    three = np.flatnonzero(sides == 3)
    triangles[triangle_start[three]] = corner_vertex[face_start[three][:, None] + np.arange(3)]
    four = np.flatnonzero(sides == 4)
    halves = _split_quads(vertices, corner_vertex[face_start[four][:, None] + np.arange(4)])
    triangles[triangle_start[four]], triangles[triangle_start[four] + 1] = halves
    for face in np.flatnonzero(sides > 4):
        ring = corner_vertex[face_start[face] : face_start[face + 1]]
        triangles[triangle_start[face] : triangle_start[face + 1]] = _clip_ears(vertices, ring)
    return triangles, np.repeat(np.arange(len(sides)), sides - 2)


def _split_quads(vertices: np.ndarray, quads: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The two triangles of each quad (q, 4): along the shorter diagonal that lies inside it."""
    p = vertices[quads]
    normal = np.cross(p[:, 2] - p[:, 0], p[:, 3] - p[:, 1])

    def inside(i: int, j: int, k: int) -> np.ndarray:
        return np.einsum("ij,ij->i", np.cross(p[:, j] - p[:, i], p[:, k] - p[:, i]), normal) > 0

    across_02 = inside(0, 1, 2) & inside(0, 2, 3)
    across_13 = inside(1, 2, 3) & inside(1, 3, 0)
    d02 = np.linalg.norm(p[:, 2] - p[:, 0], axis=1)
    d13 = np.linalg.norm(p[:, 3] - p[:, 1], axis=1)
    # equal diagonals (within rounding) go by the lowest vertex number
    alike = np.abs(d02 - d13) <= 1e-9 * (d02 + d13)
    lowest_02 = np.minimum(quads[:, 0], quads[:, 2]) < np.minimum(quads[:, 1], quads[:, 3])
    shorter_02 = np.where(alike, lowest_02, d02 < d13)
    take_02 = np.where(across_02 & across_13, shorter_02, across_02 | ~across_13)[:, None]
    first = np.where(take_02, quads[:, [0, 1, 2]], quads[:, [1, 2, 3]])
    second = np.where(take_02, quads[:, [0, 2, 3]], quads[:, [1, 3, 0]])
    return first, second


def _clip_ears(vertices: np.ndarray, ring: np.ndarray) -> np.ndarray:
    """Triangles (s - 2, 3) of one polygon, cutting off the best-shaped ear each time."""
    points = _in_own_plane(vertices[ring])
    alive = list(range(len(ring)))
    triangles = []
    while len(alive) > 3:
        quality = [_ear_quality(points, alive, place) for place in range(len(alive))]
        place = int(np.argmax(quality))
        before, here, after = alive[place - 1], alive[place], alive[(place + 1) % len(alive)]
        triangles.append((ring[before], ring[here], ring[after]))
        del alive[place]
    triangles.append(tuple(ring[alive]))
    return np.array(triangles)


def _in_own_plane(points: np.ndarray) -> np.ndarray:
    centred = points - points.mean(axis=0)
    normal = np.cross(centred, np.roll(centred, -1, axis=0)).sum(axis=0)
    first = centred[np.argmax(np.linalg.norm(centred, axis=1))]
    second = np.cross(normal, first)
    basis = np.stack([first / (np.linalg.norm(first) or 1), second / (np.linalg.norm(second) or 1)])
    return centred @ basis.T


def _ear_quality(points: np.ndarray, alive: list[int], place: int) -> float:
    """Twice the area over the longest side squared; negative where the corner is no ear."""
    a, b, c = points[alive[place - 1]], points[alive[place]], points[alive[(place + 1) % len(alive)]]
    others = points[[i for i in alive if i not in (alive[place - 1], alive[place], alive[(place + 1) % len(alive)])]]
    area = _cross(b - a, c - a)
    longest = max(np.dot(b - a, b - a), np.dot(c - b, c - b), np.dot(a - c, a - c)) or 1.0
    blocked = (
        (_cross(b - a, others - a) >= 0) & (_cross(c - b, others - b) >= 0) & (_cross(a - c, others - c) >= 0)
    ).any()
    return float(area / longest) - (2.0 if blocked or area <= 0 else 0.0)


def _cross(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    return u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
