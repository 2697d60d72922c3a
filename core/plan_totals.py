"""What a cutting plan comes to when some of its cuts are left out."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, replace

import numpy as np

from .errors import MeshError
from .flatten import Flattener, try_flat
from .folds import find_folds
from .pieces import cut_pieces, split
from .progress import Steps
from .seams.outlook import laid_of
from .seams.plan import Plan
from .settings import Settings
from .shell import Shell


@dataclass(frozen=True, eq=False)
class PieceResult:
    """How a piece comes out: the strain that 99 % of its area keeps to, infinite where it cannot be laid flat."""

    strain: float
    lies_over_itself: bool


@dataclass(frozen=True, eq=False)
class Totals:
    """Of a shell as it is cut. results : one per piece, None while they have not been laid flat."""

    pieces: int
    length_mm: float
    results: tuple[PieceResult, ...] | None


class Reckoning:
    """Totals of the ways to cut that were looked at so far, each remembered by its seams."""

    def __init__(self) -> None:
        self._known: dict[bytes, tuple[PieceResult, ...]] = {}

    def keep(self, plan: Plan) -> None:
        """Remember what a plan says of its pieces."""
        results = tuple(PieceResult(piece.strain, piece.lies_over_itself) for piece in plan.pieces)
        self._known[_print_of(plan.shell)] = results

    def totals(self, shell: Shell) -> Totals:
        """Pieces and length at once; the rest if it is known."""
        length = shell.edge_length[_cuts(shell)].sum()
        return Totals(int(split(shell).max()) + 1, float(length), self._known.get(_print_of(shell)))

    def work_out(self, shell: Shell, settings: Settings, flattener: Flattener | None = None) -> Steps[Totals]:
        """All of it, every piece laid flat in the settings' foam as the pattern will lay it. Yields Progress.

        flattener : with what it remembers only the pieces beside a changed cut are work
        """
        known = _print_of(shell)
        if known not in self._known:
            self._known[known] = yield from _laid_flat(shell, replace(settings, pieces={}), flattener)
        return self.totals(shell)


def _cuts(shell: Shell) -> np.ndarray:
    """(k,) bool, the seams that part something: those on an open rim do not."""
    return shell.seam & shell.edge_is_consistent


def _print_of(shell: Shell) -> bytes:
    shape = hashlib.sha256()
    for part in (shell.vertices, shell.corner_vertex, shell.face_start, _cuts(shell)):
        shape.update(np.ascontiguousarray(part).tobytes())
    return shape.digest()


def _laid_flat(shell: Shell, settings: Settings, flattener: Flattener | None) -> Steps[tuple[PieceResult, ...]]:
    try:
        pieces, _ = cut_pieces(shell, settings)
    except MeshError:  # a piece is closed: the plan does not work without the cut
        return (PieceResult(np.inf, False),) * (int(split(shell).max()) + 1)
    folds = [find_folds(shell, piece, settings) for piece in pieces]
    flats = yield from try_flat(shell, pieces, folds, settings, flattener)
    laid = [laid_of(flat.vertices, flat.stretch, piece.patch) for piece, flat in zip(pieces, flats, strict=True)]
    return tuple(PieceResult(one.strain, one.doubled > 0) for one in laid)
