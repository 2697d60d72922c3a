"""Findings on a finished pattern: what will build badly, where, and what mends it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from .check import Finding, numbers, worst_first
from .corner_trims import Corners, finding_corners
from .flags import STAGE, finding_flags
from .flatten import FORCED_GAP
from .flatten.overlap import freeing_path
from .gap_flags import gap_flags
from .joints import far_parts
from .layers import buildup_findings
from .makeable import WHY
from .pattern import Pattern, PatternPiece
from .progress import Progress, Steps, even, finish, share
from .report import layer_gaps, seam_lengths
from .settings import Settings


def examine_pattern(pattern: Pattern, settings: Settings) -> tuple[Finding, ...]:
    """What will build badly in a finished pattern, worst first: before all what cannot be made at all."""
    return finish(examining_pattern(pattern, settings))


def examining_pattern(pattern: Pattern, settings: Settings) -> Steps[tuple[Finding, ...]]:
    """As `examine_pattern`. Yields Progress."""
    flats = [piece.flat for piece in pattern.pieces]
    fitting = finding_corners(pattern.shell, pattern.pieces, flats, pattern.runs, settings.model_is_inside, STAGE)
    corners = yield from share(fitting, 0, CORNERS)
    found: list[Finding] = []
    for part, (first, _) in zip(pattern.parts, even(len(pattern.parts), CORNERS), strict=True):
        yield Progress(STAGE, CORNERS + (OUTLINES - CORNERS) * first)
        found += _overlaps(pattern, part)
    for piece in pattern.pieces:
        yield Progress(STAGE, OUTLINES)
        found += _lost_faces(pattern, piece, corners, settings.model_is_inside)
    found += [*_unequal_seams(pattern, settings.seam_priority), *gap_flags(pattern, settings)]
    found += yield from share(finding_flags(pattern, corners, settings), OUTLINES, FLAGGED)
    found += yield from share(buildup_findings(pattern, settings), FLAGGED, 1)
    return worst_first(sorted(found, key=lambda finding: finding.kind not in WHY))


CORNERS, OUTLINES, FLAGGED = 0.2, 0.5, 0.8
"""Parts of the work that are done when corners have been fitted again, outlines looked at and faces flagged, as
measured on helmets."""

SEAM_APART_MM = 0.5
"""Difference along a seam that glue and a thumb take up (common practice)."""


def _unequal_seams(pattern: Pattern, seam_priority: float) -> Iterator[Finding]:
    for joint, seam in zip(pattern.joints, seam_lengths(pattern), strict=True):
        if seam.apart_mm <= SEAM_APART_MM:
            continue
        gaps = layer_gaps(pattern, joint)
        tight = gaps > FORCED_GAP
        words = (
            f"Joint {joint.letter} is {seam.length_a_mm:.1f} mm long on {joint.a.piece} and "
            f"{seam.length_b_mm:.1f} mm on {joint.b.piece}; its notches lie up to {seam.apart_mm:.1f} mm apart."
        )
        mends = ["set the seam priority to 1"] if seam_priority < 1 else []
        if tight.any():
            words += (
                " A piece bends about as tightly there as its foam is thick: the layers inside the foam that keep "
                f"their length differ by up to {100 * gaps.max():.0f} % along it, and no seam is forced by more than "
                f"{100 * FORCED_GAP:.0f} %."
            )
            mends += ["choose thinner foam or a larger size", "lead the seam away from the tight bend"]
        mends.append("ease the longer side in while gluing")
        mend = f"{', '.join(mends[:-1])}, or {mends[-1]}." if len(mends) > 1 else f"{mends[-1]}."
        edges = joint.edges[tight] if tight.any() else joint.edges
        yield Finding("unequal-seam", "warn", words, mend[0].upper() + mend[1:], edges=numbers(edges))


def _overlaps(pattern: Pattern, part: PatternPiece) -> Iterator[Finding]:
    if not part.lies_over_itself:
        return
    path = part.patch.shell_vertex[freeing_path(pattern.shell, part.patch, part.flat)]
    edges = pattern.shell.edge_between(np.stack([path[:-1], path[1:]], axis=1)) if len(path) else path
    yield Finding(
        "overlap",
        "warn",
        f"Piece {part.name} lies over itself on the flat and cannot be cut from one sheet.",
        f"Mark a seam that splits it (edges it takes: {len(edges)})."
        if len(edges)
        else "Mark a seam across it between the parts that overlap.",
        piece=part.name,
        edges=numbers(edges),
        faces=numbers(np.unique(part.patch.triangle_face)),
    )


def _lost_faces(pattern: Pattern, piece: PatternPiece, corners: Corners, model_is_inside: bool) -> Iterator[Finding]:
    trims = corners.cuts_of(piece.name)
    parts = far_parts(piece, piece.flat, pattern.runs, model_is_inside, trims)
    if len(parts) == 1:
        return
    cuts = "its bevels and the trims of its corners" if trims else "its bevels"
    face = "outside face" if model_is_inside else "inside face"
    what = f"leave nothing of its {face}" if not parts else f"split its {face} into {len(parts)} parts"
    yield Finding(
        "narrow-piece",
        "warn",
        f"Piece {piece.name} is too narrow for {cuts}: they {what}.",
        "Give the piece thinner foam, set its joints to butt, or join it to a neighbour.",
        piece=piece.name,
        faces=numbers(piece.faces),
    )
