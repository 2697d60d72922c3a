"""The surface of one piece on its own: cut open along its seams, with its rims as ordered loops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from .errors import MeshError
from .shell import Shell


@dataclass(frozen=True, eq=False)
class Patch:
    """Triangles of some faces of a shell with vertices of their own, so that a cut has two sides.

    shell_vertex : (v,) int, the shell vertex under each patch vertex; a vertex on a slit occurs twice
    triangles : (m, 3) int, patch vertices, counter-clockwise seen from outside
    triangle_face : (m,) int, shell faces
    loops : closed rims, each (r,) int patch vertices in order, the patch on the left seen from outside
    loop_edges : per loop (r,) int, the shell edge from each rim vertex to the next
    """

    shell_vertex: np.ndarray
    triangles: np.ndarray
    triangle_face: np.ndarray
    loops: tuple[np.ndarray, ...]
    loop_edges: tuple[np.ndarray, ...]

    @property
    def vertex_count(self) -> int:
        return len(self.shell_vertex)

    def step_lengths(self, points: np.ndarray) -> tuple[np.ndarray, ...]:
        """Per rim (r,), the length of each step with the patch vertices at points (v, 2 or 3)."""
        return tuple(np.linalg.norm(points[np.roll(loop, -1)] - points[loop], axis=1) for loop in self.loops)


def cut_patch(shell: Shell, faces: np.ndarray) -> Patch:
    """The patch of `faces` (p,) int: neighbours stay joined across every edge that is not a seam.

    Raises MeshError where the rim runs through one vertex twice without a cut that separates the passes.
    """
    corners, corner_of_face = _corners_of(shell, faces)
    partner = _glued_corners(shell, corners)
    group = _joined_corners(shell, corners, partner)
    shell_vertex = np.empty(group.max() + 1, np.int64)
    shell_vertex[group] = shell.corner_vertex[corners]
    triangles, triangle_face = _triangles_on(shell, faces, corners, corner_of_face, group)
    loops, loop_edges = _rims(shell, corners, partner, group)
    return Patch(shell_vertex, triangles, triangle_face, loops, loop_edges)


def _corners_of(shell: Shell, faces: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corner numbers of `faces` in face order, and the position of each one's face in `faces`."""
    sides = np.diff(shell.face_start)[faces]
    position = np.repeat(np.arange(len(faces)), sides)
    within = np.arange(sides.sum()) - np.repeat(np.cumsum(sides) - sides, sides)
    return shell.face_start[:-1][faces][position] + within, position


def _glued_corners(shell: Shell, corners: np.ndarray) -> np.ndarray:
    """(c,) local corner whose edge is the same uncut edge walked the other way, -1 on the rim."""
    edge = shell.corner_edge[corners]
    order = np.argsort(edge, kind="stable")
    same = edge[order][:-1] == edge[order][1:]
    joined = same & (shell.edge_is_consistent & ~shell.seam)[edge[order][:-1]]
    partner = np.full(len(corners), -1)
    one, other = order[:-1][joined], order[1:][joined]
    partner[one], partner[other] = other, one
    return partner


def _local_next(shell: Shell, corners: np.ndarray) -> np.ndarray:
    place = np.full(len(shell.corner_vertex), -1)
    place[corners] = np.arange(len(corners))
    return place[shell.corner_next[corners]]


def _joined_corners(shell: Shell, corners: np.ndarray, partner: np.ndarray) -> np.ndarray:
    """(c,) int, the patch vertex of each corner: corners that meet across uncut edges are one vertex."""
    following = _local_next(shell, corners)
    glued = np.flatnonzero(partner >= 0)
    # the edge at a corner runs corner -> next; its partner runs the other way round
    rows, columns = glued, following[partner[glued]]
    graph = coo_array((np.ones(len(rows)), (rows, columns)), shape=(len(corners),) * 2)
    _, group = connected_components(graph, directed=False)
    # number patch vertices by shell vertex, so that the result does not depend on the order of faces
    first = np.full(group.max() + 1, len(corners))
    np.minimum.at(first, group, np.arange(len(corners)))
    rank = np.lexsort((first, shell.corner_vertex[corners[first]]))
    renumber = np.empty_like(rank)
    renumber[rank] = np.arange(len(rank))
    return renumber[group]


def _triangles_on(
    shell: Shell, faces: np.ndarray, corners: np.ndarray, corner_of_face: np.ndarray, group: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    position = np.full(shell.face_count, -1)
    position[faces] = np.arange(len(faces))
    chosen = np.flatnonzero(position[shell.triangle_face] >= 0)
    face_position = position[shell.triangle_face[chosen]]
    # each (face, shell vertex) pair is one corner, because a face names a vertex once
    base = len(shell.vertices)
    keys = corner_of_face * base + shell.corner_vertex[corners]
    order = np.argsort(keys)
    wanted = face_position[:, None] * base + shell.triangles[chosen]
    local = order[np.searchsorted(keys[order], wanted)]
    return group[local], shell.triangle_face[chosen]


def _rims(
    shell: Shell, corners: np.ndarray, partner: np.ndarray, group: np.ndarray
) -> tuple[tuple[np.ndarray, ...], tuple[np.ndarray, ...]]:
    following = _local_next(shell, corners)
    rim = np.flatnonzero(partner < 0)
    start, end = group[rim], group[following[rim]]
    leaving = np.full(group.max() + 1, -1)
    leaving[start] = np.arange(len(rim))
    if len(np.unique(start)) < len(rim):
        twice = start[np.bincount(start)[start] > 1]
        vertices = np.unique(shell.corner_vertex[corners[rim]][np.isin(start, twice)])
        raise MeshError(
            f"'{shell.name}': the rim of a piece passes vertex {vertices[0]} twice; "
            "split the vertex or mark a seam that separates the two sides there.",
            vertices=vertices,
        )
    loops, loop_edges = [], []
    unseen = np.ones(len(rim), bool)
    for first in np.argsort(start):
        if not unseen[first]:
            continue
        steps = [int(first)]
        unseen[first] = False
        step = leaving[end[first]]
        while step != first:
            steps.append(int(step))
            unseen[step] = False
            step = leaving[end[step]]
        # a seam of a single edge with both ends inside opens nothing: its two steps are one side of two triangles
        if len(steps) > 2:
            loops.append(start[steps])
            loop_edges.append(shell.corner_edge[corners[rim[steps]]])
    return tuple(loops), tuple(loop_edges)
