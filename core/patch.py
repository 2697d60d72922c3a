"""The surface of one piece on its own: cut open along its seams, with its rims as ordered loops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

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


def cut_patch(shell: Shell, faces: np.ndarray, seam: np.ndarray | None = None) -> Patch:
    """The patch of `faces` (p,) int in any order: neighbours stay joined across every edge that is not a seam.

    seam : (k,) bool, other seams than the shell's own
    Where a rim would pass a vertex twice, each pass gets a vertex of its own.
    """
    corners = np.flatnonzero(shell.marked(faces)[shell.corner_face])
    place = np.full(len(shell.corner_vertex) + 1, -1)  # the last for "none", which is number -1
    place[corners] = np.arange(len(corners))
    following = place[shell.corner_next[corners]]
    cut = (shell.seam if seam is None else seam)[shell.corner_edge[corners]]
    partner = place[np.where(cut, -1, shell.corner_across[corners])]
    first, group = _joined_corners(following, partner)
    # numbered by shell vertex, and those of one by their lowest corner
    order = np.argsort(shell.corner_vertex[corners[first]], kind="stable")
    number = np.empty_like(order)
    number[order] = np.arange(len(order))
    group = number[group]
    shell_vertex = shell.corner_vertex[corners[first[order]]]
    chosen = shell.triangles_of(faces)
    triangles = group[place[shell.triangle_corner[chosen]]]
    loops, loop_edges = _rims(shell, corners, following, partner, group)
    return Patch(shell_vertex, triangles, shell.triangle_face[chosen], loops, loop_edges)


def _joined_corners(following: np.ndarray, partner: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Corners that meet across uncut edges are one vertex: the lowest corner of each (v,), and each corner's (c,) one.

    following : (c,) the next corner around the face; partner : (c,) the corner whose edge is the same walked the
    other way, -1 on the rim
    """
    own = np.arange(len(partner))
    glued = np.flatnonzero(partner >= 0)
    # the edge at a corner runs corner -> next; its partner runs the other way round
    onward, back = own.copy(), own.copy()
    onward[glued] = following[partner[glued]]
    back[onward[glued]] = glued
    lowest = own
    for step in (onward, back):
        # look twice as far each time, until nobody sees a lower corner
        while True:
            seen = np.minimum(lowest, lowest[step])
            if (seen == lowest).all():
                break
            lowest, step = seen, step[step]
    first = np.flatnonzero(lowest == own)
    return first, np.searchsorted(first, lowest)


def _rims(
    shell: Shell, corners: np.ndarray, following: np.ndarray, partner: np.ndarray, group: np.ndarray
) -> tuple[tuple[np.ndarray, ...], tuple[np.ndarray, ...]]:
    rim = np.flatnonzero(partner < 0)
    start, end = group[rim], group[following[rim]]
    # the corners of a vertex are one fan, so that at most one of its sides is on a rim
    leaving = np.empty(len(group), np.int64)
    leaving[start] = np.arange(len(rim))
    after = leaving[end].tolist()
    loops, loop_edges = [], []
    unseen = [True] * len(rim)
    for first in np.argsort(start).tolist():
        steps = []
        while unseen[first]:
            unseen[first] = False
            steps.append(first)
            first = after[first]
        # a seam of a single edge with both ends inside opens nothing: its two steps are one side of two triangles
        if len(steps) > 2:
            loops.append(start[steps])
            loop_edges.append(shell.corner_edge[corners[rim[steps]]])
    return tuple(loops), tuple(loop_edges)
