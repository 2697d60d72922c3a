"""The strain energy of flat triangles: value, gradient and a positive Hessian, all triangles at once.

For one triangle let F be the linear map from its shape on the shell (laid in a plane of its own) to its
place on the flat, with signed singular values a >= |b|. The stretch the foam suffers is 1/a and 1/b. With
d(s) = s - 1/s, which is about twice the logarithm of s, the energy density is h(a) + h(b),

    h(s) = g (1 + (g / level^2)^(power - 1)),    g = c(s) (d(s) / 2)^2,

where c is the cost of squeezing for s > 1 and 1 for s <= 1. It grows without bound as a triangle loses its
area, so that no triangle flips; the second term is a soft ceiling on the strain at `level`.
Derivatives after B. Smith, F. de Goes, T. Kim, Analytic Eigensystems for Isotropic Distortion Energies,
ACM Trans. Graph. 38(1), 2019 (the two-dimensional case of section 4).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Ceiling:
    """The soft ceiling: strains (logarithmic) over `level` cost with the given power.

    level : one for all triangles, or (m, 1)
    """

    level: float | np.ndarray
    power: float


@dataclass(frozen=True, eq=False)
class RestTriangles:
    """Triangles at rest, each in a plane of its own.

    gradient : (m, 3, 2) 1/mm, F = sum over corners of position (outer) gradient
    area : (m,) mm^2
    """

    gradient: np.ndarray
    area: np.ndarray

    @classmethod
    def from_corners(cls, corners: np.ndarray) -> RestTriangles:
        """corners : (m, 3, 2) mm, counter-clockwise."""
        first = corners[:, 1] - corners[:, 0]
        second = corners[:, 2] - corners[:, 0]
        doubled = first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]
        to_second = np.stack([second[:, 1], -second[:, 0]], axis=1) / doubled[:, None]
        to_third = np.stack([-first[:, 1], first[:, 0]], axis=1) / doubled[:, None]
        return cls(np.stack([-to_second - to_third, to_second, to_third], axis=1), doubled / 2)

    def take(self, chosen: np.ndarray) -> RestTriangles:
        return RestTriangles(self.gradient[chosen], self.area[chosen])


def jacobians(flat: np.ndarray, triangles: np.ndarray, rest: RestTriangles) -> np.ndarray:
    """(m, 2, 2) maps from rest to flat; flat : (v, 2) mm, triangles : (m, 3)."""
    return np.einsum("mvi,mvj->mij", flat[triangles], rest.gradient)


def singular_values(jacobian: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Signed singular values (m, 2), the smaller negative for a flipped triangle, and both rotations.

    Returns values, U (m, 2, 2), V (m, 2, 2) with F = U diag(values) V^T.
    """
    even, odd = (jacobian[:, 0, 0] + jacobian[:, 1, 1]) / 2, (jacobian[:, 0, 0] - jacobian[:, 1, 1]) / 2
    mixed, turned = (jacobian[:, 1, 0] + jacobian[:, 0, 1]) / 2, (jacobian[:, 1, 0] - jacobian[:, 0, 1]) / 2
    size, split = np.hypot(even, turned), np.hypot(odd, mixed)
    sum_angle, difference = np.arctan2(turned, even), np.arctan2(mixed, odd)
    left = _rotation((sum_angle + difference) / 2)
    right = _rotation((difference - sum_angle) / 2)
    return np.stack([size + split, size - split], axis=1), left, right


def _rotation(angle: np.ndarray) -> np.ndarray:
    cosine, sine = np.cos(angle), np.sin(angle)
    return np.stack([np.stack([cosine, -sine], -1), np.stack([sine, cosine], -1)], -2)


def signed_areas(flat: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(m,) mm^2, negative for a flipped triangle."""
    a, b, c = (flat[triangles[:, i]] for i in range(3))
    return ((b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])) / 2


class StrainEnergy:
    """The energy over one set of triangles; `rest` and weights fixed, positions given at each call."""

    def __init__(
        self,
        triangles: np.ndarray,
        rest: RestTriangles,
        squeeze_cost: float = 1.0,
        ceiling: Ceiling | None = None,
    ) -> None:
        self.triangles = triangles
        self.rest = rest
        self.squeeze_cost = squeeze_cost
        self.ceiling = ceiling

    def densities(self, flat: np.ndarray) -> np.ndarray:
        """(m,) energy per area, infinite where a triangle has flipped or has no area."""
        jacobian = jacobians(flat, self.triangles, self.rest)
        # a + b and a - b are cheaper than the rotations
        size = np.hypot(jacobian[:, 0, 0] + jacobian[:, 1, 1], jacobian[:, 1, 0] - jacobian[:, 0, 1]) / 2
        split = np.hypot(jacobian[:, 0, 0] - jacobian[:, 1, 1], jacobian[:, 1, 0] + jacobian[:, 0, 1]) / 2
        upright = size > split
        values = np.stack([size + split, np.where(upright, size - split, 1.0)], axis=1)
        return np.where(upright, self._density(values)[0].sum(axis=1), np.inf)

    def value(self, flat: np.ndarray) -> float:
        return float(self.densities(flat) @ self.rest.area)

    def derivatives(self, flat: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        """Value, gradient per triangle (m, 6) and Hessian (m, 6, 6) made positive, corner by corner x then y."""
        values, left, right = singular_values(jacobians(flat, self.triangles, self.rest))
        density, slope, curve = self._density(values)
        # the four eigenmatrices as motions of the corners: two stretches, twist, flip
        moved = np.einsum("mvj,mjk->mvk", self.rest.gradient, right)  # gradient in the right singular frame
        modes: np.ndarray = np.empty((len(values), 4, 3, 2))
        modes[:, 0] = moved[:, :, 0, None] * left[:, None, :, 0]
        modes[:, 1] = moved[:, :, 1, None] * left[:, None, :, 1]
        across = moved[:, :, 1, None] * left[:, None, :, 0]
        along = moved[:, :, 0, None] * left[:, None, :, 1]
        modes[:, 2] = (along - across) * np.sqrt(0.5)
        modes[:, 3] = (along + across) * np.sqrt(0.5)
        modes = modes.reshape(len(values), 4, 6)
        gap = values[:, 0] - values[:, 1]
        alike = gap < 1e-9
        twist = slope.sum(axis=1) / values.sum(axis=1)
        flip = np.where(alike, curve.mean(axis=1), (slope[:, 0] - slope[:, 1]) / np.where(alike, 1.0, gap))
        weights = np.maximum(np.stack([curve[:, 0], curve[:, 1], twist, flip], axis=1), 0.0)
        area = self.rest.area[:, None]
        gradient = np.einsum("mq,mqa->ma", slope * area, modes[:, :2])
        hessian = np.matmul((modes * (weights * area)[:, :, None]).transpose(0, 2, 1), modes)
        return float(density.sum(axis=1) @ self.rest.area), gradient, hessian

    def _density(self, s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """h, h' and h'' at singular values s."""
        inverse = 1.0 / s
        d = s - inverse
        d1 = 1.0 + inverse**2
        d2 = -2.0 * inverse**3
        cost = np.where(s > 1.0, self.squeeze_cost, 1.0) / 4.0
        g, g1, g2 = cost * d * d, 2 * cost * d * d1, 2 * cost * (d1 * d1 + d * d2)
        if self.ceiling is None:
            return g, g1, g2
        n = self.ceiling.power
        ratio = (g / self.ceiling.level**2) ** (n - 1)
        h = g * (1 + ratio)
        h1 = g1 * (1 + n * ratio)
        # n (n - 1) g1^2 ratio / g, with g1^2 / g finite at g = 0
        h2 = g2 * (1 + n * ratio) + n * (n - 1) * ratio * 4 * cost * d1 * d1
        return h, h1, h2
