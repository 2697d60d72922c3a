"""A first flat shape without flips: conformal with a free rim, else Tutte's map onto a circle."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array, eye_array
from scipy.sparse.linalg import splu

from .energy import RestTriangles, at_corners, outer_sum, signed_areas
from .system import StepSystem, add_at


def first_flat(
    triangles: np.ndarray,
    rest_corners: np.ndarray,
    loops: tuple[np.ndarray, ...],
    vertex_count: int,
    system: StepSystem | None = None,
) -> np.ndarray:
    """(v, 2) mm, every triangle the right way up.

    triangles : (m, 3); rest_corners : (m, 3, 2) mm, the shape of each; loops : rims of the patch; system : one of
    these triangles, if there is one already. A developable patch comes out exact, because its conformal map is
    its unfolding.
    """
    rest = RestTriangles.from_corners(rest_corners)
    flat = _conformal(triangles, rest, loops, system or StepSystem(vertex_count, [triangles]), vertex_count)
    if not _is_upright(flat, triangles, rest):
        flat = _tutte(triangles, rest_corners, loops, vertex_count)
    return flat * np.sqrt(rest.area.sum() / signed_areas(flat, triangles).sum())


def _is_upright(flat: np.ndarray, triangles: np.ndarray, rest: RestTriangles) -> bool:
    """Every triangle has at least a thousandth of its due area; less may be upright by rounding only."""
    area = signed_areas(flat, triangles)
    return bool(np.isfinite(flat).all() and (area > 1e-3 * rest.area * (area.sum() / rest.area.sum())).all())


def _conformal(
    triangles: np.ndarray,
    rest: RestTriangles,
    loops: tuple[np.ndarray, ...],
    system: StepSystem,
    vertex_count: int,
) -> np.ndarray:
    """Least squares conformal map: B. Levy, S. Petitjean, N. Ray, J. Maillot, SIGGRAPH 2002, equation 6.

    Two vertices half the longest rim apart are pinned. The misses of the map's linear parts from turned and
    scaled ones are squared and summed: from all other vertices in one point a single step leads to the least sum.
    """
    rim = max(loops, key=len)
    flat, pinned = np.zeros((vertex_count, 2)), np.zeros(vertex_count)
    flat[rim[len(rim) // 2], 0] = 1.0
    pinned[rim[[0, len(rim) // 2]]] = 1.0
    x, y = rest.gradient.transpose(1, 0, 2)
    rows = np.stack([np.stack([x, -y], axis=1), np.stack([y, x], axis=1)])  # (2, 3, 2, m): Fxx - Fyy and Fyx + Fxy
    miss = (rows * at_corners(flat, triangles)).sum(axis=(1, 2))
    rows *= 1.0 - pinned[triangles.T][:, None]
    rows = rows.reshape(2, 6, -1)
    slope = np.zeros_like(flat)
    add_at(slope, triangles, (rows * (miss * rest.area)[:, None]).sum(axis=0).T)
    try:
        # the shift stands in for the matrix where nothing else is left of it
        step = system.solve([outer_sum(rows, np.stack([rest.area, rest.area]))], pinned, -slope)
    except RuntimeError:
        step = np.full_like(flat, np.nan)
    return flat + step


def _tutte(triangles: np.ndarray, corners: np.ndarray, loops: tuple[np.ndarray, ...], vertex_count: int) -> np.ndarray:
    """Tutte's map: the longest rim on a circle, every other vertex the mean of its neighbours.

    Inner holes are filled with a hub each. Equal weights make it an embedding for any disk: W. T. Tutte,
    How to Draw a Graph, Proc. London Math. Soc. 13, 1963; M. Floater, One-to-one piecewise linear mappings
    over triangulations, Math. Comp. 72, 2003, theorem 6.1.
    """
    sides = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
    length_of = {}
    for side, start, end in zip(sides.ravel(), triangles.ravel(), np.roll(triangles, -1, axis=1).ravel(), strict=True):
        length_of[int(start), int(end)] = side
    rim_length = [
        np.array([length_of[int(a), int(b)] for a, b in zip(loop, np.roll(loop, -1), strict=True)]) for loop in loops
    ]
    outer = int(np.argmax([length.sum() for length in rim_length]))
    holes = [loop for i, loop in enumerate(loops) if i != outer]
    count = vertex_count + len(holes)
    pairs = [np.sort(triangles[:, [0, 1]]), np.sort(triangles[:, [1, 2]]), np.sort(triangles[:, [2, 0]])]
    pairs += [np.stack([hole, np.full(len(hole), vertex_count + i)], axis=1) for i, hole in enumerate(holes)]
    edges = np.unique(np.concatenate(pairs), axis=0)
    adjacency = coo_array((np.ones(len(edges)), edges.T), shape=(count, count))
    adjacency = (adjacency + adjacency.T).tocsr()
    rim = loops[outer]
    angle = 2 * np.pi * (np.cumsum(rim_length[outer]) - rim_length[outer]) / rim_length[outer].sum()
    flat = np.zeros((count, 2))
    flat[rim] = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    free = np.setdiff1d(np.arange(count), rim)
    if len(free):
        degree = np.asarray(adjacency.sum(axis=1)).ravel()
        laplacian = (eye_array(count).multiply(degree).tocsr() - adjacency).tocsr()
        inner = laplacian[free][:, free].tocsc()
        flat[free] = splu(inner, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(
            -(laplacian[free][:, rim] @ flat[rim])
        )
    return flat[:vertex_count]
