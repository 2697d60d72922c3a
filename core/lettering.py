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

MOST_WAITING = 16
"""Shapes that are looked at one by one until a new tree takes them in: building it costs more at first."""

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
        self._drawn, self._written = _Obstacles(), _Obstacles()

    def take(self, shape: shapely.Geometry) -> None:
        """Keep a shape free of words; leaders may cross it."""
        self._drawn.add("drawing", [shape])

    def is_written_on(self, place: np.ndarray, key: Hashable) -> bool:
        """Whether words of others, or their leaders, are at a place (2,): no leader can end there."""
        return not self._written.clear(np.array([shapely.Point(place)]), key)[0]

    def is_free(self, key: Hashable, boxes: np.ndarray, *, outside: bool = False) -> np.ndarray:
        """(p,) bool, on which of the boxes (p,) nothing is drawn, and nothing written but by `key`; as in `claim`."""
        free = ~shapely.intersects(self._whole, boxes) if outside else shapely.contains(self._inside, boxes)
        free[free] = self._drawn.clear(boxes[free])
        free[free] = self._written.clear(boxes[free], key)
        return free

    def claim(
        self, key: Hashable, boxes: np.ndarray, tip: np.ndarray | None = None, *, outside: bool = False
    ) -> int | None:
        """Take the first of the boxes that is free and say which it is, None where none is free.

        key : whose words they are; what they had before they give up, unless nothing is free
        tip : (2,) mm, what they are about; a leader there keeps off all other words
        outside : look for room around the piece instead of on it
        """
        free = np.flatnonzero(self.is_free(key, boxes, outside=outside))
        leaders = shapely.shortest_line(boxes[free], None if tip is None else shapely.Point(tip))
        if tip is not None:
            for keeps_off in (self._written.unshadowed, self._written.clear):
                kept = keeps_off(leaders, key)
                free, leaders = free[kept], leaders[kept]
        if not len(free):
            return None
        first = int(free[0])
        words = [boxes[first].buffer(WORDS_APART_MM, join_style="mitre"), *leaders[:1]]
        self._written.replace(key, words[: 1 if tip is None else 2])
        return first


class _Obstacles:
    """Shapes that others keep off, with their owners. Most are found through a tree, which the last few wait for."""

    def __init__(self) -> None:
        self._shapes: list[shapely.Geometry] = []
        self._of: dict[Hashable, list[int]] = {}
        self._gone: set[int] = set()
        self._tree, self._in_tree = STRtree([]), 0

    def add(self, owner: Hashable, shapes: Sequence[shapely.Geometry]) -> None:
        self._of.setdefault(owner, []).extend(range(len(self._shapes), len(self._shapes) + len(shapes)))
        self._shapes += shapes

    def replace(self, owner: Hashable, shapes: Sequence[shapely.Geometry]) -> None:
        """Give an owner these shapes instead of all it had."""
        self._gone |= set(self._of.pop(owner, []))
        self.add(owner, shapes)

    def unshadowed(self, leaders: np.ndarray, but: Hashable) -> np.ndarray:
        """(c,) bool, which of the leaders (c,), which end in one tip, run through no shape as a whole: a quick look
        before `clear`, for most leaders of a crowded piece do."""
        if not len(leaders) or not self._shapes:
            return np.ones(len(leaders), bool)
        ends = shapely.get_coordinates(leaders).reshape(-1, 2, 2)
        points, shape = shapely.get_coordinates(self._shapes, return_index=True)
        start = np.searchsorted(shape, np.arange(len(self._shapes)))
        spokes = points - ends[0, 1]
        # within reach of all leaders, and not around the tip, each hides the angle between its outermost corners
        far = np.maximum.reduceat(np.hypot(*spokes.T), start)
        first = np.arctan2(*spokes[start].T[::-1])
        turn = np.arctan2(*spokes.T[::-1]) - first[shape]
        turn = (turn + np.pi) % (2 * np.pi) - np.pi
        low, high = first + np.minimum.reduceat(turn, start), first + np.maximum.reduceat(turn, start)
        ways = ends[:, 0] - ends[:, 1]
        passed = list(self._gone.union(self._of.get(but, ())))
        hides = (far < np.hypot(*ways.T).min()) & (high - low < np.pi)
        hides[passed] = False
        low, high = (np.concatenate([end[hides] + turn for turn in (-2 * np.pi, 0, 2 * np.pi)]) for end in (low, high))
        order = np.argsort(low)
        reach = np.maximum.accumulate(np.append(-np.inf, high[order]))
        angle = np.arctan2(*ways.T[::-1])
        return reach[np.searchsorted(low[order], angle)] < angle

    def clear(self, candidates: np.ndarray, but: Hashable = None) -> np.ndarray:
        """(c,) bool, which of the candidates (c,) meet no shape of another owner than `but`."""
        if len(self._shapes) - self._in_tree > MOST_WAITING:
            self._tree, self._in_tree = STRtree(self._shapes), len(self._shapes)
        passed = self._gone.union(self._of.get(but, ()))
        waiting = [shape for n, shape in enumerate(self._shapes[self._in_tree :], self._in_tree) if n not in passed]
        is_clear = np.ones(len(candidates), bool)
        if len(candidates):
            which, shape = self._tree.query(candidates, predicate="intersects")
            is_clear[which[~np.isin(shape, list(passed))]] = False
            is_clear &= ~shapely.intersects(candidates[:, None], np.array(waiting, object)).any(axis=1)
        return is_clear


def note_boxes(lines: Sequence[str], centres: np.ndarray, angles: np.ndarray, height_mm: float) -> np.ndarray:
    """(p,) boxes that words of this height fill at centres (p, 2) mm, read along angles (p,) rad."""
    wide = max(len(line) for line in lines) * LETTER_WIDTH * height_mm
    along = np.stack([np.cos(angles), np.sin(angles)], axis=1) * wide / 2
    across = np.stack([-np.sin(angles), np.cos(angles)], axis=1) * tall(lines, height_mm) / 2
    corners = [centres + a * along + b * across for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return shapely.polygons(np.stack(corners, axis=1))


def tall(lines: Sequence[str], height_mm: float) -> float:
    """How much room in mm lines of words take across the reading direction."""
    return len(lines) * LINE_PITCH * height_mm


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
