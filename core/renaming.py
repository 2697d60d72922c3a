"""Another name for a piece of a finished pattern, wherever the name stands."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from .joints import JointRun, JointSide, RimRun
from .layers import with_words
from .layout import Sheet
from .marks import write_notes
from .pattern import Pattern, PatternPiece
from .pieces import Piece
from .progress import finish


def new_names(pattern: Pattern, old: str, new: str) -> dict[str, str]:
    """From old to new: the piece's name, and those of its layers."""
    layers = [layer.name for layer in pattern.layers if layer.layer_of == old]
    return {old: new} | {name: new + name.removeprefix(old) for name in layers}


def renamed(pattern: Pattern, old: str, new: str) -> Pattern:
    """The same pattern with piece `old` called `new`; what is written on the pieces is laid out anew."""

    changed = new_names(pattern, old, new)

    def name(word: str) -> str:
        return changed.get(word, word)

    def side(of: JointSide) -> JointSide:
        return replace(of, piece=name(of.piece))

    def joint(run: JointRun) -> JointRun:
        return replace(run, a=side(run.a), b=side(run.b))

    def sheet(laid: Sheet) -> Sheet:
        return replace(laid, placements=tuple(replace(p, piece=name(p.piece)) for p in laid.placements))

    joints = tuple(map(joint, pattern.joints))
    rims = tuple(replace(rim, side=side(rim.side)) for rim in pattern.rims)
    own_words = re.compile(rf"(?<!\w)(){re.escape(old)}(?!\w)")
    # a finding about another piece has one of these words before the name; elsewhere it may be a common word
    other_words = re.compile(rf"\b((?:over|of|on) ){re.escape(old)}(?!\w)")
    findings = tuple(
        replace(
            finding,
            piece=finding.piece and name(finding.piece),
            message=(own_words if finding.piece in changed else other_words).sub(
                lambda found: found[1] + new, finding.message
            ),
        )
        for finding in pattern.findings
    )
    return replace(
        pattern,
        pieces=tuple(
            _renamed_piece(piece, number, name, joints, rims) for number, piece in enumerate(pattern.pieces, start=1)
        ),
        joints=joints,
        rims=rims,
        layers=tuple(
            with_words(_renamed_layer(layer, name), number, (*joints, *rims))
            for number, layer in enumerate(pattern.layers, start=len(pattern.pieces) + 1)
        ),
        sheets=tuple(map(sheet, pattern.sheets)),
        findings=findings,
    )


def _renamed_piece(
    piece: PatternPiece,
    number: int,
    name: Callable[[str], str],
    joints: tuple[JointRun, ...],
    rims: tuple[RimRun, ...],
) -> PatternPiece:
    folds = tuple(replace(fold, piece=name(fold.piece)) for fold in piece.folds)
    bends = tuple(replace(bend, piece=name(bend.piece)) for bend in piece.bends)
    bare = Piece(name(piece.name), piece.mate and name(piece.mate), piece.group, piece.stock, piece.faces, piece.patch)
    notes = finish(
        write_notes(bare, number, piece.flat, piece.outside_outline, joints, folds, piece.notches, rims, bends)
    )
    return replace(piece, name=bare.name, mate=bare.mate, folds=folds, notes=notes, bends=bends)


def _renamed_layer(layer: PatternPiece, name: Callable[[str], str]) -> PatternPiece:
    return replace(
        layer,
        name=name(layer.name),
        mate=layer.mate and name(layer.mate),
        layer_of=layer.layer_of and name(layer.layer_of),
    )
