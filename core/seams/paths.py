"""Smooth paths along the edges of a shell that stand for a run on a coarser one."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra
from scipy.spatial import KDTree

from ..shell import Shell
from .draft import Draft

REACH = 6.0
"""How far a path may stray at all, in the widths in which straying doubles its price."""

TURN_PRICE = 1.0
"""Price of a right angle in a path, in mean edges; twice the angle costs four times as much."""

TURNS_BACK = 1.5
"""Length over the distance of its ends from which on a run turns back."""

SAMPLES = 8
"""Points per coarse edge on the line that a path follows."""


def smooth_path(draft: Draft, chain: np.ndarray, width: float, walls: np.ndarray) -> np.ndarray:
    """Vertices of the cheapest path between the ends of a chain that keeps near the chain and turns little.

    chain : (c,) vertices; width mm : straying by so much doubles the price; walls : (n,) bool, vertices that it
    may end at but not pass. Empty where there is no way.
    """
    shell = draft.shell
    away = KDTree(_smoothed(shell.vertices[chain])).query(shell.vertices, distance_upper_bound=REACH * width)[0]
    with np.errstate(invalid="ignore"):
        dearness = 1 + (away / width) ** 2
    price = np.where(draft.free, draft.price * dearness[shell.edges].mean(axis=1), np.inf)
    own_image = draft.twins is not None and bool((draft.twins.vertex[chain] == chain).all())
    blocked = walls.copy()
    if draft.twins is not None and not own_image:
        blocked |= draft.twins.vertex == np.arange(len(walls))
    blocked[[chain[0], chain[-1]]] = False
    turning, goal = Turning(shell), np.full(len(walls), np.inf)
    goal[chain[-1]] = 0.0
    tries = [np.where(blocked[shell.edges].any(axis=1), np.inf, price), price]
    if draft.twins is not None:
        side = draft.twins.on_plane if own_image else draft.twins.left[shell.edges].all(axis=1)
        tries = [np.where(side, attempt, np.inf) for attempt in tries] + tries
    for attempt in tries:
        paths = paths_of_few_turns(turning, attempt, int(chain[0]), goal)
        if paths:
            return paths[0]
    return np.empty(0, np.int64)


def paths_of_few_turns(
    turning: Turning,
    price: np.ndarray,
    start: int,
    goal_price: np.ndarray,
    first_price: np.ndarray | None = None,
    last_price: np.ndarray | None = None,
) -> list[np.ndarray]:
    """To every goal the cheapest path from `start` over edges of finite price (k,), where every turn costs too; the
    cheapest of all first.

    goal_price : (n,) extra price of ending at each vertex, infinite where no path may end
    first_price, last_price : (n,) extra price of each vertex as the second of a path, and as the last but one
    A search over directed edges: which edge comes next, and how much it turns, is known only from the one before.
    """
    shell = turning.shell
    usable = np.flatnonzero(np.isfinite(price))
    tail = np.concatenate([shell.edges[usable, 0], shell.edges[usable, 1]])
    head = np.concatenate([shell.edges[usable, 1], shell.edges[usable, 0]])
    cost, count = np.tile(price[usable], 2), 2 * len(usable)
    order = np.argsort(tail, kind="stable")
    first = np.searchsorted(tail[order], head)
    fan = np.searchsorted(tail[order], head, "right") - first
    one = np.repeat(np.arange(count), fan)
    other = order[np.repeat(first, fan) + np.arange(len(one)) - np.repeat(np.cumsum(fan) - fan, fan)]
    onward = head[other] != tail[one]
    one, other = one[onward], other[onward]
    turn = turning.at(tail[one], head[one], head[other]) / (np.pi / 2)
    typical = float(shell.edge_length[usable].mean()) if len(usable) else 0.0
    outset = np.flatnonzero(tail == start)
    setting_out = cost[outset] + (0.0 if first_price is None else first_price[head[outset]])
    graph = csr_array(
        (
            np.concatenate([cost[other] + TURN_PRICE * typical * turn**2, setting_out]),
            (np.concatenate([one, np.full(len(outset), count)]), np.concatenate([other, outset])),
        ),
        shape=(count + 1, count + 1),
    )
    distance, before = dijkstra(graph, indices=count, return_predecessors=True)
    total = distance[:count] + goal_price[head] + (0.0 if last_price is None else last_price[tail])
    paths, found = [], set()
    for arrival in np.argsort(total, kind="stable")[: np.isfinite(total).sum()].tolist():
        if int(head[arrival]) not in found:
            found.add(int(head[arrival]))
            steps = [arrival]
            while before[steps[-1]] != count:
                steps.append(int(before[steps[-1]]))
            paths.append(np.append(tail[steps[::-1]], head[arrival]))
    return paths


class Turning:
    """How much lines along the edges of a shell turn within its surface: as one sees it along the normals."""

    def __init__(self, shell: Shell) -> None:
        self.shell = shell
        parts = shell.face_vector[shell.corner_face]
        normal = np.stack([np.bincount(shell.corner_vertex, part, len(shell.vertices)) for part in parts.T], axis=1)
        self._normal = normal / np.maximum(np.linalg.norm(normal, axis=1), 1e-12)[:, None]

    def at(self, before: np.ndarray, here: np.ndarray, after: np.ndarray) -> np.ndarray:
        """rad, between the ways to vertices `here` (t,) and on from there."""
        points, normal = self.shell.vertices, self._normal[here]
        ways = []
        for way in (points[here] - points[before], points[after] - points[here]):
            way = way - np.einsum("ij,ij->i", way, normal)[:, None] * normal
            ways.append(way / np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None])
        return np.arccos(np.clip(np.einsum("ij,ij->i", *ways), -1, 1))

    def along(self, chain: np.ndarray) -> np.ndarray:
        """(c - 2,) rad, at the inner vertices of a chain."""
        return self.at(chain[:-2], chain[1:-1], chain[2:])


def unbent(points: np.ndarray, chain: np.ndarray) -> list[np.ndarray]:
    """A chain in parts that do not turn back: a path near all of one that does could leave out the turn."""
    chord = float(np.linalg.norm(points[chain[-1]] - points[chain[0]]))
    if len(chain) <= 3 or length_of(points[chain]) <= TURNS_BACK * chord:
        return [chain]
    middle = len(chain) // 2
    return unbent(points, chain[: middle + 1]) + unbent(points, chain[middle:])


def length_of(points: np.ndarray) -> float:
    return float(np.linalg.norm(np.diff(points, axis=0), axis=1).sum())


def _smoothed(points: np.ndarray) -> np.ndarray:
    """A line through dense points, its corners rounded over about two steps, its ends where they were."""
    at = np.arange(len(points), dtype=float)
    dense = np.linspace(0, at[-1], SAMPLES * (len(points) - 1) + 1)
    line = np.stack([np.interp(dense, at, column) for column in points.T], axis=1)
    # an odd continuation beyond the ends keeps them in place
    reach = min(2 * SAMPLES, len(line) - 1)
    padded = np.concatenate([2 * line[0] - line[reach:0:-1], line, 2 * line[-1] - line[-2 : -reach - 2 : -1]])
    for _ in range(2):
        padded = uniform_filter1d(padded, 2 * SAMPLES + 1, axis=0, mode="nearest")
    return padded[reach : len(padded) - reach]
