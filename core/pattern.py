"""`Pattern`: the whole result of one run. Every writer and the viewport read it and nothing else."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from .check import Finding, worst_first
from .flatten import Flat
from .flatten.overlap import lies_over_itself
from .foam import Stock
from .folds import FoldRun
from .joints import JointRun, RimRun, Run
from .layout import Sheet
from .marks import Note
from .notches import Notch
from .patch import Patch
from .pieces import Piece
from .shell import Shell
from .tight_bends import TightBend


@dataclass(frozen=True, eq=False)
class PatternPiece:
    """A piece with everything that is drawn on it; all rings and points in mm on its own flat.

    flat : (v, 2) mm, patch vertices on the flat, outside face up
    stretch : (m, 2) per patch triangle, largest and smallest stretch from flat to shell (1: unchanged)
    rim_reference : per loop of the patch (r,) mm, length of each rim step on the reference surface
    outside_outline, inside_outline : closed rings (r, 2), first point repeated at the end; the outer ring
        counter-clockwise and first, then holes clockwise
    bends : smooth bends tighter than the stock allows
    layer_of : of a build-up layer, the panel it belongs to; its patch and faces are the panel's
    """

    name: str
    mate: str | None
    group: str
    stock: Stock
    faces: np.ndarray
    patch: Patch
    flat: np.ndarray
    stretch: np.ndarray
    rim_reference: tuple[np.ndarray, ...]
    outside_outline: tuple[np.ndarray, ...]
    inside_outline: tuple[np.ndarray, ...]
    folds: tuple[FoldRun, ...] = ()
    notches: tuple[Notch, ...] = ()
    notes: tuple[Note, ...] = ()
    bends: tuple[TightBend, ...] = ()
    layer_of: str | None = None

    @classmethod
    def bare(
        cls, piece: Piece, flat: Flat, outside: tuple[np.ndarray, ...], inside: tuple[np.ndarray, ...]
    ) -> PatternPiece:
        """A piece laid flat, with its outlines and nothing drawn inside them yet."""
        return cls(
            name=piece.name,
            mate=piece.mate,
            group=piece.group,
            stock=piece.stock,
            faces=piece.faces,
            patch=piece.patch,
            flat=flat.vertices,
            stretch=flat.stretch,
            rim_reference=flat.rim_reference,
            outside_outline=outside,
            inside_outline=inside,
        )

    @cached_property
    def lies_over_itself(self) -> bool:
        """It covers some foam twice, and cannot be cut from one sheet."""
        return lies_over_itself(self.flat, self.patch.loops)

    @cached_property
    def largest_stretch(self) -> float:
        return float(self.stretch[:, 0].max())

    @cached_property
    def largest_squeeze(self) -> float:
        return float(self.stretch[:, 1].min())


@dataclass(frozen=True, eq=False)
class Pattern:
    """The way of the data, walked to its end.

    piece_of_face : (f,) int, index into `pieces` for every shell face
    findings : what the maker should know, worst first
    rims : open rims, which no other piece meets
    layers : what is cut to go under raised panels; they have no faces of their own
    """

    shell: Shell
    piece_of_face: np.ndarray
    pieces: tuple[PatternPiece, ...]
    joints: tuple[JointRun, ...]
    sheets: tuple[Sheet, ...]
    findings: tuple[Finding, ...]
    rims: tuple[RimRun, ...] = ()
    layers: tuple[PatternPiece, ...] = ()

    @property
    def parts(self) -> tuple[PatternPiece, ...]:
        """All that is cut from foam."""
        return *self.pieces, *self.layers

    @property
    def runs(self) -> tuple[Run, ...]:
        """Joints and open rims: all that gives an edge of a piece its bevel."""
        return *self.joints, *self.rims

    def piece(self, name: str) -> PatternPiece:
        return next(piece for piece in self.parts if piece.name == name)

    def with_findings(self, findings: tuple[Finding, ...]) -> Pattern:
        """The findings worst first."""
        return replace(self, findings=worst_first(findings))
