"""Projected Newton on the strain energy, with the two sides of every seam held equally long.

Steps stop short of the first flip: J. Smith, S. Schaefer, Bijective Parameterization with Free Boundaries,
ACM Trans. Graph. 34(4), 2015, section 3.3.
"""

from __future__ import annotations

import numpy as np

from ..progress import Progress, Steps
from .energy import Ceiling, RestTriangles, StrainEnergy, StrainState, at_corners
from .overlap import Contacts
from .system import SingularSystemError, StepSystem, add_at

TOLERANCE = 1e-5
ROUGH = 1e-2
"""Tolerances of a last stage, and of one that only prepares the next."""
MOST_STEPS = 80
USUAL_STEPS = 8
SEAM_STIFFNESS = 30.0
"""Penalty of a seam over the stiffness of the foam beside it: more needs fewer rounds and worse numbers."""
SEAM_TOLERANCE = 1e-3
"""mm by which the two sides of one interval may differ; a knife cannot."""
SEAM_PATIENCE = 1e-2
"""The pull on seams is renewed once a step promises less than this part of the energy."""


class Seams:
    """Pairs of rim intervals that are glued together, their lengths held at a given difference.

    The difference of two lengths over their mean is driven to `target` by an augmented Lagrangian: a penalty,
    and a pull that grows until the penalty has nothing left to hold (J. Nocedal, S. Wright, Numerical
    Optimization, 2nd ed. 2006, algorithm 17.4).
    """

    def __init__(self, intervals: np.ndarray, target: np.ndarray) -> None:
        """intervals : (s, 4) int, vertices a0, a1 of one side and b0, b1 of the other; target : (s,)."""
        self.elements, self.target = intervals, target
        self.pull = np.zeros(len(intervals))
        self.weight = np.ones(len(intervals))

    def gaps(self, flat: np.ndarray) -> np.ndarray:
        """(s,) difference of the two lengths over their mean."""
        a, b = self._lengths(flat)
        return 2 * (a - b) / (a + b)

    def excess_mm(self, flat: np.ndarray) -> float:
        """Largest length by which a pair misses its target."""
        a, b = self._lengths(flat)
        return float(np.abs((self.gaps(flat) - self.target) * (a + b) / 2).max())

    def stiffen(self, flat: np.ndarray, stiffness: np.ndarray) -> None:
        """Choose penalties that outweigh the foam; stiffness : (v,) energy per mm^2 at each vertex."""
        a, b = self._lengths(flat)
        typical = np.median(stiffness[self.elements])
        here = np.clip(stiffness[self.elements].mean(axis=1), typical / 10, typical * 10)
        self.weight = SEAM_STIFFNESS * here * ((a + b) / 2) ** 2

    def tighten(self, flat: np.ndarray) -> None:
        """Let the pull take over what the penalty holds."""
        self.pull = self.pull + 2 * self.weight * (self.gaps(flat) - self.target)

    def value(self, flat: np.ndarray) -> float:
        miss = self.gaps(flat) - self.target
        return float(self.pull @ miss + self.weight @ miss**2)

    def derivatives(self, flat: np.ndarray) -> tuple[float, np.ndarray, np.ndarray]:
        """Value, gradient (s, 8) and a positive part of the Hessian (s, 8, 8)."""
        a0, a1, b0, b1 = flat[self.elements].transpose(1, 0, 2)
        along_a, along_b = a1 - a0, b1 - b0
        a, b = self._lengths(flat)
        along_a, along_b = along_a / a[:, None], along_b / b[:, None]
        miss = 2 * (a - b) / (a + b) - self.target
        per_a, per_b = 4 * b / (a + b) ** 2, -4 * a / (a + b) ** 2
        slope = np.zeros((len(a), 8))
        slope[:, 0:2], slope[:, 2:4] = -along_a * per_a[:, None], along_a * per_a[:, None]
        slope[:, 4:6], slope[:, 6:8] = -along_b * per_b[:, None], along_b * per_b[:, None]
        force = self.pull + 2 * self.weight * miss
        hessian = (2 * self.weight)[:, None, None] * slope[:, :, None] * slope[:, None, :]
        # an interval under tension resists being turned aside
        hessian[:, 0:4, 0:4] += _aside(along_a, np.maximum(force * per_a, 0.0) / a)
        hessian[:, 4:8, 4:8] += _aside(along_b, np.maximum(force * per_b, 0.0) / b)
        return float(self.pull @ miss + self.weight @ miss**2), force[:, None] * slope, hessian

    def _lengths(self, flat: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        a0, a1, b0, b1 = flat[self.elements].transpose(1, 0, 2)
        return np.linalg.norm(a1 - a0, axis=1), np.linalg.norm(b1 - b0, axis=1)


def _aside(along: np.ndarray, weight: np.ndarray) -> np.ndarray:
    """(s, 4, 4) weight times the second derivative of an interval's length times that length."""
    across = np.eye(2) - along[:, :, None] * along[:, None, :]
    across = across * weight[:, None, None]
    return np.block([[across, -across], [-across, across]])


def longest_safe_step(flat: np.ndarray, step: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(m,) the step length at which each triangle loses its area, infinite where it never does."""
    a, b, c = at_corners(flat, triangles)
    da, db, dc = at_corners(step, triangles)
    e, f, de, df = b - a, c - a, db - da, dc - da
    constant, linear, square = _cross(e, f), _cross(e, df) + _cross(de, f), _cross(de, df)
    discriminant = linear**2 - 4 * square * constant
    # the smallest positive root, in the form that does not cancel; constant > 0
    denominator = np.sqrt(np.maximum(discriminant, 0.0)) - linear
    shrinks = (discriminant >= 0) & (denominator > 0)
    return np.where(shrinks, 2 * constant / np.where(shrinks, denominator, 1.0), np.inf)


def _cross(u: np.ndarray, v: np.ndarray) -> np.ndarray:
    return u[0] * v[1] - u[1] * v[0]


class NewtonSolver:
    """Minimises the strain energy under seams and contacts; keeps the matrix layout between calls."""

    def __init__(
        self,
        triangles: np.ndarray,
        rest: RestTriangles,
        vertex_count: int,
        seams: Seams | None = None,
        contacts: Contacts | None = None,
        system: StepSystem | None = None,
    ) -> None:
        """system : one of these triangles alone, if there is one already."""
        self.triangles, self.rest, self.seams = triangles, rest, seams
        self.holds: list[Seams | Contacts] = [hold for hold in (seams, contacts) if hold is not None]
        self.system = system or StepSystem(vertex_count, [triangles, *(hold.elements for hold in self.holds)])

    def minimise(
        self,
        flat: np.ndarray,
        squeeze_cost: float = 1.0,
        ceiling: Ceiling | None = None,
        stage: str = "Laying pieces flat",
        tolerance: float = TOLERANCE,
        most_steps: int = MOST_STEPS,
    ) -> Steps[np.ndarray]:
        """(v, 2) mm near the minimum: the next step would lower the energy by under `tolerance` of itself,
        and seams miss their targets by under SEAM_TOLERANCE mm. Yields `Progress` once a step. Where numbers can
        tell no step any more, the last place stays."""
        energy = StrainEnergy(self.triangles, self.rest, squeeze_cost, ceiling)
        floor = 1e-16 * self.rest.area.sum()
        state = energy.at(flat)
        if not np.isfinite(state.value):
            return flat  # a start that is not upright throughout: there is no way down from here
        for step_number in range(most_steps):
            yield Progress(stage, step_number / (step_number + USUAL_STEPS))
            strain = state.value
            try:
                flat, state, promise = self._step(state, flat, is_first=step_number == 0)
            except SingularSystemError:
                break
            if self._settled(flat, promise, tolerance * strain + floor, SEAM_PATIENCE * strain + floor):
                break
        return flat

    def _step(self, state: StrainState, flat: np.ndarray, is_first: bool) -> tuple[np.ndarray, StrainState, float]:
        """The next place, the strain there, and by how much a whole step promised to lower the energy."""
        value = state.value
        slope, curve = state.derivatives()
        elements, gradient = [curve], np.zeros_like(flat)
        add_at(gradient, self.triangles, slope)
        if is_first:
            stiffness = self._stiffness(curve, len(flat))
            for hold in self.holds:
                hold.stiffen(flat, stiffness)
        for hold in self.holds:
            part, slope, curve = hold.derivatives(flat)
            value += part
            elements.append(curve)
            add_at(gradient, hold.elements, slope)
        step = self.system.solve(elements, 1e-9, -gradient)
        promise = -float((step * gradient).sum())
        return *self._walk(state, flat, step, value, promise), promise

    def _settled(self, flat: np.ndarray, promise: float, enough: float, soon: float) -> bool:
        """Whether to stop; renews the pull on the seams where the rest has come to quiet."""
        if self.seams is None:
            return promise <= enough
        if promise > soon:
            return False
        if promise <= enough and self.seams.excess_mm(flat) < SEAM_TOLERANCE:
            return True
        self.seams.tighten(flat)
        return False

    def _stiffness(self, curve: np.ndarray, vertex_count: int) -> np.ndarray:
        """(v,) mean second derivative of the energy at each vertex."""
        diagonal = np.einsum("maa->ma", curve).reshape(-1, 2).mean(axis=1)
        return np.bincount(self.triangles.ravel(), diagonal, vertex_count)

    def _walk(
        self, state: StrainState, flat: np.ndarray, step: np.ndarray, value: float, promise: float
    ) -> tuple[np.ndarray, StrainState]:
        length = min(1.0, 0.9 * float(longest_safe_step(flat, step, self.triangles).min()))
        while length > 1e-12:
            there = flat + length * step
            state_there = state.energy.at(there)
            value_there = state_there.value + sum(hold.value(there) for hold in self.holds)
            if value_there <= value - 1e-4 * length * promise:
                return there, state_there
            length /= 2
        return flat, state
