"""Seams as runs: chains of edges between places where seams meet, end, or run into the shell's rim."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from ..shell import Shell


def seam_runs(shell: Shell, seam: np.ndarray, kept: np.ndarray) -> list[np.ndarray]:
    """Every seam edge in exactly one run, edges in order; a run is all the maker's (`kept`) or not at all.

    A closed run starts at its lowest edge number.
    """
    at: dict[int, list[int]] = defaultdict(list)
    marked = np.flatnonzero(seam)
    for edge in marked.tolist():
        for vertex in shell.edges[edge].tolist():
            at[vertex].append(edge)
    on_rim = np.zeros(len(shell.vertices), bool)
    on_rim[shell.edges[~shell.edge_is_consistent]] = True

    def goes_on(vertex: int) -> bool:
        edges = at[vertex]
        return len(edges) == 2 and not on_rim[vertex] and kept[edges[0]] == kept[edges[1]]

    def follow(edge: int, vertex: int) -> list[int]:
        """Edges from `edge` on, away from its end `vertex`."""
        steps = [edge]
        here = int(shell.edges[edge].sum()) - vertex
        while goes_on(here):
            one, other = at[here]
            edge = other if edge == one else one
            if edge == steps[0]:
                break
            steps.append(edge)
            here = int(shell.edges[edge].sum()) - here
        return steps

    runs, seen = [], np.zeros(shell.edge_count, bool)
    ends = [(edge, v) for edge in marked.tolist() for v in shell.edges[edge].tolist() if not goes_on(v)]
    loops = [(edge, int(shell.edges[edge, 0])) for edge in marked.tolist()]
    for edge, vertex in ends + loops:
        if not seen[edge]:
            run = np.array(follow(edge, vertex))
            seen[run] = True
            runs.append(run)
    return runs


def chain_of(shell: Shell, run: np.ndarray) -> np.ndarray:
    """(e + 1,) int, the vertices of a run of edges in order; a closed run ends where it starts."""
    pairs = shell.edges[run]
    if len(run) == 1:
        return pairs[0]
    first = pairs[0, 0] if pairs[0, 1] in pairs[1] else pairs[0, 1]
    if len(run) == 2 and pairs[0, 0] in pairs[1] and pairs[0, 1] in pairs[1]:
        first = pairs[0, 0]
    chain = [int(first)]
    for one, other in pairs.tolist():
        chain.append(other if chain[-1] == one else one)
    return np.array(chain)
