"""Flattening many patches together: each on its own first, then all with their seams glued."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from ..progress import Progress, Steps, even, nearing, share
from ..settings import SQUEEZE_COST
from .energy import Ceiling, RestTriangles
from .overlap import Contacts, find_contacts, lies_over_itself
from .solver import ROUGH, TOLERANCE, NewtonSolver, Seams
from .soundness import TORN, WILD, common_strain
from .start import first_flat
from .strain import COMMON, area_quantile, log_strain, stretches

CEILINGS_LOOSE = ((0.6, 4.0), (0.8, 16.0))
CEILINGS_HELD = ((0.7, 3.0),)
"""Rounds of the soft ceiling: its level as a part of the strain that 99 % of a piece's area keeps to, and its
power. A piece alone is pressed to near the least worst strain there is, first with a low power: from far over a steep
ceiling Newton's steps are short. Pieces that share seams are pressed gently, because mean strain is what moves the
glued-up shape."""
CEILING_FLOOR = 0.02
"""Strain of two percent is nothing to foam; pressing below it would only raise the mean."""
EXACT = 1e-7
"""Logarithmic strain under which a patch counts as unfolded exactly."""


REWEIGHT_POWER = 0.4
REWEIGHT_FLOOR = 3e-3
"""Once seams are matched, triangles weigh less the more they are strained: (strain^2 + floor^2)^-power. What a
seam asks of a piece then stays where it is asked, and the mean strain lower than least squares makes it
(one round of iteratively reweighted least squares)."""
PARTING_ROUNDS = 8
PARTING_COST = 0.03
"""Strain that 99 % of a piece may be dearer by when it is kept from lying over itself."""
OPENING_STEPS = 400
"""Newton's steps that may open out a start: each makes what is far too small larger by about a third, and the smallest
that numbers can tell apart is some e^-17 of its size; horns on a curve took up to 180."""
STARTED = 0.12
MATCHED, LOWERED = 0.55, 0.85
"""Parts of the work that are done when all have a first shape; and, of what follows for pieces that hang together,
when seams match and when the worst strain is lowered. As measured."""


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

    def rim_lengths(self) -> tuple[np.ndarray, ...]:
        """Per rim (r,) mm, the length of each step at rest."""
        length = side_lengths(self.corners).ravel()
        keys = self.triangles * self.vertex_count + np.roll(self.triangles, -1, axis=1)
        order = np.argsort(keys.ravel())
        wanted = [loop * self.vertex_count + np.roll(loop, -1) for loop in self.loops]
        return tuple(length[order[np.searchsorted(keys.ravel()[order], keys_of)]] for keys_of in wanted)

    @cached_property
    def digest(self) -> bytes:
        """What tells this surface from others by content."""
        content = hashlib.sha256(str(self.vertex_count).encode())
        for array in (self.triangles, self.corners, *self.loops):
            content.update(np.ascontiguousarray(array).tobytes())
        return content.digest()


def side_lengths(corners: np.ndarray) -> np.ndarray:
    """(m, 3) mm, from each corner of triangles (m, 3, 2) to the next."""
    return np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=2)


def first_vertices(counts: Sequence[int]) -> np.ndarray:
    """Where each surface's vertices begin when all are numbered one after another, and their total."""
    return np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)


class Flattener:
    """Lays surfaces flat again and again while seams move: what has not changed is known by its content.

    Results do not depend on what was done before; only their time does. What the last run did not ask for is
    forgotten.
    """

    def __init__(self) -> None:
        self._known: dict[bytes, list[np.ndarray]] = {}

    def flatten(
        self,
        surfaces: Sequence[Surface],
        glued: np.ndarray,
        seam_priority: float = 1.0,
        squeeze_cost: float = SQUEEZE_COST,
        forced_gap: float = np.inf,
    ) -> Steps[list[np.ndarray]]:
        """Flat positions (v, 2) mm per surface, no triangle flipped. Yields `Progress`.

        glued : (s, 4) int, rim intervals a0-a1 and b0-b1 to be equally long, vertices of all surfaces numbered
            one after another.
        forced_gap : sides whose lengths at rest differ by more than this part are brought together by this part
            only, the rest of the difference stays.
        Surfaces that seams connect are solved together, for the least mean strain with both sides of every seam
        equal; then a soft ceiling under each surface's own worst strain lowers it. Last, a surface that lies
        over itself is parted where that costs little strain.
        """
        asked: dict[bytes, list[np.ndarray]] = {}

        def known(key: bytes, steps: Steps[list[np.ndarray]]) -> Steps[list[np.ndarray]]:
            asked[key] = self._known[key] if key in self._known else (yield from steps)
            return asked[key]

        costs = np.array([seam_priority, squeeze_cost, forced_gap]).tobytes()
        starts = []
        for surface, (first, last) in zip(surfaces, even(len(surfaces)), strict=True):
            starts += yield from known(surface.digest, share(_start(surface), STARTED * first, STARTED * last))
        done = STARTED
        flats = list(starts)
        hopeful = np.array([_is_hopeful(surface, start) for surface, start in zip(surfaces, starts, strict=True)], bool)
        for numbers, own_glued in _hanging_together(surfaces, glued if seam_priority > 0 else glued[:0], hopeful):
            members = [surfaces[i] for i in numbers]
            key = b"".join([surface.digest for surface in members] + [own_glued.tobytes(), costs])
            own = [starts[i] for i in numbers]
            steps = _flatten_together(members, own_glued, own, seam_priority, squeeze_cost, forced_gap)
            first, done = done, done + (1 - STARTED) * sum(map(_size, members)) / sum(map(_size, surfaces))
            steps = share(steps, first, done)
            for i, flat in zip(numbers, (yield from known(key, steps)), strict=True):
                flats[i] = flat
        self._known = asked
        return flats


def flatten_surfaces(
    surfaces: Sequence[Surface], glued: np.ndarray, seam_priority: float = 1.0, squeeze_cost: float = SQUEEZE_COST
) -> Steps[list[np.ndarray]]:
    """As `Flattener.flatten`, once."""
    return Flattener().flatten(surfaces, glued, seam_priority, squeeze_cost)


def _size(surface: Surface) -> int:
    return len(surface.triangles)


def _is_hopeful(surface: Surface, start: np.ndarray) -> bool:
    """A start that is turned over, or that could not be opened out, is no place to go on from."""
    return common_strain(start, surface.triangles, surface.rest) < np.log(WILD)


def _hanging_together(
    surfaces: Sequence[Surface], glued: np.ndarray, hopeful: np.ndarray
) -> list[tuple[list[int], np.ndarray]]:
    """Groups of hopeful surfaces (a mask) that seams connect, each with its seams renumbered to its own vertices."""
    counts = [surface.vertex_count for surface in surfaces]
    first = first_vertices(counts)
    owner = np.repeat(np.arange(len(surfaces)), counts)[glued]
    both = hopeful[owner[:, [0, 2]]].all(axis=1)
    glued, owner = glued[both], owner[both]
    graph = coo_array((np.ones(len(glued)), (owner[:, 0], owner[:, 2])), shape=(len(surfaces),) * 2)
    group_count, group = connected_components(graph, directed=False)
    groups = []
    for number in range(group_count):
        members = np.flatnonzero((group == number) & hopeful)
        if not len(members):
            continue
        shift = np.zeros(len(surfaces), np.int64)
        shift[members] = first_vertices([counts[i] for i in members])[:-1] - first[members]
        own = group[owner[:, 0]] == number
        groups.append((members.tolist(), glued[own] + shift[owner[own]]))
    return groups


def _start(surface: Surface) -> Steps[list[np.ndarray]]:
    """A first flat; one that shrinks much, as a finger's does towards its tip, is opened out at once."""
    yield Progress("Laying pieces flat", 0.0)
    triangles, rest = surface.triangles, surface.rest
    flat = first_flat(triangles, surface.corners, surface.loops, surface.vertex_count)
    if np.log(TORN) < common_strain(flat, triangles, rest) < np.inf:
        solver = NewtonSolver(triangles, rest, surface.vertex_count)
        flat = yield from solver.minimise(flat, tolerance=ROUGH, most_steps=OPENING_STEPS)
    return [flat]


def _flatten_together(
    surfaces: Sequence[Surface],
    glued: np.ndarray,
    starts: list[np.ndarray],
    seam_priority: float,
    squeeze_cost: float,
    forced_gap: float,
) -> Steps[list[np.ndarray]]:
    flat = np.concatenate(starts)
    problem = Problem(surfaces)
    if log_strain(stretches(flat, problem.triangles, problem.rest)).max() <= EXACT and not len(glued):
        return starts
    if len(glued):
        gap = problem.rest_gaps(glued)
        target = gap - np.clip(gap, -forced_gap, forced_gap)
        if seam_priority < 1:
            loose = yield from share(problem.solver.minimise(flat, squeeze_cost, tolerance=ROUGH), 0, MATCHED / 2)
            target += (1 - seam_priority) * (Seams(glued, target).gaps(loose) - target)
        problem = Problem(surfaces, Seams(glued, target))
    stage = "Matching seams" if len(glued) else "Laying pieces flat"
    steps = problem.solver.minimise(flat, squeeze_cost, stage=stage, tolerance=ROUGH)
    flat = yield from share(steps, 0, MATCHED)
    if len(glued):
        problem.reweight(flat)
    ceilings = CEILINGS_HELD if len(glued) else CEILINGS_LOOSE
    flat, ceiling = yield from share(_lower_worst(problem, flat, squeeze_cost, ceilings), MATCHED, LOWERED)
    return problem.split((yield from share(part_overlaps(problem, flat, squeeze_cost, ceiling), LOWERED, 1)))


class Problem:
    """Surfaces to be solved together, vertices and triangles numbered one after another."""

    def __init__(self, surfaces: Sequence[Surface], seams: Seams | None = None) -> None:
        self.surfaces = surfaces
        self.first = first_vertices([surface.vertex_count for surface in surfaces])
        shifted = [surface.triangles + start for surface, start in zip(surfaces, self.first, strict=False)]
        self.triangles = np.concatenate(shifted)
        self.rest = RestTriangles.from_corners(np.concatenate([surface.corners for surface in surfaces]))
        ends = np.cumsum([len(surface.triangles) for surface in surfaces])
        self.own = np.split(np.arange(len(self.triangles)), ends[:-1])
        self.seams = seams

    @cached_property
    def solver(self) -> NewtonSolver:
        return NewtonSolver(self.triangles, self.rest, int(self.first[-1]), self.seams)

    def solver_with(self, contacts: Contacts) -> NewtonSolver:
        return NewtonSolver(self.triangles, self.solver.rest, int(self.first[-1]), self.seams, contacts)

    def reweight(self, flat: np.ndarray) -> None:
        """Let triangles that are strained at `flat` weigh less from now on."""
        strain = log_strain(stretches(flat, self.triangles, self.rest))
        weight = (strain**2 + REWEIGHT_FLOOR**2) ** -REWEIGHT_POWER
        weight *= self.rest.area.sum() / (weight @ self.rest.area)
        self.solver.rest = replace(self.rest, area=self.rest.area * weight)

    def rest_gaps(self, glued: np.ndarray) -> np.ndarray:
        """(s,) difference of the lengths at rest of both sides of each seam interval, over their mean."""
        count = int(self.first[-1])
        ends = np.stack([self.triangles, np.roll(self.triangles, -1, axis=1)], axis=2).reshape(-1, 2)
        length = np.concatenate([side_lengths(surface.corners).ravel() for surface in self.surfaces])
        keys = np.sort(ends, axis=1) @ (count, 1)
        order = np.argsort(keys)

        def at_rest(pairs: np.ndarray) -> np.ndarray:
            return length[order[np.searchsorted(keys[order], np.sort(pairs, axis=1) @ (count, 1))]]

        a, b = at_rest(glued[:, :2]), at_rest(glued[:, 2:])
        return 2 * (a - b) / (a + b)

    def split(self, flat: np.ndarray) -> list[np.ndarray]:
        return np.split(flat, self.first[1:-1])

    def common_strain(self, flat: np.ndarray) -> np.ndarray:
        """Per surface the logarithmic strain that 99 % of its area keeps to."""
        strain = log_strain(stretches(flat, self.triangles, self.rest))
        return np.array([area_quantile(strain[own], self.rest.area[own], COMMON) for own in self.own])

    def ceiling(self, common: np.ndarray, part: float, power: float) -> Ceiling:
        level = np.repeat(np.maximum(part * common, CEILING_FLOOR), [len(own) for own in self.own])
        return Ceiling(level[:, None], power)

    def contacts(self, flat: np.ndarray, numbers: Sequence[int]) -> np.ndarray:
        """(c, 3) the contacts of some of the surfaces."""
        flats = self.split(flat)
        return np.concatenate(
            [np.empty((0, 3), np.int64)]
            + [find_contacts(flats[i], self.surfaces[i].loops) + self.first[i] for i in numbers]
        )


def _lower_worst(
    problem: Problem, flat: np.ndarray, squeeze_cost: float, ceilings: Sequence[tuple[float, float]]
) -> Steps[tuple[np.ndarray, Ceiling | None]]:
    """Press every surface's worst strain down with a soft ceiling of its own; the last ceiling comes along."""
    solver, ceiling = problem.solver, None
    for (part, power), (first, last) in zip(ceilings, even(len(ceilings)), strict=True):
        common = problem.common_strain(flat)
        if common.max() <= CEILING_FLOOR:
            return (yield from share(solver.minimise(flat, squeeze_cost), first, last)), None
        ceiling = problem.ceiling(common, part, power)
        tolerance = TOLERANCE if (part, power) == ceilings[-1] else ROUGH
        steps = solver.minimise(flat, squeeze_cost, ceiling, "Lowering the worst strain", tolerance)
        flat = yield from share(steps, first, last)
    return flat, ceiling


def part_overlaps(
    problem: Problem, flat: np.ndarray, squeeze_cost: float, ceiling: Ceiling | None
) -> Steps[np.ndarray]:
    """Push the rims of surfaces that lie over themselves apart; those that resist are left as they were."""
    flats = problem.split(flat)
    willing = []
    for number, surface in enumerate(problem.surfaces):
        if not lies_over_itself(flats[number], surface.loops):
            continue
        if len(problem.surfaces) > 1:
            # a try without its neighbours costs little and tells which surfaces resist
            steps = _push_apart(Problem([surface]), flats[number], [0], squeeze_cost, None)
            _, parted = yield from share(steps, number / len(flats) / 2, (number + 1) / len(flats) / 2)
            if not parted:
                continue
        willing.append(number)
    if not willing:
        return flat
    pushed, parted = yield from share(_push_apart(problem, flat, willing, squeeze_cost, ceiling), 0.5, 1)
    return pushed if parted else flat


def _push_apart(
    problem: Problem, flat: np.ndarray, numbers: list[int], squeeze_cost: float, ceiling: Ceiling | None
) -> Steps[tuple[np.ndarray, bool]]:
    """Rounds of contacts between the rims of some surfaces, until none lies over itself or it grows too dear."""
    before = problem.common_strain(flat)
    contacts = np.empty((0, 3), np.int64)
    for turn in range(PARTING_ROUNDS):
        # earlier contacts stay, lest what was parted slips back
        contacts = np.unique(np.concatenate([contacts, problem.contacts(flat, numbers)]), axis=0)
        solver = problem.solver_with(Contacts(contacts))
        steps = solver.minimise(flat, squeeze_cost, ceiling, "Parting overlaps", ROUGH)
        flat = yield from share(steps, *nearing(turn))
        # neighbours must not pay for it through their seams either
        if (problem.common_strain(flat) - before).max() > PARTING_COST:
            return flat, False
        flats = problem.split(flat)
        if not any(lies_over_itself(flats[i], problem.surfaces[i].loops) for i in numbers):
            return flat, True
    return flat, False
