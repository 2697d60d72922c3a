"""A shell with fewer faces to plan on: some of the fine vertices, joined by larger triangles."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

import numpy as np

from ..progress import Steps, telling
from ..shell import Shell
from .twins import Twins

LONGEST = 1.9
"""Longest edge that may arise, in edges of an even mesh: seams need places to run in flat parts too."""

EVENNESS = 0.02
"""Price of an edge's own length beside what its end strays from the planes around it."""

LINE_WEIGHT = 3.0
"""How much more a line's straightness counts than the flatness of faces."""

LEAST_COSINE = 0.3
"""How far a triangle may turn when one of its corners moves."""

LEAST_SHAPE = 0.08
"""Twice the area of a new triangle over the square of its longest side: no slivers."""

AT_A_TIME = 300
"""Vertices looked at between two reports."""

Point = tuple[float, float, float]
Pair = tuple[int, int]
Quadric = tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Coarse:
    """shell : of triangles; vertex : (n,) int, what each of its vertices is in the fine shell
    on_line : (k,) bool, edges that follow the lines that had to stay
    """

    shell: Shell
    vertex: np.ndarray
    on_line: np.ndarray


def coarsened(shell: Shell, face_count: int, stays: np.ndarray, twins: Twins | None) -> Steps[Coarse]:
    """The shell with about `face_count` triangles, its rims and the edges of `stays` (k,) bool in their course.

    Vertices are pulled into neighbours, the one that changes the surface least first: M. Garland,
    P. Heckbert, Surface Simplification Using Quadric Error Metrics, SIGGRAPH 1997, with vertices only where there
    were some. Mirror images go together, so the result mirrors itself where the shell does. Yields Progress.
    """
    work = _Collapse(shell, face_count, stays, twins)
    yield from telling("Looking at the shape", work.run(face_count))
    return work.result(shell)


class _Collapse:
    """Triangles by number, and what hangs on each vertex."""

    def __init__(self, shell: Shell, face_count: int, stays: np.ndarray, twins: Twins | None) -> None:
        triangles = shell.triangles if twins is None else _mirrored_triangles(shell, twins)
        self.point: list[Point] = [tuple(p) for p in shell.vertices.tolist()]
        self.triangle: list[tuple[int, int, int] | None] = [tuple(t) for t in triangles.tolist()]
        self.count = len(self.triangle)
        self.around: list[set[int]] = [set() for _ in self.point]
        for number, triangle in enumerate(self.triangle):
            for vertex in triangle or ():
                self.around[vertex].add(number)
        self.twin = list(range(len(self.point))) if twins is None else twins.vertex.tolist()
        self.left = np.ones(len(self.point), bool) if twins is None else twins.left
        rim = ~shell.edge_is_consistent
        on_plane = np.zeros(shell.edge_count, bool) if twins is None else twins.on_plane
        self.line_at: list[set[int]] = [set() for _ in self.point]
        for one, other in shell.edges[rim | stays | on_plane].tolist():
            self.line_at[one].add(other)
            self.line_at[other].add(one)
        self.stays = {(one, other) for one, other in shell.edges[stays].tolist()}
        self.fixed = [self._is_fixed(vertex) for vertex in range(len(self.point))]
        self._fix_meetings(shell, rim, stays)
        self.longest = LONGEST * float(np.sqrt(4 / np.sqrt(3) * shell.face_area.sum() / face_count))
        self.quadric = _quadrics(shell, triangles, rim | stays)
        self.evenness = EVENNESS * float(shell.face_area.sum()) / face_count
        self.version = [0] * len(self.point)

    def _is_fixed(self, vertex: int) -> bool:
        return len(self.line_at[vertex]) not in (0, 2) or self.twin[vertex] < 0

    def _fix_meetings(self, shell: Shell, rim: np.ndarray, stays: np.ndarray) -> None:
        """A vertex where lines of two kinds follow each other stays, or one kind would grow into the other."""
        kinds = np.zeros((len(self.point), 2), bool)
        for column, mask in enumerate((rim, stays)):
            kinds[shell.edges[mask], column] = True
        crowded = shell.edge_face_count > 2
        kinds[shell.edges[crowded]] = True
        for vertex in np.flatnonzero(kinds.all(axis=1)).tolist():
            self.fixed[vertex] = True

    # --- which vertex next ---------------------------------------------------------------------

    def run(self, face_count: int) -> Iterator[float]:
        """Pull vertices until so few triangles are left or none may go; yields 0 to 1."""
        heap: list[tuple[float, int, int]] = []
        first = self.count
        for vertex in range(len(self.point)):
            heap.extend(self._entry(vertex))
            if vertex % AT_A_TIME == 0:
                yield 0.0
        heapify(heap)
        tries = 0
        while heap and self.count > face_count:
            tries += 1
            if tries % AT_A_TIME == 0:
                yield (first - self.count) / (first - face_count)
            cost, vertex, version = heappop(heap)
            if version != self.version[vertex]:
                continue
            for real_cost, target in self._targets(vertex):
                if real_cost >= cost and (changed := self._pull_both(vertex, target)):
                    for neighbour in changed:
                        self.version[neighbour] += 1
                        for entry in self._entry(neighbour):
                            heappush(heap, entry)
                    break

    def _entry(self, vertex: int) -> Iterable[tuple[float, int, int]]:
        if self.fixed[vertex] or not self.around[vertex] or not self.left[vertex]:
            return
        targets = self._targets(vertex)
        if targets:
            yield targets[0][0], vertex, self.version[vertex]

    def _targets(self, vertex: int) -> list[tuple[float, int]]:
        """Neighbours that a vertex may be pulled into and what each costs, cheapest first."""
        line = self.line_at[vertex]
        found = []
        for target in line or self._neighbours(vertex):
            if self._distance(vertex, target) <= self.longest:
                cost = _error(self.quadric[vertex], self.quadric[target], self.point[target])
                found.append((cost + self.evenness * self._distance(vertex, target) ** 2, target))
        return sorted(found)

    def _neighbours(self, vertex: int) -> set[int]:
        found = {corner for number in self.around[vertex] for corner in self.triangle[number] or ()}
        found.discard(vertex)
        return found

    def _distance(self, one: int, other: int) -> float:
        (a, b, c), (d, e, f) = self.point[one], self.point[other]
        return ((a - d) ** 2 + (b - e) ** 2 + (c - f) ** 2) ** 0.5

    # --- pulling a vertex into another ---------------------------------------------------------

    def _pull_both(self, vertex: int, target: int) -> set[int]:
        """Pull a vertex and its mirror image; vertices around that changed, none if it cannot be done."""
        if not self._may(vertex, target):
            return set()
        image, image_target = self.twin[vertex], self.twin[target]
        if image == vertex:
            return self._pull(vertex, target)[0] if image_target == target else set()
        changed, undo = self._pull(vertex, target)
        if image_target < 0 or not self._may(image, image_target):
            self._restore(vertex, target, undo)
            return set()
        return changed | self._pull(image, image_target)[0]

    def _may(self, vertex: int, target: int) -> bool:
        """Whether the surface stays one without folds: two common neighbours inside, one on a rim."""
        shared = self.around[vertex] & self.around[target]
        if not shared or len(self._neighbours(vertex) & self._neighbours(target)) != len(shared):
            return False
        # two rims must not meet in one vertex, nor two lines
        if (self.line_at[vertex] and target not in self.line_at[vertex]) or len(self.around[target]) <= len(shared):
            return False
        if self.line_at[vertex] and len(self.line_at[vertex] & self.line_at[target]):
            return False
        return all(self._keeps_shape(number, vertex, target) for number in self.around[vertex] - shared)

    def _keeps_shape(self, number: int, vertex: int, target: int) -> bool:
        corners = self.triangle[number]
        assert corners is not None
        before = [self.point[corner] for corner in corners]
        after = [self.point[target if corner == vertex else corner] for corner in corners]
        old, new = _normal(*before), _normal(*after)
        size = _dot(new, new) ** 0.5
        if _dot(old, new) < LEAST_COSINE * size * _dot(old, old) ** 0.5:
            return False
        longest = max(_squared(after[0], after[1]), _squared(after[1], after[2]), _squared(after[2], after[0]))
        return longest <= self.longest**2 and size >= LEAST_SHAPE * longest

    def _pull(self, vertex: int, target: int) -> tuple[set[int], list[tuple[int, tuple[int, int, int]]]]:
        undo = []
        changed = self._neighbours(vertex)
        for number in list(self.around[vertex]):
            corners = self.triangle[number]
            assert corners is not None
            undo.append((number, corners))
            if target in corners:
                self.count -= 1
                self.triangle[number] = None
                for corner in corners:
                    self.around[corner].discard(number)
            else:
                a, b, c = (target if corner == vertex else corner for corner in corners)
                self.triangle[number] = (a, b, c)
                self.around[target].add(number)
        self.around[vertex].clear()
        self._move_line(vertex, target)
        self.quadric[target] = tuple(map(sum, zip(self.quadric[vertex], self.quadric[target], strict=True)))
        return changed, undo

    def _move_line(self, vertex: int, target: int) -> None:
        for other in self.line_at[vertex] - {target}:
            self.line_at[other].discard(vertex)
            self.line_at[other].add(target)
            self.line_at[target].add(other)
            if _pair(vertex, other) in self.stays:
                self.stays.add(_pair(target, other))
        self.line_at[target].discard(vertex)

    def _restore(self, vertex: int, target: int, undo: list[tuple[int, tuple[int, int, int]]]) -> None:
        for number, corners in undo:
            if self.triangle[number] is None:
                self.count += 1
            else:
                self.around[target].discard(number)
            self.triangle[number] = corners
            for corner in corners:
                self.around[corner].add(number)
        for other in self.line_at[vertex] - {target}:
            self.line_at[other].discard(target)
            self.line_at[other].add(vertex)
            self.line_at[target].discard(other)
        if target in self.line_at[vertex]:
            self.line_at[target].add(vertex)
        left, gone = self.quadric[target], self.quadric[vertex]
        self.quadric[target] = tuple(a - b for a, b in zip(left, gone, strict=True))

    def result(self, shell: Shell) -> Coarse:
        triangles = np.array([triangle for triangle in self.triangle if triangle is not None])
        vertex, numbers = np.unique(triangles, return_inverse=True)
        coarse = Shell.build(shell.vertices[vertex], list(numbers.reshape(-1, 3)), name=shell.name)
        on_line = [(int(a), int(b)) in self.stays for a, b in vertex[coarse.edges].tolist()]
        return Coarse(coarse, vertex, np.array(on_line, bool))


def _mirrored_triangles(shell: Shell, twins: Twins) -> np.ndarray:
    """(m, 3) triangles of the shell where those on the right are the images of those on the left."""
    own = np.arange(shell.face_count)
    right = ~twins.left[shell.corner_vertex]
    is_right = np.bincount(shell.corner_face, right) > np.bincount(shell.corner_face, ~right)
    image_of = is_right[shell.triangle_face] & (twins.face[shell.triangle_face] != own[shell.triangle_face])
    images = shell.triangles[~image_of]
    copied = np.isin(twins.face[shell.triangle_face[~image_of]], shell.triangle_face[image_of])
    return np.concatenate([images, twins.vertex[images[copied]][:, ::-1]])


def _quadrics(shell: Shell, triangles: np.ndarray, line: np.ndarray) -> list[Quadric]:
    """Per vertex the sum of squared distances to the planes around it, as the ten numbers of a quadratic form."""
    a, b, c = shell.vertices[triangles].transpose(1, 0, 2)
    vector = np.cross(b - a, c - a) / 2
    area = np.linalg.norm(vector, axis=1)
    normal = vector / np.where(area > 0, area, 1)[:, None]
    total = np.zeros((len(shell.vertices), 10))
    np.add.at(total, triangles.ravel(), np.repeat(_forms(normal, a) * (area / 3)[:, None], 3, axis=0))
    # along a line two planes that cross in it hold the vertex to its course
    ends = shell.edges[line]
    along = shell.edge_vector[line] / np.maximum(shell.edge_length[line], 1e-12)[:, None]
    for helper in np.eye(3):
        across = np.cross(along, helper)
        forms = _forms(across, shell.vertices[ends[:, 0]]) * (LINE_WEIGHT / 2 * shell.edge_length[line] ** 2)[:, None]
        np.add.at(total, ends.ravel(), np.repeat(forms, 2, axis=0))
    return [tuple(form) for form in total.tolist()]


def _forms(normal: np.ndarray, point: np.ndarray) -> np.ndarray:
    """(m, 10) squared distance to planes as a quadratic form in x, y, z, 1."""
    four = np.column_stack([normal, -np.einsum("ij,ij->i", normal, point)])
    rows, columns = np.triu_indices(4)
    return four[:, rows] * four[:, columns] * np.where(rows == columns, 1, 2)


def _error(one: Quadric, other: Quadric, at: Point) -> float:
    x, y, z = at
    xx, xy, xz, xw, yy, yz, yw, zz, zw, ww = (a + b for a, b in zip(one, other, strict=True))
    return x * (xx * x + xy * y + xz * z + xw) + y * (yy * y + yz * z + yw) + z * (zz * z + zw) + ww


def _normal(a: Point, b: Point, c: Point) -> Point:
    ux, uy, uz = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    vx, vy, vz = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    return uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx


def _dot(a: Point, b: Point) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def _squared(a: Point, b: Point) -> float:
    return (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2


def _pair(one: int, other: int) -> Pair:
    return (one, other) if one < other else (other, one)
