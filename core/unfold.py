"""The way of the data, from a shell with seams to a `Pattern`."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from .check import examining, refuse
from .check_pattern import examining_pattern
from .corner_trims import finding_corners
from .flatten import Flattener, flatten_pieces
from .folds import FoldRun, Hinge, find_folds
from .grooves import cutting_mouths
from .joints import both_outlines, joint_runs, rim_runs
from .kerf_lines import with_kerfs
from .layers import cut_layers
from .layout.nest import nest
from .marks import write_notes
from .notches import place_notches
from .pattern import Pattern, PatternPiece
from .pieces import Piece, cutting_pieces
from .progress import Progress, Steps, share
from .settings import Settings
from .shell import Shell
from .tight_bends import TightBend, find_tight_bends
from .tracing import traced_lines

CHECKED, CUT, BENT, FLAT, FITTED, DRAWN, LAYERED, NESTED = 0.01, 0.015, 0.02, 0.08, 0.09, 0.18, 0.2, 0.97
"""Parts of the work that are done when the shell is checked, pieces are cut, their bends known, and they are laid flat,
fitted and drawn, layers are cut, and all is nested; as measured on helmets and guards with the usual time for
nesting."""


def unfold(
    shell: Shell,
    settings: Settings,
    face_names: Sequence[str] | None = None,
    flattener: Flattener | None = None,
    edge_letters: Sequence[str] | None = None,
) -> Steps[Pattern]:
    """Cut, flatten, bevel, mark and nest. Yields `Progress`; returns the `Pattern`.

    face_names : per shell face the name its piece had before the edit, "" where it had none.
    edge_letters : per shell edge the letter its run had before the edit, "" where it had none.
    flattener : keeps what it has laid flat, so that a run after an edit is quick.
    Raises MeshError and its kin, with the elements at fault, and SettingsError.
    """
    findings = yield from share(examining(shell), 0, CHECKED)
    refuse(findings)
    pieces, piece_of_face = yield from share(cutting_pieces(shell, settings, face_names), CHECKED, CUT)
    folds, bends = yield from share(_bent(shell, pieces, settings), CUT, BENT)
    hinges: list[tuple[Hinge, ...]] = [(*own, *kerfs) for own, kerfs in zip(folds, bends, strict=True)]
    flats = yield from share(flatten_pieces(shell, pieces, hinges, settings, flattener), BENT, FLAT)
    yield Progress("Fitting joints", FLAT)
    laid = [flat.vertices for flat in flats]
    joints = joint_runs(shell, pieces, laid, settings, edge_letters)
    rims = rim_runs(shell, pieces, laid, settings, joints, edge_letters)
    fitting = finding_corners(shell, pieces, laid, (*joints, *rims), settings.model_is_inside)
    corners = yield from share(fitting, FLAT, FITTED)
    finished: list[PatternPiece] = []
    numbered = enumerate(zip(pieces, flats, folds, bends, strict=True), start=1)
    for number, (piece, flat, piece_folds, piece_bends) in numbered:
        first, last = FITTED + (DRAWN - FITTED) * np.array([number - 1, number]) / len(pieces)
        yield Progress("Drawing pieces", first)
        outside, inside = both_outlines(
            piece, flat.vertices, (*joints, *rims), settings.model_is_inside, corners.cuts_of(piece.name)
        )
        piece_folds = yield from share(
            cutting_mouths(shell, piece.patch, flat.vertices, piece_folds, inside), first, first
        )
        piece_bends = with_kerfs(shell, piece, flat.vertices, piece_bends, inside)
        bare = PatternPiece.bare(piece, flat, outside, inside)
        notches = place_notches(piece, flat.vertices, joints, settings, traced_lines(bare))
        writing = write_notes(piece, number, flat.vertices, outside, joints, piece_folds, notches, rims, piece_bends)
        notes = yield from share(writing, first, last)
        finished.append(replace(bare, folds=piece_folds, notches=notches, notes=notes, bends=piece_bends))
    pattern = Pattern(shell, piece_of_face, tuple(finished), joints, (), findings, rims)
    if settings.cut_layers:
        pattern = replace(pattern, layers=(yield from share(cut_layers(pattern, settings), DRAWN, LAYERED)))
    sheets, plain_rows = yield from share(nest(pattern.parts, settings), LAYERED, NESTED)
    pattern = replace(pattern, sheets=sheets)
    examined = yield from share(examining_pattern(pattern, settings), NESTED, 1)
    return pattern.with_findings(findings + plain_rows + examined)


def _bent(
    shell: Shell, pieces: Sequence[Piece], settings: Settings
) -> Steps[tuple[list[tuple[FoldRun, ...]], list[tuple[TightBend, ...]]]]:
    """Per piece its folds and its tight bends."""
    folds, bends = [], []
    for number, piece in enumerate(pieces):
        yield Progress("Looking for folds", number / len(pieces))
        folds.append(find_folds(shell, piece, settings))
        yield Progress("Looking for folds", (number + 0.5) / len(pieces))
        bends.append(find_tight_bends(shell, piece, folds[-1], settings))
    return folds, bends
