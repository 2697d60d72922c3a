"""The shell as a GLB file: every piece a mesh of its own at its place, with its number on it."""

from __future__ import annotations

from pathlib import Path

import bpy
from mathutils import Vector

from ..core.errors import ExportError
from ..core.files import write_whole
from ..core.heat import worst_strain
from ..core.pattern import Pattern, PatternPiece
from ..core.places import piece_place
from . import colours
from .throwaway import nodes_of, place, text_curve, throwaway_scene

METRES = 1e-3
NUMBER_M = 0.014
LIFT_M = 0.0005
"""A number stands this far off the surface, so that the two do not flicker."""


def write_glb(pattern: Pattern, path: str | Path) -> Path:
    """Write the numbered model in metres. Raises ExportError."""
    with throwaway_scene() as scene:
        foam, ink = _strain_material(), _plain_material("Number", (0.02, 0.02, 0.02))
        for number, piece in enumerate(pattern.pieces, start=1):
            name = f"{number:02d} {piece.name}"
            body = place(scene, name, _piece_mesh(pattern, piece, name), foam)
            digits = place(scene, f"Number {number}", _number_mesh(str(number)), ink)
            digits.parent = body
            point, normal = (Vector(array.tolist()) for array in piece_place(pattern.shell, piece.faces))
            digits.location = point * METRES + normal * LIFT_M
            digits.rotation_mode = "QUATERNION"
            digits.rotation_quaternion = normal.to_track_quat("Z", "Y")
        return write_whole(path, lambda draft: _export(scene, draft))


def _piece_mesh(pattern: Pattern, piece: PatternPiece, name: str) -> bpy.types.Mesh:
    points = pattern.shell.vertices[piece.patch.shell_vertex] * METRES
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata(points.tolist(), [], piece.patch.triangles.tolist())
    colours.paint_strain(mesh, worst_strain(piece.stretch), piece.stock.hot_limit)
    return mesh


def _number_mesh(digits: str) -> bpy.types.Mesh:
    obj = bpy.data.objects.new(digits, text_curve(digits, NUMBER_M))
    return bpy.data.meshes.new_from_object(obj)


def _plain_material(name: str, colour: tuple[float, float, float]) -> bpy.types.Material:
    material = bpy.data.materials.new(name)
    surface = nodes_of(material).nodes["Principled BSDF"]
    surface.inputs["Base Color"].default_value = (*colour, 1.0)
    surface.inputs["Roughness"].default_value = 0.9
    return material


def _strain_material() -> bpy.types.Material:
    material = _plain_material("Foam", (1.0, 1.0, 1.0))
    nodes = material.node_tree
    colour = nodes.nodes.new("ShaderNodeVertexColor")
    colour.layer_name = colours.STRAIN
    nodes.links.new(colour.outputs["Color"], nodes.nodes["Principled BSDF"].inputs["Base Color"])
    return material


def _export(scene: bpy.types.Scene, path: Path) -> None:
    with bpy.context.temp_override(scene=scene, view_layer=scene.view_layers[0]):
        try:
            bpy.ops.export_scene.gltf(
                filepath=str(path), export_format="GLB", use_active_scene=True, export_animations=False
            )
        except (AttributeError, RuntimeError) as problem:
            raise ExportError(
                f"'{path.name}' could not be made by Blender's glTF add-on ({problem}); "
                "switch on 'glTF 2.0 format' in Preferences > Add-ons."
            ) from problem
