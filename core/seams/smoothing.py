"""The last stroke on a plan: runs are drawn straighter where edges allow it and all pieces stay what they are."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np
from scipy.spatial import KDTree

from ..progress import Progress, Steps
from .courses import Course, Courses
from .draft import Draft
from .outlook import Laid
from .paths import TURN_PRICE, paths_of_few_turns

STRAY = (5.0, 1.6)
"""How far from a run a straighter one is looked for, in its mean edges."""

TIP_EDGES, TIP_PRICE = 2, 1.0
"""Edges by which the inner end of a dart may move, and the price of its way over its length."""

WORTHWHILE = 0.2
"""Squared right angles that a straighter course must turn less by at least; a corner of 45 degrees has 0.25."""

LONGER, SLACK = 1.04, 0.5
"""Times its price that a run may cost for that, or mean edges more where those are more."""

MOST_TRIED, PATIENCE = 2, 15
"""Straighter courses whose flat is looked at for one, and triangles laid flat for that in all per face of the shell."""


@dataclass(frozen=True, eq=False)
class Stroke:
    """A run and the straighter one in its place, as edges with those of their mirror images."""

    old: np.ndarray
    new: np.ndarray

    def drawn(self, seam: np.ndarray) -> np.ndarray:
        """(k,) bool, a seam with the one in place of the other."""
        seam = seam.copy()
        seam[self.old], seam[self.new] = False, True
        return seam


def straighter(draft: Draft) -> Steps[list[Stroke]]:
    """Runs drawn straighter, as long as the forecast says that no piece suffers; each can be left out alone.

    Ends stay, but for the inner end of a dart, which may move by an edge or two. Leaves the draft as it is. Yields
    Progress.
    """
    courses, before = Courses(draft), draft.seam
    waiting = sorted(courses.all(), key=courses.bend)
    start, most = draft.work, PATIENCE * draft.shell.face_count
    strokes: list[Stroke] = []
    while waiting and draft.work <= start + most:
        yield Progress("Drawing seams straighter", (draft.work - start) / most)
        course = waiting.pop()
        for path in islice(_straighter_paths(courses, draft.price, course), MOST_TRIED):
            stroke = Stroke(draft.with_images(courses.edges(course.chain)), draft.with_images(courses.edges(path)))
            if _is_as_good(draft, stroke.drawn(draft.seam)):
                draft.seam = stroke.drawn(draft.seam)
                # what was a seam stays out of the way of others, in case this stroke is left out
                courses.fixed[course.chain] = True
                strokes.append(stroke)
                break
        else:
            waiting += course.halves()
    draft.seam = before
    return strokes


def _is_as_good(draft: Draft, seam: np.ndarray) -> bool:
    """Whether the forecast has as many pieces, none that fails and none narrow that was not so before."""
    region = draft.around(np.flatnonzero(seam != draft.seam))
    now, then = draft.pieces(region), draft.pieces(region, seam)
    if len(now) != len(then) or not draft.is_no_worse(region, seam):
        return False
    narrow = [draft.is_narrow(draft.state(piece)) for piece in now]
    return sum(draft.is_narrow(draft.state(piece, seam)) for piece in then) <= sum(narrow)


def _straighter_paths(courses: Courses, price: np.ndarray, course: Course) -> Iterator[np.ndarray]:
    """Paths in place of a course that turn less and cost hardly more, the best first; price (k,) mm of each edge."""
    most_bent = courses.bend(course) - WORTHWHILE
    if most_bent < 0:
        return
    edges = courses.edges(course.chain)
    step, cost = float(courses.turning.shell.edge_length[edges].mean()), float(price[edges].sum())
    dearest, known = max(LONGER * cost, cost + SLACK * step), {course.chain.tobytes()}
    for path in _paths(courses, price, course, step):
        if path.tobytes() not in known and courses.bend(course, path) <= most_bent:
            known.add(path.tobytes())
            if price[courses.edges(path)].sum() <= dearest:
                yield path


def _paths(courses: Courses, price: np.ndarray, course: Course, step: float) -> Iterator[np.ndarray]:
    """Paths of few turns in place of a course; step : mm, its mean edge."""
    shell, start, end = courses.turning.shell, int(course.chain[0]), int(course.chain[-1])
    every = np.arange(len(shell.vertices))
    away = KDTree(shell.vertices[course.chain]).query(shell.vertices)[0]
    ground = courses.ground(course)
    bends = [courses.end_bend(*at, every) for at in ((start, course.before), (end, course.after))]
    here, around = np.where(every == end, 0.0, np.inf), _tips(courses, start, end)
    for goal, reach in [(around, STRAY[0])] * course.loose + [(here, reach) for reach in STRAY]:
        usable = ground & (away[shell.edges] <= reach * step).all(axis=1)
        ways = [TURN_PRICE * step * bend for bend in bends]
        for path in paths_of_few_turns(courses.turning, np.where(usable, price, np.inf), start, goal, *ways):
            if len(np.unique(path)) == len(path):
                yield path


def _tips(courses: Courses, start: int, end: int) -> np.ndarray:
    """(n,) mm, the price of each vertex as the new inner end of a dart from `start` to `end`."""
    shell = courses.turning.shell
    near = np.zeros(len(shell.vertices), bool)
    near[end] = True
    for _ in range(TIP_EDGES):
        near[shell.edges[near[shell.edges].any(axis=1)]] = True
    near[start] = False
    return np.where(near, TIP_PRICE * np.linalg.norm(shell.vertices - shell.vertices[end], axis=1), np.inf)


def nearest(draft: Draft, strokes: list[Stroke], faces: np.ndarray, laid: Laid | None) -> Stroke:
    """The stroke nearest to where a piece is strained over the limit, or to the piece if it fails otherwise."""
    shell = draft.shell
    weight = shell.face_area[faces]
    if laid is not None and (laid.face_strain > draft.limits.strain).any():
        weight = weight * np.maximum(laid.face_strain - draft.limits.strain, 0)

    def away(stroke: Stroke) -> float:
        line = shell.vertices[shell.edges[np.append(stroke.old, stroke.new)].ravel()]
        return float(weight @ KDTree(line).query(shell.face_centre[faces])[0])

    return min(strokes, key=away)
