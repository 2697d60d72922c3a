"""From the elements of a shell back to those of the object's own mesh, which the maker marks, selects and keeps."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import bmesh
import bpy
import numpy as np

from ..core.cage import whole_edges
from ..core.errors import MeshError
from ..core.memory import own_numbers, remember, to_text
from ..core.shell import Shell
from . import bridge
from .bridge import PIECE_KEY, RUN_KEY, edge_pairs, mesh_of, out_of_edit_mode

OWN_FACE, OWN_EDGE = "foamwright_own_face", "foamwright_own_edge"
"""Attributes that are there for a moment: one more than the number of each face and edge, for modifiers to carry."""

MADE_ANEW = "modifiers make it anew, not from an edge or face of the object's own mesh"
APPLY_MODIFIERS = "apply the modifiers (Object > Apply > Visual Geometry to Mesh)"


@dataclass(frozen=True, eq=False)
class Origins:
    """What the elements of a shell come from: numbers of the object's own mesh, -1 for what modifiers make anew.

    face : (f,) and edge : (k,) int, per face and edge of the shell; pairs : (e, 2) int, the ends of the own edges
    is_same : the modifiers leave all elements as they are (they may move them)
    """

    face: np.ndarray
    edge: np.ndarray
    pairs: np.ndarray
    is_same: bool


def origins_of(context: bpy.types.Context, obj: bpy.types.Object, shell: Shell) -> Origins:
    """For a shell just made from this object."""
    if same_elements(context, obj):
        pairs = edge_pairs(mesh_of(obj))
        return Origins(np.arange(shell.face_count), _per_shell_edge(shell, pairs, np.arange(len(pairs))), pairs, True)
    with out_of_edit_mode(obj):
        own = mesh_of(obj)
        _write_ints(own, OWN_FACE, "FACE", 1 + np.arange(len(own.polygons)))
        _write_ints(own, OWN_EDGE, "EDGE", 1 + np.arange(len(own.edges)))
        own.update()
        try:
            with bridge.evaluated_mesh(context, obj) as made:
                face = bridge.int_attribute(made, OWN_FACE, "FACE") - 1
                edge = _per_shell_edge(shell, edge_pairs(made), bridge.int_attribute(made, OWN_EDGE, "EDGE") - 1)
        finally:
            for name in (OWN_FACE, OWN_EDGE):
                attribute: Any = own.attributes.get(name)
                own.attributes.remove(attribute)
            own.update()
        return Origins(face, edge, edge_pairs(own), False)


def _per_shell_edge(shell: Shell, pairs: np.ndarray, values: np.ndarray) -> np.ndarray:
    number = shell.edge_between(pairs)
    carried = np.full(shell.edge_count, -1)
    carried[number[number >= 0]] = values[number >= 0]
    return carried


def same_elements(context: bpy.types.Context, obj: bpy.types.Object) -> bool:
    """Whether the modifiers leave the mesh's vertices, edges and faces as they are (they may move them)."""
    own = mesh_of(obj)
    with bridge.evaluated_mesh(context, obj) as seen:
        return len(own.vertices) == len(seen.vertices) and all(
            np.array_equal(read(own), read(seen)) for read in (edge_pairs, bridge.corner_vertices)
        )


# --- marking ---------------------------------------------------------------------------------------


def write_seams(context: bpy.types.Context, obj: bpy.types.Object, shell: Shell, seam: np.ndarray) -> int:
    """Set Blender's seam flags from `seam` (k,) bool per shell edge; how many edges could not be marked.

    An own edge is a seam where any edge made from it shall be one. Raises MeshError where none could be marked.
    """
    origins = origins_of(context, obj, shell)
    made = origins.edge >= 0
    refused = int(np.count_nonzero((seam != shell.seam) & ~made))
    if refused and np.array_equal(seam[made], shell.seam[made]):
        raise MeshError(f"'{obj.name}': no seam can stand there ({MADE_ANEW}); first {APPLY_MODIFIERS}.")
    with out_of_edit_mode(obj):
        mesh = mesh_of(obj)
        flags = bridge.edge_flags(mesh, "use_seam")
        flags[origins.edge[made]] = False
        flags[origins.edge[made & seam]] = True
        mesh.edges.foreach_set("use_seam", flags)
        mesh.update()
    return refused


def refused_words(refused: int) -> str:
    """What to say of edges that could not be marked, "" for none."""
    return f"; {refused} edges cannot be seams: {MADE_ANEW}. To cut there, {APPLY_MODIFIERS}" if refused else ""


def can_be_marked(context: bpy.types.Context, obj: bpy.types.Object, shell: Shell) -> np.ndarray:
    """(k,) bool, the shell edges that are made from own ones. Raises MeshError where there is none."""
    marks = origins_of(context, obj, shell).edge >= 0
    if not marks.any():
        raise MeshError(f"'{obj.name}': no seam can stand on it ({MADE_ANEW}); first {APPLY_MODIFIERS}.")
    return marks


def as_marked(origins: Origins, edges: np.ndarray) -> np.ndarray:
    """(k,) bool per shell edge: what becomes a seam when `edges` (e,) int are marked."""
    chosen = np.zeros(len(origins.edge), bool)
    chosen[edges] = True
    return whole_edges(origins.edge, chosen)


def write_piece_keys(context: bpy.types.Context, obj: bpy.types.Object, origins: Origins, keys: np.ndarray) -> None:
    """Keep `keys` (f,) int per shell face on the own faces, and what tells made faces apart on the object."""
    with out_of_edit_mode(obj):
        own = own_numbers(origins.face, keys, len(mesh_of(obj).polygons))
        with bridge.evaluated_mesh(context, obj) as made:
            carried = np.where(origins.face >= 0, np.append(own, 0)[origins.face], 0)
            obj.foamwright.piece_memory = to_text(remember(carried, keys, bridge.face_places(made)))
        _write_ints(mesh_of(obj), PIECE_KEY, "FACE", own)


def write_run_keys(
    context: bpy.types.Context, obj: bpy.types.Object, shell: Shell, origins: Origins, keys: np.ndarray
) -> None:
    """Keep `keys` (k,) int per shell edge on the own edges; otherwise as `write_piece_keys`."""
    with out_of_edit_mode(obj):
        own = own_numbers(origins.edge, keys, len(mesh_of(obj).edges))
        with bridge.evaluated_mesh(context, obj) as made:
            edge = shell.edge_between(edge_pairs(made))
            places = bridge.edge_places(made)[edge >= 0]
        edge = edge[edge >= 0]
        carried = np.where(origins.edge >= 0, np.append(own, 0)[origins.edge], 0)[edge]
        obj.foamwright.run_memory = to_text(remember(carried, keys[edge], places))
        _write_ints(mesh_of(obj), RUN_KEY, "EDGE", own)


def _write_ints(mesh: bpy.types.Mesh, name: str, domain: Literal["FACE", "EDGE"], values: np.ndarray) -> None:
    attribute: Any = mesh.attributes.get(name)
    if attribute is not None and (attribute.domain != domain or attribute.data_type != "INT"):
        mesh.attributes.remove(attribute)
        attribute = None
    attribute = attribute or mesh.attributes.new(name, "INT", domain)
    attribute.data.foreach_set("value", np.asarray(values, np.int32))


# --- places ----------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Place:
    """Elements of the object's own mesh, edges as vertex pairs; `is_made`: of all that was meant there are none."""

    vertices: tuple[int, ...] = ()
    edges: tuple[tuple[int, int], ...] = ()
    faces: tuple[int, ...] = ()
    is_made: bool = False

    def __bool__(self) -> bool:
        return bool(self.vertices or self.edges or self.faces or self.is_made)


def own_place(
    origins: Origins, shell: Shell, vertices: Sequence[int], edges: Sequence[int], faces: Sequence[int]
) -> Place:
    """Elements of a shell as those of the own mesh that they are made from; of made vertices their faces."""
    if not origins.is_same and len(vertices):
        around = shell.corner_face[np.isin(shell.corner_vertex, list(vertices))]
        vertices, faces = (), [*faces, *around.tolist()]
    own_edges = np.unique(origins.edge[list(edges)])
    own_faces = np.unique(origins.face[list(faces)])
    place = Place(
        tuple(int(vertex) for vertex in vertices),
        tuple((int(low), int(high)) for low, high in origins.pairs[own_edges[own_edges >= 0]]),
        tuple(own_faces[own_faces >= 0].tolist()),
    )
    return place if place else Place(is_made=bool(len(edges) or len(faces)))


def select_elements(context: bpy.types.Context, obj: bpy.types.Object, place: Place) -> None:
    """Enter Edit Mode with this place and nothing else selected.

    Raises MeshError where modifiers make it, or an edit has removed it.
    """
    if place.is_made:
        raise MeshError(f"'{obj.name}': there is nothing to select: {MADE_ANEW}; first {APPLY_MODIFIERS}.")
    if obj.mode == "EDIT":
        obj.update_from_editmode()
    own = mesh_of(obj)
    named = [*place.vertices, *(vertex for pair in place.edges for vertex in pair)]
    pairs = {tuple(pair) for pair in edge_pairs(own).tolist()}
    known = len(own.vertices) > max(named, default=-1) and len(own.polygons) > max(place.faces, default=-1)
    if not known or not {tuple(sorted(pair)) for pair in place.edges} <= pairs:
        raise MeshError(f"'{obj.name}': the mesh was edited since it was checked; check it again.")
    kind = 0 if place.vertices else 1 if place.edges else 2
    tools: Any = context.tool_settings
    tools.mesh_select_mode = (kind == 0, kind == 1, kind == 2)
    if obj.mode != "EDIT":
        bridge.set_mode(obj, "EDIT")
    mesh: Any = bmesh.from_edit_mesh(own)
    for elements in (mesh.verts, mesh.edges, mesh.faces):
        elements.ensure_lookup_table()
        for element in elements:
            element.select = False
    chosen = [mesh.edges.get([mesh.verts[vertex] for vertex in pair]) for pair in place.edges]
    for element in (*(mesh.verts[i] for i in place.vertices), *chosen, *(mesh.faces[i] for i in place.faces)):
        element.select_set(True)
    bmesh.update_edit_mesh(own)
