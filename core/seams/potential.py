"""Where a piece needs cutting: the scale that a flat map with a true rim would have.

Of all conformal maps of a patch to the plane the one whose scale is 1 along the rim differs least in scale
(Chebyshev; proof by Grave, 1911). The logarithm u of its scale solves the Poisson equation L u = K with u = 0 on
the rim, K the angle defects (M. Ben-Chen, C. Gotsman, G. Bunin, Conformal Flattening by Curvature Prescription
and Metric Scaling, Computer Graphics Forum 27(2), 2008). Far from the rim, amid curvature, u is large: there a
cut from the rim helps most.
"""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.linalg import splu

from ..curvature import angle_defect, corner_angles
from ..patch import Patch

SHARPEST = 20.0
"""Largest cotangent taken at face value; slivers of a scan would stiffen the whole."""


def scale_potential(points: np.ndarray, patch: Patch) -> tuple[np.ndarray, float]:
    """u (v,) and its energy 1/2 sum K u, which every cut lowers; points (v, 3) mm per patch vertex.

    The longest rim keeps its length. Any other is a hole, collapsed into one vertex with the curvature that
    fills it: nothing for a hole in a flat sheet, 2 pi for the end of a sleeve, which so asks for a slit.
    """
    triangles, count = patch.triangles, len(points)
    curvature = angle_defect(points, triangles)
    own = np.arange(count)
    lengths = [np.linalg.norm(points[loop] - points[np.roll(loop, -1)], axis=1).sum() for loop in patch.loops]
    outer = int(np.argmax(lengths))
    for number, loop in enumerate(patch.loops):
        if number == outer:
            continue
        filled = curvature[loop].sum() + 2 * np.pi
        curvature[loop], own[loop] = 0.0, loop[0]
        curvature[loop[0]] = filled
    angle = np.clip(corner_angles(points, triangles), 1e-6, np.pi - 1e-6)
    weight = np.clip(1 / np.tan(angle), -SHARPEST, SHARPEST).ravel() / 2
    one = own[np.roll(triangles, -1, axis=1).ravel()]
    other = own[np.roll(triangles, 1, axis=1).ravel()]
    inside = own == np.arange(count)
    inside[patch.loops[outer]] = False
    free = np.flatnonzero(inside)
    potential = np.zeros(count)
    if len(free):
        row = np.concatenate([one, other, one, other])
        column = np.concatenate([other, one, one, other])
        entry = np.concatenate([-weight, -weight, weight, weight])
        matrix = coo_array((entry, (row, column)), shape=(count, count)).tocsc()[free][:, free]
        # a touch of mass, lest vertices that hang on nothing make the matrix singular
        matrix.setdiag(matrix.diagonal() + 1e-9)
        factor = splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True})
        potential[free] = factor.solve(curvature[free])
    return potential[own], float(curvature @ potential) / 2
