"""What the maker asks of a cutting plan: limits for every piece, and a say on every edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import MeshError, SettingsError
from ..foam import Stock
from ..shell import Shell

CREASE_FROM, CREASE_FULL = float(np.radians(10)), float(np.radians(35))
"""Bends between which an edge turns from smooth into a crease, where a bevel or groove is cut anyway."""

CREASE_PRICE = 0.6
"""Price of a seam in a crease, of its length: it hides there, and saves the groove."""


@dataclass(frozen=True)
class SuggestionLimits:
    """What every piece of a plan must keep to.

    strain : part of 1, that 99 % of the piece's area stays under when laid flat
    sheet_mm : long and short side of the foam sheet or page that each piece must fit on
    narrowest_mm : pieces less wide than this are hard to handle, and avoided where they can be
    """

    strain: float = 0.05
    sheet_mm: tuple[float, float] = (1000.0, 600.0)
    narrowest_mm: float = 15.0

    def __post_init__(self) -> None:
        if not 0 < self.strain < 1:
            raise SettingsError(f"A strain limit of {self.strain:g} makes no sense; give a part between 0 and 1.")
        if min(self.sheet_mm) <= 0 or self.narrowest_mm < 0:
            raise SettingsError("The sheet needs a width and a height over 0 mm, the narrowest piece 0 mm or more.")

    @classmethod
    def of(cls, stock: Stock) -> SuggestionLimits:
        """The limits of a foam stock worked cold."""
        sides = sorted((stock.sheet_width_mm, stock.sheet_height_mm), reverse=True)
        return cls(stock.cold_limit, (sides[0], sides[1]))


@dataclass(frozen=True, eq=False)
class EdgeChoices:
    """The maker's say on edges; None means no choice.

    keep : (k,) bool, seams that stay whatever happens
    forbid : (k,) bool, edges that are never cut
    keep_whole : (n,) 0 to 1 per vertex, how much dearer a cut is there: 1 makes it ten times dearer
    cut_here : (n,) 0 to 1 per vertex, how much cheaper: 1 leaves a fifth of the price
    """

    keep: np.ndarray | None = None
    forbid: np.ndarray | None = None
    keep_whole: np.ndarray | None = None
    cut_here: np.ndarray | None = None


KEEP_WHOLE_PRICE, CUT_HERE_PRICE = 10.0, 0.2


def edge_price(shell: Shell, choices: EdgeChoices) -> np.ndarray:
    """(k,) mm, what a cut along each edge counts for: its length, less in a crease, more where it is unwanted."""
    bend = np.clip((np.abs(shell.edge_bend) - CREASE_FROM) / (CREASE_FULL - CREASE_FROM), 0, 1)
    price = shell.edge_length * (1 + (CREASE_PRICE - 1) * bend * bend * (3 - 2 * bend))
    for painted, factor in ((choices.keep_whole, KEEP_WHOLE_PRICE), (choices.cut_here, CUT_HERE_PRICE)):
        if painted is not None:
            price = price * factor ** np.clip(painted, 0, 1)[shell.edges].mean(axis=1)
    return np.maximum(price, 1e-9 * (shell.edge_length.max() or 1.0))


def chosen_faces(shell: Shell, faces: np.ndarray) -> np.ndarray:
    """(p,) int sorted, the faces to cut."""
    if not len(faces):
        raise MeshError(f"'{shell.name}': there is no face among those to cut; choose a piece, or some faces.")
    return np.sort(np.asarray(faces, np.int64))
