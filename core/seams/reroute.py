"""Shorten a plan: take a run out and join what it joined by a cheaper path, where all pieces stay fine."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

from .draft import Draft
from .runs import chain_of, seam_runs

SLIDE = 0.4
"""Part of a run's length that its ends may move along other seams and rims."""

WORTH = 0.97
"""Part of its price at which another path is worth a try."""


def reroute(draft: Draft) -> Iterator[float]:
    """Try every run, dearest first; yields 0 to 1."""
    runs = [run for run in seam_runs(draft.shell, draft.seam, draft.kept) if draft.free[run].all()]
    runs = [run for run in runs if draft.is_own(run)]
    runs.sort(key=lambda run: -draft.price[run].sum())
    for number, run in enumerate(runs):
        yield number / len(runs)
        if draft.seam[run].all():
            _reroute(draft, run)


def _reroute(draft: Draft, run: np.ndarray) -> None:
    shell, chain = draft.shell, chain_of(draft.shell, run)
    if chain[0] == chain[-1]:
        return
    edges = draft.with_images(run)
    bare = draft.without(edges)
    network = np.zeros(len(shell.vertices), bool)
    network[shell.edges[bare | ~draft.inner]] = True
    if not network[chain[0]] or not network[chain[-1]]:
        return  # a dart: its tip is where it is needed
    reach = SLIDE * float(shell.edge_length[run].sum())
    starts, goals = (_along_network(draft, bare, int(end), reach) for end in (chain[0], chain[-1]))
    if np.isin(starts, goals).any():
        return
    region = draft.around(edges)
    path = _cheapest(draft, bare, region, starts, goals, network)
    if not len(path):
        return
    seam = bare.copy()
    seam[draft.with_images(path)] = True
    price = np.where(draft.free, draft.price, 0.0)
    if price[seam].sum() < price[draft.seam].sum() - (1 - WORTH) * price[run].sum() and draft.is_no_worse(region, seam):
        draft.seam = seam


def _along_network(draft: Draft, bare: np.ndarray, end: int, reach: float) -> np.ndarray:
    """Vertices of seams and rims that are within reach of one along them."""
    shell = draft.shell
    lines = bare | ~draft.inner
    graph = csr_array((shell.edge_length[lines], shell.edges[lines].T), shape=(len(shell.vertices),) * 2)
    return np.flatnonzero(dijkstra(graph, directed=False, indices=end, limit=reach) <= reach)


def _cheapest(
    draft: Draft, bare: np.ndarray, region: np.ndarray, starts: np.ndarray, goals: np.ndarray, network: np.ndarray
) -> np.ndarray:
    """Edges of the cheapest path from some vertices to others through faces of the region, touching no seam between."""
    shell = draft.shell
    usable = np.zeros(shell.edge_count, bool)
    usable[draft.inner_edges(region)] = True
    usable &= ~bare
    inner = network.copy()
    inner[starts] = inner[goals] = False
    usable &= ~inner[shell.edges].any(axis=1)
    if draft.twins is not None:
        usable &= draft.twins.left[shell.edges].all(axis=1)
    graph = csr_array((draft.price[usable], shell.edges[usable].T), shape=(len(shell.vertices),) * 2)
    distance, before, _ = dijkstra(graph, directed=False, indices=starts, return_predecessors=True, min_only=True)
    goal = int(goals[np.argmin(distance[goals])])
    if not np.isfinite(distance[goal]):
        return np.empty(0, np.int64)
    steps = [goal]
    while before[steps[-1]] >= 0:
        steps.append(int(before[steps[-1]]))
    return shell.edge_between(np.column_stack([steps[:-1], steps[1:]]))
