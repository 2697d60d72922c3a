"""A cutting plan: the seams, why each cut is there, and what becomes of every piece."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..shell import Shell


@dataclass(frozen=True, eq=False)
class PieceOutlook:
    """What becomes of one piece of a plan.

    faces : (p,) int, shell faces
    strain : part of 1 that 99 % of the area stays under when the piece is laid flat; infinite where it cannot be
    size_mm : long and short side of the smallest rectangle around it
    """

    faces: np.ndarray
    strain: float
    size_mm: tuple[float, float]
    lies_over_itself: bool


@dataclass(frozen=True, eq=False)
class Cut:
    """One run of seam edges, and its mirror image if it has one, with the reason for it.

    edges : (e,) int, shell edges
    length_mm : of all its edges
    strain_before, strain_after : worst strain of the pieces beside it, without the cut (in a plan a forecast; infinite
        where the piece would be closed, a tube or a handle) and with it
    pieces_added : 0 for a dart, 1 or more where it parts pieces
    bend_deg : mean bend along it, + ridge, - valley: what its bevels take up, or a fold would instead
    kept : whether it is the maker's own
    """

    edges: np.ndarray
    length_mm: float
    strain_before: float
    strain_after: float
    pieces_added: int
    bend_deg: float
    kept: bool

    @property
    def reason(self) -> str:
        """The cut in the maker's words."""
        what = "your seam" if self.kept else "dart" if self.pieces_added == 0 else "seam"
        then = f"{percent(self.strain_after):.1f} % with it"
        if np.isfinite(self.strain_before):
            why = f"strain about {percent(self.strain_before):.1f} % without it, {then}"
        else:
            why = f"it could not be laid flat without it; strain {then}"
        return f"{what}, {self.length_mm:.0f} mm: {why}"


@dataclass(frozen=True, eq=False)
class Plan:
    """A suggestion. `shell` carries its seams; nothing is changed until the maker takes it."""

    shell: Shell
    cuts: tuple[Cut, ...]
    pieces: tuple[PieceOutlook, ...]

    @property
    def seam(self) -> np.ndarray:
        return self.shell.seam

    @property
    def length_mm(self) -> float:
        return float(self.shell.edge_length[self.shell.seam].sum())

    @property
    def strain(self) -> float:
        return max(piece.strain for piece in self.pieces)


def percent(strain: float) -> float:
    """A strain in percent, rounded up to a tenth, so that what is over a limit does not read as if it kept to it."""
    return float(np.ceil(1000 * strain - 1e-6)) / 10 + 0.0


def mean_bend_deg(shell: Shell, edges: np.ndarray) -> float:
    """Mean over the length of some edges (e,), + ridge, - valley."""
    weight = np.maximum(shell.edge_length[edges], 1e-12)
    return float(np.degrees(np.average(shell.edge_bend[edges], weights=weight)))
