"""The courses of runs that may be moved: where each starts and ends, what it goes on as, and how much it turns."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from .division import Division
from .paths import Turning
from .runs import chain_of, seam_runs

THROUGH = float(np.radians(50))
"""Turn up to which a seam goes on as another where several meet."""

SHORTEST_PART = 3
"""Edges in the shortest part of a run that is a course by itself."""

NONE, IMAGE = -1, -2
"""What a course goes on to beyond an end: nothing, or its own mirror image."""


@dataclass(frozen=True, eq=False)
class Course:
    """A run that may be moved, or a part of it: its vertices in order, two ends, and no more than one side of a mirror.

    before, after : vertices that the line comes from and goes on to beyond its ends, or NONE, or IMAGE
    loose : whether the last vertex is the inner end of a dart
    """

    chain: np.ndarray
    before: int
    after: int
    loose: bool = False

    def halves(self) -> list[Course]:
        chain, middle = self.chain, len(self.chain) // 2
        if len(chain) <= 2 * SHORTEST_PART:
            return []
        first = Course(chain[: middle + 1], self.before, int(chain[middle + 1]))
        return [first, Course(chain[middle:], int(chain[middle - 1]), self.after, self.loose)]


class Courses:
    """What may be moved of a division of a shell.

    fixed : (n,) bool, vertices that no course may be moved to: rims, and what is added
    """

    def __init__(self, division: Division) -> None:
        self.division = division
        self.turning = Turning(division.shell)
        self.fixed = np.zeros(len(division.shell.vertices), bool)
        self.fixed[division.shell.edges[~division.inner]] = True

    def all(self) -> Iterator[Course]:
        """Of every run that is not the maker's and not on the mirror plane, or of its image, a course or two."""
        division = self.division
        seams_at = np.bincount(division.shell.edges[division.seam].ravel(), minlength=len(self.fixed))
        is_tip = (seams_at == 1) & ~self.fixed
        for run in seam_runs(division.shell, division.seam, division.kept):
            if not division.free[run].all() or not division.is_own(run):
                continue
            for chain in self._one_sided(chain_of(division.shell, run)):
                chain = chain[::-1] if is_tip[chain[0]] else chain
                course = Course(chain, self._beyond(chain[::-1]), self._beyond(chain), bool(is_tip[chain[-1]]))
                yield from [course] if chain[0] != chain[-1] else course.halves()

    def _one_sided(self, chain: np.ndarray) -> list[np.ndarray]:
        """The parts of a chain on the left of the mirror plane, or of its image if that is there."""
        twins = self.division.twins
        if twins is None or (twins.vertex[chain] < 0).all():
            return [chain]
        image, left = twins.vertex[chain], twins.left[chain]
        if (image < 0).any() or (image == chain).all():
            return []
        if set(image.tolist()) != set(chain.tolist()):
            return [one for one in (chain, image) if twins.left[one].all()][:1]
        if chain[0] == chain[-1] and left[0]:
            # opened on the right, so that no part on the left is torn
            away = int(np.argmin(left))
            chain = np.append(np.roll(chain[:-1], -away), chain[away])
            left = twins.left[chain]
        groups = np.split(chain, np.flatnonzero(np.diff(left.astype(int))) + 1)
        return [group for group in groups if twins.left[group[0]] and len(group) > 1]

    def _beyond(self, chain: np.ndarray) -> int:
        """What the line of a chain goes on to beyond its last vertex."""
        division, end, last = self.division, chain[-1], chain[-2]
        around = division.shell.edges[division.seam & (division.shell.edges == end).any(axis=1)]
        others = around.sum(axis=1) - end
        others = others[others != last]
        if self.fixed[end] or not len(others):
            return NONE
        turns = self.turning.at(np.full(len(others), last), np.full(len(others), end), others)
        if len(others) > 1 and turns.min() > THROUGH:
            return NONE
        other = int(others[np.argmin(turns)])
        return IMAGE if division.twins is not None and other == division.twins.vertex[last] else other

    def edges(self, path: np.ndarray) -> np.ndarray:
        return self.division.shell.edge_between(np.column_stack([path[:-1], path[1:]]))

    def bend(self, course: Course, path: np.ndarray | None = None) -> float:
        """By how many squared right angles a course turns, or a path between its ends in its place."""
        path = course.chain if path is None else path
        ends = self.end_bend(path[0], course.before, path[1:2]) + self.end_bend(path[-1], course.after, path[-2:-1])
        return float((_right_angles(self.turning.along(path)) ** 2).sum() + ends.sum())

    def end_bend(self, end: int, beyond: int, sides: np.ndarray) -> np.ndarray:
        """(s,) squared right angles at an end of a course between `sides` (s,), vertices, and what is beyond."""
        if beyond == NONE:
            return np.zeros(len(sides))
        others = np.full(len(sides), beyond)
        if beyond == IMAGE:
            assert self.division.twins is not None
            others = self.division.twins.vertex[sides]
        return _right_angles(self.turning.at(sides, np.full(len(sides), end), others)) ** 2

    def ground(self, course: Course) -> np.ndarray:
        """(k,) bool, edges that a course may be moved to: on its side of the mirror plane, clear of other seams."""
        division, twins, edges = self.division, self.division.twins, self.division.shell.edges
        others = division.seam.copy()
        others[self.edges(course.chain)] = False
        blocked = self.fixed.copy()
        blocked[edges[others]] = True
        blocked[course.chain[[0, -1]]] = False
        usable = division.free & ~blocked[edges].any(axis=1)
        if twins is None:
            return usable
        has_image = twins.edge != np.arange(len(edges))
        if (twins.vertex[course.chain] < 0).all():
            return usable & (twins.vertex[edges] < 0).any(axis=1)
        return usable & has_image & twins.left[edges].all(axis=1)


def _right_angles(turn: np.ndarray) -> np.ndarray:
    return turn / (np.pi / 2)
