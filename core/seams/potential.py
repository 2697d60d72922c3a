"""Where a piece needs cutting: the scale that a flat map with a true rim would have.

Of all conformal maps of a patch to the plane the one whose scale is 1 along the rim differs least in scale
(Chebyshev; proof by Grave, 1911). The logarithm u of its scale solves the Poisson equation L u = K with u = 0 on
the rim, K the angle defects (M. Ben-Chen, C. Gotsman, G. Bunin, Conformal Flattening by Curvature Prescription
and Metric Scaling, Computer Graphics Forum 27(2), 2008). Far from the rim, amid curvature, u is large: there a
cut from the rim helps most.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.linalg import LinAlgError, cho_solve_banded, cholesky_banded
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


@dataclass(frozen=True, eq=False)
class Potential:
    """u of a piece, (v,) per patch vertex.

    unknown : (v,) int, which row of L a vertex has, -1 where u is 0; inverse : solves L x = y for columns y
    """

    values: np.ndarray
    unknown: np.ndarray
    inverse: Callable[[np.ndarray], np.ndarray] | None

    @cached_property
    def spread(self) -> float:
        """How far u spreads over the piece."""
        last = len(self.values) - 1
        low, high = np.interp(np.multiply(MIDDLE, last), np.arange(last + 1), np.sort(self.values))
        return float(high - low)

    def relief(self, vertices: np.ndarray) -> float:
        """By how much a cut from the rim through some vertices lowers the energy 1/2 sum K u.

        Cut there, u is 0 there. With G the part of the inverse of L that is theirs, that is 1/2 u G^-1 u
        (Schur complement).
        """
        along, place = np.unique(self.unknown[vertices], return_index=True)
        u, along = self.values[vertices[place]][along >= 0], along[along >= 0]
        if self.inverse is None or not len(along):
            return 0.0
        ones = np.zeros((self.unknown.max() + 1, len(along)))
        ones[along, np.arange(len(along))] = 1.0
        return float(u @ np.linalg.solve(self.inverse(ones)[along], u)) / 2


def scale_potential(shell: Shell, patch: Patch) -> Potential:
    """The longest rim keeps its length. Any other is a hole, collapsed into one vertex with the curvature that
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
    values, unknown = np.zeros(patch.vertex_count), np.full(patch.vertex_count, -1)
    if not len(free):
        return Potential(values, unknown, None)
    # numbered along the patch, so that what is joined has numbers that are close to each other
    at = shell.vertices[patch.shell_vertex[free]]
    free = free[np.argsort(at[:, np.ptp(at, axis=0).argmax()], kind="stable")]
    unknown[free] = np.arange(len(free))
    unknown = unknown[own]
    angle = np.clip(shell.triangle_angle[shell.triangles_of(patch.triangle_face)], 1e-6, np.pi - 1e-6)
    weight = np.clip(1 / np.tan(angle), -SHARPEST, SHARPEST) / 2
    inverse = _inverse(unknown[patch.triangles], weight, len(free))
    values[free] = inverse(curvature[free])
    return Potential(values[own], unknown, inverse)


def _inverse(corner: np.ndarray, weight: np.ndarray, count: int) -> Callable[[np.ndarray], np.ndarray]:
    """Of L; corner : (m, 3) numbers of the unknowns at the corners of triangles, -1 where u is 0.

    weight : (m, 3) half the cotangent at each corner, which the side across from it is stiff by
    """
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
            factor = cholesky_banded(band.T, lower=True, overwrite_ab=True, check_finite=False)
            return lambda right_side: cho_solve_banded((factor, True), right_side, check_finite=False)
        except LinAlgError:
            pass  # slivers that are not taken at face value can make a matrix that is not positive
    row, column = np.concatenate([low, high, each]), np.concatenate([high, low, each])
    matrix = coo_array((np.concatenate([-weight, -weight, diagonal]), (row, column)), shape=(count, count)).tocsc()
    return splu(matrix, permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve
