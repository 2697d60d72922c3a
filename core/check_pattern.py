"""Findings on a finished pattern: what will build badly, where, and what mends it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .check import Finding, numbers, worst_first
from .corner_trims import CornerTrim, find_corners
from .flags import flags
from .flatten.overlap import crossing_steps, freeing_cut
from .joints import far_parts
from .layers import buildup_findings
from .pattern import Pattern, PatternPiece
from .report import seam_lengths
from .settings import Settings


def examine_pattern(pattern: Pattern, settings: Settings) -> tuple[Finding, ...]:
    """What will build badly in a finished pattern, worst first."""
    found: list[Finding] = []
    for piece in pattern.pieces:
        found += [*_overlaps(pattern, piece), *_lost_faces(pattern, piece, settings.model_is_inside)]
    found += [*_unequal_seams(pattern), *_corners(pattern, settings)]
    return worst_first([*found, *flags(pattern, settings), *buildup_findings(pattern, settings)])


SEAM_APART_MM = 0.5
"""Difference along a seam that glue and a thumb take up (common practice)."""

KNIFE_MM = 0.3
"""What no knife cuts by intent (common practice)."""


def _unequal_seams(pattern: Pattern) -> Iterator[Finding]:
    for joint, seam in zip(pattern.joints, seam_lengths(pattern), strict=True):
        if seam.apart_mm > SEAM_APART_MM:
            yield Finding(
                "unequal-seam",
                "warn",
                f"Joint {joint.letter} is {seam.length_a_mm:.1f} mm long on {joint.a.piece} and "
                f"{seam.length_b_mm:.1f} mm on {joint.b.piece}; its notches lie up to {seam.apart_mm:.1f} mm apart.",
                "Set the seam priority to 1, or ease the longer side in while gluing.",
                edges=numbers(joint.edges),
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


def _lost_faces(pattern: Pattern, piece: PatternPiece, model_is_inside: bool) -> Iterator[Finding]:
    parts = far_parts(piece, piece.flat, pattern.runs, model_is_inside)
    if len(parts) == 1:
        return
    face = "outside face" if model_is_inside else "inside face"
    what = f"leave nothing of its {face}" if not parts else f"split its {face} into {len(parts)} parts"
    yield Finding(
        "narrow-piece",
        "warn",
        f"Piece {piece.name} is too narrow for its bevels: they {what}.",
        "Give the piece thinner foam, set its joints to butt, or join it to a neighbour.",
        piece=piece.name,
        faces=numbers(piece.faces),
    )


def _corners(pattern: Pattern, settings: Settings) -> Iterator[Finding]:
    """Corners whose tips are cut off the far face, and those where two pieces overlap with nothing to part them."""
    flats = [piece.flat for piece in pattern.pieces]
    corners = find_corners(pattern.shell, pattern.pieces, flats, pattern.runs, settings.model_is_inside)
    far, near = ("outside", "inside") if settings.model_is_inside else ("inside", "outside")
    for number, piece in enumerate(pattern.pieces):
        own = [trim for trim in corners.trims if trim.piece == piece.name and trim.depth_mm > KNIFE_MM]
        if own:
            yield Finding(
                "corner-trim",
                "note",
                f"Piece {piece.name} would run into pieces that it meets only in a point: trim its {far} "
                f"corner{'s' if len(own) > 1 else ''} {'; '.join(_place_of(trim) for trim in own)}.",
                f"Cut to the outline of the {far} face, which leaves the tip out; the {near} face keeps its point.",
                piece=piece.name,
                vertices=tuple(trim.vertex for trim in own),
                faces=_around(pattern, [trim.vertex for trim in own], number),
            )
    for clash in corners.clashes:
        if clash.overlap_mm <= (settings.butt_mismatch_mm if clash.square else KNIFE_MM):
            continue
        one, other = clash.pieces
        yield Finding(
            "corner-overlap",
            "warn",
            f"Pieces {one} and {other} meet only in a point, at vertex {clash.vertex}, but overlap by "
            f"{clash.overlap_mm:.1f} mm behind it{', because both are cut square' if clash.square else ''}.",
            "Mitre the joints that end there, or shave one of the two while fitting."
            if clash.square
            else "Shave one of the two while fitting, choose thinner foam, or let only three pieces meet there.",
            piece=one,
            vertices=(clash.vertex,),
            faces=_around(pattern, [clash.vertex]),
        )


def _place_of(trim: CornerTrim) -> str:
    """ "of A and D by 2.0 mm, against P7"."""
    return f"of {' and '.join(trim.runs)} by {trim.depth_mm:.1f} mm, against {' and '.join(trim.others)}"


def _around(pattern: Pattern, vertices: list[int], piece: int | None = None) -> tuple[int, ...]:
    """Shell faces at the vertices, of one piece if it is given by its place in the pattern."""
    faces = np.unique(pattern.shell.corner_face[np.isin(pattern.shell.corner_vertex, vertices)])
    return numbers(faces if piece is None else faces[pattern.piece_of_face[faces] == piece])
