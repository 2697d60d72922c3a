"""Flags at gaps of a piece that its bevels close on the far face: both sides need the same foam of the sheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from .check import Finding, numbers
from .corner_flags import KNIFE_MM
from .joints import bevel_slope
from .outline import REACH, TIDY_MM
from .pattern import Pattern, PatternPiece
from .settings import Settings

APART_MM = 5.0
"""How close along a rim the width of a gap is looked at."""

FACING = 0.8
"""Cosine of the angle between two sides of a corner that is no gap: sharper ones, under 37 degrees, an offset does not
follow to the tip (`outline.REACH`)."""


def gap_flags(pattern: Pattern, settings: Settings) -> Iterator[Finding]:
    """Pieces whose far face would have to go on where another part of it lies.

    Beside a corner that is not sharp two rims share the foam between them half and half: that is no gap.
    """
    far, near = ("outside", "inside") if settings.model_is_inside else ("inside", "outside")
    for number, piece in enumerate(pattern.pieces):
        rims = _Rims.of(pattern, piece, settings.model_is_inside)
        lacking = rims.lacking()
        short = lacking > KNIFE_MM
        if not short.any():
            continue
        letters = list(dict.fromkeys(rims.letter[short]))
        edges = np.unique(rims.edge[short])
        beside = np.unique(pattern.shell.edge_faces[edges])
        yield Finding(
            "closed-gap",
            "warn" if lacking.max() > settings.butt_mismatch_mm else "note",
            f"Piece {piece.name}: its bevels at {', '.join(letters)} need foam across a gap of the same piece, and "
            f"lack up to {lacking.max():.1f} mm of it at the {far} face.",
            f"Cut the gap along the outline of the {near} face, and fill what gapes; or set these joints to butt, or "
            "mark a seam that parts both sides of the gap.",
            piece=piece.name,
            edges=numbers(edges),
            faces=numbers(beside[(beside >= 0) & (pattern.piece_of_face[beside] == number)]),
        )


@dataclass(frozen=True, eq=False)
class _Rims:
    """The rim steps of a piece on the modelled face.

    start, end (n, 2) mm; loop (n,) int; arc (n,) mm along the loop to the start, whole (n,) mm all of it
    out (n,) mm, how far outside it the far face goes; edge (n,) int of the shell; letter (n,) of the run
    """

    start: np.ndarray
    end: np.ndarray
    loop: np.ndarray
    arc: np.ndarray
    whole: np.ndarray
    out: np.ndarray
    edge: np.ndarray
    letter: np.ndarray

    @classmethod
    def of(cls, pattern: Pattern, piece: PatternPiece, model_is_inside: bool) -> _Rims:
        patch = piece.patch
        lengths = patch.step_lengths(piece.flat)
        out = [np.zeros(len(loop)) for loop in patch.loops]
        letter = [np.full(len(loop), "", object) for loop in patch.loops]
        way = 1 if model_is_inside else -1
        for run in pattern.runs:
            for side in run.sides:
                if side.piece == piece.name:
                    slope = way * piece.stock.thickness_mm * bevel_slope(side.bevels_deg)
                    out[side.loop][side.steps] = np.maximum(slope, 0)
                    letter[side.loop][side.steps] = run.letter
        return cls(
            start=piece.flat[np.concatenate(patch.loops)],
            end=piece.flat[np.concatenate([np.roll(loop, -1) for loop in patch.loops])],
            loop=np.repeat(np.arange(len(patch.loops)), [len(loop) for loop in patch.loops]),
            arc=np.concatenate([np.cumsum(length) - length for length in lengths]),
            whole=np.concatenate([np.full(len(length), length.sum()) for length in lengths]),
            out=np.concatenate(out),
            edge=np.concatenate(patch.loop_edges),
            letter=np.concatenate(letter),
        )

    def lacking(self) -> np.ndarray:
        """(n,) mm of foam that each step's far face lacks because the other side of a gap has it, at most."""
        lacking = np.zeros(len(self.out))
        step, length = self.end - self.start, np.linalg.norm(self.end - self.start, axis=1)
        leaning = np.flatnonzero((self.out > KNIFE_MM) & (length > 0))
        if not len(leaning):
            return lacking
        away = np.stack([step[:, 1], -step[:, 0]], axis=1) / np.where(length > 0, length, 1)[:, None]
        counts = np.ceil(length[leaning] / APART_MM).astype(int)
        own = np.repeat(leaning, counts)
        part = np.concatenate([(np.arange(count) + 0.5) / count for count in counts])
        points, ways = self.start[own] + part[:, None] * step[own], away[own]
        rays = shapely.linestrings(
            np.stack([points - TIDY_MM * ways, points + (self.out[own] + self.out.max())[:, None] * ways], axis=1)
        )
        sides = shapely.STRtree(shapely.linestrings(np.stack([self.start, self.end], axis=1)))
        ray, side = sides.query(rays, predicate="intersects")
        ray, side = ray[own[ray] != side], side[own[ray] != side]
        here = own[ray]
        across = _cross(ways[ray], step[side])
        wide = _cross(self.start[side] - points[ray], step[side]) / np.where(across == 0, np.inf, across)
        facing = -np.einsum("ij,ij->i", ways[ray], away[side])
        theirs = np.where(facing > FACING, self.out[side] / np.maximum(facing, FACING), 0)
        far = self._along_rim(here, part[ray] * length[here], side) > 2 * REACH * np.maximum(self.out[here], theirs)
        is_gap = (facing > FACING) | (far & (facing > 0))
        short = np.where(is_gap, self.out[here] + theirs - np.maximum(wide, 0), 0)
        np.maximum.at(lacking, here, short)
        return lacking

    def _along_rim(self, here: np.ndarray, on: np.ndarray, there: np.ndarray) -> np.ndarray:
        """(k,) mm along the rim from `on` mm past the starts of steps to other steps, infinite on another rim."""
        way = np.abs(self.arc[here] + on - self.arc[there])
        return np.where(self.loop[here] == self.loop[there], np.minimum(way, self.whole[here] - way), np.inf)


def _cross(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """(k,) of vectors (k, 2)."""
    return one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]
