"""Raised and recessed panels: how far one stands over another, and which layers of foam make that height."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from .foam import Stock
from .nearby import hitting
from .pattern import Pattern, PatternPiece
from .progress import Steps, finish
from .settings import Settings

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
    """As `finding_buildups`, at once."""
    return finish(finding_buildups(pattern, settings))


def finding_buildups(pattern: Pattern, settings: Settings) -> Steps[tuple[BuildUp, ...]]:
    """Panels whose modelled height is not made by their foam, with the layers that would make it. Yields Progress."""
    found = []
    # stock that is in use is at hand, and layers of it share its sheets
    stocks = {stock.thickness_mm: stock for stock in reversed((*(p.stock for p in pattern.pieces), *settings.stocks))}
    for piece, height, over in (yield from _steps_up(pattern)):
        before = piece if (height > 0) != settings.model_is_inside else over
        foam = before.stock.thickness_mm
        if abs(abs(height) - foam) > ENOUGH_MM:
            layers, _ = layers_for(max(abs(height) - foam, 0.0), list(stocks))
            error = foam + sum(layers) - abs(height)
            chosen = tuple(stocks[thickness] for thickness in layers)
            found.append(BuildUp(piece.name, over.name, before.name, height, foam, chosen, error))
    return tuple(found)


# --- helpers -----------------------------------------------------------------------------------


def _steps_up(pattern: Pattern) -> Steps[list[tuple[PatternPiece, float, PatternPiece]]]:
    """Each panel, how high it stands over what lies beside its outer rim, and the piece that this is."""
    shell, owner = pattern.shell, pattern.piece_of_face[pattern.shell.triangle_face]
    rims = [_beside_rim(pattern, number) for number in range(len(pattern.pieces))]
    feet, ways = (np.concatenate(arrays) for arrays in zip(*rims, strict=True))
    piece = np.repeat(np.arange(len(rims)), [len(foot) for foot, _ in rims])
    hits = yield from hitting(
        "Looking for raised panels", shell.vertices[shell.triangles], shell.triangle_classes, feet, ways, HIGHEST_MM
    )
    facing = np.einsum("ij,ij->i", shell.face_normal[shell.triangle_face[hits.triangle]], ways[hits.line])
    parallel = facing > np.cos(np.radians(PARALLEL_DEG))
    below = hits.where(parallel & (owner[hits.triangle] != piece[hits.line])).nearest()
    height, under = np.full(len(feet), np.nan), np.full(len(feet), -1)
    height[below.line], under[below.line] = below.height, owner[below.triangle]
    found = []
    for number, own in enumerate(np.split(np.arange(len(feet)), np.flatnonzero(np.diff(piece)) + 1)):
        step = _even_step(height[own], under[own])
        if step is not None:
            found.append((pattern.pieces[number], step[0], pattern.pieces[step[1]]))
    return found


def _even_step(height: np.ndarray, under: np.ndarray) -> tuple[float, int] | None:
    """How high samples (s,) of a rim stand, and over which piece most do; None where it is no panel."""
    if np.isfinite(height).mean() < MOST_OF_RIM:
        return None
    middle = float(np.nanmedian(height))
    even = np.abs(height - middle) <= EVEN_MM
    if even.mean() < MOST_OF_RIM or abs(middle) < LOWEST_MM:
        return None
    return middle, int(np.bincount(under[even]).argmax())


def _beside_rim(pattern: Pattern, number: int) -> tuple[np.ndarray, np.ndarray]:
    """Points (s, 3) mm a little outside a piece's longest rim, level with it there, and its normals (s, 3)."""
    shell, patch = pattern.shell, pattern.pieces[number].patch
    points = shell.vertices[patch.shell_vertex]
    loop = max(
        patch.loops, key=lambda ring: np.linalg.norm(points[ring] - np.roll(points[ring], -1, axis=0), axis=1).sum()
    )
    edges = patch.loop_edges[[ring is loop for ring in patch.loops].index(True)]
    start, end = points[loop], points[np.roll(loop, -1)]
    sides = shell.edge_faces[edges]
    own = (pattern.piece_of_face[sides] == number) & (sides >= 0)
    face = np.where(own[:, 0], sides[:, 0], sides[:, 1])
    along = (end - start) / np.linalg.norm(end - start, axis=1)[:, None]
    normal = shell.face_normal[face]
    outward = np.cross(along, normal)
    chosen = np.unique(np.linspace(0, len(loop) - 1, min(SAMPLES, len(loop))).round().astype(int))
    return ((start + end) / 2 + STEP_OUT_MM * outward)[chosen], normal[chosen]
