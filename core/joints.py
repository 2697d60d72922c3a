"""Joints: where two pieces meet, the bevel of each edge, and the outlines on both faces of the foam."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class JointSide:
    """One piece's share of a joint.

    loop : which rim of the piece's patch; steps : (k,) int, rim steps of that loop in the order of the run
        (step i goes from loop vertex i to the next; walked backwards on side b)
    path : (k + 1,) int, patch vertices in the order of the run
    length_mm : along the outside outline on the flat
    """

    piece: str
    loop: int
    steps: np.ndarray
    path: np.ndarray
    bevel_deg: float
    length_mm: float


@dataclass(frozen=True, eq=False)
class JointRun:
    """Seam edges between the same two pieces (or one piece and itself: a dart) with a steady bend.

    letter : its name, the same on both pieces
    edges : (k,) int, shell edges along the run
    bend_deg : length-weighted mean, + ridge, - valley; bend_least_deg and bend_most_deg bound it
    rule : "butt", "one-sided" or "mitre"
    mismatch_mm : for a butt joint, how far the edges overlap (+, squeezed) or gape (-) at the inside face
    """

    letter: str
    a: JointSide
    b: JointSide
    edges: np.ndarray
    bend_deg: float
    bend_least_deg: float
    bend_most_deg: float
    rule: str
    mismatch_mm: float
