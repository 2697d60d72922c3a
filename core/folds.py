"""Folds: where one piece bends along a line, and how deep the knife goes on the inside face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class FoldRun:
    """One line of fold edges of a piece, all ridge or all valley.

    kind : "groove" (ridge: V-groove that closes) or "score" (valley: slit that opens and is filled)
    path : (k + 1,) int, patch vertices along the run
    edges : (k,) int, shell edges
    bend_deg : length-weighted mean, signed; bend_least_deg and bend_most_deg bound it
    depth_mm : cut depth from the inside face; mouth_mm : width at the inside face (groove: cut away,
        score: what opens), for the mean bend
    hinge_depth_mm : depth below the outside face of the line that keeps its length
    """

    piece: str
    kind: str
    path: np.ndarray
    edges: np.ndarray
    bend_deg: float
    bend_least_deg: float
    bend_most_deg: float
    depth_mm: float
    mouth_mm: float
    hinge_depth_mm: float
