"""The sparse linear system of a Newton step: laid out once, filled and solved many times."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csc_array
from scipy.sparse.linalg import LinearOperator, SuperLU, cg, splu

EXACT_UNKNOWNS = 3_000
"""Systems up to this size are factored afresh each time: that costs less than a few rounds of iteration."""
MOST_ROUNDS = 8
"""Rounds of iteration on an old factorisation before a new one is worth its price."""
LOOSE = 0.05
"""Relative residual that serves for a Newton step."""

_FACTOR = {"diag_pivot_thresh": 0.0, "options": {"SymmetricMode": True}}


class StepSystem:
    """Symmetric positive matrices over 2 unknowns a vertex, summed from small dense blocks.

    blocks : arrays (b, s) of vertex numbers, one row per element of s corners; the element matrices given to
        `solve` are (b, 2 s, 2 s), corner by corner, x then y.
    """

    def __init__(self, vertex_count: int, blocks: list[np.ndarray]) -> None:
        self.vertex_count = vertex_count
        rows = [np.repeat(block, block.shape[1], axis=1).ravel() for block in blocks]
        columns = [np.tile(block, (1, block.shape[1])).ravel() for block in blocks]
        every = np.arange(vertex_count)
        row, column = np.concatenate([*rows, every]), np.concatenate([*columns, every])
        self._place = _fill_reducing_place(row, column, vertex_count)
        self._lay_out(self._place[row], self._place[column], [block.shape[1] for block in blocks])
        self._factor: SuperLU | None = None

    def _lay_out(self, row: np.ndarray, column: np.ndarray, sizes: list[int]) -> None:
        """Where each element entry goes; row, column : places of the two vertices of every corner pair."""
        count = self.vertex_count
        keys = column.astype(np.int64) * count + row
        pairs, pair_of_entry = np.unique(keys, return_inverse=True)
        start = np.searchsorted(pairs // count, np.arange(count + 1))
        height = np.diff(start)
        pair_column = pairs // count
        # the 2 x 2 block of a vertex pair: its rows stand together in each of the two matrix columns
        top = 4 * start[pair_column] + 2 * (np.arange(len(pairs)) - start[pair_column])
        right = top + 2 * height[pair_column]
        entry = np.stack([top, right, top + 1, right + 1], axis=1)
        self._indices = np.empty(4 * len(pairs), np.int64)
        self._indices[entry[:, :2]] = 2 * (pairs % count)[:, None]
        self._indices[entry[:, 2:]] = 2 * (pairs % count)[:, None] + 1
        widths = 2 * np.repeat(height, 2)
        self._start = np.concatenate([[0], np.cumsum(widths)])
        self._entry = entry[pair_of_entry[: len(pair_of_entry) - count]].astype(np.int32)
        self._diagonal = entry[pair_of_entry[len(pair_of_entry) - count :]][:, [0, 3]].ravel()

    def solve(self, elements: list[np.ndarray], shift: float, right_side: np.ndarray) -> np.ndarray:
        """Solution (v, 2) of (sum of elements + shift times the mean diagonal) x = right_side (v, 2).

        Large systems are solved to a relative residual of LOOSE by conjugate gradients on the last
        factorisation, as long as that goes quickly.
        """
        matrix = self._fill(elements, shift)
        wanted = np.empty_like(right_side)
        wanted[self._place] = right_side
        solution = self._iterate(matrix, wanted.ravel())
        if solution is None:
            self._factor = splu(matrix, permc_spec="NATURAL", **_FACTOR)
            solution = self._factor.solve(wanted.ravel())
        return solution.reshape(-1, 2)[self._place]

    def _fill(self, elements: list[np.ndarray], shift: float) -> csc_array:
        # (b, s, 2, s, 2) to (b, s, s, 2, 2): corner pairs in the order they were laid out
        blocks = [
            element.reshape(len(element), element.shape[1] // 2, 2, -1, 2).transpose(0, 1, 3, 2, 4).ravel()
            for element in elements
        ]
        values = np.bincount(self._entry.ravel(), np.concatenate(blocks), len(self._indices))
        values[self._diagonal] += shift * values[self._diagonal].mean()
        return csc_array((values, self._indices, self._start), shape=(2 * self.vertex_count,) * 2)

    def _iterate(self, matrix: csc_array, right_side: np.ndarray) -> np.ndarray | None:
        if self._factor is None or 2 * self.vertex_count <= EXACT_UNKNOWNS:
            return None
        guess = LinearOperator(matrix.shape, self._factor.solve)
        solution, failed = cg(matrix, right_side, rtol=LOOSE, maxiter=MOST_ROUNDS, M=guess)
        return None if failed else solution


def _fill_reducing_place(row: np.ndarray, column: np.ndarray, count: int) -> np.ndarray:
    """(v,) where each vertex stands in an order that keeps the factors sparse (minimum degree)."""
    graph = csc_array((np.full(len(row), -1.0), (row, column)), shape=(count, count))
    graph.setdiag(1.0 - graph.sum(axis=0))
    return splu(graph, permc_spec="MMD_AT_PLUS_A", **_FACTOR).perm_c.astype(np.int64)
