"""How a piece would come out flat: a quick forecast for planning, and the real thing."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely

from ..flatten import surface_of
from ..flatten.energy import RestTriangles, signed_areas
from ..flatten.flattening import flatten_surfaces
from ..flatten.overlap import doubled_area
from ..flatten.reference import plane_corners
from ..flatten.solver import NewtonSolver
from ..flatten.start import first_flat, is_upright
from ..flatten.strain import COMMON, area_quantile, stretches
from ..flatten.system import StepSystem
from ..patch import Patch
from ..progress import Steps, finish

HOPELESS_STRAIN = 10.0

QUICK_TOLERANCE = 0.03
"""About two Newton steps from the conformal start."""


@dataclass(frozen=True, eq=False)
class Laid:
    """A patch laid flat, (v, 2) mm: strain that 99 % of its flat area keeps to, sides of the smallest rectangle around
    it (mm, longer first), part of its area that lies over the rest; worst strain of each face, in their order."""

    flat: np.ndarray
    strain: float
    size_mm: tuple[float, float]
    doubled: float
    face_strain: np.ndarray


def quickly_laid(points: np.ndarray, patch: Patch) -> Laid:
    """A forecast in a few milliseconds; its strain is that of the mean, before the worst is pressed down.

    points : (v, 3) mm, one per patch vertex
    """
    corners = plane_corners(points[patch.triangles])
    rest, system = RestTriangles.from_corners(corners), StepSystem(len(points), [patch.triangles])
    flat = first_flat(patch.triangles, corners, patch.loops, len(points), system)
    solver = NewtonSolver(patch.triangles, rest, len(points), system=system)
    flat = finish(solver.minimise(flat, tolerance=QUICK_TOLERANCE))
    return laid_of(flat, stretches(flat, patch.triangles, rest), patch)


def really_laid(points: np.ndarray, patch: Patch) -> Steps[Laid]:
    """The patch laid flat as the pattern will lay it. Yields Progress."""
    surface = surface_of(points, patch.triangles)
    (flat,) = yield from flatten_surfaces([surface], np.empty((0, 4), np.int64))
    return laid_of(flat, stretches(flat, patch.triangles, surface.rest), patch)


def laid_of(flat: np.ndarray, stretch: np.ndarray, patch: Patch) -> Laid:
    """What a flat amounts to; stretch (m, 2) per triangle of the patch."""
    if not is_upright(flat, patch.triangles):
        # the piece wants cutting, whatever its strain
        hopeless = np.full(len(patch.triangles), HOPELESS_STRAIN)
        return Laid(flat, HOPELESS_STRAIN, (0.0, 0.0), 0.0, _per_face(hopeless, patch))
    strain, area = np.abs(stretch - 1).max(axis=1), np.abs(signed_areas(flat, patch.triangles))
    box = shapely.oriented_envelope(shapely.linestrings(flat[np.concatenate(patch.loops)]))
    around = shapely.get_coordinates(box)
    sides = np.sort(np.linalg.norm(np.diff(around[:3], axis=0), axis=1))[::-1]
    return Laid(
        flat,
        area_quantile(strain, area, COMMON),
        (float(sides[0]), float(sides[1])),
        doubled_area(flat, patch.loops) / float(area.sum()),
        _per_face(strain, patch),
    )


def _per_face(strain: np.ndarray, patch: Patch) -> np.ndarray:
    faces, place = np.unique(patch.triangle_face, return_inverse=True)
    worst = np.zeros(len(faces))
    np.maximum.at(worst, place, strain)
    return worst
