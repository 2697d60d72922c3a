"""Left and right of a plan: the mirror image of every edge and face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..shell import Shell
from ..symmetry import mirror_map


@dataclass(frozen=True, eq=False)
class Twins:
    """Images across the mirror plane, an element's own number where it has none.

    edge : (k,) int; face : (f,) int; vertex : (n,) int, -1 where it has none
    left : (n,) bool, vertices that are not on the other side of the plane
    on_plane : (k,) bool, edges that lie in the plane
    """

    edge: np.ndarray
    face: np.ndarray
    vertex: np.ndarray
    left: np.ndarray
    on_plane: np.ndarray

    @classmethod
    def of(cls, shell: Shell) -> Twins | None:
        """The twins of a shell that mirrors itself in its larger part; None for any other."""
        mirror = mirror_map(shell)
        if mirror is None:
            return None
        image = shell.edge_between(mirror.vertex[shell.edges])
        image[(mirror.vertex[shell.edges] < 0).any(axis=1)] = -1
        own = np.arange(shell.edge_count)
        side = shell.vertices[:, mirror.axis] - mirror.offset
        tolerance = 1e-4 * float(shell.size.max())
        on_plane = (np.abs(side)[shell.edges] <= tolerance).all(axis=1) & (image == own)
        face = np.where(mirror.face >= 0, mirror.face, np.arange(shell.face_count))
        return cls(np.where(image >= 0, image, own), face, mirror.vertex, side >= -tolerance, on_plane)
