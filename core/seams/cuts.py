"""Cuts that might help one piece: darts from the rim to where curvature gathers, and splits through it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.sparse.csgraph import dijkstra

from ..flatten.overlap import freeing_cut
from ..opening import Net, missing_cut, net_of
from ..patch import Patch
from .draft import Draft
from .potential import scale_potential

MOST_PEAKS = 3
SMALLEST_PEAK = 0.5
"""Of the highest."""
DART_PARTS = (1.0, 0.6, 0.3)
"""Parts of the way from the rim to a peak that small cuts go."""

APART = 0.22
"""Part of a rim's length that the two ends of a split keep from each other."""


def opening_cut(draft: Draft, faces: np.ndarray) -> np.ndarray | None:
    """The cut that a closed piece, a tube or a handle wants; None for a piece that is open, or cannot be cut."""
    patch, _ = draft.patch(faces, draft.seam)
    missing = missing_cut(draft.shell, patch, price=draft.price)
    return missing.edges if missing is not None and len(missing.edges) else None


def parting_cuts(draft: Draft, faces: np.ndarray, flat: np.ndarray) -> list[np.ndarray]:
    """Cuts in two for a piece that lies over itself on the `flat` (v, 2), or is too large for the sheet."""
    patch, points = draft.patch(faces, draft.seam)
    net = _inner_net(net_of(draft.shell, patch, draft.price), patch)
    edges = {tuple(pair) for pair in net.pairs.tolist()}
    freeing = freeing_cut(flat, patch, lambda pairs: np.array([tuple(p) in edges for p in np.sort(pairs).tolist()]))
    cuts = [_halving_cut(net, patch)]
    if len(freeing):
        # the nearest way out may leave a mere chip: offer one to farther along the rim as well
        bottom = int(freeing[-1])
        cuts += [net.along(freeing.tolist()), _other_way(net, patch, points, bottom, bottom)]
    return _fresh(draft, cuts)


def _fresh(draft: Draft, cuts: list[np.ndarray]) -> list[np.ndarray]:
    known = np.flatnonzero(draft.seam)
    fresh = [np.setdiff1d(cut, known) for cut in cuts]
    return [cut for cut in fresh if len(cut)]


def _halving_cut(net: Net, patch: Patch) -> np.ndarray:
    """The cheapest cut between rim vertices that are about as far from one end of the patch as from the other."""
    used = np.bincount(net.pairs.ravel(), minlength=net.vertex_count) > 0
    start = int(np.argmax(used))
    for _ in range(2):
        far = dijkstra(net.graph, directed=False, indices=start)
        start, other = int(np.argmax(np.where(np.isfinite(far), far, -1.0))), start
    ends = [dijkstra(net.graph, directed=False, indices=end) for end in (start, other)]
    with np.errstate(invalid="ignore"):
        lead = ends[0] - ends[1]
    middle = []
    for loop in patch.loops:
        turns = np.flatnonzero(np.sign(lead[loop]) != np.sign(lead[np.roll(loop, -1)]))
        middle += loop[turns].tolist()
    if len(middle) < 2:
        return np.empty(0, np.int64)
    distance, before = dijkstra(net.graph, directed=False, indices=middle, return_predecessors=True)
    between = distance[:, middle]
    between[~np.isfinite(between) | (between <= 0)] = np.inf
    row, column = np.unravel_index(int(np.argmin(between)), between.shape)
    if not np.isfinite(between[row, column]):
        return np.empty(0, np.int64)
    return net.along(net.trail(before[row], middle[column]))


def relieving_cuts(draft: Draft, faces: np.ndarray) -> list[np.ndarray]:
    """Cuts that may lower the strain of an open piece; first those that take out most curvature for their price."""
    patch, points = draft.patch(faces, draft.seam)
    net = _left_net(draft, _inner_net(net_of(draft.shell, patch, draft.price), patch), patch)
    potential = scale_potential(draft.shell, patch)
    rim = np.concatenate(patch.loops)
    distance, before, _ = dijkstra(net.graph, directed=False, indices=rim, return_predecessors=True, min_only=True)
    cuts = []
    for peak in _peaks(np.abs(potential.values), distance, net):
        dart = net.along(net.trail(before, peak))
        cuts.append(dart)
        other = _other_way(net, patch, points, peak, net.trail(before, peak)[-1])
        if len(other):
            cuts.append(np.unique(np.append(dart, other)))
    if draft.twins is not None:
        plane = np.intersect1d(np.flatnonzero(draft.twins.on_plane & draft.free), net.shell_edge)
        cuts.append(plane)

    def gain(cut: np.ndarray) -> float:
        new = np.intersect1d(draft.with_images(cut), draft.edges_within(faces))
        along = np.zeros(len(draft.shell.vertices), bool)
        along[draft.shell.edges[new]] = True
        return potential.relief(np.flatnonzero(along[patch.shell_vertex])) / float(draft.price[new].sum())

    return sorted(_fresh(draft, cuts), key=gain, reverse=True)


def small_cuts(draft: Draft, faces: np.ndarray, face_strain: np.ndarray) -> list[np.ndarray]:
    """Darts, and parts of them, to where curvature gathers and to where strain does; face_strain (p,) of `faces`."""
    patch, points = draft.patch(faces, draft.seam)
    net = _left_net(draft, _inner_net(net_of(draft.shell, patch, draft.price), patch), patch)
    rim = np.concatenate(patch.loops)
    distance, before, _ = dijkstra(net.graph, directed=False, indices=rim, return_predecessors=True, min_only=True)
    of_corner = np.repeat(face_strain[np.searchsorted(faces, patch.triangle_face)], 3)
    corner, count = patch.triangles.ravel(), len(points)
    strain = np.bincount(corner, of_corner, count) / np.maximum(np.bincount(corner, minlength=count), 1)
    cuts = []
    for field in (np.abs(scale_potential(draft.shell, patch).values), strain):
        for peak in _peaks(field, distance, net):
            dart = net.along(net.trail(before, peak)[::-1])
            cuts += [dart[: max(1, round(part * len(dart)))] for part in DART_PARTS]
    return _fresh(draft, cuts)


def _inner_net(net: Net, patch: Patch) -> Net:
    """Edges that are not cut yet: a path along a rim would be none."""
    inner = ~np.isin(net.shell_edge, np.concatenate(patch.loop_edges))
    return Net(net.pairs[inner], net.price[inner], net.shell_edge[inner], net.vertex_count)


def _left_net(draft: Draft, net: Net, patch: Patch) -> Net:
    """Edges on the left of the mirror plane, so that a cut and its image do not cross."""
    if draft.twins is None:
        return net
    left = draft.twins.left[patch.shell_vertex[net.pairs]].all(axis=1)
    if not left.any():
        return net
    return Net(net.pairs[left], net.price[left], net.shell_edge[left], net.vertex_count)


def _peaks(potential: np.ndarray, distance: np.ndarray, net: Net) -> Iterator[int]:
    """Vertices where the potential is highest, far from each other as seen from the rim."""
    height = np.where(np.isfinite(distance) & (distance > 0), potential, 0.0)
    top = height.max(initial=0.0)
    for _ in range(MOST_PEAKS):
        peak = int(np.argmax(height))
        if height[peak] <= SMALLEST_PEAK * top or height[peak] <= 0:
            return
        yield peak
        near = dijkstra(net.graph, directed=False, indices=peak, limit=distance[peak])
        height = np.where(np.isfinite(near), 0.0, height)


def _other_way(net: Net, patch: Patch, points: np.ndarray, peak: int, first_end: int) -> np.ndarray:
    """The cheapest path from a peak to the rim elsewhere than at its first end."""
    distance, before = dijkstra(net.graph, directed=False, indices=peak, return_predecessors=True)
    goals = []
    for loop in patch.loops:
        at = np.flatnonzero(loop == first_end)
        if not len(at):
            goals.append(loop)
            continue
        step = np.linalg.norm(points[loop] - points[np.roll(loop, -1)], axis=1)
        along = np.concatenate([[0.0], np.cumsum(step)])
        way = np.abs(along[:-1] - along[at[0]])
        goals.append(loop[np.minimum(way, along[-1] - way) > APART * along[-1]])
    goal = np.concatenate(goals)
    if not len(goal) or not np.isfinite(distance[goal]).any():
        return np.empty(0, np.int64)
    return net.along(net.trail(before, int(goal[np.argmin(distance[goal])])))
