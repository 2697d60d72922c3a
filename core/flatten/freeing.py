"""Cuts that let a piece lie flat which no flat of sane strain exists for: from its rims to where it is farthest in."""

from __future__ import annotations

import numpy as np
from scipy.sparse.csgraph import dijkstra

from ..opening import net_of
from ..patch import Patch, cut_patch
from ..progress import Progress, Steps
from ..shell import Shell
from .flattening import Flattener, Surface
from .reference import plane_corners
from .soundness import TORN, common_strain

MOST_CUTS = 8
"""A glove wants one a finger."""

FREE = np.log(TORN) / 2
"""Logarithmic strain up to which a piece counts as freed: half of what foam could ever stand, because the skin of the
shell is tried and not the layer inside the foam."""


def freeing_cuts(shell: Shell, faces: np.ndarray) -> Steps[np.ndarray]:
    """(k,) int, shell edges whose cut lets the piece of `faces` (p,) lie flat; as many as help where that is not
    enough. Yields `Progress`.

    Each cut runs the shortest way from the rims to the vertex that is farthest from all of them: a finger's tip.
    """
    seam, cuts = shell.seam.copy(), [np.empty(0, np.int64)]
    for number in range(MOST_CUTS):
        yield Progress("Looking for a cut that helps", number / MOST_CUTS)
        cuts.append(_farthest_in(shell, cut_patch(shell, faces, seam)))
        seam[cuts[-1]] = True
        if not len(cuts[-1]) or (yield from _strain(shell, cut_patch(shell, faces, seam))) <= FREE:
            break
    return np.concatenate(cuts)


def _farthest_in(shell: Shell, patch: Patch) -> np.ndarray:
    net = net_of(shell, patch)
    rim = np.concatenate(patch.loops)
    distance, before, _ = dijkstra(net.graph, directed=False, indices=rim, return_predecessors=True, min_only=True)
    return net.along(net.trail(before, int(np.argmax(np.where(np.isfinite(distance), distance, 0.0)))))


def _strain(shell: Shell, patch: Patch) -> Steps[float]:
    corners = plane_corners(shell.vertices[patch.shell_vertex][patch.triangles])
    surface = Surface(patch.triangles, corners, patch.loops, patch.vertex_count)
    (flat,) = yield from Flattener().flatten([surface], np.empty((0, 4), np.int64))
    return common_strain(flat, surface.triangles, surface.rest)
