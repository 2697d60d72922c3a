"""Pieces that no joint holds: what lies under them, and where their rims stand on it."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from .buildup import HIGHEST_MM
from .nearby import hitting
from .pattern import Pattern, PatternPiece
from .progress import finish
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


@lru_cache(maxsize=1)
def loose_parts(pattern: Pattern) -> tuple[LoosePart, ...]:
    """In the pattern's order. A lone piece that is the whole shell is not loose. Tables and drawings ask: the last
    answer is kept."""
    held = {side.piece for joint in pattern.joints if joint.a.piece != joint.b.piece for side in joint.sides}
    loose = [number for number, piece in enumerate(pattern.pieces) if piece.name not in held]
    if len(pattern.pieces) < 2 or not loose:
        return ()
    samples = [_samples(pattern, number) for number in loose]
    points, ways = (np.concatenate(arrays) for arrays in zip(*samples, strict=True))
    sizes = [len(own) for own, _ in samples]
    under, height, _ = _below(pattern, np.repeat(loose, sizes), points, ways)
    parts = zip(loose, *(np.split(found, np.cumsum(sizes)[:-1]) for found in (under, height)), strict=True)
    return tuple(_settled(pattern, number, under, height) for number, under, height in parts)


@lru_cache(maxsize=1)
def standing_lines(pattern: Pattern) -> tuple[StandingLine, ...]:
    """Where to glue each loose part, drawn on what is under it. Every piece of a drawing asks: the last is kept."""
    over = {part.piece for part in loose_parts(pattern) if part.over}
    rims = [
        (number, np.append(loop, loop[0]))
        for number, piece in enumerate(pattern.pieces)
        for loop in piece.patch.loops
        if piece.name in over
    ]
    if not rims:
        return ()
    normals = {number: _vertex_normals(pattern.shell, pattern.pieces[number]) for number, _ in rims}
    points = np.concatenate([pattern.shell.vertices[pattern.pieces[n].patch.shell_vertex[ring]] for n, ring in rims])
    ways = np.concatenate([normals[number][ring] for number, ring in rims])
    owners = np.repeat([number for number, _ in rims], [len(ring) for _, ring in rims])
    under, height, face = _below(pattern, owners, points, ways)
    places = np.zeros((len(points), 2))
    for number in np.unique(under[under >= 0]):
        own = np.flatnonzero(under == number)
        feet = points[own] - height[own, None] * ways[own]
        places[own] = _on_flat(pattern.shell, pattern.pieces[number], face[own], feet)
    lines, first = [], 0
    for number, ring in rims:
        on, line = under[first : first + len(ring)], places[first : first + len(ring)]
        first += len(ring)
        for stretch in np.split(np.arange(len(ring)), np.flatnonzero(np.diff(on)) + 1):
            if on[stretch[0]] >= 0 and len(stretch) > 1:
                names = pattern.pieces[number].name, pattern.pieces[on[stretch[0]]].name
                lines.append(StandingLine(*names, line[stretch]))
    return tuple(lines)


# --- helpers -----------------------------------------------------------------------------------


def _samples(pattern: Pattern, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Points (n, 3) all over a piece, and the normals (n, 3) there."""
    shell = pattern.shell
    corners = np.flatnonzero(pattern.piece_of_face[shell.corner_face] == number)
    chosen = corners[np.unique(np.linspace(0, len(corners) - 1, MOST_SAMPLES).round().astype(int))]
    faces = shell.corner_face[chosen]
    # most of the way from the face's middle to its corner: a piece of one face is asked all over, too
    middle = shell.face_centre[faces]
    return middle + (shell.vertices[shell.corner_vertex[chosen]] - middle) * OUTWARDS, shell.face_normal[faces]


def _settled(pattern: Pattern, number: int, under: np.ndarray, height: np.ndarray) -> LoosePart:
    """From what is under each sample (n,), -1 for nothing, and how far below in mm."""
    counts = Counter(pattern.pieces[piece].name for piece in under[under >= 0].tolist())
    over = tuple(name for name, count in counts.most_common() if count >= LEAST_SHARE * len(under))
    return LoosePart(pattern.pieces[number].name, over, float(np.median(height[under >= 0])) if over else 0.0)


def _below(
    pattern: Pattern, owner: np.ndarray, points: np.ndarray, ways: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Against the ways (n, 3) from points (n, 3) of pieces `owner` (n,) the nearest other piece (n,), -1 for none; how
    far it is in mm (n,), and which face it is (n,)."""
    shell = pattern.shell
    corners = shell.vertices[shell.triangles]
    hits = finish(hitting("Looking below loose parts", corners, shell.triangle_classes, points, ways, HIGHEST_MM))
    piece = pattern.piece_of_face[shell.triangle_face[hits.triangle]]
    below = hits.where((hits.height >= 0) & (piece != owner[hits.line])).nearest()
    under, height, face = np.full(len(points), -1), np.zeros(len(points)), np.full(len(points), -1)
    height[below.line], face[below.line] = below.height, shell.triangle_face[below.triangle]
    under[below.line] = pattern.piece_of_face[face[below.line]]
    return under, height, face


def _vertex_normals(shell: Shell, piece: PatternPiece) -> np.ndarray:
    """(v, 3) unit normals at the patch vertices, of the piece's own faces by area."""
    total = np.zeros((piece.patch.vertex_count, 3))
    for corner in range(3):
        np.add.at(total, piece.patch.triangles[:, corner], shell.face_vector[piece.patch.triangle_face])
    return total / np.maximum(np.linalg.norm(total, axis=1), 1e-12)[:, None]


def _on_flat(shell: Shell, piece: PatternPiece, faces: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(p, 2) mm, points (p, 3) of shell faces (p,) on the flat of the piece that owns these."""
    patch = piece.patch
    # the patch may cut a face into triangles another way than the shell: take the one each point lies in
    order = np.argsort(patch.triangle_face, kind="stable")
    first, stop = (np.searchsorted(patch.triangle_face[order], faces, side=side) for side in ("left", "right"))
    which = np.repeat(np.arange(len(faces)), stop - first)
    starts = np.cumsum(stop - first) - (stop - first)
    triangle = order[first[which] + np.arange(len(which)) - starts[which]]
    weights = _weights(shell.vertices[patch.shell_vertex[patch.triangles[triangle]]], points[which])
    best = np.lexsort((-weights.min(axis=1), which))[starts]
    return np.einsum("pi,pij->pj", weights[best], piece.flat[patch.triangles[triangle[best]]])


def _weights(corners: np.ndarray, points: np.ndarray) -> np.ndarray:
    """(p, 3) parts of the corners (p, 3, 3) that make each point (p, 3), or the one of their plane below it."""
    sides = (corners[:, 1:] - corners[:, :1]).transpose(0, 2, 1)
    u, v = np.einsum("pij,pj->ip", np.linalg.pinv(sides), points - corners[:, 0])
    return np.stack([1 - u - v, u, v], axis=1)
