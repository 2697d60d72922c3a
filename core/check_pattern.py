"""Findings on a finished pattern: what will build badly, where, and what mends it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .buildup import buildup_findings
from .check import Finding, numbers, worst_first
from .flags import flags
from .flatten.overlap import crossing_steps, freeing_cut
from .joints import inside_parts
from .pattern import Pattern, PatternPiece
from .settings import Settings


def examine_pattern(pattern: Pattern, settings: Settings) -> tuple[Finding, ...]:
    """What will build badly in a finished pattern, worst first."""
    found: list[Finding] = []
    for piece in pattern.pieces:
        found += [*_overlaps(pattern, piece), *_lost_insides(pattern, piece)]
    return worst_first([*found, *flags(pattern, settings), *buildup_findings(pattern, settings)])


def _overlaps(pattern: Pattern, piece: PatternPiece) -> Iterator[Finding]:
    if not len(crossing_steps(piece.flat, piece.patch.loops)):
        return

    def shell_edges(pairs: np.ndarray) -> np.ndarray:
        return pattern.shell.edge_between(piece.patch.shell_vertex[pairs])

    cut = freeing_cut(piece.flat, piece.patch, lambda pairs: shell_edges(pairs) >= 0)
    edges = shell_edges(np.stack([cut[:-1], cut[1:]], axis=1)) if len(cut) else np.empty(0, int)
    yield Finding(
        "overlap",
        "warn",
        f"Piece {piece.name} lies over itself on the flat and cannot be cut from one sheet.",
        f"Mark a seam that splits it ({len(edges)} edges would do)."
        if len(edges)
        else "Mark a seam across it between the parts that overlap.",
        piece=piece.name,
        edges=numbers(edges),
        faces=numbers(np.unique(piece.patch.triangle_face)),
    )


def _lost_insides(pattern: Pattern, piece: PatternPiece) -> Iterator[Finding]:
    parts = inside_parts(piece, piece.flat, pattern.runs)
    if len(parts) == 1:
        return
    what = "leave nothing of its inside face" if not parts else f"split its inside face into {len(parts)} parts"
    yield Finding(
        "narrow-piece",
        "warn",
        f"Piece {piece.name} is too narrow for its bevels: they {what}.",
        "Give the piece thinner foam, set its joints to butt, or join it to a neighbour.",
        piece=piece.name,
        faces=numbers(piece.faces),
    )
