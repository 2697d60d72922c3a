"""Whether a flat is one that foam could be, and if not, why."""

from __future__ import annotations

import numpy as np

from .energy import RestTriangles
from .start import is_upright
from .strain import COMMON, area_quantile, log_strain, stretches

TORN = 3.0
"""Times its length that 99 % (`COMMON`) of a piece may be pulled or squeezed. EVA tears when it is pulled to about
three times its length (elongation at break of some 200 %, from memory): beyond, a flat is none, however formed."""

WILD = 20.0
"""The same at the worst spot. A sliver of a scan may be far off and decide nothing; farther is no solution."""


def common_strain(flat: np.ndarray, triangles: np.ndarray, rest: RestTriangles) -> float:
    """Logarithmic strain that 99 % of the area at rest keeps to; infinite for a flat that is not upright."""
    if not is_upright(flat, triangles):
        return np.inf
    return area_quantile(log_strain(stretches(flat, triangles, rest)), rest.area, COMMON)


def fault_of(flat: np.ndarray, triangles: np.ndarray, rest: RestTriangles) -> str:
    """What keeps a flat (v, 2) from being one, in words that go on from the piece's name; empty if nothing does."""
    if not is_upright(flat, triangles):
        return "cannot be laid flat without turning faces over"
    strain = log_strain(stretches(flat, triangles, rest))
    common, worst = np.exp(area_quantile(strain, rest.area, COMMON)), np.exp(strain.max())
    if common > TORN:
        return f"would have to be pulled or squeezed to {common:.1f} times its length to lie flat, which tears any foam"
    if worst > WILD:
        return f"would have to be pulled or squeezed to {worst:.0f} times its length at one spot to lie flat"
    return ""
