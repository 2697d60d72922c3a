"""Finding room for words on a piece: how large they are, where they could stand, what is still free."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

LETTER_WIDTH = 0.85
"""Mean width of a letter in heights of capitals, with a little to spare."""

LINE_PITCH = 1.65
"""From one line of words to the next, in heights of capitals."""

RIM_MM = 0.5
"""How far words keep from the outline."""

GRID = 14
"""Places tried across the longer side of a piece."""


class Room:
    """The face of a piece and what is already written on it."""

    def __init__(self, face: shapely.Geometry) -> None:
        self._face = face.buffer(-RIM_MM)
        shapely.prepare(self._face)
        self._taken: list[shapely.Geometry] = []

    def take(self, shape: shapely.Geometry) -> None:
        """Keep a shape free of words."""
        self._taken.append(shape)

    def claim(self, boxes: np.ndarray) -> int | None:
        """Take the first of the boxes that is free and say which it is, None where none is free."""
        free = np.flatnonzero(shapely.contains(self._face, boxes))
        if len(free) and self._taken:
            hit = shapely.intersects(boxes[free][:, None], np.array(self._taken)[None])
            free = free[~hit.any(axis=1)]
        if not len(free):
            return None
        self.take(boxes[free[0]])
        return int(free[0])


def note_boxes(lines: Sequence[str], centres: np.ndarray, angles: np.ndarray, height_mm: float) -> np.ndarray:
    """(p,) boxes that words of this height fill at centres (p, 2) mm, read along angles (p,) rad."""
    wide = max(len(line) for line in lines) * LETTER_WIDTH * height_mm
    tall = len(lines) * LINE_PITCH * height_mm
    along = np.stack([np.cos(angles), np.sin(angles)], axis=1) * wide / 2
    across = np.stack([-np.sin(angles), np.cos(angles)], axis=1) * tall / 2
    corners = [centres + a * along + b * across for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return shapely.polygons(np.stack(corners, axis=1))


def along_line(points: np.ndarray, parts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points (p, 2) at parts (p,) of the length of a line (k, 2), and unit directions (p, 2) along it there."""
    step = np.diff(points, axis=0)
    length = np.linalg.norm(step, axis=1)
    arc = np.concatenate([[0.0], np.cumsum(length)])
    place = parts * arc[-1]
    index = np.clip(np.searchsorted(arc, place, side="right") - 1, 0, len(step) - 1)
    direction = step[index] / np.where(length > 0, length, 1)[index, None]
    return points[index] + (place - arc[index])[:, None] * direction, direction


def points_inside(face: shapely.Geometry) -> np.ndarray:
    """(p, 2) a grid of points inside the face."""
    left, low, right, high = face.bounds
    step = max(right - left, high - low) / GRID
    x, y = np.meshgrid(np.arange(left + step / 2, right, step), np.arange(low + step / 2, high, step))
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    return points[shapely.contains_xy(face, points)]
