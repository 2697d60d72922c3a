"""Tools that build the demo's shells: rails, arched grids of quads, exact mirroring, seams and folds.

A shell is drawn as its left half (x >= 0, the wearer's left). Rails are smooth lines through a few control
points; a grid spans rails with rows of quads; every quad knows the piece it will be cut from. Seams need no
list of their own: they are the edges at which the piece changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np


@dataclass(frozen=True)
class DemoShell:
    """A shell in mm, faces counter-clockwise seen from outside, x = 0 its mirror plane, z up, front to -y.

    vertices : (n, 3) float; vertices mirror each other to the bit
    seams, folds : vertex pairs, each an edge of the faces
    face_names : per face the piece it is cut from
    stock_mm : foam thickness of the pieces that are not cut from 5 mm
    groups : piece name -> what it is glued up with
    """

    name: str
    vertices: np.ndarray
    faces: list[tuple[int, ...]]
    seams: list[tuple[int, int]]
    folds: list[tuple[int, int]]
    face_names: list[str]
    stock_mm: dict[str, float]
    groups: dict[str, str]


def rail(
    points: Sequence[Sequence[float]] | np.ndarray,
    counts: Sequence[int],
    corners: Sequence[int] = (),
    smooth_start: bool = False,
    smooth_end: bool = False,
) -> np.ndarray:
    """Points (sum(counts) + 1, 3) of a line through control `points`, counts[i] steps on interval i.

    The line is smooth but for the control points in `corners`. An end marked smooth lies on x = 0 and
    runs square through the mirror plane.
    """
    points = np.asarray(points, float)
    stops = [0, *corners, len(points) - 1]
    parts = []
    for first, last in pairwise(stops):
        before = _mirrored(points[1:3][::-1]) if smooth_start and first == 0 else points[:0]
        after = _mirrored(points[-3:-1][::-1]) if smooth_end and last == len(points) - 1 else points[:0]
        line = np.concatenate([before, points[first : last + 1], after])
        part = _cubic(line, counts[first:last], len(before))
        parts.append(part if last == stops[-1] else part[:-1])
    return np.concatenate(parts)


def _mirrored(points: np.ndarray) -> np.ndarray:
    return points * np.array([-1.0, 1.0, 1.0])


def _cubic(points: np.ndarray, counts: Sequence[int], skip: int) -> np.ndarray:
    """Natural cubic spline on chord length, sampled on the intervals from `skip` on."""
    knot = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(points, axis=0), axis=1))])
    step = np.diff(knot)
    slope = np.diff(points, axis=0) / step[:, None]
    matrix = np.eye(len(points))
    right = np.zeros_like(points)
    for i in range(1, len(points) - 1):
        matrix[i, i - 1 : i + 2] = step[i - 1], 2 * (step[i - 1] + step[i]), step[i]
        right[i] = 6 * (slope[i] - slope[i - 1])
    second = np.linalg.solve(matrix, right)
    sampled = []
    for i, count in enumerate(counts, start=skip):
        t = (np.arange(count) / count)[:, None]
        line = points[i] * (1 - t) + points[i + 1] * t
        bow = ((1 - t) ** 3 - (1 - t)) * second[i] + (t**3 - t) * second[i + 1]
        sampled.append(line + step[i] ** 2 / 6 * bow)
    return np.concatenate([*sampled, points[skip + len(counts)][None]])


def span(a: np.ndarray, b: np.ndarray, count: int, bulge: float | np.ndarray, centre: Sequence[float]) -> np.ndarray:
    """Grid (n, count + 1, 3) of shallow arches from rail `a` (n, 3) to rail `b` (n, 3).

    bulge : rise of the arch over its chord, one for all or one for each; away from `centre`
    """
    chord = b - a
    length = np.linalg.norm(chord, axis=1, keepdims=True)
    away = (a + b) / 2 - np.asarray(centre, float)
    away -= chord * (np.einsum("ij,ij->i", away, chord)[:, None] / length**2)
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    rise = away * length * np.broadcast_to(bulge, len(a))[:, None]
    s = np.linspace(0, 1, count + 1)[None, :, None]
    grid = a[:, None] * (1 - s) + b[:, None] * s + 4 * s * (1 - s) * rise[:, None]
    grid[:, 0], grid[:, -1] = a, b
    return grid


def fade(count: int, start: float, end: float) -> np.ndarray:
    """(count + 1,) from `start` to `end`, level at both ends."""
    t = np.linspace(0, 1, count + 1)
    return start + (end - start) * t * t * (3 - 2 * t)


class ShellMaker:
    """Collects the left half; `finish` mirrors and welds it."""

    def __init__(self) -> None:
        self._quads: list[np.ndarray] = []
        self._names: list[str] = []
        self._folds: list[np.ndarray] = []

    def block(self, grid: np.ndarray, name: str) -> None:
        """Quads of `grid` (n, m, 3), all of one piece; outside is where its second axis x first axis points.

        A name that ends in " L" gives its mirror image the name with " R"; any other piece spans both
        sides. Quads with two corners in one place become triangles.
        """
        corners = np.stack([grid[:-1, :-1], grid[:-1, 1:], grid[1:, 1:], grid[1:, :-1]], axis=2)
        self._quads.append(corners.reshape(-1, 4, 3))
        self._names += [name] * ((len(grid) - 1) * (grid.shape[1] - 1))

    def fold(self, line: np.ndarray) -> None:
        """Mark the line (n, 3), which runs along grid points, as a fold."""
        self._folds.append(np.stack([line[:-1], line[1:]], axis=1))

    def finish(self, name: str, stock_mm: Mapping[str, float], groups: Mapping[str, str]) -> DemoShell:
        """Both halves. `stock_mm` and `groups` are by piece name without side."""
        left = np.concatenate(self._quads)
        right = _mirrored(left)[:, ::-1]
        # adding 0 turns -0 into 0, so that points on the mirror plane weld
        corners = np.concatenate([left, right]) + 0.0
        vertices, number = np.unique(corners.reshape(-1, 3), axis=0, return_inverse=True)
        number = number.reshape(-1, 4)
        faces = [tuple(dict.fromkeys(quad)) for quad in number.tolist()]
        names = self._names + [_other_side(piece) for piece in self._names]
        place = {tuple(point): index for index, point in enumerate(vertices.tolist())}
        marks = np.concatenate([np.empty((0, 2, 3)), *self._folds])
        ends = np.concatenate([marks, _mirrored(marks)]) + 0.0
        pairs = [(place[tuple(one)], place[tuple(other)]) for one, other in ends.tolist()]
        pieces = sorted(set(names))
        return DemoShell(
            name=name,
            vertices=vertices,
            faces=faces,
            seams=_piece_borders(faces, names),
            folds=sorted({(min(pair), max(pair)) for pair in pairs}),
            face_names=names,
            stock_mm={piece: stock_mm[_bare(piece)] for piece in pieces if _bare(piece) in stock_mm},
            groups={piece: groups[_bare(piece)] for piece in pieces},
        )


def _bare(piece: str) -> str:
    return piece.removesuffix(" L").removesuffix(" R")


def _other_side(piece: str) -> str:
    return _bare(piece) + " R" if piece.endswith(" L") else piece


def _piece_borders(faces: list[tuple[int, ...]], names: list[str]) -> list[tuple[int, int]]:
    """Edges between faces of different pieces."""
    piece_at: dict[tuple[int, int], str] = {}
    borders = []
    for face, piece in zip(faces, names, strict=True):
        for pair in zip(face, face[1:] + face[:1], strict=True):
            edge = (min(pair), max(pair))
            if piece_at.setdefault(edge, piece) != piece:
                borders.append(edge)
    return sorted(borders)
