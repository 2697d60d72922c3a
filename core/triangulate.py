"""Faces into triangles, without new vertices: the shorter diagonal for quads, ear clipping for the rest.

Faces are clipped side by side, an ear of each at a time: a mesh may have many. Those of many corners are divided by
short diagonals first, because clipping takes the square of their number.
"""

from __future__ import annotations

import numpy as np

MOST_CORNERS = 64
"""Of what is clipped as it is. A disc of 3,000 corners took least time with it, of 16 to 256."""

EVENNESS = 1 / 3
"""Each side of a dividing diagonal has at least this part of the corners, so that few divisions follow each other."""

WAYS, LOOKED_AT = 8, 16
"""How many diagonals are offered from each corner, and how many of all, the shortest first, are looked at at once."""


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
    for count in np.unique(sides[sides > 4]):
        faces = np.flatnonzero(sides == count)
        rings = corner_vertex[face_start[faces][:, None] + np.arange(count)]
        corners = _split(in_own_plane(vertices[rings]))
        place = triangle_start[faces][:, None] + np.arange(count - 2)
        triangles[place] = np.take_along_axis(rings, corners.reshape(len(faces), -1), axis=1).reshape(corners.shape)
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


def in_own_plane(points: np.ndarray) -> np.ndarray:
    """Polygons (f, s, 3) each in the plane of its Newell normal: (f, s, 2), counter-clockwise."""
    centred = points - points.mean(axis=1, keepdims=True)
    normal = np.cross(centred, np.roll(centred, -1, axis=1)).sum(axis=1)
    farthest = np.linalg.norm(centred, axis=2).argmax(axis=1)
    first = centred[np.arange(len(points)), farthest]
    axes = np.stack([first, np.cross(normal, first)], axis=2)
    length = np.linalg.norm(axes, axis=1, keepdims=True)
    return centred @ (axes / np.where(length > 0, length, 1))


def _split(points: np.ndarray) -> np.ndarray:
    """Polygons (f, s, 2) as triangles (f, s - 2, 3) of their corners."""
    faces, count = points.shape[:2]
    if count <= MOST_CORNERS:
        return _clip_ears(points, np.full(faces, count))
    return np.array([_split_large(ring) for ring in points])


def _split_large(points: np.ndarray) -> np.ndarray:
    """One polygon (s, 2) of many corners as triangles (s - 2, 3)."""
    parts, waiting = [], [np.arange(len(points))]
    while waiting:
        part = waiting.pop()
        diagonal = _dividing_diagonal(points[part]) if len(part) > MOST_CORNERS else None
        if diagonal is None:
            parts.append(part)
        else:
            one, other = diagonal
            waiting += [part[one : other + 1], np.concatenate([part[other:], part[: one + 1]])]
    counts = np.array([len(part) for part in parts])
    padded = np.array([np.resize(part, counts.max()) for part in parts])
    clipped = _clip_ears(points[padded], counts)
    return np.concatenate([part[corners[: len(part) - 2]] for part, corners in zip(parts, clipped, strict=True)])


def _dividing_diagonal(points: np.ndarray) -> tuple[int, int] | None:
    """Corners, the lower first, between which a polygon (s, 2) can be divided about evenly; None if it crosses itself
    or is too crooked for that."""
    count = len(points)
    ways = np.linspace(count * EVENNESS, count / 2, WAYS).astype(int)
    one = np.repeat(np.arange(count), len(ways))
    other = (one + np.tile(ways, count)) % count
    inward = _starts_inside(points, one, other)
    one, other = one[inward], other[inward]
    order = np.argsort(np.linalg.norm(points[other] - points[one], axis=1), kind="stable")
    for chosen in np.array_split(order, 1 + len(order) // LOOKED_AT):
        free = chosen[_crosses_nothing(points, one[chosen], other[chosen])]
        if len(free):
            return min(one[free[0]], other[free[0]]), max(one[free[0]], other[free[0]])
    return None


def _starts_inside(points: np.ndarray, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(d,) bool, which diagonals from corners `one` to `other` of a polygon (s, 2) set out into it."""
    before, here, after, there = points[one - 1], points[one], points[(one + 1) % len(points)], points[other]
    leaves_left, arrives_left = _turn(here, after, there) > 0, _turn(before, here, there) > 0
    return np.where(_turn(before, here, after) > 0, leaves_left & arrives_left, leaves_left | arrives_left)


def _crosses_nothing(points: np.ndarray, one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(d,) bool, which diagonals touch no side of a polygon (s, 2) but those at their own ends."""
    here, there = points[None], np.roll(points, -1, axis=0)[None]
    p, q = points[one][:, None], points[other][:, None]
    beside = _turn(p, q, points[None])
    crossed = beside * np.roll(beside, -1, axis=1) <= 0
    row, side = np.nonzero(crossed)
    crossed[row, side] = (
        _turn(here[0, side], there[0, side], p[row, 0]) * _turn(here[0, side], there[0, side], q[row, 0]) <= 0
    )
    for end in (one, other):
        crossed[np.arange(len(one)), end] = crossed[np.arange(len(one)), end - 1] = False
    return ~crossed.any(axis=1)


def _clip_ears(points: np.ndarray, counts: np.ndarray) -> np.ndarray:
    """Polygons (f, s, 2), each of its first `counts` (f,) corners, as triangles (f, s - 2, 3) of these, of which the
    first counts - 2 mean something.

    The best-shaped ear goes first. A corner that another corner blocks waits until that one is gone.
    """
    faces, most = points.shape[:2]
    row = np.arange(faces)
    is_left = np.arange(most) < counts[:, None]
    before, after = np.tile(np.arange(most) - 1, (faces, 1)), np.tile(np.arange(most) + 1, (faces, 1))
    before[:, 0], after[row, counts - 1] = counts - 1, 0
    quality = _ear_quality(points, points[row[:, None], before], points[row[:, None], after % most])
    quality[~is_left] = -np.inf
    blocked_by = np.full((faces, most), -1)
    triangles = np.zeros((faces, most - 2, 3), np.int64)
    done = np.zeros(faces, np.int64)
    while len(row := np.flatnonzero(done < counts - 2)):
        # where no corner is an ear, the polygon crosses itself: any way will do
        score = quality[row] - 2.0 * ((blocked_by[row] >= 0) | (quality[row] <= 0))
        here = score.argmax(axis=1)
        ear = np.stack([before[row, here], here, after[row, here]], axis=1)
        to_look_at = score[np.arange(len(row)), here] > 0
        blocker = np.full(len(row), -1)
        blocker[to_look_at] = _blocker(points, is_left, row[to_look_at], ear[to_look_at])
        blocked_by[row[blocker >= 0], here[blocker >= 0]] = blocker[blocker >= 0]
        row, ear = row[blocker < 0], ear[blocker < 0]
        first, here, last = ear.T
        triangles[row, done[row]] = ear
        done[row] += 1
        is_left[row, here] = False
        quality[row, here] = -np.inf
        after[row, first], before[row, last] = last, first
        blocked_by[row] = np.where(blocked_by[row] == here[:, None], -1, blocked_by[row])
        for corner in (first, last):
            ends = points[row, before[row, corner]], points[row, after[row, corner]]
            quality[row, corner] = _ear_quality(points[row, corner], *ends)
            blocked_by[row, corner] = -1
    return triangles


def _blocker(points: np.ndarray, is_left: np.ndarray, row: np.ndarray, ear: np.ndarray) -> np.ndarray:
    """(r,) int, a corner of each polygon `row` (r,) that lies in its ear (r, 3), -1 for none."""
    p, (a, b, c) = points[row], points[row[:, None], ear].transpose(1, 0, 2)[:, :, None]
    blocks = is_left[row] & (_turn(a, b, p) >= 0) & (_turn(b, c, p) >= 0) & (_turn(c, a, p) >= 0)
    which, corner = np.nonzero(blocks)
    # its own corners, and others at their places: on both sides of a slit
    at_corner = (p[which, corner][:, None] == points[row[which][:, None], ear[which]]).all(axis=2).any(axis=1)
    blocks[which[at_corner], corner[at_corner]] = False
    return np.where(blocks.any(axis=1), blocks.argmax(axis=1), -1)


def _ear_quality(here: np.ndarray, before: np.ndarray, after: np.ndarray) -> np.ndarray:
    """(...) twice the area of the triangle at a corner (..., 2) over its longest side squared, under 0 on an inward
    corner."""
    sides = np.stack([here - before, after - here, before - after])
    longest = np.einsum("s...i,s...i->s...", sides, sides).max(axis=0)
    return _turn(before, here, after) / np.where(longest > 0, longest, 1)


def _turn(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    """(...) over 0 where c (..., 2) lies on the left of the line from a to b."""
    u, v = b - a, c - a
    return u[..., 0] * v[..., 1] - u[..., 1] * v[..., 0]
