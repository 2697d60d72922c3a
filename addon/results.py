"""The result of a run in the scene: flat pieces as objects, strain as colour, and the pattern kept for export."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from bpy.app.handlers import persistent
from mathutils import Vector

from ..core.cage import leading
from ..core.errors import FormatError, MeshError
from ..core.flag_colours import NO_FLAG, face_flags
from ..core.heat import scale_words, shell_strain, worst_strain
from ..core.json_reading import parse_document
from ..core.layout import Sheet
from ..core.makeable import unmakeable, unmakeable_words
from ..core.pattern import Pattern, PatternPiece
from ..core.pattern_json import from_dict
from . import belongings, bridge, colours, own_mesh
from .piece_list import list_pieces, lost_pieces
from .run_list import list_runs, lost_runs

SHEET_GAP_MM = 100.0


@dataclass(frozen=True)
class Shown:
    """What became of a pattern on its shell.

    coloured : "" where each own face has its own colours; else what is to be said of them
    lost : the maker's choices that nothing was found for, in words
    """

    coloured: str
    lost: tuple[str, ...]


_known: tuple[str, Pattern] | None = None
"""The last pattern that was kept, and its text, so that it need not be read again."""


def show_pattern(
    context: bpy.types.Context, obj: bpy.types.Object, pattern: Pattern, text: str, made_from: str
) -> Shown:
    """Replace the object's earlier results by `pattern`: collection, flat pieces, colours, list of pieces.

    text : of the pattern, by `writing_text`
    """
    worn = colours.worn(meshes_of(obj)) or colours.STRAIN
    clear(obj)
    root = bpy.data.collections.new(f"Foamwright: {obj.name}")
    context.scene.collection.children.link(root)
    state = root.foamwright
    state.shell, state.made_from = obj, made_from
    _keep(root, pattern, text)
    state.sheet_count, state.joint_count = len(pattern.sheets), len(pattern.joints)
    state.strain_scale = "\n".join(scale_words(pattern))
    flags = face_flags(pattern)
    for place in np.unique(flags[flags != NO_FLAG]).tolist():
        state.flagged[place] = True
    obj.foamwright.results = root
    _lay_out_flats(root, pattern, flags, 1.0 / bridge.mm_per_unit(context.scene))
    lost = (*lost_pieces(obj, pattern.pieces), *lost_runs(obj, pattern))
    keys, run_keys = list_pieces(obj, pattern.pieces), list_runs(obj, pattern)
    why_not = unmakeable(pattern)
    for item in obj.foamwright.pieces:
        item.why_not = why_not.get(item.name, "")
    origins = own_mesh.origins_of(context, obj, pattern.shell)
    own_mesh.write_piece_keys(context, obj, origins, keys[pattern.piece_of_face])
    own_mesh.write_run_keys(context, obj, pattern.shell, origins, run_keys)
    coloured = _paint(obj, pattern, origins, flags)
    colours.wear(meshes_of(obj), worn)
    return Shown(coloured, lost)


def _paint(obj: bpy.types.Object, pattern: Pattern, origins: own_mesh.Origins, flags: np.ndarray) -> str:
    """Colour the own faces, each like the worst of those made from it; what is to be said of that."""
    with bridge.out_of_edit_mode(obj):
        mesh = bridge.mesh_of(obj)
        if not (origins.face >= 0).any():
            colours.unpaint(mesh)
            return f"Only the flat pieces are coloured: of the shell, {own_mesh.MADE_ANEW}"
        strain, count = shell_strain(pattern), len(mesh.polygons)
        limit = np.array([piece.stock.hot_limit for piece in pattern.pieces])[pattern.piece_of_face]
        # numbers of kinds grow from the gravest on
        gravity = np.where(flags == NO_FLAG, -np.inf, -flags)
        worst, gravest = (leading(origins.face, value, count) for value in (np.abs(strain), gravity))
        colours.paint(
            mesh,
            np.where(worst >= 0, strain[worst], 0.0),
            np.where(worst >= 0, limit[worst], limit.min()),
            np.where(gravest >= 0, flags[gravest], NO_FLAG),
        )
    if origins.is_same:
        return ""
    return "Modifiers make its faces: each face of its own mesh has the colours of the worst of those made from it"


def results_of(obj: bpy.types.Object | None) -> bpy.types.Collection | None:
    """The collection of the object's results; a copy of a shell does not own its original's."""
    if obj is None or obj.type != "MESH":
        return None
    root = obj.foamwright.results
    return root if root is not None and root.foamwright.shell == obj else None


def meshes_of(obj: bpy.types.Object) -> list[bpy.types.Mesh]:
    """The meshes that carry colours: the shell's own and those of its flats."""
    root = results_of(obj)
    return [bridge.mesh_of(one) for one in (obj, *belongings.flats_of(root))]


def stored_pattern(obj: bpy.types.Object) -> Pattern:
    """The pattern of the last run. Raises MeshError where there is none, FormatError where it is damaged."""
    global _known
    root = results_of(obj)
    if root is None:
        raise MeshError(f"'{obj.name}' has not been laid flat yet; press Flatten first.")
    text = root.foamwright.pattern_json
    if _known is None or _known[0] != text:
        try:
            _known = text, from_dict(parse_document(text, "it"))
        except FormatError as problem:
            raise FormatError(
                f"The pattern that this file keeps of '{obj.name}' cannot be read; flatten it again. ({problem})"
            ) from problem
    return _known[1]


def replace_pattern(obj: bpy.types.Object, pattern: Pattern, text: str) -> None:
    """Keep `pattern` instead of the stored one; the flat pieces stay as they are. text : as in `show_pattern`"""
    _keep(results_of(obj), pattern, text)


def _keep(root: bpy.types.Collection, pattern: Pattern, text: str) -> None:
    global _known
    _known = text, pattern
    state = root.foamwright
    state.pattern_json, state.cannot_be_made = text, unmakeable_words(pattern)


def rename_flat(obj: bpy.types.Object, old_name: str, new_name: str) -> None:
    """Give the flat of a piece, or the outline of a layer, its new name."""
    root = results_of(obj)
    for flat in belongings.made_in(root) if root is not None else ():
        if flat.foamwright.flat_of == old_name:
            flat.foamwright.flat_of = new_name
        elif not (flat.foamwright.is_frame and flat.name == old_name):
            continue
        flat.name = flat.data.name = new_name


def clear(obj: bpy.types.Object) -> None:
    """Remove the object's results; the list of pieces keeps the maker's choices."""
    root = results_of(obj)
    obj.foamwright.results = None
    if root is not None:
        belongings.remove_results(root)


_let_go: list[tuple[Any, str, bpy.types.Object]] = []
"""What results named before the file was saved: owner and name of the property, and what it named."""


@persistent
def let_go_of_deleted(*_what) -> None:
    """Results that name what the maker has deleted would keep it in the file."""
    for root in bpy.data.collections:
        if root.library is None:
            for owner, name in list(belongings.pointers_to_deleted(root)):
                _let_go.append((owner, name, getattr(owner, name)))
                setattr(owner, name, None)


@persistent
def take_back(*_what) -> None:
    """After that they name it again: undo may bring it back, and does not know of the file."""
    for owner, name, obj in _let_go:
        setattr(owner, name, obj)
    _let_go.clear()


def _handlers():
    moments = bpy.app.handlers
    return (
        (moments.save_pre, let_go_of_deleted),
        (moments.save_post, take_back),
        (moments.save_post_fail, take_back),
    )


def register() -> None:
    for moment, handler in _handlers():
        moment.append(handler)


def unregister() -> None:
    for moment, handler in _handlers():
        moment.remove(handler)


def unpaint(obj: bpy.types.Object) -> None:
    """Take the colours off the shell's own mesh; its faces still know their pieces."""
    for item in obj.foamwright.pieces:
        item.is_flat = False
    with bridge.out_of_edit_mode(obj):
        colours.unpaint(bridge.mesh_of(obj))


def flat_mesh(piece: PatternPiece, flags: np.ndarray, unit: float) -> bpy.types.Mesh:
    """The piece on its own flat, outside face up, coloured; flags : (f,) of the shell's faces; `unit`: Blender units
    in a millimetre."""
    mesh = bpy.data.meshes.new(piece.name)
    count = len(piece.patch.triangles)
    mesh.vertices.add(len(piece.flat))
    mesh.vertices.foreach_set("co", np.column_stack([piece.flat * unit, np.zeros(len(piece.flat))]).ravel())
    mesh.loops.add(3 * count)
    mesh.loops.foreach_set("vertex_index", piece.patch.triangles.ravel().astype(np.int32))
    mesh.polygons.add(count)
    mesh.polygons.foreach_set("loop_start", np.arange(0, 3 * count, 3, dtype=np.int32))
    mesh.update(calc_edges=True)
    colours.paint(mesh, worst_strain(piece.stretch), piece.stock.hot_limit, flags[piece.patch.triangle_face])
    return mesh


def _lay_out_flats(root: bpy.types.Collection, pattern: Pattern, flags: np.ndarray, unit: float) -> None:
    """Sheets in a square block on the ground to the right of the shell, each piece where it was nested."""
    flats, frames = (bpy.data.collections.new(name) for name in belongings.ROOMS)
    root.children.link(flats)
    root.children.link(frames)
    root.foamwright.keeps_list, root.foamwright.flats, root.foamwright.frames = True, flats, frames
    low, high = pattern.shell.vertices.min(axis=0), pattern.shell.vertices.max(axis=0)
    columns = max(1, math.ceil(math.sqrt(len(pattern.sheets))))
    width = max((sheet.width_mm for sheet in pattern.sheets), default=0.0) + SHEET_GAP_MM
    height = max((sheet.height_mm for sheet in pattern.sheets), default=0.0) + SHEET_GAP_MM
    for index, sheet in enumerate(pattern.sheets):
        row, column = divmod(index, columns)
        corner = Vector((high[0] + SHEET_GAP_MM + column * width, low[1] - row * height, low[2])) * unit
        frame = _new_object(frames, f"Sheet {sheet.number}: {sheet.stock}", _frame_mesh(sheet, unit), corner)
        frame.foamwright.is_frame = True
        for placement in sheet.placements:
            piece = pattern.piece(placement.piece)
            spot = corner + Vector((placement.x, placement.y, 0.0)) * unit
            if piece.layer_of:
                flat = _new_object(frames, piece.name, _outline_mesh(piece, unit), spot)
                flat.foamwright.is_frame = True
            else:
                flat = _new_object(flats, piece.name, flat_mesh(piece, flags, unit), spot)
                flat.foamwright.flat_of = piece.name
            flat.rotation_euler.z = placement.angle
    for thing in (*flats.objects, *frames.objects):
        belongings.keep(root, thing)


def _outline_mesh(layer: PatternPiece, unit: float) -> bpy.types.Mesh:
    """A build-up layer, which has no faces of the shell: its outline as lines."""
    mesh = bpy.data.meshes.new(layer.name)
    points: list[tuple[float, float, float]] = []
    sides = []
    for ring in layer.outside_outline:
        first, count = len(points), len(ring) - 1
        points += [(x, y, 0.0) for x, y in (ring[:-1] * unit).tolist()]
        sides += [(first + step, first + (step + 1) % count) for step in range(count)]
    mesh.from_pydata(points, sides, [])
    return mesh


def _frame_mesh(sheet: Sheet, unit: float) -> bpy.types.Mesh:
    mesh = bpy.data.meshes.new(f"Sheet {sheet.number}")
    width, height = sheet.width_mm * unit, sheet.height_mm * unit
    corners = [(0, 0, 0), (width, 0, 0), (width, height, 0), (0, height, 0)]
    mesh.from_pydata(corners, [(0, 1), (1, 2), (2, 3), (3, 0)], [])
    return mesh


def _new_object(home: bpy.types.Collection, name: str, mesh: bpy.types.Mesh, spot: Vector) -> bpy.types.Object:
    obj = bpy.data.objects.new(name, mesh)
    obj.location = spot
    home.objects.link(obj)
    return obj
