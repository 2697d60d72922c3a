"""A plan laid flat as the pattern will lay it: in foam of its thickness, with both sides of every seam equal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..flatten import Flattener, try_flat
from ..folds import find_folds
from ..pieces import cutting_pieces
from ..progress import Progress, Steps, even, share
from ..settings import Settings
from .draft import Draft
from .outlook import Laid, laid_of


def finished(draft: Draft, foam: Settings | None, flattener: Flattener | None = None) -> Steps[list[Laid | None]]:
    """How each of `draft.pieces()` comes out, None where it cannot be laid flat. Yields Progress.

    foam : the maker's settings; None, or a piece that cannot be laid flat, and each piece is laid flat alone, on
    the skin.
    """
    pieces = draft.pieces()
    if foam is None or not all(np.isfinite(draft.spread(faces, draft.seam)) for faces in pieces):
        alone = []
        for faces, (first, last) in zip(pieces, even(len(pieces)), strict=True):
            yield Progress("Laying pieces flat", first)
            alone.append((yield from share(draft.laying(faces), first, last)))
        return alone
    settings = replace(foam, pieces={})
    shell = draft.shell.with_seams(draft.seam)
    cut, _ = yield from share(cutting_pieces(shell, settings), 0, 0)
    folds = [find_folds(shell, piece, settings) for piece in cut]
    flats = yield from try_flat(shell, cut, folds, settings, flattener)
    laid: dict[int, Laid] = {}
    for piece, flat in zip(cut, flats, strict=True):
        laid[int(draft.label[piece.faces[0]])] = laid_of(flat.vertices, flat.stretch, piece.patch)
    return [laid[int(draft.label[faces[0]])] for faces in pieces]
