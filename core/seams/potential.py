"""Where a piece needs cutting: the scale that a flat map with a true rim would have.

Of all conformal maps of a patch to the plane the one whose scale is 1 along the rim differs least in scale
(Chebyshev; proof by Grave, 1911). The logarithm u of its scale solves the Poisson equation L u = K with u = 0 on
the rim, K the angle defects (M. Ben-Chen, C. Gotsman, G. Bunin, Conformal Flattening by Curvature Prescription
and Metric Scaling, Computer Graphics Forum 27(2), 2008). Far from the rim, amid curvature, u is large: there a
cut from the rim helps most.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import LinAlgError, solveh_banded
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu

from ..opening import patch_defect
from ..patch import Patch
from ..shell import Shell

SHARPEST = 20.0
"""Largest cotangent taken at face value; slivers of a scan would stiffen the whole."""

MASS = 1e-9
"""A touch of it, lest vertices that hang on nothing make the matrix singular."""

WIDEST_BAND = 64
"""Unknowns from the diagonal to the edge of a band up to which a banded solver is faster than a sparse one."""

MIDDLE = (0.02, 0.98)
"""Parts of the vertices that a potential's spread is told between."""


@dataclass(frozen=True)
class Potential:
    """Of a piece: how far its scale potential spreads, and the energy in it."""

    spread: float
    energy: float

    @classmethod
    def of(cls, shell: Shell, patch: Patch) -> Potential:
        values, energy = scale_potential(shell, patch)
        last = len(values) - 1
        low, high = np.interp(np.multiply(MIDDLE, last), np.arange(last + 1), np.sort(values))
        return cls(float(high - low), energy)


def scale_potential(shell: Shell, patch: Patch) -> tuple[np.ndarray, float]:
    """u (v,) and its energy 1/2 sum K u, which every cut lowers.

    The longest rim keeps its length. Any other is a hole, collapsed into one vertex with the curvature that
    fills it: nothing for a hole in a flat sheet, 2 pi for the end of a sleeve, which so asks for a slit.
    """
    curvature, own = patch_defect(shell, patch), np.arange(patch.vertex_count)
    outer = int(np.argmax([shell.edge_length[edges].sum() for edges in patch.loop_edges]))
    for number, loop in enumerate(patch.loops):
        if number != outer:
            filled = curvature[loop].sum() + 2 * np.pi
            curvature[loop], own[loop] = 0.0, loop[0]
            curvature[loop[0]] = filled
    inside = own == np.arange(patch.vertex_count)
    inside[patch.loops[outer]] = False
    free = np.flatnonzero(inside)
    potential = np.zeros(patch.vertex_count)
    if len(free):
        # numbered along the patch, so that what is joined has numbers that are close to each other
        at = shell.vertices[patch.shell_vertex[free]]
        free = free[np.argsort(at[:, np.ptp(at, axis=0).argmax()], kind="stable")]
        unknown = np.full(patch.vertex_count, -1)
        unknown[free] = np.arange(len(free))
        angle = np.clip(shell.triangle_angle[shell.triangles_of(patch.triangle_face)], 1e-6, np.pi - 1e-6)
        weight = np.clip(1 / np.tan(angle), -SHARPEST, SHARPEST) / 2
        potential[free] = _solved(unknown[own][patch.triangles], weight, curvature[free])
    return potential[own], float(curvature @ potential) / 2


def _solved(corner: np.ndarray, weight: np.ndarray, right_side: np.ndarray) -> np.ndarray:
    """L u = right_side (n,); corner : (m, 3) numbers of the unknowns at the corners of triangles, -1 where u is 0.

    weight : (m, 3) half the cotangent at each corner, which the side across from it is stiff by
    """
    count = len(right_side)
    one, other = corner[:, [1, 2, 0]].ravel(), corner[:, [2, 0, 1]].ravel()
    side = np.flatnonzero(one != other)
    low, high, weight = np.minimum(one, other)[side], np.maximum(one, other)[side], weight.ravel()[side]
    # sides to where u is 0 count on the diagonal alone; shifted by one, bin 0 takes that end
    diagonal = (np.bincount(low + 1, weight, count + 1) + np.bincount(high + 1, weight, count + 1))[1:] + MASS
    inner = np.flatnonzero(low >= 0)
    low, high, weight = low[inner], high[inner], weight[inner]
    width, each = int((high - low).max(initial=0)) + 1, np.arange(count)
    if width <= WIDEST_BAND:
        # column by column, each from the diagonal down
        place = np.concatenate([low * width + high - low, each * width])
        band = np.bincount(place, np.concatenate([-weight, diagonal]), count * width).reshape(count, width)
        try:
            return solveh_banded(band.T, right_side, lower=True, overwrite_ab=True, check_finite=False)
        except LinAlgError:
            pass  # slivers that are not taken at face value can make a matrix that is not positive
    row, column = np.concatenate([low, high, each]), np.concatenate([high, low, each])
    matrix = coo_array((np.concatenate([-weight, -weight, diagonal]), (row, column)), shape=(count, count)).tocsc()
    return splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(right_side)
