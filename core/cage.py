"""Shells whose faces and edges are made by modifiers from fewer: where seams can stand, and what the fewer show."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from .errors import MeshError
from .shell import Shell


def whole_edges(origin: np.ndarray, chosen: np.ndarray) -> np.ndarray:
    """(k,) bool, `chosen` (k,) with all edges that are made from the same edge as a chosen one.

    origin : (k,) int per shell edge the edge it is made from, -1 for one that stands for itself
    """
    taken = np.zeros(int(origin.max(initial=-1)) + 1, bool)
    taken[origin[chosen & (origin >= 0)]] = True
    return chosen | (origin >= 0) & np.append(taken, False)[origin]


def cage(shell: Shell, can_be_cut: np.ndarray) -> Shell:
    """The shell with faces joined across all edges that cannot be cut, (k,) bool; vertices and seams stay.

    Raises MeshError where what is joined is not one face with one rim.
    """
    joins = shell.edge_is_consistent & ~can_be_cut
    left, right = shell.edge_faces[joins].T
    graph = coo_array((np.ones(len(left)), (left, right)), shape=(shell.face_count,) * 2)
    count, group = connected_components(graph, directed=False)
    sides = np.flatnonzero(~joins[shell.corner_edge])
    following: list[dict[int, int]] = [{} for _ in range(count)]
    for corner in sides.tolist():
        vertex, after = int(shell.corner_vertex[corner]), int(shell.corner_vertex[shell.corner_next[corner]])
        ring = following[group[shell.corner_face[corner]]]
        if vertex in ring:
            raise _no_single_rim(shell, group, group[shell.corner_face[corner]])
        ring[vertex] = after
    rings = []
    for number, ring in enumerate(following):
        loop = [next(iter(ring), -1)]
        while ring and ring.get(loop[-1], loop[0]) != loop[0]:
            loop.append(ring[loop[-1]])
        if len(loop) != len(ring) or len(loop) < 3:
            raise _no_single_rim(shell, group, number)
        rings.append(loop)
    seams = shell.edges[shell.seam & ~joins]
    return Shell.build(shell.vertices, rings, [(int(low), int(high)) for low, high in seams], name=shell.name)


def _no_single_rim(shell: Shell, group: np.ndarray, number: int) -> MeshError:
    return MeshError(
        f"'{shell.name}': its modifiers make faces without edges of its own mesh around them, so no seam can part "
        "them; apply the modifiers (Object > Apply > Visual Geometry to Mesh).",
        faces=np.flatnonzero(group == number),
    )


def leading(origin: np.ndarray, value: np.ndarray, count: int) -> np.ndarray:
    """(count,) int, per own face the one of the largest `value` (m,) among those made from it, -1 where there is none.

    origin : (m,) int, the own face that each made one comes from, -1 for none
    """
    first = np.full(count, -1)
    order = np.argsort(value, kind="stable")
    order = order[origin[order] >= 0]
    first[origin[order]] = order  # of several assignments the last one holds
    return first
