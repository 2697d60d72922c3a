"""Can a patch be laid flat at all, and if not: which cut is missing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from .patch import Patch
from .shell import Shell

HOLE_TURNING = -np.pi
"""A rim turns by 2 pi around a flat disk, 0 around a sleeve, -2 pi around a hole in a flat sheet. Half way
between sleeve and hole, a funnel of 60 degrees, is the most that a maker might wish to keep whole."""


@dataclass(frozen=True, eq=False)
class MissingCut:
    """What keeps a patch from lying flat, in words, and shell edges whose cut would open it."""

    reason: str
    edges: np.ndarray


def patch_defect(shell: Shell, patch: Patch) -> np.ndarray:
    """(v,) rad, the angle defects of a patch as of any mesh (`curvature.angle_defect`), by what the shell knows."""
    angle = shell.triangle_angle[shell.triangles_of(patch.triangle_face)]
    defect = 2 * np.pi - np.bincount(patch.triangles.ravel(), angle.ravel(), patch.vertex_count)
    for loop in patch.loops:
        defect[loop] -= np.pi
    return defect


def rim_turning(shell: Shell, patch: Patch) -> np.ndarray:
    """(loops,) rad, how far each rim turns to the left as one walks it on the surface, seen from outside."""
    defect = patch_defect(shell, patch)
    return np.array([defect[loop].sum() for loop in patch.loops])


def missing_cut(
    shell: Shell, patch: Patch, hole_turning: float = HOLE_TURNING, price: np.ndarray | None = None
) -> MissingCut | None:
    """None for a disk, with or without holes; otherwise the cheapest of the cuts that open the patch.

    hole_turning : rad, a rim that turns by less is a hole and may stay. Following the advice again and again
    always ends in a disk.
    price : (k,) mm, what a cut along each edge counts for, infinite where it must not be; its length if None
    """
    if _handles(patch):
        reason = "runs round a handle, as a ring does; mark a seam around it"
        return MissingCut(reason, _loop_cut(shell, patch, price))
    if not patch.loops:
        reason = "is closed all round and has no edge to open at; mark a seam across it"
        return MissingCut(reason, _longest_cut(shell, patch, price))
    if len(patch.loops) == 1:
        return None
    turning = rim_turning(shell, patch)
    rims = np.flatnonzero(turning >= hole_turning)
    if len(rims) == 1:
        return None
    if len(rims):
        reason = f"is a tube: {len(rims)} of its rims go all the way round; mark a seam from one rim to another"
    else:
        reason = "is closed but for its holes; mark a seam from hole to hole"
        rims = np.arange(len(turning))
    return MissingCut(reason, _rim_to_rim(shell, patch, rims, price))


def _handles(patch: Patch) -> int:
    """Genus: V - E + F = 2 - 2 genus - rims (Euler, Poincare)."""
    # every side of a triangle is half an edge inside and a whole one on a rim; two edges may join the same vertices
    edge_count = (3 * len(patch.triangles) + sum(len(loop) for loop in patch.loops)) // 2
    euler = patch.vertex_count - edge_count + len(patch.triangles)
    return (2 - euler - len(patch.loops)) // 2


@dataclass(frozen=True, eq=False)
class Net:
    """Patch edges that are shell edges: pairs (e, 2) of patch vertices, price mm, shell edge of each."""

    pairs: np.ndarray
    price: np.ndarray
    shell_edge: np.ndarray
    vertex_count: int

    @cached_property
    def graph(self) -> csr_array:
        return csr_array((self.price, self.pairs.T), shape=(self.vertex_count,) * 2)

    def trail(self, before: np.ndarray, end: int) -> list[int]:
        """Patch vertices from `end` back to the source of a search."""
        steps = [int(end)]
        while before[steps[-1]] >= 0:
            steps.append(int(before[steps[-1]]))
        return steps

    def along(self, steps: list[int]) -> np.ndarray:
        """Shell edges along patch vertices."""
        return np.array([self._edge_at[min(p), max(p)] for p in pairwise(steps)], np.int64)

    @cached_property
    def _edge_at(self) -> dict[tuple[int, int], int]:
        return {(p, q): edge for (p, q), edge in zip(self.pairs.tolist(), self.shell_edge.tolist(), strict=True)}


def net_of(shell: Shell, patch: Patch, price: np.ndarray | None = None) -> Net:
    """The edges of a patch along which it can be cut; price : as in `missing_cut`."""
    if price is None:
        price = shell.edge_length
    directed = np.stack([patch.triangles.ravel(), np.roll(patch.triangles, -1, axis=1).ravel()], axis=1)
    pairs, which = np.unique(np.sort(directed, axis=1), axis=0, return_inverse=True)
    face = np.repeat(patch.triangle_face, 3)
    low, high = np.full(len(pairs), shell.face_count), np.full(len(pairs), -1)
    np.minimum.at(low, which.reshape(-1), face)
    np.maximum.at(high, which.reshape(-1), face)
    uses = np.bincount(which.reshape(-1))
    shell_edge = shell.edge_between(patch.shell_vertex[pairs])
    # a side shared by two triangles of one face is a diagonal, where no seam can be marked
    real = (shell_edge >= 0) & ~((uses == 2) & (low == high))
    real[real] = np.isfinite(price[shell_edge[real]])
    pairs, shell_edge = pairs[real], shell_edge[real]
    return Net(pairs, np.maximum(price[shell_edge], 1e-12), shell_edge, patch.vertex_count)


def _rim_to_rim(shell: Shell, patch: Patch, rims: np.ndarray, price: np.ndarray | None) -> np.ndarray:
    """The shortest path from the longest of `rims` to the nearest other one."""
    net = net_of(shell, patch, price)
    longest = max(rims, key=lambda r: shell.edge_length[patch.loop_edges[r]].sum())
    others = np.concatenate([patch.loops[r] for r in rims if r != longest])
    distance, before, _ = dijkstra(
        net.graph, directed=False, indices=patch.loops[longest], return_predecessors=True, min_only=True
    )
    nearest = others[np.argmin(distance[others])]
    path = net.along(net.trail(before, int(nearest)) if np.isfinite(distance[nearest]) else [])
    # on its way the path may run along the rim of a hole, which is cut already
    return path[~np.isin(path, np.concatenate(patch.loop_edges))]


def _longest_cut(shell: Shell, patch: Patch, price: np.ndarray | None) -> np.ndarray:
    """The shortest path between two vertices that are about as far apart as any two."""
    net = net_of(shell, patch, price)
    start = _farthest(dijkstra(net.graph, directed=False, indices=_root(shell, patch, net)))
    distance, before = dijkstra(net.graph, directed=False, indices=start, return_predecessors=True)
    return net.along(net.trail(before, _farthest(distance)))


def _root(shell: Shell, patch: Patch, net: Net) -> int:
    """The vertex with an edge that is farthest from the patch's middle, whatever the numbering."""
    points = shell.vertices[patch.shell_vertex]
    away = np.linalg.norm(points - points.mean(axis=0), axis=1)
    tied = np.bincount(net.pairs.ravel(), minlength=patch.vertex_count) > 0
    return int(np.argmax(np.where(tied, away, -1.0)))


def _farthest(distance: np.ndarray) -> int:
    return int(np.argmax(np.where(np.isfinite(distance), distance, -1.0)))


def _loop_cut(shell: Shell, patch: Patch, price: np.ndarray | None) -> np.ndarray:
    """A short loop around a handle: the shortest through one vertex that does not fall apart in two.

    Jeff Erickson, Kim Whittlesey: Greedy Optimal Homotopy and Homology Generators, 2005: a tree of shortest
    paths, and a spanning tree of the dual that prefers edges with long loops; each edge in neither closes a
    loop around a handle. What must not be cut, or is out of reach, has endless loops: the dual crosses it first.
    Empty if no such loop is left.
    """
    net, every = net_of(shell, patch, price), net_of(shell, patch)
    distance, before = dijkstra(net.graph, directed=False, indices=_root(shell, patch, net), return_predecessors=True)
    loop_length = distance[every.pairs].sum(axis=1) + (every.price if price is None else price[every.shell_edge])
    in_tree = (before[every.pairs[:, 0]] == every.pairs[:, 1]) | (before[every.pairs[:, 1]] == every.pairs[:, 0])
    cells = _cells_beside(shell, patch, every)
    leader = list(range(int(cells.max(initial=-1)) + 1))

    def root(cell: int) -> int:
        while leader[cell] != cell:
            leader[cell] = leader[leader[cell]]
            cell = leader[cell]
        return cell

    shortest = -1
    for edge in np.argsort(-loop_length, kind="stable"):
        if in_tree[edge]:
            continue
        one, other = root(int(cells[edge, 0])), root(int(cells[edge, 1]))
        if one == other and np.isfinite(loop_length[edge]):
            shortest = int(edge)
        leader[one] = other
    if shortest < 0:
        return np.empty(0, np.int64)
    there, back = (net.trail(before, int(v)) for v in every.pairs[shortest])
    while len(there) > 1 and len(back) > 1 and there[-2] == back[-2]:
        there.pop()
        back.pop()
    path = np.append(net.along(there), np.append(net.along(back), every.shell_edge[shortest]))
    rim = np.concatenate(patch.loop_edges) if patch.loops else np.empty(0, np.int64)
    return path[~np.isin(path, rim)]


def _cells_beside(shell: Shell, patch: Patch, net: Net) -> np.ndarray:
    """(e, 2) int, the face or rim on each side of a net edge; rims are numbered after the faces."""
    base = patch.vertex_count
    start, end = patch.triangles.ravel(), np.roll(patch.triangles, -1, axis=1).ravel()
    keys, faces = [start * base + end], [np.repeat(patch.triangle_face, 3)]
    for number, loop in enumerate(patch.loops):
        keys.append(np.roll(loop, -1) * base + loop)
        faces.append(np.full(len(loop), shell.face_count + number))
    key, cell = np.concatenate(keys), np.concatenate(faces)
    order = np.argsort(key, kind="stable")
    both = np.stack([net.pairs @ (base, 1), net.pairs @ (1, base)], axis=1)
    return cell[order[np.searchsorted(key[order], both)]]
