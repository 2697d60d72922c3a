"""The foam of a piece at one of its corners, as cones, and the plane that parts two of them.

Near a vertex the foam under a flat facet is a cone: it lies under the skin and within the two cut planes through
the facet's sides. The vertex is the origin.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np

from .outline import TIDY_MM

REACH = 3.0
"""How far along its sides, in thicknesses, a trim that must be turned to leave both faces whole may run: further off
it is no matter of the corner."""

ROUNDING = 1e-6
"""Of directions of length 1."""

EXACT = 1e-9
"""What a plane may be missed by that a point was computed to lie on."""


@dataclass(frozen=True, eq=False)
class Facet:
    """The foam under one triangle of a patch.

    into : (3,) unit, from the modelled face into the foam
    sides : (2, 3) mm, to the next and to the last corner of the triangle; flat (3, 2) mm, all three on the flat
    walls : (2, 3) unit, the cut planes through the sides, the foam where wall . x >= 0
    straight : (2,) mm, how far the piece goes on along the sides as it starts
    gives_way : whether the knife tilts at this corner anyhow
    """

    into: np.ndarray
    sides: np.ndarray
    flat: np.ndarray
    walls: np.ndarray
    straight: np.ndarray
    thickness: float
    gives_way: bool

    @property
    def skin(self) -> np.ndarray:
        """(2, 3) unit, both sides: they span the modelled face."""
        return unit(self.sides)

    @property
    def foam(self) -> np.ndarray:
        """(3, 3) unit, the edges of the cone: both sides, and where the cut planes meet in the foam."""
        inner = np.cross(*self.walls)
        return np.vstack([self.skin, unit(inner * np.sign(inner @ self.into))])

    @property
    def tip(self) -> np.ndarray:
        """(3,) mm, on the far face: under the vertex, or beyond it where a valley's far face goes beyond its side."""
        sine = -self.walls @ self.into
        beyond = np.minimum(self.thickness * sine / np.sqrt(1 - sine**2), 0) - TIDY_MM
        (p, q), normal = self.sides, np.cross(*self.sides)
        across_q, across_p = beyond / (unit(np.cross(normal, p)) @ q, unit(np.cross(q, normal)) @ p)
        return self.thickness * self.into + across_p * p + across_q * q

    def ends(self, reach: np.ndarray | float) -> np.ndarray:
        """(2, 3) mm, on the far face, `reach` mm from the tip along both sides."""
        return self.tip + np.reshape(reach, (-1, 1)) * self.skin

    def cut_by(self, plane: np.ndarray) -> np.ndarray:
        """(3, 2) mm on the flat: the triangle of the far face where plane . x < 0, its tip first; empty if the tip
        is not there. The plane must cross both sides of the far face."""
        height = self.tip @ plane
        if height >= 0:
            return np.empty((0, 2))
        crossed = self.tip - (height / (self.skin @ plane))[:, None] * self.skin
        corners = np.vstack([self.tip, crossed]) - self.thickness * self.into
        places = np.linalg.lstsq(self.sides.T, corners.T, rcond=None)[0].T
        return self.flat[0] + places @ (self.flat[1:] - self.flat[0])


def are_apart(a: Facet, b: Facet) -> bool:
    """Whether the plane half-way between both facets has them on its two sides; a quick look before `overlap`."""
    plane = _half_way(a, b)
    return bool((a.foam @ plane > -ROUNDING).all() and (b.foam @ plane < ROUNDING).all())


def overlap(a: Facet, b: Facet) -> float:
    """Diameter in mm of the largest ball in the foam of both."""
    wide = 2 * REACH * max(a.thickness, b.thickness)
    planes = np.vstack([-a.walls, -a.into, a.into, -b.walls, -b.into, b.into, np.eye(3), -np.eye(3)])
    limits = np.array([0, 0, 0, a.thickness, 0, 0, 0, b.thickness, *[wide] * 6])
    return 2 * largest_radius(planes, limits)


def plane_between(a: Facet, b: Facet) -> np.ndarray | None:
    """(3,) unit normal, pointing to a, of the plane half-way between both facets, or the one nearest to it that
    leaves both modelled faces whole, and all the foam of a facet that does not give way. None if no plane does."""
    if not (a.gives_way or b.gives_way):
        return None
    wish = _half_way(a, b)
    if (np.vstack([_kept(a, a.straight), -_kept(b, b.straight)]) @ wish > ROUNDING).all():
        return unit(wish)
    kept = np.vstack([_kept(a, REACH * a.thickness), -_kept(b, REACH * b.thickness)])
    plane = nearest_in_cone(unit(wish), kept)
    if np.linalg.norm(plane) < ROUNDING:
        return None
    return unit(plane)


def largest_radius(planes: np.ndarray, limits: np.ndarray) -> float:
    """Radius of the largest ball in the bounded space where plane . x <= limit; 0 if there is no space.

    planes : (p, 3) unit. The ball that no plane lets grow touches four of them: each four are tried.
    """
    rows = np.column_stack([planes, np.ones(len(planes))])
    fours = _fours_of(len(planes))
    fours = fours[np.abs(np.linalg.det(rows[fours])) > EXACT]
    balls = np.linalg.solve(rows[fours], limits[fours][..., None])[..., 0]
    fits = (balls @ rows.T <= limits + EXACT).all(axis=1)
    return float(balls[fits, 3].max(initial=0.0))


@lru_cache
def _fours_of(count: int) -> np.ndarray:
    return np.array(list(combinations(range(count), 4)))


def nearest_in_cone(wish: np.ndarray, kept: np.ndarray) -> np.ndarray:
    """(3,) the point of the cone where kept . x >= 0 that is nearest to a wish outside it: the foot of the wish on one
    of the planes (k, 3) unit, or on a line in which two of them meet, or the tip of the cone."""
    one, other = np.triu_indices(len(kept), 1)
    lines = unit(np.cross(kept[one], kept[other]))
    feet = np.vstack([wish - (kept @ wish)[:, None] * kept, (lines @ wish)[:, None] * lines, np.zeros(3)])
    feet = feet[(feet @ kept.T >= -EXACT).all(axis=1)]
    return feet[np.argmin(np.linalg.norm(feet - wish, axis=1))]


def _kept(facet: Facet, reach: np.ndarray | float) -> np.ndarray:
    """(k, 3) unit, directions from the vertex that a cut must leave to the facet."""
    return unit(np.vstack([facet.skin, facet.ends(reach), *([] if facet.gives_way else [facet.foam])]))


def unit(vectors: np.ndarray) -> np.ndarray:
    """(..., 3) at length 1; nothing stays nothing, as between faces folded flat upon each other."""
    return vectors / np.maximum(np.linalg.norm(vectors, axis=-1, keepdims=True), np.finfo(float).tiny)


def _half_way(a: Facet, b: Facet) -> np.ndarray:
    """(3,) normal of the plane as deep under one facet as under the other, pointing to a; of two in one plane, that
    of the plane between them."""
    normal, across = b.into - a.into, a.skin.sum(axis=0) - b.skin.sum(axis=0)
    if np.linalg.norm(normal) < ROUNDING:
        return across
    return normal if across @ normal >= 0 else -normal
