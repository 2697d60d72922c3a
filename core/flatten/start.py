"""A first flat shape without flips: conformal with a free rim, else Tutte's map onto a circle.

A finger, a horn or a tube that is closed at one end shrinks on both towards its tip by e for each radius of its
length. That is no harm as long as numbers can tell its triangles apart: the solver opens it out. Tutte's map with
equal weights shrinks it by a like factor for every few rings of triangles, however fine, so that weights which know
the triangles' shapes come first.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.sparse import csr_array, diags_array
from scipy.sparse.linalg import splu

from .energy import RestTriangles, at_corners, outer_sum, signed_areas
from .system import SingularSystemError, StepSystem, add_at

ROUNDINGS = 1e3
"""Roundings of a coordinate that a triangle must be high to count as upright; a cross product suffers a few."""

LEAST_WEIGHT = 1e-2
"""Of a side in Tutte's map. Cotangents are negative where triangles are obtuse; every weight over 0 makes an
embedding, and 1 is that of a right-angled triangle with equal sides."""


def first_flat(
    triangles: np.ndarray,
    rest_corners: np.ndarray,
    loops: tuple[np.ndarray, ...],
    vertex_count: int,
    system: StepSystem | None = None,
) -> np.ndarray:
    """(v, 2) mm, every triangle the right way up wherever numbers can tell; see `is_upright`.

    triangles : (m, 3); rest_corners : (m, 3, 2) mm, the shape of each; loops : rims of the patch; system : one of
    these triangles, if there is one already. A developable patch comes out exact, because its conformal map is
    its unfolding.
    """
    rest = RestTriangles.from_corners(rest_corners)
    flat = _conformal(triangles, rest, loops, system or StepSystem(vertex_count, [triangles]), vertex_count)
    for weights in (_cotangents, _ones):
        if is_upright(flat, triangles):
            break
        flat = _tutte(triangles, rest_corners, loops, vertex_count, weights)
    with np.errstate(invalid="ignore", divide="ignore"):
        return flat * np.sqrt(rest.area.sum() / np.abs(signed_areas(flat, triangles).sum()))


def is_upright(flat: np.ndarray, triangles: np.ndarray) -> bool:
    """Whether no triangle (m, 3) is turned over on the flat (v, 2), or may be so by rounding."""
    if not np.isfinite(flat).all():
        return False
    corners = at_corners(flat, triangles)
    longest = np.sqrt(((corners - np.roll(corners, 1, axis=0)) ** 2).sum(axis=1).max(axis=0))
    rounding = np.finfo(float).eps * np.abs(flat - flat.mean(axis=0)).max()
    return bool((signed_areas(flat, triangles) > ROUNDINGS * rounding * longest).all())


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
    except SingularSystemError:
        step = np.full_like(flat, np.nan)
    return flat + step


def _tutte(
    triangles: np.ndarray,
    corners: np.ndarray,
    loops: tuple[np.ndarray, ...],
    vertex_count: int,
    weights: Callable[[np.ndarray], np.ndarray],
) -> np.ndarray:
    """Tutte's map: the longest rim on a circle, every other vertex a mean of its neighbours.

    weights : of triangles (m, 3, 2) for their sides, from each corner to the next (m, 3). Inner holes are filled
    with a hub each. Positive weights make it an embedding for any disk: W. T. Tutte, How to Draw a Graph, Proc.
    London Math. Soc. 13, 1963; M. Floater, One-to-one piecewise linear mappings over triangulations, Math. Comp.
    72, 2003, theorem 6.1. Numbers are too coarse for that where the map shrinks much.
    """
    side = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)
    length = csr_array((side.ravel(), _sides(triangles)), shape=(vertex_count, vertex_count))
    rim_length = [length[loop, np.roll(loop, -1)] for loop in loops]
    outer = int(np.argmax([step.sum() for step in rim_length]))
    holes = [loop for i, loop in enumerate(loops) if i != outer]
    count = vertex_count + len(holes)
    net = csr_array((weights(corners).ravel(), _sides(triangles)), shape=(count, count))
    net = (net + net.T).tocsr()
    net.data = np.maximum(net.data, LEAST_WEIGHT)
    for hub, hole in enumerate(holes, start=vertex_count):
        spokes = csr_array((np.ones(len(hole)), (hole, np.full(len(hole), hub))), shape=(count, count))
        net = net + spokes + spokes.T
    angle = 2 * np.pi * (np.cumsum(rim_length[outer]) - rim_length[outer]) / rim_length[outer].sum()
    rim, flat = loops[outer], np.zeros((count, 2))
    flat[rim] = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    free = np.setdiff1d(np.arange(count), rim)
    if len(free):
        laplacian = (diags_array(net.sum(axis=1)) - net).tocsr()[free]
        try:
            factor = splu(laplacian[:, free].tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        except RuntimeError:  # singular by rounding
            return np.full((vertex_count, 2), np.nan)
        flat[free] = factor.solve(-(laplacian[:, rim] @ flat[rim]))
    return flat[:vertex_count]


def _sides(triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    return triangles.ravel(), np.roll(triangles, -1, axis=1).ravel()


def _cotangents(corners: np.ndarray) -> np.ndarray:
    """(m, 3) of the angle across from each side: U. Pinkall, K. Polthier, Experimental Mathematics 2(1), 1993."""
    there, back = np.roll(corners, -1, axis=1) - np.roll(corners, 1, axis=1), corners - np.roll(corners, 1, axis=1)
    across = back[..., 0] * there[..., 1] - back[..., 1] * there[..., 0]
    return (there * back).sum(axis=2) / across


def _ones(corners: np.ndarray) -> np.ndarray:
    return np.ones(corners.shape[:2])
