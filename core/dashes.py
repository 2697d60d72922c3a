"""Dashed lines along runs of edges, for showing cuts that are not made yet."""

from __future__ import annotations

import numpy as np

from .seams.runs import seam_runs
from .shell import Shell


def dashes(shell: Shell, edges: np.ndarray, dash_mm: float, gap_mm: float) -> np.ndarray:
    """(s, 2, 3) mm, straight bits of line that together dash the given shell edges (e,).

    Each run that the edges make begins and ends with a dash; dash and gap are drawn out or in a little so that
    they come out even. Without a gap the line is whole.
    """
    chosen = np.zeros(shell.edge_count, bool)
    chosen[edges] = True
    runs = seam_runs(shell, chosen, np.zeros(shell.edge_count, bool))
    bits = [_dashed(shell.vertices[_vertices_along(shell, run)], dash_mm, gap_mm) for run in runs]
    return np.concatenate([np.empty((0, 2, 3)), *bits])


def _vertices_along(shell: Shell, run: np.ndarray) -> list[int]:
    """Vertices of a run (r,) of edges in order, the first once more where the run is closed."""
    here, there = shell.edges[run[0]].tolist()
    following = shell.edges[run[1]].tolist() if len(run) > 1 else [there]
    if there not in following:
        here = there
    vertices = [here]
    for edge in run.tolist():
        here = int(shell.edges[edge].sum()) - here
        vertices.append(here)
    return vertices


def _dashed(line: np.ndarray, dash: float, gap: float) -> np.ndarray:
    """Bits (s, 2, 3) of a line (r, 3)."""
    arc = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    gaps = max(round((arc[-1] - dash) / (dash + gap)), 0) if gap > 0 else 0
    stretch = arc[-1] / (gaps * (dash + gap) + dash)
    starts = np.arange(gaps + 1) * (dash + gap) * stretch
    marks = np.unique(np.concatenate([arc, starts, np.minimum(starts + dash * stretch, arc[-1])]))
    middle = (marks[1:] + marks[:-1]) / 2
    inked = middle - starts[np.searchsorted(starts, middle) - 1] < dash * stretch
    inked &= np.diff(marks) > 1e-9 * arc[-1]  # where a dash ends in a corner the two may differ by a last digit
    points = np.column_stack([np.interp(marks, arc, line[:, axis]) for axis in range(3)])
    return np.stack([points[:-1], points[1:]], axis=1)[inked]
