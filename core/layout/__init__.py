"""Where the pieces lie: nested on foam sheets, and on the pages of a printer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Placement:
    """A piece turned about the origin of its flat by `angle` (rad), then moved by (`x`, `y`) mm."""

    piece: str
    angle: float
    x: float
    y: float

    def apply(self, points: np.ndarray) -> np.ndarray:
        """points (n, 2) mm on the flat to (n, 2) mm on the sheet, origin at its lower left corner, y up."""
        cosine, sine = np.cos(self.angle), np.sin(self.angle)
        return np.asarray(points) @ np.array([[cosine, sine], [-sine, cosine]]) + (self.x, self.y)


@dataclass(frozen=True)
class Sheet:
    """One foam sheet with pieces placed on it.

    fill : area of the pieces over the area of the sheet's used length, 0 to 1
    """

    number: int
    stock: str
    width_mm: float
    height_mm: float
    placements: tuple[Placement, ...]
    fill: float
