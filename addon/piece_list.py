"""The list of pieces on a shell object: names, the maker's choices, and what the last run said of each."""

from __future__ import annotations

from collections.abc import Sequence

import bpy
import numpy as np

from ..core.errors import MeshError
from ..core.pattern import PatternPiece
from ..core.pieces import Piece, is_given_name
from ..core.report import common_strain
from . import bridge, own_mesh


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
            item.common_percent = 100 * common_strain(piece)
        keys.append(item.key)
    obj.foamwright.active_piece = min(obj.foamwright.active_piece, max(len(items) - 1, 0))
    return np.array(keys, np.int64)


def lost_pieces(obj: bpy.types.Object, pieces: Sequence[Piece | PatternPiece]) -> list[str]:
    """What the maker said of listed pieces of which `pieces` has none, in words; to be asked before `list_pieces`."""
    there = {piece.name for piece in pieces}
    gone = [item for item in obj.foamwright.pieces if item.name not in there]
    return [
        f"piece {item.name}" + (f" of {item.thickness_mm:g} mm" if item.thickness_mm else "")
        for item in gone
        if item.has_choice or not is_given_name(item.name)
    ]


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
        origins = own_mesh.origins_of(context, obj, bridge.shell_from_object(context, obj))
        if not origins.is_same:
            raise MeshError(f"'{obj.name}': modifiers make its faces; first {own_mesh.APPLY_MODIFIERS}.")
        own_mesh.write_piece_keys(context, obj, origins, np.array([key[name] for name in names]))


def active_piece(obj: bpy.types.Object | None):
    """The piece chosen in the list, or None."""
    if obj is None or obj.type != "MESH":
        return None
    state = obj.foamwright
    return state.pieces[max(0, min(state.active_piece, len(state.pieces) - 1))] if state.pieces else None
