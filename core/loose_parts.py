"""Pieces that no joint holds: what lies under them, and where their rims stand on it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .buildup import HIGHEST_MM, heights_over
from .pattern import Pattern, PatternPiece
from .shell import Shell

MOST_SAMPLES = 96
OUTWARDS = 2 / 3
LEAST_SHARE = 0.1
"""A piece under less than this part of a loose one is not named."""


@dataclass(frozen=True)
class LoosePart:
    """A piece that no joint holds.

    over : the pieces under it, the one under most of it first; none where nothing is within `HIGHEST_MM`
    height_mm : from their outside faces to its own, the middle one of all samples
    """

    piece: str
    over: tuple[str, ...]
    height_mm: float


@dataclass(frozen=True, eq=False)
class StandingLine:
    """A stretch of a loose part's rim as it stands on the piece under it; points (r, 2) mm on the flat of `on`."""

    loose: str
    on: str
    points: np.ndarray


def loose_parts(pattern: Pattern) -> tuple[LoosePart, ...]:
    """In the pattern's order. A lone piece that is the whole shell is not loose."""
    held = {side.piece for joint in pattern.joints if joint.a.piece != joint.b.piece for side in joint.sides}
    loose = [piece for piece in pattern.pieces if piece.name not in held]
    return tuple(_settled(pattern, piece) for piece in loose) if len(pattern.pieces) > 1 else ()


@lru_cache(maxsize=1)
def standing_lines(pattern: Pattern) -> tuple[StandingLine, ...]:
    """Where to glue each loose part, drawn on what is under it. Every piece of a drawing asks: the last is kept."""
    return tuple(
        line for part in loose_parts(pattern) if part.over for line in _rim_below(pattern, pattern.piece(part.piece))
    )


# --- helpers -----------------------------------------------------------------------------------


def _settled(pattern: Pattern, piece: PatternPiece) -> LoosePart:
    shell = pattern.shell
    corners = np.flatnonzero(np.isin(shell.corner_face, piece.faces))
    chosen = corners[np.unique(np.linspace(0, len(corners) - 1, MOST_SAMPLES).round().astype(int))]
    faces = shell.corner_face[chosen]
    # most of the way from the face's middle to its corner: a piece of one face is asked all over, too
    middle = shell.face_centre[faces]
    points = middle + (shell.vertices[shell.corner_vertex[chosen]] - middle) * OUTWARDS
    under: Counter[str] = Counter()
    heights = []
    for spot in _below(pattern, piece, points, shell.face_normal[faces]):
        if spot is not None:
            triangle, height = spot
            under[_owner(pattern, triangle).name] += 1
            heights.append(height)
    over = tuple(name for name, count in under.most_common() if count >= LEAST_SHARE * len(chosen))
    return LoosePart(piece.name, over, float(np.median(heights)) if over else 0.0)


def _below(
    pattern: Pattern, piece: PatternPiece, points: np.ndarray, normals: np.ndarray
) -> Iterator[tuple[int, float] | None]:
    """For each point (n, 3) the nearest shell triangle of another piece against the normal, and how far it is."""
    shell = pattern.shell
    reach = HIGHEST_MM
    others = np.flatnonzero(~np.isin(shell.triangle_face, piece.faces))
    corners = shell.vertices[shell.triangles[others]]
    low, high = points.min(axis=0) - reach, points.max(axis=0) + reach
    near = ((corners.max(axis=1) >= low) & (corners.min(axis=1) <= high)).all(axis=1)
    others, corners = others[near], corners[near]
    for point, normal in zip(points, normals, strict=True):
        height = heights_over(point, normal, corners)
        ahead = np.flatnonzero((height >= 0) & (height <= reach))
        nearest = ahead[np.argmin(height[ahead])] if len(ahead) else -1
        yield (int(others[nearest]), float(height[nearest])) if nearest >= 0 else None


def _owner(pattern: Pattern, triangle: int) -> PatternPiece:
    return pattern.pieces[pattern.piece_of_face[pattern.shell.triangle_face[triangle]]]


def _rim_below(pattern: Pattern, piece: PatternPiece) -> Iterator[StandingLine]:
    shell = pattern.shell
    normals = _vertex_normals(shell, piece)
    for loop in piece.patch.loops:
        ring = np.append(loop, loop[0])
        points = shell.vertices[piece.patch.shell_vertex[ring]]
        stretch: list[np.ndarray] = []
        on = ""
        for point, normal, spot in zip(
            points, normals[ring], _below(pattern, piece, points, normals[ring]), strict=True
        ):
            owner = _owner(pattern, spot[0]) if spot else None
            if (owner.name if owner else "") != on:
                if len(stretch) > 1:
                    yield StandingLine(piece.name, on, np.array(stretch))
                stretch, on = [], owner.name if owner else ""
            if owner and spot:
                stretch.append(_on_flat(shell, owner, int(shell.triangle_face[spot[0]]), point - spot[1] * normal))
        if len(stretch) > 1:
            yield StandingLine(piece.name, on, np.array(stretch))


def _vertex_normals(shell: Shell, piece: PatternPiece) -> np.ndarray:
    """(v, 3) unit normals at the patch vertices, of the piece's own faces by area."""
    total = np.zeros((piece.patch.vertex_count, 3))
    for corner in range(3):
        np.add.at(total, piece.patch.triangles[:, corner], shell.face_vector[piece.patch.triangle_face])
    return total / np.maximum(np.linalg.norm(total, axis=1), 1e-12)[:, None]


def _on_flat(shell: Shell, piece: PatternPiece, face: int, point: np.ndarray) -> np.ndarray:
    """(2,) mm, a point (3,) of a shell face on the flat of the piece that owns it."""
    patch = piece.patch
    triangles = patch.triangles[patch.triangle_face == face]
    corners = shell.vertices[patch.shell_vertex[triangles]]
    # the patch may cut a face into triangles another way than the shell: take the one the point lies in
    weights = np.array([_weights(own, point) for own in corners])
    best = int(np.argmax(weights.min(axis=1)))
    return weights[best] @ piece.flat[triangles[best]]


def _weights(corners: np.ndarray, point: np.ndarray) -> np.ndarray:
    """(3,) parts of the corners (3, 3) that make the point, or the one of their plane below it."""
    one, other = corners[1] - corners[0], corners[2] - corners[0]
    u, v = np.linalg.lstsq(np.column_stack([one, other]), point - corners[0], rcond=None)[0]
    return np.array([1 - u - v, u, v])
