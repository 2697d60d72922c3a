"""Flattening many patches together: each on its own first, then all with their seams glued."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ..progress import Progress, Steps
from .energy import Ceiling, RestTriangles
from .solver import ROUGH, NewtonSolver, Seams
from .start import first_flat
from .strain import area_quantile, log_strain, stretches

CEILINGS_LOOSE = ((0.8, 16.0), (0.8, 16.0))
CEILINGS_HELD = ((1.0, 3.0),)
"""Rounds of the soft ceiling: its level as a part of the strain that 99 % of a piece's area keeps to, and its
power. A piece alone is pressed to near the least worst strain there is; pieces that share seams are pressed
gently, because mean strain is what moves the glued-up shape."""
CEILING_FLOOR = 0.02
"""Strain of two percent is nothing to foam; pressing below it would only raise the mean."""
EXACT = 1e-7
"""Logarithmic strain under which a patch counts as unfolded exactly."""


@dataclass(frozen=True, eq=False)
class Surface:
    """What is to be laid flat: one patch by the shapes of its triangles.

    triangles : (m, 3) int; corners : (m, 3, 2) mm, each triangle in a plane of its own
    loops : rims, each (r,) int
    """

    triangles: np.ndarray
    corners: np.ndarray
    loops: tuple[np.ndarray, ...]
    vertex_count: int

    @cached_property
    def rest(self) -> RestTriangles:
        return RestTriangles.from_corners(self.corners)

    def solver(self) -> NewtonSolver:
        return NewtonSolver(self.triangles, self.rest, self.vertex_count)


def first_vertices(counts: Sequence[int]) -> np.ndarray:
    """Where each surface's vertices begin when all are numbered one after another, and their total."""
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


def flatten_surfaces(
    surfaces: Sequence[Surface],
    glued: np.ndarray,
    seam_priority: float = 1.0,
    squeeze_cost: float = 1.0,
) -> Steps[list[np.ndarray]]:
    """Flat positions (v, 2) mm per surface, no triangle flipped. Yields `Progress`.

    glued : (s, 4) int, rim intervals a0-a1 and b0-b1 to be equally long, vertices of all surfaces numbered
        one after another.
    Each surface goes flat by itself for the least mean strain; then the seams are matched over all of them;
    last, a soft ceiling under each surface's own worst strain lowers it.
    """
    flats = []
    for number, surface in enumerate(surfaces):
        yield Progress("Laying pieces flat", number / len(surfaces))
        flats.append((yield from _flatten_alone(surface, squeeze_cost)))
    if len(glued) and seam_priority > 0:
        return (yield from _match_seams(surfaces, flats, glued, seam_priority, squeeze_cost))
    for number, surface in enumerate(surfaces):
        solver = surface.solver()
        flats[number] = yield from _lower_worst([surface], flats[number], solver, squeeze_cost, CEILINGS_LOOSE)
    return flats


def _flatten_alone(surface: Surface, squeeze_cost: float) -> Steps[np.ndarray]:
    flat = first_flat(surface.triangles, surface.corners, surface.loops, surface.vertex_count)
    if log_strain(stretches(flat, surface.triangles, surface.rest)).max() <= EXACT:
        return flat
    return (yield from surface.solver().minimise(flat, squeeze_cost, tolerance=ROUGH))


def _match_seams(
    surfaces: Sequence[Surface],
    flats: list[np.ndarray],
    glued: np.ndarray,
    seam_priority: float,
    squeeze_cost: float,
) -> Steps[list[np.ndarray]]:
    first = first_vertices([surface.vertex_count for surface in surfaces])
    triangles = np.concatenate([surface.triangles + start for surface, start in zip(surfaces, first, strict=False)])
    rest = RestTriangles.from_corners(np.concatenate([surface.corners for surface in surfaces]))
    flat = np.concatenate(flats)
    seams = Seams(glued, np.zeros(len(glued)))
    seams.target = (1 - seam_priority) * seams.gaps(flat)
    solver = NewtonSolver(triangles, rest, len(flat), seams)
    flat = yield from solver.minimise(flat, squeeze_cost, stage="Matching seams", tolerance=ROUGH)
    flat = yield from _lower_worst(surfaces, flat, solver, squeeze_cost, CEILINGS_HELD)
    return np.split(flat, first[1:-1])


def _lower_worst(
    surfaces: Sequence[Surface],
    flat: np.ndarray,
    solver: NewtonSolver,
    squeeze_cost: float,
    ceilings: Sequence[tuple[float, float]],
) -> Steps[np.ndarray]:
    """Press every surface's worst strain down with a soft ceiling of its own."""
    of_surface = np.split(
        np.arange(len(solver.triangles)), np.cumsum([len(surface.triangles) for surface in surfaces])[:-1]
    )
    for part, power in ceilings:
        strain = log_strain(stretches(flat, solver.triangles, solver.rest))
        typical = np.array([area_quantile(strain[own], solver.rest.area[own], 0.99) for own in of_surface])
        if typical.max() <= CEILING_FLOOR:
            return (yield from solver.minimise(flat, squeeze_cost))
        level = np.repeat(np.maximum(part * typical, CEILING_FLOOR), [len(own) for own in of_surface])
        ceiling = Ceiling(level[:, None], power)
        flat = yield from solver.minimise(flat, squeeze_cost, ceiling, "Lowering the worst strain")
    return flat
