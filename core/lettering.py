"""Finding room for words on a piece: how large they are, where they could stand, what is still free."""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
import shapely
from shapely import STRtree

LETTER_WIDTH = 0.85
"""Mean width of a letter in heights of capitals, with a little to spare."""

LINE_PITCH = 1.65
"""From one line of words to the next, in heights of capitals."""

RIM_MM = 0.5
"""How far words keep from the outline."""

WORDS_APART_MM = 0.8
"""Between two notes."""

GRID = 14
"""Places tried across the longer side of a piece."""


class Room:
    """The outside face of a piece, and what is already drawn and written on and around it.

    around : as much of the paper as either face of the piece takes
    """

    def __init__(self, face: shapely.Geometry, around: shapely.Geometry) -> None:
        self.face, self.around = face, around
        self._inside, self._whole = face.buffer(-RIM_MM), around.buffer(RIM_MM)
        shapely.prepare(self._inside)
        shapely.prepare(self._whole)
        self._drawn: list[shapely.Geometry] = []
        self._written: dict[Hashable, list[shapely.Geometry]] = {}

    def take(self, shape: shapely.Geometry) -> None:
        """Keep a shape free of words; leaders may cross it."""
        shapely.prepare(shape)
        self._drawn.append(shape)

    def claim(
        self, key: Hashable, boxes: np.ndarray, leaders: np.ndarray | None = None, *, outside: bool = False
    ) -> int | None:
        """Take the first of the boxes that is free and say which it is, None where none is free.

        key : whose words they are; what they had before they give up, unless nothing is free
        leaders : lines from the boxes to what they are about; they keep off all other words
        outside : look for room around the piece instead of on it
        """
        where = ~shapely.intersects(self._whole, boxes) if outside else shapely.contains(self._inside, boxes)
        free = np.flatnonzero(where)
        words = [shape for owner, shapes in self._written.items() if owner != key for shape in shapes]
        free = free[_clear(boxes[free], [*self._drawn, *words])]
        if leaders is not None:
            free = free[_clear(leaders[free], words)]
        if not len(free):
            return None
        first = int(free[0])
        leader = [leaders[first]] if leaders is not None else []
        self._written[key] = [boxes[first].buffer(WORDS_APART_MM, join_style="mitre"), *leader]
        return first


def _clear(shapes: np.ndarray, others: Sequence[shapely.Geometry]) -> np.ndarray:
    """(s,) bool, which of the shapes (s,) meet none of the others."""
    clear = np.ones(len(shapes), bool)
    if len(shapes) and len(others):
        clear[STRtree(shapes).query(np.array(others), predicate="intersects")[1]] = False
    return clear


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
    length, arc = _measured(points)
    place = parts * arc[-1]
    index = steps_along(points, parts)
    direction = step[index] / np.where(length > 0, length, 1)[index, None]
    return points[index] + (place - arc[index])[:, None] * direction, direction


def steps_along(points: np.ndarray, parts: np.ndarray) -> np.ndarray:
    """(p,) int, the steps of a line (k, 2) on which the parts (p,) of its length lie."""
    length, arc = _measured(points)
    return np.clip(np.searchsorted(arc, parts * arc[-1], side="right") - 1, 0, len(length) - 1)


def _measured(points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(k - 1,) lengths of the steps of a line (k, 2), and (k,) lengths up to its points."""
    length = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return length, np.concatenate([[0.0], np.cumsum(length)])


def points_inside(face: shapely.Geometry) -> np.ndarray:
    """(p, 2) a grid of points inside the face."""
    left, low, right, high = face.bounds
    step = max(right - left, high - low) / GRID
    x, y = np.meshgrid(np.arange(left + step / 2, right, step), np.arange(low + step / 2, high, step))
    points = np.stack([x.ravel(), y.ravel()], axis=1)
    return points[shapely.contains_xy(face, points)]


def points_around(face: shapely.Geometry, away_mm: float, apart_mm: float) -> np.ndarray:
    """(p, 2) points at one distance outside the face, evenly along its outer rim."""
    around = shapely.get_parts(face.buffer(away_mm))[0].exterior
    count = max(8, int(around.length / apart_mm))
    return along_line(shapely.get_coordinates(around), np.arange(count) / count)[0]


def widest_place(face: shapely.Geometry) -> tuple[np.ndarray, float]:
    """Centre (2,) and radius in mm of the largest circle inside."""
    spoke = np.array(shapely.maximum_inscribed_circle(face, tolerance=0.5).coords)
    return spoke[0], float(np.linalg.norm(spoke[-1] - spoke[0]))


def long_axis(face: shapely.Geometry) -> float:
    """Direction in rad of the longer side of the smallest box around the face."""
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(face))
    sides = np.diff(box[:3], axis=0)
    along = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    return float(np.arctan2(along[1], along[0]))
