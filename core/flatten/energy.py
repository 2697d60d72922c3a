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

ALIKE = 5e-10
"""Half the difference of two singular values under which they count as equal."""


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

    gradient : (3, 2, m) 1/mm, F = sum over corners of position (outer) gradient
    area : (m,) mm^2

    Here and below the triangles run along the last axis: sums over corners and axes are then sums of whole rows.
    """

    gradient: np.ndarray
    area: np.ndarray

    @classmethod
    def from_corners(cls, corners: np.ndarray) -> RestTriangles:
        """corners : (m, 3, 2) mm, counter-clockwise."""
        origin, second, third = corners.transpose(1, 2, 0)
        (ex, ey), (fx, fy) = second - origin, third - origin
        doubled = ex * fy - ey * fx
        gradient = np.empty((3, 2, len(corners)))
        gradient[1, 0], gradient[1, 1] = fy / doubled, -fx / doubled
        gradient[2, 0], gradient[2, 1] = -ey / doubled, ex / doubled
        gradient[0] = -gradient[1] - gradient[2]
        return cls(gradient, doubled / 2)


def at_corners(values: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(3, 2, m) values (v, 2) at the corners of triangles (m, 3)."""
    return np.take(values.T, triangles.T, axis=1).transpose(1, 0, 2)


def jacobians(flat: np.ndarray, triangles: np.ndarray, rest: RestTriangles) -> np.ndarray:
    """(2, 2, m) maps from rest to flat; flat : (v, 2) mm, triangles : (m, 3)."""
    origin, second, third = at_corners(flat, triangles)
    # the gradients of the corners sum to zero
    return (second - origin)[:, None] * rest.gradient[1] + (third - origin)[:, None] * rest.gradient[2]


def signed_areas(flat: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(m,) mm^2, negative for a flipped triangle."""
    origin, second, third = at_corners(flat, triangles)
    (ex, ey), (fx, fy) = second - origin, third - origin
    return (ex * fy - ey * fx) / 2


class Deformation:
    """Linear maps F as the sum of a rotation and a reflection, each with its size: their sum and difference are
    the signed singular values, the smaller negative for a flipped triangle.

    size, split : (m,), singular values size + split and size - split
    turn, mirror : (2, m), F = size [[c, -s], [s, c]] + split [[c', s'], [s', -c']] with turn = size (c, s) and
        mirror = split (c', s')
    """

    def __init__(self, flat: np.ndarray, triangles: np.ndarray, rest: RestTriangles) -> None:
        (xx, xy), (yx, yy) = jacobians(flat, triangles, rest) / 2
        self.turn, self.mirror = (xx + yy, yx - xy), (xx - yy, yx + xy)
        self.size, self.split = _length(*self.turn), _length(*self.mirror)

    def singular_values(self) -> np.ndarray:
        """(2, m), the larger first."""
        return np.array([self.size + self.split, self.size - self.split])

    def directions(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """c, s, c' and s', each (m,); where there is no reflection any serves."""
        alike = self.split < ALIKE
        split = np.where(alike, 1.0, self.split)
        cosine, sine = self.turn[0] / self.size, self.turn[1] / self.size
        return cosine, sine, np.where(alike, 1.0, self.mirror[0] / split), np.where(alike, 0.0, self.mirror[1] / split)


def _length(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    # np.hypot guards against overflow at several times the price
    return np.sqrt(x * x + y * y)


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

    def at(self, flat: np.ndarray) -> StrainState:
        return StrainState(self, flat)

    def value(self, flat: np.ndarray) -> float:
        return self.at(flat).value

    def derivatives(self, flat: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        """Value, gradient per triangle (m, 6) and Hessian (m, 6, 6) made positive, corner by corner x then y."""
        state = self.at(flat)
        return (state.value, *state.derivatives())


class StrainState:
    """The energy at one place: its value, and on demand its derivatives without finding the strains again.

    value : infinite where a triangle has flipped or has no area
    """

    def __init__(self, energy: StrainEnergy, flat: np.ndarray) -> None:
        self.energy = energy
        self.form = Deformation(flat, energy.triangles, energy.rest)
        self.value = np.inf
        if (self.form.size > self.form.split).all():
            self._find_densities(self.form.singular_values())

    def _find_densities(self, s: np.ndarray) -> None:
        energy = self.energy
        inverse = 1.0 / s
        d = s - inverse
        cost = np.where(s > 1.0, energy.squeeze_cost / 4.0, 0.25)
        g = cost * d * d
        self.parts = inverse, d, cost
        if energy.ceiling is None:
            density = g
        else:
            # levels come as one number or (m, 1)
            # far over a steep ceiling this may be more than a number holds; then it is no place to go to
            with np.errstate(over="ignore"):
                self.over = (g / np.transpose(energy.ceiling.level) ** 2) ** (energy.ceiling.power - 1)
            density = g * (1 + self.over)
        self.value = float((density[0] + density[1]) @ energy.rest.area)

    def _slopes(self) -> tuple[np.ndarray, np.ndarray]:
        """h' and h'' at the singular values, (2, m) each."""
        inverse, d, cost = self.parts
        square = inverse * inverse
        d1 = 1.0 + square
        stiff = 2 * cost * d1 * d1
        g1, g2 = 2 * cost * d * d1, stiff - 4 * cost * d * square * inverse
        if self.energy.ceiling is None:
            return g1, g2
        n = self.energy.ceiling.power
        steeper = 1 + n * self.over
        # n (n - 1) g1^2 over / g, with g1^2 / g finite at g = 0
        return g1 * steeper, g2 * steeper + 2 * n * (n - 1) * self.over * stiff

    def derivatives(self) -> tuple[np.ndarray, np.ndarray]:
        """As `StrainEnergy.derivatives`, without the value."""
        rest, form = self.energy.rest, self.form
        slope, curve = self._slopes()
        # the eigenmatrices as motions of the corners: two stretches, twist, flip. With T the rotation and M the
        # reflection they are (T + M) / 2, (T - M) / 2, and T and M turned by a right angle over the root of 2
        cosine, sine, across, along = form.directions()
        x, y = rest.gradient.transpose(1, 0, 2)
        turned, mirrored = np.empty_like(rest.gradient), np.empty_like(rest.gradient)
        turned[:, 0], turned[:, 1] = cosine * x - sine * y, sine * x + cosine * y
        mirrored[:, 0], mirrored[:, 1] = across * x + along * y, along * x - across * y
        modes = np.empty((4, *turned.shape))
        modes[0], modes[1] = turned + mirrored, turned - mirrored
        modes[2, :, 0], modes[2, :, 1] = -turned[:, 1], turned[:, 0]
        modes[3, :, 0], modes[3, :, 1] = -mirrored[:, 1], mirrored[:, 0]
        modes = modes.reshape(4, 6, -1)
        alike = form.split < ALIKE
        twist = (slope[0] + slope[1]) / form.size
        flip = np.where(alike, curve[0] + curve[1], (slope[0] - slope[1]) / np.where(alike, 1.0, form.split))
        # of the modes the first two were made twice, the others by a root of two too large
        weights = np.array([curve[0], curve[1], twist, flip]) / 4
        hessian = outer_sum(modes, np.maximum(weights, 0.0) * rest.area)
        slope = slope * (rest.area / 2)
        return (slope[0] * modes[0] + slope[1] * modes[1]).T, hessian


def outer_sum(rows: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """(m, k, k) sum over q of weight (q, m) times the outer product of rows (q, k, m) with themselves."""
    count = rows.shape[1]
    weighted = rows * weight[:, None]
    total = np.empty((count, count, rows.shape[2]))
    for i in range(count):
        total[i, i:] = total[i:, i] = np.einsum("qm,qam->am", weighted[:, i], rows[:, i:])
    return total.transpose(2, 0, 1)
