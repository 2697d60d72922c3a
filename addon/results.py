"""The result of a run in the scene: flat pieces as objects, strain as colour, and the pattern kept for export."""

from __future__ import annotations

import json
import math
from typing import Any

import bpy
import numpy as np
from mathutils import Vector

from ..core.errors import MeshError
from ..core.heat import shell_strain, strain_colour, worst_strain
from ..core.layout import Sheet
from ..core.pattern import Pattern, PatternPiece
from ..core.pattern_json import from_dict, to_dict
from . import bridge
from .piece_list import list_pieces
from .run_list import list_runs

STRAIN_COLOUR = "Foam strain"
STRAIN_NUMBER = "foam_strain"
SHEET_GAP_MM = 100.0


def show_pattern(context: bpy.types.Context, obj: bpy.types.Object, pattern: Pattern, made_from: str) -> bool:
    """Replace the object's earlier results by `pattern`: collection, flat pieces, colours, list of pieces.

    Returns whether the shell itself could be coloured: not where modifiers make its faces.
    """
    clear(obj)
    root = bpy.data.collections.new(f"Foamwright: {obj.name}")
    context.scene.collection.children.link(root)
    state = root.foamwright
    state.shell, state.made_from, state.pattern_json = obj, made_from, json.dumps(to_dict(pattern))
    state.sheet_count, state.joint_count = len(pattern.sheets), len(pattern.joints)
    obj.foamwright.results = root
    _lay_out_flats(root, pattern, 1.0 / bridge.mm_per_unit(context.scene))
    keys, run_keys = list_pieces(obj, pattern.pieces), list_runs(obj, pattern)
    with bridge.out_of_edit_mode(obj):
        if not bridge.same_elements(context, obj):
            _unpaint(bridge.mesh_of(obj))
            return False
        bridge.write_piece_keys(obj, keys[pattern.piece_of_face])
        bridge.write_run_keys(obj, pattern.shell, run_keys)
        limits = np.array([piece.stock.hot_limit for piece in pattern.pieces])[pattern.piece_of_face]
        paint(bridge.mesh_of(obj), shell_strain(pattern), limits)
        return True


def results_of(obj: bpy.types.Object | None) -> bpy.types.Collection | None:
    """The collection of the object's results; a copy of a shell does not own its original's."""
    if obj is None or obj.type != "MESH":
        return None
    root = obj.foamwright.results
    return root if root is not None and root.foamwright.shell == obj else None


def stored_pattern(obj: bpy.types.Object) -> Pattern:
    """The pattern of the last run. Raises MeshError where there is none."""
    root = results_of(obj)
    if root is None:
        raise MeshError(f"'{obj.name}' has not been laid flat yet; press Flatten first.")
    return from_dict(json.loads(root.foamwright.pattern_json))


def replace_pattern(obj: bpy.types.Object, pattern: Pattern) -> None:
    """Keep `pattern` instead of the stored one; the flat pieces stay as they are."""
    results_of(obj).foamwright.pattern_json = json.dumps(to_dict(pattern))


def rename_flat(obj: bpy.types.Object, old_name: str, new_name: str) -> None:
    """Give the flat of a piece the piece's new name."""
    root = results_of(obj)
    for flat in root.all_objects if root is not None else ():
        if flat.foamwright.flat_of == old_name:
            flat.foamwright.flat_of = flat.name = flat.data.name = new_name


def clear(obj: bpy.types.Object) -> None:
    """Remove the object's results and everything in them; the list of pieces keeps the maker's choices."""
    root = results_of(obj)
    obj.foamwright.results = None
    if root is None:
        return
    for collection in (*root.children_recursive, root):
        remove_objects(collection.objects)
        bpy.data.collections.remove(collection)


def remove_objects(objects) -> None:
    """Remove objects and their data, so that nothing is left without a user."""
    for obj in list(objects):
        data = obj.data
        bpy.data.objects.remove(obj)
        if data is not None and data.users == 0:
            bpy.data.batch_remove([data])


def unpaint(obj: bpy.types.Object) -> None:
    """Take the strain off the shell's own mesh; its faces still know their pieces."""
    for item in obj.foamwright.pieces:
        item.is_flat = False
    with bridge.out_of_edit_mode(obj):
        _unpaint(bridge.mesh_of(obj))


def paint(mesh: bpy.types.Mesh, strain: np.ndarray, limit: float | np.ndarray) -> None:
    """Strain (f,) of every face as a number and as the active colour attribute."""
    _unpaint(mesh)
    mesh.attributes.new(STRAIN_NUMBER, "FLOAT", "FACE").data.foreach_set("value", strain.astype(np.float32))
    colour = np.ones((len(mesh.loops), 4), np.float32)
    sides = np.empty(len(mesh.polygons), np.int32)
    mesh.polygons.foreach_get("loop_total", sides)
    colour[:, :3] = np.repeat(strain_colour(strain, limit), sides, axis=0)
    attribute = mesh.color_attributes.new(STRAIN_COLOUR, "BYTE_COLOR", "CORNER")
    attribute.data.foreach_set("color_srgb", colour.ravel())
    mesh.color_attributes.active_color = attribute
    mesh.color_attributes.render_color_index = mesh.color_attributes.active_color_index


def _unpaint(mesh: bpy.types.Mesh) -> None:
    for name in (STRAIN_COLOUR, STRAIN_NUMBER):
        old: Any = mesh.attributes.get(name)
        if old is not None:
            mesh.attributes.remove(old)


def flat_mesh(piece: PatternPiece, unit: float) -> bpy.types.Mesh:
    """The piece on its own flat, outside face up, strain as colour; `unit`: Blender units in a millimetre."""
    points = np.column_stack([piece.flat * unit, np.zeros(len(piece.flat))])
    mesh = bpy.data.meshes.new(piece.name)
    mesh.from_pydata(points.tolist(), [], piece.patch.triangles.tolist())
    paint(mesh, worst_strain(piece.stretch), piece.stock.hot_limit)
    return mesh


def _lay_out_flats(root: bpy.types.Collection, pattern: Pattern, unit: float) -> None:
    """Sheets in a square block on the ground to the right of the shell, each piece where it was nested."""
    flats = bpy.data.collections.new("Flat pieces")
    frames = bpy.data.collections.new("Foam sheets")
    root.children.link(flats)
    root.children.link(frames)
    low, high = pattern.shell.vertices.min(axis=0), pattern.shell.vertices.max(axis=0)
    columns = max(1, math.ceil(math.sqrt(len(pattern.sheets))))
    width = max((sheet.width_mm for sheet in pattern.sheets), default=0.0) + SHEET_GAP_MM
    height = max((sheet.height_mm for sheet in pattern.sheets), default=0.0) + SHEET_GAP_MM
    for index, sheet in enumerate(pattern.sheets):
        row, column = divmod(index, columns)
        corner = Vector((high[0] + SHEET_GAP_MM + column * width, low[1] - row * height, low[2])) * unit
        _new_object(frames, f"Sheet {sheet.number}: {sheet.stock}", _frame_mesh(sheet, unit), corner)
        for placement in sheet.placements:
            piece = pattern.piece(placement.piece)
            spot = corner + Vector((placement.x, placement.y, 0.0)) * unit
            flat = _new_object(flats, piece.name, flat_mesh(piece, unit), spot)
            flat.rotation_euler.z = placement.angle
            flat.foamwright.flat_of = piece.name


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
