"""The maker's say on where a suggested plan may cut: forbidden edges, and what is painted on the shell."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from ..core.seams import EdgeChoices
from ..core.shell import Shell
from . import bridge, own_mesh

FORBID = "foamwright_forbid"
"""Edge attribute: never cut here."""

KEEP_WHOLE, CUT_HERE = "foamwright_keep_whole", "foamwright_cut_here"
"""Vertex groups, or float attributes of vertices: where a cut is unwanted, and where it is wanted; 0 to 1."""


def choices_of(context: bpy.types.Context, obj: bpy.types.Object, shell: Shell) -> EdgeChoices:
    """What the maker said, for a shell just made from this object; edges that could not be marked are forbidden.

    Raises MeshError where none could be.
    """
    can_be_marked = own_mesh.can_be_marked(context, obj, shell)
    with bridge.evaluated_mesh(context, obj) as mesh:
        return EdgeChoices(
            forbid=bridge.on_shell_edges(mesh, shell, _forbidden(mesh)) | ~can_be_marked,
            keep_whole=_painted(mesh, obj, KEEP_WHOLE),
            cut_here=_painted(mesh, obj, CUT_HERE),
        )


def forbidden_count(context: bpy.types.Context, obj: bpy.types.Object) -> int:
    """How many edges of the shell no plan may cut because the maker said so."""
    if FORBID not in bridge.mesh_of(obj).attributes:
        return 0
    # in Edit Mode attributes of the own mesh cannot be read
    with bridge.evaluated_mesh(context, obj) as mesh:
        return int(_forbidden(mesh).sum())


def forbidden_pairs(obj: bpy.types.Object) -> tuple[tuple[int, int], ...]:
    """Edges of the own mesh along which no plan may cut, as vertex pairs."""
    with bridge.out_of_edit_mode(obj):
        mesh = bridge.mesh_of(obj)
        return tuple((int(low), int(high)) for low, high in bridge.edge_pairs(mesh)[_forbidden(mesh)])


def toggle_forbidden(obj: bpy.types.Object) -> tuple[int, bool]:
    """Forbid cutting the selected edges, or allow it where all of them are forbidden; how many, and which."""
    with bridge.out_of_edit_mode(obj):
        mesh = bridge.mesh_of(obj)
        marks, chosen = _forbidden(mesh), bridge.edge_flags(mesh, "select")
        forbids = not marks[chosen].all()
        marks[chosen] = forbids
        attribute = _forbid_attribute(mesh)
        if attribute is None:
            if FORBID in mesh.attributes:
                mesh.attributes.remove(mesh.attributes[FORBID])
            attribute = mesh.attributes.new(FORBID, "BOOLEAN", "EDGE")
        attribute.data.foreach_set("value", marks)
    return int(chosen.sum()), forbids


def _forbidden(mesh: bpy.types.Mesh) -> np.ndarray:
    """(e,) bool."""
    marks = np.zeros(len(mesh.edges), bool)
    attribute = _forbid_attribute(mesh)
    if attribute is not None:
        attribute.data.foreach_get("value", marks)
    return marks


def _forbid_attribute(mesh: bpy.types.Mesh) -> Any:
    attribute: Any = mesh.attributes.get(FORBID)
    usable = attribute is not None and attribute.domain == "EDGE" and attribute.data_type == "BOOLEAN"
    return attribute if usable else None


def _painted(mesh: bpy.types.Mesh, obj: bpy.types.Object, name: str) -> np.ndarray | None:
    """(n,) 0 to 1 per vertex of a vertex group, or of a float attribute; None where there is neither."""
    group: Any = obj.vertex_groups.get(name)
    attribute: Any = mesh.attributes.get(name)
    weights = np.zeros(len(mesh.vertices), np.float32)
    if group is not None:
        for vertex in mesh.vertices:
            for entry in vertex.groups:
                if entry.group == group.index:
                    weights[vertex.index] = entry.weight
    elif attribute is not None and attribute.domain == "POINT" and attribute.data_type == "FLOAT":
        attribute.data.foreach_get("value", weights)
    else:
        return None
    return weights.astype(float)
