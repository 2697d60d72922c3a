"""The mouths of V-grooves: what each takes of the inside face, with its ends where folds meet or run out.

A groove of depth d that closes at the bend b takes d tan(b / 2) on either side of the fold. Where folds meet,
the panel between two of them ends in the corner of its two limits, so that neither groove cuts into what the
other leaves standing; at a rim the cutter runs through; within a piece the groove ends in a point.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely import Polygon
from shapely.geometry.polygon import orient

from .folds import FoldRun, opening
from .outline import GRID_MM, TIDY_MM, parts_of
from .patch import Patch
from .progress import Progress, Steps, finish
from .rims import smoothed
from .shell import Shell

REACH = 8.0
"""How far limits may run to meet, in half mouths: enough for folds that meet at 15 degrees."""

STRAIGHT_ON = 0.5
"""Sine of the angle between two folds below which, seen from behind, they are one line and meet where they end."""


@dataclass(frozen=True, eq=False)
class _Spoke:
    """What leaves a vertex: a fold (index in the list, half mouth in mm) or, with index -1, a rim.

    angle : rad, direction on the flat
    """

    fold: int
    angle: float
    half_mm: float


def with_mouths(
    shell: Shell, patch: Patch, flat: np.ndarray, folds: Sequence[FoldRun], inside: Sequence[np.ndarray]
) -> tuple[FoldRun, ...]:
    """As `cutting_mouths`, at once."""
    return finish(cutting_mouths(shell, patch, flat, folds, inside))


def cutting_mouths(
    shell: Shell, patch: Patch, flat: np.ndarray, folds: Sequence[FoldRun], inside: Sequence[np.ndarray]
) -> Steps[tuple[FoldRun, ...]]:
    """The folds of one piece, grooves with the rings of their mouths on the inside face. Yields Progress.

    flat : (v, 2) mm; inside : rings of the inside outline, to which mouths are trimmed.
    """
    if not any(fold.kind == "groove" for fold in folds):
        return tuple(folds)
    face = Polygon(inside[0], inside[1:]).buffer(0) if inside else Polygon()
    halves = [_half_mouths(shell, fold) for fold in folds]
    spokes = _spokes(patch, flat, folds, halves)
    overhang = _overhangs(flat, folds, face)
    done = []
    for index, (fold, half) in enumerate(zip(folds, halves, strict=True)):
        yield Progress("Drawing pieces", index / len(folds))
        if fold.kind == "groove":
            path = _with_middles(flat[fold.path])
            strips = [_strip(path, half, fold, index, spokes, overhang, side) for side in (1.0, -1.0)]
            whole = shapely.union_all([part for strip in strips for part in parts_of(strip)], grid_size=GRID_MM)
            mouth = shapely.intersection(whole, face, grid_size=GRID_MM)
            fold = replace(fold, mouth=_rings(mouth))
        done.append(fold)
    return tuple(done)


def _half_mouths(shell: Shell, fold: FoldRun) -> np.ndarray:
    """(2 k + 1,) mm, half of the mouth at each vertex of the path and in the middle of each edge; 0 for a score,
    which takes nothing away."""
    if fold.kind != "groove":
        return np.zeros(2 * len(fold.edges) + 1)
    bend = smoothed(np.abs(np.degrees(shell.edge_bend[fold.edges])), shell.edge_length[fold.edges])
    half = np.array([opening(fold.depth_mm, b) for b in bend]) / 2
    if fold.path[0] == fold.path[-1]:
        first = last = (half[0] + half[-1]) / 2
    else:
        first, last = half[0], half[-1]
    corners = np.concatenate([[first], (half[1:] + half[:-1]) / 2, [last]])
    return np.insert(corners, np.arange(1, len(corners)), half)


def _with_middles(path: np.ndarray) -> np.ndarray:
    """The path (k + 1, 2) with the middle of each of its steps: (2 k + 1, 2)."""
    return np.insert(path, np.arange(1, len(path)), (path[1:] + path[:-1]) / 2, axis=0)


def _spokes(
    patch: Patch, flat: np.ndarray, folds: Sequence[FoldRun], halves: Sequence[np.ndarray]
) -> dict[int, list[_Spoke]]:
    """Per patch vertex at which a fold ends, all folds that end there and both rims."""
    at: dict[int, list[_Spoke]] = defaultdict(list)
    for index, (fold, half) in enumerate(zip(folds, halves, strict=True)):
        if fold.path[0] != fold.path[-1]:
            for end, onward, wide in ((0, 1, half[0]), (-1, -2, half[-1])):
                way = flat[fold.path[onward]] - flat[fold.path[end]]
                at[int(fold.path[end])].append(_Spoke(index, float(np.arctan2(way[1], way[0])), float(wide)))
    for loop in patch.loops:
        for place in np.flatnonzero(np.isin(loop, list(at))):
            vertex = int(loop[place])
            near = max(spoke.half_mm for spoke in at[vertex])
            for around in (np.roll(loop, -place)[1:], np.roll(loop, -place)[:0:-1]):
                # a rim in short steps is judged by where it is half a mouth away
                away = np.linalg.norm(flat[around] - flat[vertex], axis=1)
                way = flat[around[int(np.argmax(away >= near))]] - flat[vertex]
                at[vertex].append(_Spoke(-1, float(np.arctan2(way[1], way[0])), 0.0))
    return at


def _overhangs(flat: np.ndarray, folds: Sequence[FoldRun], face: shapely.Geometry) -> dict[int, float]:
    """Per end of a fold how far in mm the inside face sticks out beyond it, as it does at a valley."""
    ends = sorted({int(fold.path[end]) for fold in folds for end in (0, -1)})
    places = shapely.points(flat[ends])
    depth = np.where(shapely.contains(face, places), shapely.distance(face.boundary, places), 0.0)
    return dict(zip(ends, depth.tolist(), strict=True))


def _strip(
    path: np.ndarray,
    half: np.ndarray,
    fold: FoldRun,
    index: int,
    spokes: dict[int, list[_Spoke]],
    overhang: dict[int, float],
    side: float,
) -> shapely.Geometry:
    """What the groove takes on one side of the fold: + on the left of the path (2 k + 1, 2) mm, - on the right."""
    step = np.diff(path, axis=0)
    along = step / np.linalg.norm(step, axis=1)[:, None]
    left = side * np.stack([-along[:, 1], along[:, 0]], axis=1)
    closed = fold.path[0] == fold.path[-1]
    before = np.vstack([left[-1:] if closed else left[:1], left])
    after = np.vstack([left, left[:1] if closed else left[-1:]])
    # the limits of both edges at a corner meet where each is half a mouth away
    mitre = (before + after) / np.maximum(1 + np.einsum("ij,ij->i", before, after), 0.2)[:, None]
    limit = path + half[:, None] * mitre
    if closed:
        quads = np.stack([path[:-1], path[1:], limit[1:], limit[:-1]], axis=1)
        return shapely.union_all(shapely.make_valid(shapely.polygons(quads)))
    base = path.copy()
    length = float(np.linalg.norm(step, axis=1).sum())
    for end, way, turn in ((0, along[0], side), (-1, -along[-1], -side)):
        vertex = int(fold.path[end])
        first, at_rim = _first_corner(spokes[vertex], index, way, half[end], turn, length)
        # slanting rims need more than the overhang itself
        back = 3 * overhang[vertex] if at_rim else 0.0
        base[end] = path[end] - back * way
        limit[end] = path[end] + (first - back) * way + half[end] * left[end]
    return shapely.make_valid(Polygon(np.vstack([base, limit[::-1]])))


def _first_corner(
    spokes: Sequence[_Spoke], index: int, way: np.ndarray, half: float, turn: float, length: float
) -> tuple[float, bool]:
    """Where along the fold, from its end on, its limit begins on the side that `turn` (+ left, - right) says, and
    whether a rim is there.

    Seen from the end, the next spoke on that side bounds the panel: the limit begins where it meets that
    fold's limit, or the rim. Alone, a groove begins in a point at its end.
    """
    own = float(np.arctan2(way[1], way[0]))
    others = [(float((turn * (spoke.angle - own)) % (2 * np.pi)), spoke) for spoke in spokes if spoke.fold != index]
    if not others:
        return min(2 * half, length / 2), False
    angle, nearest = min(others, key=lambda other: other[0])
    cosine, sine = np.cos(angle), np.sin(angle)
    straight_on = nearest.fold >= 0 and cosine < 0 and abs(sine) < STRAIGHT_ON
    meeting = 0.0 if straight_on or abs(sine) < 1e-6 else (nearest.half_mm + half * cosine) / sine
    reach = REACH * max(half, nearest.half_mm)
    return float(np.clip(meeting, -reach, min(reach, length))), nearest.fold < 0


def _rings(shape: shapely.Geometry) -> tuple[np.ndarray, ...]:
    """Closed rings of its polygons, each outer one counter-clockwise and followed by its holes."""
    rings: list[np.ndarray] = []
    for part in parts_of(shape):
        tidy = orient(part.simplify(TIDY_MM))
        rings += [np.array(ring.coords) for ring in (tidy.exterior, *tidy.interiors)]
    return tuple(rings)
