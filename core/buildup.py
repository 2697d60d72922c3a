"""Raised and recessed panels: how far one stands over another, and which layers of foam make that height."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from .foam import Stock
from .pattern import Pattern, PatternPiece
from .settings import Settings
from .shell import Shell

STEP_OUT_MM = 2.0
"""How far beside its rim a panel is compared with what lies there."""

LOWEST_MM, HIGHEST_MM = 1.0, 40.0
"""Smaller steps are lost in glue and filler; larger ones are no matter of layers (common practice)."""

MOST_LAYERS = 4
ENOUGH_MM = 0.5
"""A height made to within this needs no word (common practice)."""

PARALLEL_DEG = 25.0
EVEN_MM = 1.5
"""How much the step may change along the rim of one panel."""

MOST_OF_RIM = 0.6
SAMPLES = 64


@dataclass(frozen=True)
class BuildUp:
    """A panel that lies parallel over (+) or under (-) another, and whose foam does not make the step between them.

    height_mm : from the modelled face of `over` to that of `piece`; + raised, - recessed
    foam_of, foam_mm : the piece whose foam makes part of the step as it is, and its thickness: the panel under its
        own face, or `over` before a recessed panel (the other one of the two where the inside face is modelled)
    layers : from the maker's stock, thickest first, what goes between the two; none where nothing thin enough is
    error_mm : what is too much (+) or missing (-) of the height with these layers
    """

    piece: str
    over: str
    foam_of: str
    height_mm: float
    foam_mm: float
    layers: tuple[Stock, ...]
    error_mm: float


def layers_for(height_mm: float, thicknesses: Sequence[float]) -> tuple[tuple[float, ...], float]:
    """Layers that come nearest to a height, thickest first, and how much they are too high.

    Of equal fits (within 0.001 mm) the one with fewest layers, then the one with the thickest: 8 + 2 for 10.
    """
    sheets = sorted(set(thicknesses), reverse=True)
    stacks = [stack for count in range(MOST_LAYERS + 1) for stack in combinations_with_replacement(sheets, count)]
    best = min(stacks, key=lambda stack: (round(abs(sum(stack) - height_mm), 3), len(stack), [-t for t in stack]))
    return best, float(sum(best) - height_mm)


def find_buildups(pattern: Pattern, settings: Settings) -> tuple[BuildUp, ...]:
    """Panels whose modelled height is not made by their foam, with the layers that would make it."""
    found = []
    # stock that is in use is at hand, and layers of it share its sheets
    stocks = {stock.thickness_mm: stock for stock in reversed((*(p.stock for p in pattern.pieces), *settings.stocks))}
    for number, piece in enumerate(pattern.pieces):
        step = _step(pattern, number, piece)
        if step is None:
            continue
        height, over = step
        before = piece if (height > 0) != settings.model_is_inside else over
        foam = before.stock.thickness_mm
        if abs(abs(height) - foam) > ENOUGH_MM:
            layers, _ = layers_for(max(abs(height) - foam, 0.0), list(stocks))
            error = foam + sum(layers) - abs(height)
            chosen = tuple(stocks[thickness] for thickness in layers)
            found.append(BuildUp(piece.name, over.name, before.name, height, foam, chosen, error))
    return tuple(found)


# --- helpers -----------------------------------------------------------------------------------


def _step(pattern: Pattern, number: int, piece: PatternPiece) -> tuple[float, PatternPiece] | None:
    """How high a piece stands over what lies beside its outer rim, and that piece; None where it is no panel."""
    shell = pattern.shell
    foot, normal = _beside_rim(shell, piece)
    others = np.flatnonzero(pattern.piece_of_face[shell.triangle_face] != number)
    facing = shell.face_normal[shell.triangle_face[others]]
    corners = shell.vertices[shell.triangles[others]]
    height, below = np.full(len(foot), np.nan), np.full(len(foot), -1)
    for sample in range(len(foot)):
        parallel = facing @ normal[sample] > np.cos(np.radians(PARALLEL_DEG))
        distance = heights_over(foot[sample], normal[sample], corners[parallel])
        near = (np.abs(distance) <= HIGHEST_MM) & np.isfinite(distance)
        if near.any():
            chosen = int(np.argmin(np.where(near, np.abs(distance), np.inf)))
            height[sample] = distance[chosen]
            below[sample] = pattern.piece_of_face[shell.triangle_face[others[parallel][chosen]]]
    if np.isfinite(height).mean() < MOST_OF_RIM:
        return None
    middle = float(np.nanmedian(height))
    even = np.abs(height - middle) <= EVEN_MM
    if even.mean() < MOST_OF_RIM or abs(middle) < LOWEST_MM:
        return None
    return middle, pattern.pieces[int(np.bincount(below[even]).argmax())]


def _beside_rim(shell: Shell, piece: PatternPiece) -> tuple[np.ndarray, np.ndarray]:
    """Points (s, 3) mm a little outside the longest rim, level with the piece there, and its normals (s, 3)."""
    patch = piece.patch
    points = shell.vertices[patch.shell_vertex]
    loop = max(
        patch.loops, key=lambda ring: np.linalg.norm(points[ring] - np.roll(points[ring], -1, axis=0), axis=1).sum()
    )
    edges = patch.loop_edges[[ring is loop for ring in patch.loops].index(True)]
    start, end = points[loop], points[np.roll(loop, -1)]
    sides = shell.edge_faces[edges]
    own = np.isin(sides, piece.faces)
    face = np.where(own[:, 0], sides[:, 0], sides[:, 1])
    along = (end - start) / np.linalg.norm(end - start, axis=1)[:, None]
    normal = shell.face_normal[face]
    outward = np.cross(along, normal)
    chosen = np.unique(np.linspace(0, len(loop) - 1, min(SAMPLES, len(loop))).round().astype(int))
    return ((start + end) / 2 + STEP_OUT_MM * outward)[chosen], normal[chosen]


def heights_over(foot: np.ndarray, normal: np.ndarray, corners: np.ndarray) -> np.ndarray:
    """(m,) mm, how far above each triangle (m, 3, 3) the foot lies along the normal; nan beside it."""
    one, other = corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    across = np.cross(normal, other)
    scale = np.einsum("ij,ij->i", one, across)
    with np.errstate(divide="ignore", invalid="ignore"):
        away = foot - corners[:, 0]
        u = np.einsum("ij,ij->i", away, across) / scale
        turned = np.cross(away, one)
        v = turned @ normal / scale
        distance = np.einsum("ij,ij->i", other, turned) / scale
        inside = (u >= -1e-9) & (v >= -1e-9) & (u + v <= 1 + 1e-9)
    # the ray runs along the normal: a hit ahead lies above the foot
    return np.where(inside, -distance, np.nan)
