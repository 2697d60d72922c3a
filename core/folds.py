"""Folds: where one piece bends along a line, and how deep the knife goes on the inside face."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from .patch import Patch
from .pieces import Piece
from .settings import Settings
from .shell import Shell

STRAIGHT_DEG = 0.5
"""A marked edge that bends less than this needs no cut."""

TURN_DEG = 50.0
"""A fold line that turns more than this at a vertex is two folds: the knife is lifted there."""

BEND_JUMP_DEG = 25.0
"""Neighbouring fold edges whose bends differ more than this are two folds."""

CLOSED_DEG = 160.0
"""The steepest bend a groove is drawn for; beyond it the mouth grows past all use."""


class Hinge(Protocol):
    """What holds patch vertices (`path`) at a depth of their own below the outside face: a fold, or kerfs."""

    @property
    def path(self) -> np.ndarray: ...

    @property
    def hinge_depth_mm(self) -> float: ...


@dataclass(frozen=True, eq=False)
class FoldRun:
    """One line of fold edges of a piece, all ridge or all valley.

    kind : "groove" (ridge: V-groove that closes) or "score" (valley: slit that opens and is filled)
    path : (k + 1,) int, patch vertices along the run
    edges : (k,) int, shell edges
    bend_deg : length-weighted mean, signed; bend_least_deg and bend_most_deg bound it
    depth_mm : cut depth from the inside face; mouth_mm : width at the inside face (groove: cut away,
        score: what opens), for the mean bend
    hinge_depth_mm : depth below the outside face of the line that keeps its length
    mouth : closed rings (r, 2) mm on the flat of what a groove takes of the inside face, each outer ring
        counter-clockwise, holes clockwise; none for a score, or before the piece lies flat
    """

    piece: str
    kind: str
    path: np.ndarray
    edges: np.ndarray
    bend_deg: float
    bend_least_deg: float
    bend_most_deg: float
    depth_mm: float
    mouth_mm: float
    hinge_depth_mm: float
    mouth: tuple[np.ndarray, ...] = ()


def find_folds(shell: Shell, piece: Piece, settings: Settings) -> tuple[FoldRun, ...]:
    """Folds of a piece: edges that the maker marked or that bend over the fold limit, chained into lines.

    A line ends where folds meet, at a rim, and where it turns, changes between ridge and valley, or changes
    its bend abruptly. A line that nobody marked and that is shorter than the foam is thick is left to smooth
    bending: no groove can be cut there. Every shell edge occurs at most once.
    """
    pairs, edges = inner_edges(shell, piece.patch)
    bend = np.degrees(shell.edge_bend[edges])
    wanted = (shell.fold[edges] & (np.abs(bend) >= STRAIGHT_DEG)) | (np.abs(bend) > settings.fold_limit_deg)
    pairs, edges, bend = pairs[wanted], edges[wanted], bend[wanted]
    positions = shell.vertices[piece.patch.shell_vertex]
    rim = np.zeros(piece.patch.vertex_count, bool)
    rim[np.concatenate(piece.patch.loops)] = True
    folds = []
    for path, members in _lines(pairs, bend, positions, rim):
        length = shell.edge_length[edges[members]]
        if length.sum() >= piece.stock.thickness_mm or shell.fold[edges[members]].any():
            folds.append(_fold(piece, path, edges[members], bend[members], length))
    return tuple(folds)


def _fold(piece: Piece, path: np.ndarray, edges: np.ndarray, bend: np.ndarray, length: np.ndarray) -> FoldRun:
    thickness, skin = piece.stock.thickness_mm, piece.stock.skin_mm
    mean = float(bend @ length / length.sum()) if length.sum() > 0 else float(bend.mean())
    ridge = mean > 0
    depth = thickness - skin if ridge else thickness / 2
    return FoldRun(
        piece=piece.name,
        kind="groove" if ridge else "score",
        path=path,
        edges=edges,
        bend_deg=mean,
        bend_least_deg=float(bend.min()),
        bend_most_deg=float(bend.max()),
        depth_mm=depth,
        mouth_mm=opening(depth, mean),
        hinge_depth_mm=(thickness - depth) / 2,
    )


def opening(depth_mm: float, bend_deg: float) -> float:
    """Width in mm at the face of a cut of `depth_mm` whose sides differ by the bend: 2 d tan(bend / 2)."""
    return 2 * depth_mm * float(np.tan(np.radians(min(abs(bend_deg), CLOSED_DEG)) / 2))


def inner_edges(shell: Shell, patch: Patch) -> tuple[np.ndarray, np.ndarray]:
    """Edges with the patch on both sides: (k, 2) int patch vertices, and (k,) int shell edges, in their order."""
    sides = np.concatenate([patch.triangles[:, [i, (i + 1) % 3]] for i in range(3)])
    face = np.tile(patch.triangle_face, 3)
    key = np.sort(sides, axis=1) @ (patch.vertex_count, 1)
    order = np.argsort(key, kind="stable")
    shared = order[:-1][np.diff(key[order]) == 0], order[1:][np.diff(key[order]) == 0]
    # two triangles of one face share a diagonal, which is no edge of the mesh
    between_faces = face[shared[0]] != face[shared[1]]
    pairs = np.sort(sides[shared[0][between_faces]], axis=1)
    edges = shell.edge_between(patch.shell_vertex[pairs])
    order = np.argsort(edges, kind="stable")
    return pairs[order], edges[order]


def _lines(
    pairs: np.ndarray, bend: np.ndarray, positions: np.ndarray, rim: np.ndarray
) -> list[tuple[np.ndarray, np.ndarray]]:
    """Chains of fold edges: path (k + 1,) patch vertices and members (k,) positions in `pairs`."""
    at: dict[int, list[int]] = defaultdict(list)
    for number, (low, high) in enumerate(pairs.tolist()):
        at[low].append(number)
        at[high].append(number)

    def goes_on(vertex: int) -> bool:
        if len(at[vertex]) != 2 or rim[vertex]:
            return False
        one, other = at[vertex]
        if bend[one] * bend[other] < 0 or abs(bend[one] - bend[other]) > BEND_JUMP_DEG:
            return False
        before = positions[vertex] - positions[_far_end(pairs[one], vertex)]
        after = positions[_far_end(pairs[other], vertex)] - positions[vertex]
        scale = np.linalg.norm(before) * np.linalg.norm(after)
        return bool(before @ after >= scale * np.cos(np.radians(TURN_DEG)))

    passes = {vertex: goes_on(vertex) for vertex in at}
    unseen = np.ones(len(pairs), bool)
    ends = sorted(vertex for vertex, passed in passes.items() if not passed)
    lines: list[tuple[np.ndarray, np.ndarray]] = []
    for start in [*ends, *sorted(at)]:  # lines with ends first; what is left then is closed
        for first in at[start]:
            if not unseen[first]:
                continue
            path, members = [start], []
            edge: int | None = first
            while edge is not None:
                unseen[edge] = False
                members.append(edge)
                path.append(_far_end(pairs[edge], path[-1]))
                onward = [e for e in at[path[-1]] if unseen[e]] if passes[path[-1]] else []
                edge = onward[0] if onward else None
            lines.append((np.array(path), np.array(members)))
    return sorted(lines, key=lambda line: int(line[1].min()))


def _far_end(pair: np.ndarray, vertex: int) -> int:
    return int(pair[1] if pair[0] == vertex else pair[0])
