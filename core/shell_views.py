"""What stands where in the picture of the assembled shell: seen from front and back, coloured by strain."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from .heat import worst_strain
from .pattern import Pattern

WIDTH, HEIGHT = 1.6, 1.0
"""Size of the picture; origin at its lower left corner, x right, y up, z towards the viewer."""
MARGIN = 0.04
TITLE_HEIGHT = 0.04
SCALE_BAR = (0.55, MARGIN, 1.05, MARGIN + 0.025)
"""left, bottom, right, top of the strip that shows the colour scale"""
SCALE_STEPS = 40
SEEN_FROM_DEG = (25.0, 205.0)
SEEN_FROM_ABOVE_DEG = 20.0


@dataclass(frozen=True, eq=False)
class Painted:
    """A surface in the picture.

    points : (v, 3); faces : (m, s) int; strain : (m,) parts of 1, full colour at `limit`
    rims : closed lines around it, each (r, 3)
    """

    name: str
    points: np.ndarray
    faces: np.ndarray
    strain: np.ndarray
    limit: float
    rims: tuple[np.ndarray, ...] = ()


def shell_views(pattern: Pattern) -> list[Painted]:
    """Everything in the picture but its words: the views side by side, the scale below."""
    low, high = SCALE_BAR[3] + MARGIN, HEIGHT - 2 * MARGIN - TITLE_HEIGHT
    column = WIDTH / len(SEEN_FROM_DEG)
    parts = []
    for index, azimuth in enumerate(SEEN_FROM_DEG):
        middle = ((index + 0.5) * column, (low + high) / 2)
        parts += _fitted(_assembled(pattern, azimuth), column - 2 * MARGIN, high - low, middle)
    return [*parts, _scale_bar()]


def turned(points: np.ndarray, azimuth_deg: float, above_deg: float) -> np.ndarray:
    """points (n, 3), z up, front at -y, as (right, up, towards the viewer) of one who has walked `azimuth_deg`
    to the left around the thing (so that its own left comes into view) and looks down by `above_deg`.
    """
    around, above = np.radians([azimuth_deg, above_deg])
    right = (np.cos(around), np.sin(around), 0.0)
    towards = (np.sin(around) * np.cos(above), -np.cos(around) * np.cos(above), np.sin(above))
    up = np.cross(towards, right)
    return np.asarray(points) @ np.array([right, up, towards]).T


def _assembled(pattern: Pattern, azimuth_deg: float) -> list[Painted]:
    seen = turned(pattern.shell.vertices, azimuth_deg, SEEN_FROM_ABOVE_DEG)
    parts = []
    for piece in pattern.pieces:
        points = seen[piece.patch.shell_vertex]
        rims = tuple(points[loop] for loop in piece.patch.loops)
        strain = worst_strain(piece.stretch)
        parts.append(Painted(piece.name, points, piece.patch.triangles, strain, piece.stock.hot_limit, rims))
    return parts


def _fitted(parts: list[Painted], width: float, height: float, middle: tuple[float, float]) -> list[Painted]:
    """The parts moved and scaled together, so that they fill a box of the picture."""
    cloud = np.concatenate([part.points for part in parts])
    low, high = cloud.min(axis=0), cloud.max(axis=0)
    extent = np.maximum(high - low, 1e-9)
    scale = min(width / extent[0], height / extent[1])
    centre = (low + high) / 2

    def moved(points: np.ndarray) -> np.ndarray:
        return (points - centre) * scale + (*middle, 0.0)

    def all_moved(rings: Iterable[np.ndarray]) -> tuple[np.ndarray, ...]:
        return tuple(moved(ring) for ring in rings)

    return [Painted(p.name, moved(p.points), p.faces, p.strain, p.limit, all_moved(p.rims)) for p in parts]


def _scale_bar() -> Painted:
    left, bottom, right, top = SCALE_BAR
    x = np.repeat(np.linspace(left, right, SCALE_STEPS + 1), 2)
    points = np.column_stack([x, np.tile([bottom, top], SCALE_STEPS + 1), np.zeros(len(x))])
    quads = 2 * np.arange(SCALE_STEPS)[:, None] + (0, 2, 3, 1)
    share = (np.arange(SCALE_STEPS) + 0.5) / SCALE_STEPS * 2 - 1
    return Painted("scale", points, quads, share, 1.0)
