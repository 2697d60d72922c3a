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
    tries = [np.where(blocked[shell.edges].any(axis=1), np.inf, price), price]
    if draft.twins is not None:
        side = draft.twins.on_plane if own_image else draft.twins.left[shell.edges].all(axis=1)
        tries = [np.where(side, attempt, np.inf) for attempt in tries] + tries
    for attempt in tries:
        path = _path_of_few_turns(shell, attempt, int(chain[0]), int(chain[-1]))
        if len(path):
            return path
    return np.empty(0, np.int64)


def _path_of_few_turns(shell: Shell, price: np.ndarray, start: int, end: int) -> np.ndarray:
    """The cheapest path over edges of finite price (k,) where every turn costs too; empty where there is none.

    A search over directed edges: which edge comes next, and how much it turns, is known only from the one before.
    """
    usable = np.flatnonzero(np.isfinite(price))
    tail = np.concatenate([shell.edges[usable, 0], shell.edges[usable, 1]])
    head = np.concatenate([shell.edges[usable, 1], shell.edges[usable, 0]])
    cost, count = np.tile(price[usable], 2), 2 * len(usable)
    along = shell.vertices[head] - shell.vertices[tail]
    along /= np.maximum(np.linalg.norm(along, axis=1), 1e-12)[:, None]
    order = np.argsort(tail, kind="stable")
    first = np.searchsorted(tail[order], head)
    fan = np.searchsorted(tail[order], head, "right") - first
    one = np.repeat(np.arange(count), fan)
    other = order[np.repeat(first, fan) + np.arange(len(one)) - np.repeat(np.cumsum(fan) - fan, fan)]
    onward = head[other] != tail[one]
    one, other = one[onward], other[onward]
    turn = np.arccos(np.clip(np.einsum("ij,ij->i", along[one], along[other]), -1, 1)) / (np.pi / 2)
    typical = float(shell.edge_length[usable].mean()) if len(usable) else 0.0
    outset = np.flatnonzero(tail == start)
    graph = csr_array(
        (
            np.concatenate([cost[other] + TURN_PRICE * typical * turn**2, cost[outset]]),
            (np.concatenate([one, np.full(len(outset), count)]), np.concatenate([other, outset])),
        ),
        shape=(count + 1, count + 1),
    )
    distance, before = dijkstra(graph, indices=count, return_predecessors=True)
    arrivals = np.flatnonzero(head == end)
    if not len(arrivals) or not np.isfinite(distance[arrivals]).any():
        return np.empty(0, np.int64)
    steps = [int(arrivals[np.argmin(distance[arrivals])])]
    while before[steps[-1]] != count:
        steps.append(int(before[steps[-1]]))
    return np.append(tail[steps[::-1]], end)


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
