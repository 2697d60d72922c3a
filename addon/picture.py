"""The picture of the assembled shell, rendered by Cycles on the processor, so that it needs no window."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ..core.errors import ExportError
from ..core.files import write_whole
from ..core.heat import full_colour_at
from ..core.pattern import Pattern
from ..core.shell_views import HEIGHT, MARGIN, SCALE_BAR, TITLE_HEIGHT, WIDTH, Painted, shell_views
from . import colours
from .throwaway import nodes_of, place, text_curve, throwaway_scene

PIXELS_PER_UNIT = 1000
SAMPLES = 8
LINE = 0.0012
INK = (0.02, 0.02, 0.02)
WORDS_SIZE = 0.026


def write_shell_picture(pattern: Pattern, path: str | Path) -> Path:
    """Write the picture as a PNG file. Raises ExportError."""
    return write_whole(path, lambda draft: _put(draft, pattern))


def _put(draft: Path, pattern: Pattern) -> None:
    with throwaway_scene() as scene:
        foam, ink = _foam_material(), _ink_material()
        for part in shell_views(pattern):
            place(scene, part.name, _surface(part), foam)
            if part.rims:
                place(scene, part.name, _wires(part.rims), ink)
        _write_words(scene, pattern, ink)
        _set_up(scene)
        _render(scene, draft)


def _surface(part: Painted) -> bpy.types.Mesh:
    mesh = bpy.data.meshes.new(part.name)
    mesh.from_pydata(part.points.tolist(), [], part.faces.tolist())
    colours.paint_strain(mesh, part.strain, part.limit)
    return mesh


def _wires(rims: tuple[np.ndarray, ...]) -> bpy.types.Curve:
    """Closed lines (r, 3) as round wires."""
    curve = bpy.data.curves.new("Outline", "CURVE")
    curve.dimensions, curve.bevel_depth, curve.bevel_resolution = "3D", LINE, 0
    for rim in rims:
        spline = curve.splines.new("POLY")
        spline.points.add(len(rim) - 1)
        spline.points.foreach_set("co", np.column_stack([rim, np.ones(len(rim))]).ravel())
        spline.use_cyclic_u = True
    return curve


def _write_words(scene: bpy.types.Scene, pattern: Pattern, ink: bpy.types.Material) -> None:
    left, bottom, right, top = SCALE_BAR
    ends = " / ".join(f"{100 * limit:g} %" for limit in full_colour_at(pattern))
    level = (bottom + top) / 2
    for words, size, spot, align in (
        (pattern.shell.name, TITLE_HEIGHT, (MARGIN, HEIGHT - MARGIN), "LEFT"),
        (f"squeezed {ends}", WORDS_SIZE, (left - MARGIN / 2, level), "RIGHT"),
        (f"pulled {ends}", WORDS_SIZE, (right + MARGIN / 2, level), "LEFT"),
    ):
        place(scene, words, text_curve(words, size, align), ink).location = (*spot, 0.0)


def _foam_material() -> bpy.types.Material:
    """The strain colour as it is on the scale, a little darker where the surface turns away."""
    material, nodes, shine = _shining("Foam")
    colour = nodes.nodes.new("ShaderNodeVertexColor")
    colour.layer_name = colours.STRAIN
    turning = nodes.nodes.new("ShaderNodeLayerWeight")
    turning.inputs["Blend"].default_value = 0.2
    shade = nodes.nodes.new("ShaderNodeMapRange")
    shade.inputs["To Min"].default_value, shade.inputs["To Max"].default_value = 1.0, 0.45
    nodes.links.new(turning.outputs["Facing"], shade.inputs["Value"])
    nodes.links.new(shade.outputs["Result"], shine.inputs["Strength"])
    nodes.links.new(colour.outputs["Color"], shine.inputs["Color"])
    return material


def _ink_material() -> bpy.types.Material:
    material, _, shine = _shining("Ink")
    shine.inputs["Color"].default_value = (*INK, 1.0)
    return material


def _shining(name: str) -> tuple[bpy.types.Material, bpy.types.NodeTree, bpy.types.Node]:
    """A material that shows its colour without light."""
    material = bpy.data.materials.new(name)
    nodes = nodes_of(material)
    nodes.nodes.clear()
    shine = nodes.nodes.new("ShaderNodeEmission")
    output = nodes.nodes.new("ShaderNodeOutputMaterial")
    nodes.links.new(shine.outputs["Emission"], output.inputs["Surface"])
    return material, nodes, shine


def _set_up(scene: Any) -> None:
    """A camera that looks straight down on the picture, white paper behind, colours as on the scale.

    scene : a Blender scene; which engines and views it may have is known to a running Blender only
    """
    camera = bpy.data.cameras.new("Camera")
    camera.type, camera.ortho_scale, camera.clip_end = "ORTHO", max(WIDTH, HEIGHT), 100.0
    scene.camera = bpy.data.objects.new("Camera", camera)
    scene.camera.location = (WIDTH / 2, HEIGHT / 2, 10.0)
    scene.collection.objects.link(scene.camera)
    scene.world = bpy.data.worlds.new("Paper")
    nodes_of(scene.world).nodes["Background"].inputs["Color"].default_value = (1.0, 1.0, 1.0, 1.0)
    scene.view_settings.view_transform = "Standard"
    scene.render.engine = "CYCLES"
    scene.render.resolution_x, scene.render.resolution_y = int(WIDTH * PIXELS_PER_UNIT), int(HEIGHT * PIXELS_PER_UNIT)
    scene.render.image_settings.file_format = "PNG"
    scene.cycles.device, scene.cycles.samples = "CPU", SAMPLES
    scene.cycles.use_denoising = False
    scene.cycles.max_bounces = 0


def _render(scene: bpy.types.Scene, path: Path) -> None:
    scene.render.use_file_extension = False
    scene.render.filepath = str(path)
    try:
        bpy.ops.render.render(write_still=True, scene=scene.name)
    except RuntimeError as problem:
        raise ExportError(f"The shell could not be rendered ({problem}); switch on Cycles in Preferences.") from problem
