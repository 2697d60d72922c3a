"""Cutting a shell into pieces along its seams, and what each piece is called."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .foam import Stock
from .patch import Patch


@dataclass(frozen=True, eq=False)
class Piece:
    """One connected part of the shell, cut from one sheet of foam.

    name : unique in the pattern; survives an edit that leaves most of its faces
    mate : the piece that mirrors it left to right, or None
    group : what it is glued up with, a word of the maker's
    faces : (p,) int, shell faces
    """

    name: str
    mate: str | None
    group: str
    stock: Stock
    faces: np.ndarray
    patch: Patch
