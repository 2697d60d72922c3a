"""From curved to flat: the reference surface, a start, the strain energy and its solver."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class Flat:
    """A patch laid flat, outside face up.

    vertices : (v, 2) mm, one per patch vertex
    stretch : (m, 2) per patch triangle, largest and smallest length on the shell's reference surface over
        length on the flat (over 1 the foam is pulled, under 1 squeezed)
    """

    vertices: np.ndarray
    stretch: np.ndarray
