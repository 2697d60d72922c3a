"""Findings on a finished pattern: what will build badly, where, and what mends it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .check import Finding, numbers, worst_first
from .flatten.overlap import crossing_steps, freeing_cut
from .joints import inside_parts
from .pattern import Pattern, PatternPiece
from .settings import Settings

BUTT_MISMATCH_MM = 2.0
"""Overlap or gap at the inside face that glue and filler still take up (common practice)."""


def examine_pattern(pattern: Pattern, settings: Settings) -> tuple[Finding, ...]:
    """What will build badly in a finished pattern, worst first."""
    found: list[Finding] = []
    for piece in pattern.pieces:
        found += [*_strain(piece), *_deep_grooves(piece), *_overlaps(pattern, piece), *_lost_insides(pattern, piece)]
    return worst_first([*found, *_bevels(pattern, settings), *_butts(pattern)])


def _strain(piece: PatternPiece) -> Iterator[Finding]:
    """What a piece must stretch or give: the strain that 99 % of its flat area keeps to, and the worst."""
    strain = np.abs(piece.stretch - 1).max(axis=1)
    a, b, c = (piece.flat[piece.patch.triangles[:, i]] for i in range(3))
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0])
    order = np.argsort(strain)
    common = float(strain[order][np.searchsorted(np.cumsum(area[order]), 0.99 * area.sum())])
    worst = float(strain.max())
    stock = piece.stock
    words = f"{common:.1%} over 99 % of its area, {worst:.1%} at worst"

    def faces_over(limit: float) -> tuple[int, ...]:
        return numbers(np.unique(piece.patch.triangle_face[strain > limit]))

    if common > stock.hot_limit:
        yield Finding(
            "hot-strain",
            "warn",
            f"Piece {piece.name} must stretch or squeeze by {words}; {stock.name} stands "
            f"{stock.hot_limit:.0%} when heated.",
            "Mark a seam or a dart through the strained faces, or choose smaller pieces.",
            piece=piece.name,
            faces=faces_over(stock.hot_limit),
        )
    elif common > stock.cold_limit or worst > stock.hot_limit:
        yield Finding(
            "cold-strain",
            "note",
            f"Piece {piece.name} must stretch or squeeze by {words}; {stock.name} stands {stock.cold_limit:.0%} cold.",
            "Form it warm, in moving air and by the foam's safety data sheet, or mark a dart through these faces.",
            piece=piece.name,
            faces=faces_over(stock.cold_limit),
        )


def _deep_grooves(piece: PatternPiece) -> Iterator[Finding]:
    for fold in piece.folds:
        if fold.depth_mm >= piece.stock.thickness_mm:
            yield Finding(
                "deep-groove",
                "warn",
                f"Piece {piece.name}: a {fold.kind} of {fold.depth_mm:.1f} mm cuts through {piece.stock.name}.",
                "Choose thicker foam or a thicker skin, or mark the fold as a seam.",
                piece=piece.name,
                edges=numbers(fold.edges),
            )


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


def _bevels(pattern: Pattern, settings: Settings) -> Iterator[Finding]:
    for number, piece in enumerate(pattern.pieces):
        heavy = [
            (joint, abs(side.bevel_deg))
            for joint in pattern.joints
            for side in (joint.a, joint.b)
            if side.piece == piece.name and abs(side.bevel_deg) > settings.heavy_bevel_deg
        ]
        if not heavy:
            continue
        letters = list(dict.fromkeys(joint.letter for joint, _ in heavy))
        edges = np.unique(np.concatenate([joint.edges for joint, _ in heavy]))
        faces = np.unique(pattern.shell.edge_faces[edges])
        yield Finding(
            "heavy-bevel",
            "warn",
            f"Piece {piece.name} needs bevels of up to {max(bevel for _, bevel in heavy):.1f}°, over the limit of "
            f"{settings.heavy_bevel_deg:.1f}°, at joint{'s' if len(letters) > 1 else ''} {', '.join(letters)}.",
            "Share the bend as a mitre, or add a narrow piece between the two; a blade slips easily at such an "
            "angle, so cut away from yourself in several passes.",
            piece=piece.name,
            edges=numbers(edges),
            faces=numbers(faces[(faces >= 0) & (pattern.piece_of_face[faces] == number)]),
        )


def _butts(pattern: Pattern) -> Iterator[Finding]:
    for joint in pattern.joints:
        if joint.rule == "butt" and abs(joint.mismatch_mm) > BUTT_MISMATCH_MM:
            what = "overlap" if joint.mismatch_mm > 0 else "gape"
            yield Finding(
                "butt-mismatch",
                "warn",
                f"Joint {joint.letter} between {joint.a.piece} and {joint.b.piece}: square edges {what} "
                f"by {abs(joint.mismatch_mm):.1f} mm at the inside face.",
                "Bevel this joint (mitre or one-sided), or lower the butt limit.",
                edges=numbers(joint.edges),
            )
