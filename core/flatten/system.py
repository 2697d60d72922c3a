"""The linear system of a Newton step: laid out once, filled and solved many times."""

from __future__ import annotations

import numpy as np
from scipy.linalg import LinAlgError, solveh_banded
from scipy.sparse import csc_array
from scipy.sparse.csgraph import breadth_first_order
from scipy.sparse.linalg import LinearOperator, SuperLU, cg, splu

WIDEST_BAND = 64
"""Unknowns from the diagonal to the edge of a band up to which LAPACK's banded Cholesky is used. There it takes less
than half the time of a sparse factorisation; wider, it calls products that are large enough for OpenBLAS to wake its
threads, which on a busy machine costs far more than it brings."""
EXACT_UNKNOWNS = 3_000
"""Sparse systems up to this size are factored afresh each time: that costs less than a few rounds of iteration."""
MOST_ROUNDS = 8
"""Rounds of iteration on an old factorisation before a new one is worth its price."""
LOOSE = 0.05
"""Relative residual that serves for a Newton step."""
STIFFER = 1e3
MOST_TRIES = 3
"""A matrix that is not positive, if only by rounding, is tried again with so many times the shift."""

_FACTOR = {"diag_pivot_thresh": 0.0, "relax": 1, "panel_size": 4, "options": {"SymmetricMode": True}}
"""SuperLU for matrices that need no pivots. Its usual larger blocks suit denser ones: pieces with their seams are
factored in two thirds of the time without."""


class SingularSystemError(ArithmeticError):
    """A system has no solution that numbers can tell. Never leaves `flatten`."""


class StepSystem:
    """Symmetric positive matrices over 2 unknowns a vertex, summed from small dense blocks.

    blocks : arrays (b, s) of vertex numbers, one row per element of s corners; the element matrices given to
        `solve` are (b, 2 s, 2 s), corner by corner, x then y.
    """

    def __init__(self, vertex_count: int, blocks: list[np.ndarray]) -> None:
        self._size = 2 * vertex_count
        graph = _graph(vertex_count, blocks)
        place = _narrow_place(graph)
        width = 1 + 2 * max(int(np.ptp(place[block], axis=1).max(initial=0)) for block in blocks)
        self.is_band = width <= WIDEST_BAND
        if not self.is_band:
            place = _fill_reducing_place(graph)
        self._place = place
        self._upper = [np.triu_indices(2 * block.shape[1]) for block in blocks]
        row, column = self._lower_half(blocks)
        # two corners of an element may be one vertex: both entries of such a pair lie on the diagonal
        off = np.concatenate([np.repeat(i != j, len(block)) for block, (i, j) in zip(blocks, self._upper, strict=True)])
        self._twice = np.flatnonzero((row == column) & off)
        self._matrix = _Band(row, column, self._size, width) if self.is_band else _Sparse(row, column, self._size)

    def _lower_half(self, blocks: list[np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
        """Where in the lower half of the matrix each entry of the upper halves of the elements goes."""
        rows, columns = [], []
        for block, (i, j) in zip(blocks, self._upper, strict=True):
            unknown = (2 * self._place[block.T][:, None] + np.arange(2)[:, None]).reshape(2 * block.shape[1], -1)
            one, other = unknown[i], unknown[j]
            rows.append(np.maximum(one, other).ravel())
            columns.append(np.minimum(one, other).ravel())
        return np.concatenate(rows), np.concatenate(columns)

    def solve(self, elements: list[np.ndarray], shift: float | np.ndarray, right_side: np.ndarray) -> np.ndarray:
        """Solution (v, 2) of (sum of elements + shift times the mean diagonal) x = right_side (v, 2).

        shift : one for all vertices, or (v,). Raises SingularSystemError. Large systems are solved
        to a relative residual of LOOSE by conjugate gradients on the last factorisation, as long as that goes
        quickly.
        """
        wanted, lift = np.empty_like(right_side), np.empty_like(right_side)
        wanted[self._place] = right_side
        lift[self._place] = np.broadcast_to(shift, len(right_side))[:, None]
        for _ in range(MOST_TRIES):
            solution = self._matrix.solve(self._sums(elements), lift.ravel(), wanted.ravel())
            if solution is not None and np.isfinite(solution).all():
                return solution.reshape(-1, 2)[self._place]
            lift *= STIFFER
        raise SingularSystemError("The matrix of a step is singular.")

    def _sums(self, elements: list[np.ndarray]) -> np.ndarray:
        # elements that lie one after another along the last axis, as those of the strain do, are copied in whole rows
        halves = np.concatenate(
            [element.transpose(1, 2, 0)[upper].ravel() for element, upper in zip(elements, self._upper, strict=True)]
        )
        halves[self._twice] *= 2
        return np.bincount(self._matrix.index, halves, self._matrix.entry_count)


class _Band:
    """A matrix as the diagonals of its lower half, factored by Cholesky: column by column, each from the diagonal
    down, as LAPACK's routines for symmetric bands want it.

    index : of every entry given as row and column, its place among `entry_count` sums
    """

    def __init__(self, row: np.ndarray, column: np.ndarray, size: int, width: int) -> None:
        self._shape = size, width + 1
        self.index, self.entry_count = column * width + row, size * (width + 1)

    def solve(self, sums: np.ndarray, lift: np.ndarray, right_side: np.ndarray) -> np.ndarray | None:
        """None where the matrix is not positive."""
        band = sums.reshape(self._shape)
        band[:, 0] += lift * band[:, 0].mean()
        try:
            solution = solveh_banded(band.T, right_side, overwrite_ab=True, lower=True, check_finite=False)
        except LinAlgError:
            return None
        return solution


class _Sparse:
    """A matrix in compressed columns: its lower half is summed and then mirrored. index, entry_count : as of _Band"""

    def __init__(self, row: np.ndarray, column: np.ndarray, size: int) -> None:
        keys, self.index = np.unique(column * size + row, return_inverse=True)
        self.entry_count = len(keys)
        self._diagonal = np.searchsorted(keys, np.arange(size) * (size + 1))
        # numbers in place of values tell where in the whole each entry of the half goes; 0 would be dropped
        number = np.arange(1, len(keys) + 1, dtype=np.int32)
        start = np.searchsorted(keys, np.arange(size + 1) * size)
        half = csc_array((number, keys % size, start), shape=(size, size))
        mirrored = half.T.tocsc()
        half.data[self._diagonal] = 0
        whole = (half + mirrored).tocsc()
        self._from_half, self._indices, self._start = whole.data - 1, whole.indices, whole.indptr
        self._factor: SuperLU | None = None

    def solve(self, sums: np.ndarray, lift: np.ndarray, right_side: np.ndarray) -> np.ndarray | None:
        """None where the matrix is singular."""
        sums[self._diagonal] += lift * sums[self._diagonal].mean()
        matrix = csc_array((sums[self._from_half], self._indices, self._start))
        solution = self._iterate(matrix, right_side)
        if solution is None:
            self._factor = None  # two at a time would take twice the memory
            try:
                self._factor = splu(matrix, permc_spec="NATURAL", **_FACTOR)
            except RuntimeError:
                return None
            solution = self._factor.solve(right_side)
        return solution

    def _iterate(self, matrix: csc_array, right_side: np.ndarray) -> np.ndarray | None:
        if self._factor is None or matrix.shape[0] <= EXACT_UNKNOWNS:
            return None
        guess = LinearOperator(matrix.shape, self._factor.solve)
        solution, failed = cg(matrix, right_side, rtol=LOOSE, maxiter=MOST_ROUNDS, M=guess)
        return None if failed else solution


def _graph(count: int, blocks: list[np.ndarray]) -> csc_array:
    """(v, v) minus one, or a multiple, where two vertices share an element."""
    row = np.concatenate([np.repeat(block, block.shape[1], axis=1).ravel() for block in blocks])
    column = np.concatenate([np.tile(block, (1, block.shape[1])).ravel() for block in blocks])
    return csc_array((np.full(len(row), -1.0), (row, column)), shape=(count, count))


def _narrow_place(graph: csc_array) -> np.ndarray:
    """(v,) where each vertex stands in an order that keeps neighbours near: walked in breadth from a far end, as
    E. Cuthill, J. McKee, Reducing the Bandwidth of Sparse Symmetric Matrices, Proc. 24th ACM Conf. 1969."""
    place, order = np.zeros(graph.shape[0], np.int64), np.zeros(1, np.int64)
    for _ in range(2):
        order = breadth_first_order(graph, order[-1], return_predecessors=False)
    # what does not hang together is left where it is
    rest = np.setdiff1d(np.arange(len(place)), order) if len(order) < len(place) else order[:0]
    place[np.concatenate([order, rest])] = np.arange(len(place))
    return place


def _fill_reducing_place(graph: csc_array) -> np.ndarray:
    """(v,) where each vertex stands in an order that keeps the factors sparse (minimum degree)."""
    graph.setdiag(1.0 - graph.sum(axis=0))
    return splu(graph, permc_spec="MMD_AT_PLUS_A", **_FACTOR).perm_c.astype(np.int64)


def add_at(total: np.ndarray, vertices: np.ndarray, parts: np.ndarray) -> None:
    """Sum parts (e, 2 s) of elements with vertices (e, s) into total (v, 2)."""
    index = vertices.T.ravel()
    by_axis = parts.T.reshape(vertices.shape[1], 2, -1)
    for axis in range(2):
        total[:, axis] += np.bincount(index, by_axis[:, axis].ravel(), len(total))
