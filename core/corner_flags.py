"""Flags at corners where pieces meet only in a point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from .check import Finding, numbers
from .corner_trims import Corners, CornerTrim
from .pattern import Pattern
from .settings import Settings

KNIFE_MM = 0.3
"""What no knife cuts by intent (common practice)."""


def corner_flags(pattern: Pattern, corners: Corners, settings: Settings) -> Iterator[Finding]:
    """Corners whose tips are cut off the far face, and those where two pieces overlap with nothing to part them."""
    names = [piece.name for piece in pattern.pieces]
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
                faces=_around(pattern, [trim.vertex for trim in own], [number]),
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
            faces=_around(pattern, [clash.vertex], [names.index(name) for name in clash.pieces]),
        )


def _place_of(trim: CornerTrim) -> str:
    """ "of A and D by 2.0 mm, against P7"."""
    return f"of {' and '.join(trim.runs)} by {trim.depth_mm:.1f} mm, against {' and '.join(trim.others)}"


def _around(pattern: Pattern, vertices: Sequence[int], pieces: Sequence[int]) -> tuple[int, ...]:
    """Shell faces at the vertices that are of these pieces, by their places in the pattern."""
    faces = np.unique(pattern.shell.corner_face[np.isin(pattern.shell.corner_vertex, vertices)])
    return numbers(faces[np.isin(pattern.piece_of_face[faces], pieces)])
