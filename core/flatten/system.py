"""The sparse linear system of a Newton step: laid out once, filled and solved many times."""

from __future__ import annotations

import numpy as np
from scipy.sparse import csc_array
from scipy.sparse.linalg import splu


class StepSystem:
    """Symmetric positive matrices over 2 unknowns a vertex, summed from small dense blocks.

    blocks : arrays (b, s) of vertex numbers, one row per element of s corners; the element matrices given to
        `solve` are (b, 2 s, 2 s), corner by corner, x then y.
    """

    def __init__(self, vertex_count: int, blocks: list[np.ndarray]) -> None:
        self.unknowns = 2 * vertex_count
        rows, columns = [], []
        for block in blocks:
            unknown = (2 * block[:, :, None] + np.arange(2)).reshape(len(block), -1)
            rows.append(np.repeat(unknown, unknown.shape[1], axis=1).ravel())
            columns.append(np.tile(unknown, (1, unknown.shape[1])).ravel())
        diagonal = np.arange(self.unknowns)
        self._order = None
        self._row, self._column = np.concatenate([*rows, diagonal]), np.concatenate([*columns, diagonal])
        self._lay_out(np.arange(self.unknowns))

    def _lay_out(self, place: np.ndarray) -> None:
        """Where each element entry goes once unknown i stands at `place[i]`."""
        keys = place[self._column] * self.unknowns + place[self._row]
        entries, self._entry = np.unique(keys, return_inverse=True)
        self._indices = entries % self.unknowns
        self._start = np.searchsorted(entries // self.unknowns, np.arange(self.unknowns + 1))
        self._count = len(entries)

    def solve(self, elements: list[np.ndarray], shift: float, right_side: np.ndarray) -> np.ndarray:
        """Solution (v, 2) of (sum of elements + shift times the mean diagonal) x = right_side (v, 2)."""
        values = np.concatenate([*(element.ravel() for element in elements), np.zeros(self.unknowns)])
        on_diagonal = self._row == self._column
        values[-self.unknowns :] = shift * values[on_diagonal].sum() / self.unknowns
        matrix = csc_array(
            (np.bincount(self._entry, values, self._count), self._indices, self._start), (self.unknowns,) * 2
        )
        options = {"SymmetricMode": True}
        if self._order is None:
            factor = splu(matrix, permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options=options)
            solution = factor.solve(right_side.ravel())
            # the fill-reducing order is kept: later matrices come laid out in it
            self._order = np.argsort(factor.perm_c)
            self._lay_out(factor.perm_c.astype(np.int64))
            return solution.reshape(-1, 2)
        factor = splu(matrix, permc_spec="NATURAL", diag_pivot_thresh=0.0, options=options)
        solution = np.empty(self.unknowns)
        solution[self._order] = factor.solve(right_side.ravel()[self._order])
        return solution.reshape(-1, 2)
