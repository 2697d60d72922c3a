"""A scene to build pictures and models in, of which nothing stays in the file."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import bpy

_KINDS = ("objects", "meshes", "curves", "materials", "cameras", "lights", "worlds", "images", "fonts")


@contextmanager
def throwaway_scene() -> Iterator[bpy.types.Scene]:
    """An empty scene in metres; it and every datablock made meanwhile are removed at the end."""
    before = {kind: set(getattr(bpy.data, kind)) for kind in _KINDS}
    scene = bpy.data.scenes.new("Foamwright workbench")
    try:
        yield scene
    finally:
        # not in one batch: only this way does Blender go back to the maker's scene if it stands in this one
        bpy.data.scenes.remove(scene)
        bpy.data.batch_remove(
            [block for kind in _KINDS for block in getattr(bpy.data, kind) if block not in before[kind]]
        )


def place(scene: bpy.types.Scene, name: str, data: bpy.types.ID, material: bpy.types.Material) -> bpy.types.Object:
    """A new object of the scene with one material."""
    data.materials.append(material)
    obj = bpy.data.objects.new(name, data)
    scene.collection.objects.link(obj)
    return obj


def text_curve(words: str, size: float, align: str = "CENTER") -> bpy.types.Curve:
    """Words as filled outlines in Blender's own font, middle at the origin; `size` in Blender units."""
    curve = bpy.data.curves.new(words, "FONT")
    curve.body, curve.size = words, size
    curve.align_x, curve.align_y = align, "CENTER"
    return curve


def nodes_of(block: bpy.types.Material | bpy.types.World) -> bpy.types.NodeTree:
    """The node tree of a new material or world; before Blender 5 it has to be asked for."""
    if bpy.app.version < (5, 0):
        block.use_nodes = True
    return block.node_tree
