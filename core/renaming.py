"""Another name for a piece of a finished pattern, wherever the name stands."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from .joints import JointRun, JointSide
from .layers import with_words
from .layout import Sheet
from .marks import write_notes
from .pattern import Pattern, PatternPiece
from .pieces import Piece
from .progress import Progress, Steps, even, finish, share


def new_names(pattern: Pattern, old: str, new: str) -> dict[str, str]:
    """From old to new: the piece's name, and those of its layers."""
    layers = [layer.name for layer in pattern.layers if layer.layer_of == old]
    return {old: new} | {name: new + name.removeprefix(old) for name in layers}


def renamed(pattern: Pattern, old: str, new: str) -> Pattern:
    """As `renaming`, at once."""
    return finish(renaming(pattern, old, new))


def renaming(pattern: Pattern, old: str, new: str) -> Steps[Pattern]:
    """The same pattern with piece `old` called `new`; what is written on pieces that name it is laid out anew. Yields
    Progress."""
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
    told = {side.piece for run in pattern.joints if old in _names_of(run) for side in run.sides} | {old}
    pieces, layers = [], []
    for number, (piece, (first, last)) in enumerate(zip(pattern.pieces, even(len(pattern.pieces)), strict=True), 1):
        anew = _renamed_piece(piece, name)
        if piece.name in told or anew.mate != piece.mate:
            bare = Piece(anew.name, anew.mate, anew.group, anew.stock, anew.faces, anew.patch)
            writing = write_notes(
                bare, number, anew.flat, anew.outside_outline, joints, anew.folds, anew.notches, rims, anew.bends
            )
            anew = replace(anew, notes=(yield from share(writing, first, last)))
        pieces.append(anew)
    for number, layer in enumerate(pattern.layers, start=len(pieces) + 1):
        yield Progress("Drawing pieces", 1.0)
        layers.append(with_words(_renamed_layer(layer, name), number, (*joints, *rims)))
    return replace(
        pattern,
        pieces=tuple(pieces),
        joints=joints,
        rims=rims,
        layers=tuple(layers),
        sheets=tuple(map(sheet, pattern.sheets)),
        findings=findings,
    )


def _names_of(run: JointRun) -> set[str]:
    return {side.piece for side in run.sides}


def _renamed_piece(piece: PatternPiece, name: Callable[[str], str]) -> PatternPiece:
    """With what is written on it as it was."""
    return replace(
        piece,
        name=name(piece.name),
        mate=piece.mate and name(piece.mate),
        folds=tuple(replace(fold, piece=name(fold.piece)) for fold in piece.folds),
        bends=tuple(replace(bend, piece=name(bend.piece)) for bend in piece.bends),
    )


def _renamed_layer(layer: PatternPiece, name: Callable[[str], str]) -> PatternPiece:
    return replace(
        layer,
        name=name(layer.name),
        mate=layer.mate and name(layer.mate),
        layer_of=layer.layer_of and name(layer.layer_of),
    )
