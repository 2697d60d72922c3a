"""Strain and flags as colours of the faces of a mesh, and which of them a viewport shows."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import bpy
import numpy as np

from ..core.flag_colours import flag_colours
from ..core.heat import strain_colour

STRAIN, FLAGS = "Foam strain", "Foam flags"
STRAIN_NUMBER = "foam_strain"
CHOICES = {"STRAIN": STRAIN, "FLAGS": FLAGS}


def paint(mesh: bpy.types.Mesh, strain: np.ndarray, limit: float | np.ndarray, flags: np.ndarray) -> None:
    """Strain (f,) and flags (f,) of every face, strain as a number too; strain is shown."""
    unpaint(mesh)
    _paint(mesh, FLAGS, flag_colours(flags))
    paint_strain(mesh, strain, limit)


def paint_strain(mesh: bpy.types.Mesh, strain: np.ndarray, limit: float | np.ndarray) -> None:
    """Strain (f,) of every face as a number and as the active colour attribute."""
    mesh.attributes.new(STRAIN_NUMBER, "FLOAT", "FACE").data.foreach_set("value", strain.astype(np.float32))
    _paint(mesh, STRAIN, strain_colour(strain, limit))
    mesh.color_attributes.render_color_index = mesh.color_attributes.active_color_index


def unpaint(mesh: bpy.types.Mesh) -> None:
    for name in (STRAIN, FLAGS, STRAIN_NUMBER):
        old: Any = mesh.attributes.get(name)
        if old is not None:
            mesh.attributes.remove(old)


def _paint(mesh: bpy.types.Mesh, name: str, colours: np.ndarray) -> None:
    """Colours (f, 3) of the faces as the active colour attribute."""
    corners = np.ones((len(mesh.loops), 4), np.float32)
    sides = np.empty(len(mesh.polygons), np.int32)
    mesh.polygons.foreach_get("loop_total", sides)
    corners[:, :3] = np.repeat(colours, sides, axis=0)
    attribute = mesh.color_attributes.new(name, "BYTE_COLOR", "CORNER")
    attribute.data.foreach_set("color_srgb", corners.ravel())
    mesh.color_attributes.active_color = attribute


def wear(meshes: Iterable[bpy.types.Mesh], name: str) -> bool:
    """Make a painted attribute the one that viewports show; whether any of the meshes has it."""
    painted = [mesh for mesh in meshes if name in mesh.color_attributes]
    for mesh in painted:
        mesh.color_attributes.active_color = mesh.color_attributes[name]
    return bool(painted)


def worn(meshes: Iterable[bpy.types.Mesh]) -> str:
    """Which of STRAIN and FLAGS the first painted mesh shows; "" where none is painted."""
    actives = (mesh.color_attributes.active_color for mesh in meshes)
    return next((active.name for active in actives if active is not None and active.name in (STRAIN, FLAGS)), "")


def shown(shading: bpy.types.View3DShading, meshes: Iterable[bpy.types.Mesh]) -> str:
    """Which of them a viewport shows; "" for neither."""
    return worn(meshes) if shading.type == "SOLID" and shading.color_type == "VERTEX" else ""
