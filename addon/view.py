"""Turning the 3D viewport to what is selected."""

from __future__ import annotations

import bmesh
import bpy
from mathutils import Vector

from ..core.places import is_seen
from . import bridge

ROOM = 2.0
"""Times the distance at which the place fills the view: it is known by what is around it."""

ONE_WAY = 0.2
"""Part of its length that a sum of normals keeps where they look one way rather than all ways."""


def turn_to_selection(context: bpy.types.Context, obj: bpy.types.Object) -> None:
    """Bring what is selected in Edit Mode to the middle of the viewport, and to its front if it lies behind.

    Nothing happens where there is no viewport.
    """
    area = _viewport(context)
    if area is None:
        return
    view = area.spaces.active.region_3d
    outward = _outward(obj)
    if outward.length > 0 and not is_seen(outward.to_tuple(), view.view_rotation @ Vector((0.0, 0.0, -1.0))):
        view.view_rotation = outward.to_track_quat("Z", "Y")
    region = next(region for region in area.regions if region.type == "WINDOW")
    with context.temp_override(area=area, region=region):
        bpy.ops.view3d.view_selected()
    view.view_distance *= ROOM


def _viewport(context: bpy.types.Context) -> bpy.types.Area | None:
    """The one the maker works in, else the first on the screen."""
    areas = [context.area, *(context.screen.areas if context.screen is not None else ())]
    return next((area for area in areas if area is not None and area.type == "VIEW_3D"), None)


def _outward(obj: bpy.types.Object) -> Vector:
    """The direction in the world in which most of what is selected looks; none where it looks all ways."""
    mesh = bmesh.from_edit_mesh(bridge.mesh_of(obj))
    to_world = obj.matrix_world.to_3x3().inverted_safe().transposed()
    normals = [(to_world @ vertex.normal).normalized() for vertex in mesh.verts if vertex.select]
    outward = sum(normals, Vector())
    return outward if outward.length > ONE_WAY * len(normals) else Vector()
