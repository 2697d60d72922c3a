"""The list of pieces on a shell object: names, the maker's choices, and what the last run said of each."""

from __future__ import annotations

from collections.abc import Sequence

import bpy
import numpy as np

from ..core.pattern import PatternPiece
from ..core.pieces import Piece
from . import bridge


def list_pieces(obj: bpy.types.Object, pieces: Sequence[Piece | PatternPiece]) -> np.ndarray:
    """Write `pieces` to the object's list, keeping the choices made for a name; the key of each (p,) int.

    A key stays with its name for good, so that faces can say which piece they were in.
    """
    items = obj.foamwright.pieces
    kept = {item.name: (item.key, item.thickness_mm, item.group) for item in items}
    last_key = max((key for key, *_ in kept.values()), default=0)
    items.clear()
    keys = []
    for piece in pieces:
        if piece.name not in kept:
            last_key += 1
        item = items.add()
        item.name = piece.name
        item.key, item.thickness_mm, item.group = kept.get(piece.name, (last_key, 0.0, ""))
        item.mate, item.stock_name = piece.mate or "", piece.stock.name
        if isinstance(piece, PatternPiece):
            item.is_flat = True
            item.pull_percent = 100 * max(piece.largest_stretch - 1, 0.0)
            item.squeeze_percent = 100 * max(1 - piece.largest_squeeze, 0.0)
        keys.append(item.key)
    obj.foamwright.active_piece = min(obj.foamwright.active_piece, max(len(items) - 1, 0))
    return np.array(keys, np.int64)


def name_faces(context: bpy.types.Context, obj: bpy.types.Object, names: Sequence[str]) -> None:
    """Say which piece each face of the object's own mesh belongs to ("" for none), before the first run.

    Raises MeshError where modifiers make the faces.
    """
    items = obj.foamwright.pieces
    for name in dict.fromkeys(filter(None, names)):
        if items.find(name) < 0:
            item = items.add()
            item.name, item.key = name, max(other.key for other in items) + 1
    key = {"": 0} | {item.name: item.key for item in items}
    with bridge.out_of_edit_mode(obj):
        bridge.refuse_added_elements(context, obj)
        bridge.write_piece_keys(obj, np.array([key[name] for name in names]))


def active_piece(obj: bpy.types.Object | None):
    """The piece chosen in the list, or None."""
    if obj is None or obj.type != "MESH":
        return None
    state = obj.foamwright
    return state.pieces[state.active_piece] if state.active_piece < len(state.pieces) else None
