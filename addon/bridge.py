"""The one place where Blender meshes become shells, and element numbers of a shell become Blender's."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Literal

import bmesh
import bpy
import numpy as np

from ..core.errors import MeshError
from ..core.shell import Shell

PIECE_KEY = "foamwright_piece"
"""Face attribute: the key of the piece a face belongs to, 0 for none."""

RUN_KEY = "foamwright_run"
"""Edge attribute: the key of the joint or open rim an edge belongs to, 0 for none."""

WHY_NOTHING_MARKED = "its modifiers make faces that its own mesh does not have"
APPLY_MODIFIERS = "apply the modifiers (Object > Apply > Visual Geometry to Mesh)"


def mm_per_unit(scene: bpy.types.Scene) -> float:
    """Millimetres in one Blender unit of the scene."""
    units = scene.unit_settings
    return 1000.0 * (units.scale_length if units.system != "NONE" else 1.0)


def mesh_of(obj: bpy.types.Object) -> bpy.types.Mesh:
    """The object's own mesh, as it is without modifiers."""
    mesh = obj.data
    assert isinstance(mesh, bpy.types.Mesh)
    return mesh


@contextmanager
def evaluated_mesh(context: bpy.types.Context, obj: bpy.types.Object) -> Iterator[bpy.types.Mesh]:
    """The mesh with modifiers applied, in the object's own space; the same in every mode.

    Raises MeshError where Blender works out no modifiers, because the object takes no part in the view.
    """
    unseen = []
    if obj.mode == "EDIT":
        obj.update_from_editmode()
        unseen = [modifier for modifier in obj.modifiers if modifier.show_viewport and not modifier.show_in_editmode]
    _show_in_edit_mode(unseen, True)
    evaluated = obj.evaluated_get(context.evaluated_depsgraph_get())
    try:
        if not evaluated.is_evaluated:
            raise MeshError(
                f"'{obj.name}' is disabled in viewports or its collection is left out of the view layer, so its "
                "modifiers are not worked out; enable it (hiding it with the eye is fine)."
            )
        yield evaluated.to_mesh()
    finally:
        evaluated.to_mesh_clear()
        if unseen:
            _show_in_edit_mode(unseen, False)
            # so that no change is left for later, which would be taken for the maker's
            context.view_layer.update()


def _show_in_edit_mode(modifiers: Iterable[bpy.types.Modifier], shown: bool) -> None:
    for modifier in modifiers:
        modifier.show_in_editmode = shown


def shell_from_object(context: bpy.types.Context, obj: bpy.types.Object | None) -> Shell:
    """The object as it stands in the world, modifiers applied, in mm, with its seams and sharp edges.

    Raises MeshError where there is no usable mesh.
    """
    return shell_and_face_names(context, obj)[0]


def shell_and_face_names(context: bpy.types.Context, obj: bpy.types.Object | None) -> tuple[Shell, list[str]]:
    """The shell, and per shell face the name of the piece it was in at the last run ("" for none)."""
    if obj is None or obj.type != "MESH":
        raise MeshError("There is no mesh to work on; select the object that is your shell.")
    with evaluated_mesh(context, obj) as mesh:
        return _shell(mesh, obj, mm_per_unit(context.scene)), _face_names(mesh, obj)


def run_letters(context: bpy.types.Context, obj: bpy.types.Object, shell: Shell) -> list[str]:
    """Per edge of the shell the letter of the run it was in at the last run, "" for none."""
    letters = [""] * shell.edge_count
    with evaluated_mesh(context, obj) as mesh:
        attribute: Any = mesh.attributes.get(RUN_KEY)
        if attribute is not None and attribute.domain == "EDGE" and attribute.data_type == "INT":
            letter_of_key = {run.key: run.name for run in obj.foamwright.runs}
            edges, keys = shell.edge_between(_edge_pairs(mesh)), _ints(attribute.data, "value")
            for edge, key in zip(edges.tolist(), keys.tolist(), strict=True):
                if edge >= 0:
                    letters[edge] = letter_of_key.get(key, "")
    return letters


def _shell(mesh: bpy.types.Mesh, obj: bpy.types.Object, unit: float) -> Shell:
    # Blender's own transform; 32 bits are fine to 0.0001 mm at the size of a person
    mesh.transform(obj.matrix_world)
    faces = np.split(_ints(mesh.loops, "vertex_index"), _ints(mesh.polygons, "loop_start")[1:])
    if len(mesh.polygons) == 0:
        faces = []
    elif obj.matrix_world.is_negative:
        # a mirroring scale turns every face inside out
        faces = [face[::-1] for face in faces]
    pairs, in_face = _edge_pairs(mesh), ~_flags(mesh.edges, "is_loose")
    seams = pairs[_flags(mesh.edges, "use_seam") & in_face]
    folds = pairs[_flags(mesh.edges, "use_edge_sharp") & in_face]
    return Shell.build(_floats(mesh.vertices, "co", 3) * unit, faces, seams, folds, obj.name)


def _face_names(mesh: bpy.types.Mesh, obj: bpy.types.Object) -> list[str]:
    attribute: Any = mesh.attributes.get(PIECE_KEY)
    if attribute is None or attribute.domain != "FACE" or attribute.data_type != "INT":
        return [""] * len(mesh.polygons)
    name_of_key = {piece.key: piece.name for piece in obj.foamwright.pieces}
    return [name_of_key.get(key, "") for key in _ints(attribute.data, "value").tolist()]


def same_shell(one: Shell, other: Shell) -> bool:
    """Whether nothing that a job reads has changed between the two."""
    return all(
        np.array_equal(getattr(one, part), getattr(other, part))
        for part in ("vertices", "corner_vertex", "face_start", "seam", "fold")
    )


# --- writing back ----------------------------------------------------------------------------------


def same_elements(context: bpy.types.Context, obj: bpy.types.Object) -> bool:
    """Whether the modifiers leave the mesh's vertices, edges and faces as they are (they may move them)."""
    own = mesh_of(obj)
    with evaluated_mesh(context, obj) as seen:
        return len(own.vertices) == len(seen.vertices) and all(
            np.array_equal(read(own), read(seen))
            for read in (_edge_pairs, lambda mesh: _ints(mesh.loops, "vertex_index"))
        )


def write_seams(context: bpy.types.Context, obj: bpy.types.Object, shell: Shell, seam: np.ndarray) -> None:
    """Set Blender's seam flags from `seam` (k,) bool per shell edge.

    Raises MeshError where modifiers make the edges, so that there is nothing to set the flags on.
    """
    with out_of_edit_mode(obj):
        refuse_added_elements(context, obj)
        mesh = mesh_of(obj)
        number = shell.edge_between(_edge_pairs(mesh))
        flags = _flags(mesh.edges, "use_seam")
        flags[number >= 0] = seam[number[number >= 0]]
        mesh.edges.foreach_set("use_seam", flags)
        mesh.update()


def write_piece_keys(obj: bpy.types.Object, keys: np.ndarray) -> None:
    """Store `keys` (f,) int on the faces; the mesh is not in Edit Mode and has the shell's elements."""
    _write_ints(mesh_of(obj), PIECE_KEY, "FACE", keys)


def write_run_keys(obj: bpy.types.Object, shell: Shell, keys: np.ndarray) -> None:
    """Store `keys` (k,) int per shell edge on the edges; otherwise as `write_piece_keys`."""
    mesh = mesh_of(obj)
    number = shell.edge_between(_edge_pairs(mesh))
    _write_ints(mesh, RUN_KEY, "EDGE", np.where(number >= 0, keys[number], 0))


def _write_ints(mesh: bpy.types.Mesh, name: str, domain: Literal["FACE", "EDGE"], values: np.ndarray) -> None:
    attribute: Any = mesh.attributes.get(name)
    if attribute is not None and (attribute.domain != domain or attribute.data_type != "INT"):
        mesh.attributes.remove(attribute)
        attribute = None
    attribute = attribute or mesh.attributes.new(name, "INT", domain)
    attribute.data.foreach_set("value", np.asarray(values, np.int32))


def select_elements(
    context: bpy.types.Context,
    obj: bpy.types.Object,
    vertices: Sequence[int],
    edges: Sequence[tuple[int, int]],
    faces: Sequence[int],
) -> None:
    """Enter Edit Mode with these and nothing else selected in the object's own mesh; edges as vertex pairs.

    Raises MeshError where modifiers make the elements, or an edit has removed them.
    """
    refuse_added_elements(context, obj)
    named = [*vertices, *(vertex for pair in edges for vertex in pair)]
    own = mesh_of(obj)
    pairs = {tuple(pair) for pair in _edge_pairs(own).tolist()}
    known = len(own.vertices) > max(named, default=-1) and len(own.polygons) > max(faces, default=-1)
    if not known or not {tuple(sorted(pair)) for pair in edges} <= pairs:
        raise MeshError(f"'{obj.name}': the mesh was edited since it was checked; check it again.")
    kind = 0 if vertices else 1 if edges else 2
    tools: Any = context.tool_settings
    tools.mesh_select_mode = (kind == 0, kind == 1, kind == 2)
    if obj.mode != "EDIT":
        _set_mode(obj, "EDIT")
    mesh: Any = bmesh.from_edit_mesh(own)
    for elements in (mesh.verts, mesh.edges, mesh.faces):
        elements.ensure_lookup_table()
        for element in elements:
            element.select = False
    chosen = [mesh.edges.get([mesh.verts[vertex] for vertex in pair]) for pair in edges]
    for element in (*(mesh.verts[i] for i in vertices), *chosen, *(mesh.faces[i] for i in faces)):
        element.select_set(True)
    bmesh.update_edit_mesh(own)


def refuse_added_elements(context: bpy.types.Context, obj: bpy.types.Object) -> None:
    """Raises MeshError where modifiers make elements that the object's own mesh does not have."""
    if not same_elements(context, obj):
        raise MeshError(
            f"'{obj.name}': {WHY_NOTHING_MARKED}, so nothing can be marked on them; first {APPLY_MODIFIERS}."
        )


@contextmanager
def out_of_edit_mode(obj: bpy.types.Object) -> Iterator[None]:
    """Mesh data can only be written outside Edit Mode: step out of it, and back in afterwards."""
    editing = obj.mode == "EDIT"
    if editing:
        _set_mode(obj, "OBJECT")
    try:
        yield
    finally:
        if editing:
            _set_mode(obj, "EDIT")


def _set_mode(obj: bpy.types.Object, mode: Literal["OBJECT", "EDIT"]) -> None:
    with bpy.context.temp_override(active_object=obj, object=obj):
        bpy.ops.object.mode_set(mode=mode)


# --- looking at the mesh without making a shell -----------------------------------------------------


def edge_flags(mesh: bpy.types.Mesh, name: str) -> np.ndarray:
    """(e,) bool, such as "use_seam" or "select", of the mesh's own edges."""
    return _flags(mesh.edges, name)


@dataclass(frozen=True)
class Look:
    """What a run would read of an object, in short.

    size_mm : of its box, along its own axes
    shape : changes when vertices, edges or faces do; fingerprint : also when seams, sharp edges, the object's
        place or the scene's units do
    """

    faces: int
    size_mm: tuple[float, ...]
    shape: str
    fingerprint: str


def look(context: bpy.types.Context, obj: bpy.types.Object) -> Look:
    """The object with its modifiers, without the cost of making a shell. Raises MeshError, see `evaluated_mesh`."""
    unit = mm_per_unit(context.scene)
    with evaluated_mesh(context, obj) as mesh:
        own_space = _floats(mesh.vertices, "co", 3)
        box = np.ptp(own_space, axis=0) if len(own_space) else np.zeros(3)
        size = box * np.abs(np.array(obj.matrix_world.to_scale())) * unit
        topology = _ints(mesh.loops, "vertex_index"), _ints(mesh.polygons, "loop_start")
        pairs = _edge_pairs(mesh)
        marked = [pairs[_flags(mesh.edges, name)] for name in ("use_seam", "use_edge_sharp")]
        mesh.transform(obj.matrix_world)
        world = (_floats(mesh.vertices, "co", 3) * unit).astype(np.float32)
    flipped = np.array(obj.matrix_world.is_negative)
    shape, whole = _crc((own_space.astype(np.float32), *topology)), _crc((world, *topology, *marked, flipped))
    return Look(len(topology[1]), tuple(size.tolist()), shape, whole)


def on_shell_edges(mesh: bpy.types.Mesh, shell: Shell, flags: np.ndarray) -> np.ndarray:
    """(k,) bool per shell edge, from `flags` (e,) bool per edge of the mesh."""
    number = shell.edge_between(_edge_pairs(mesh))
    carried = np.zeros(shell.edge_count, bool)
    carried[number[flags & (number >= 0)]] = True
    return carried


def shape_print(mesh: bpy.types.Mesh) -> str:
    """Changes when the mesh's own vertices, edges or faces do."""
    points = _floats(mesh.vertices, "co", 3).astype(np.float32)
    return _crc((points, _edge_pairs(mesh), _ints(mesh.loops, "vertex_index"), _ints(mesh.polygons, "loop_start")))


def _crc(parts: Iterable[np.ndarray]) -> str:
    total = 0
    for part in parts:
        total = zlib.crc32(np.ascontiguousarray(part).tobytes(), total)
    return f"{total:08x}"


def _floats(elements, name: str, width: int) -> np.ndarray:
    values = np.empty(len(elements) * width, np.float32)
    elements.foreach_get(name, values)
    return values.reshape(-1, width).astype(float)


def _ints(elements, name: str) -> np.ndarray:
    values = np.empty(len(elements), np.int32)
    elements.foreach_get(name, values)
    return values


def _flags(elements, name: str) -> np.ndarray:
    values = np.empty(len(elements), bool)
    elements.foreach_get(name, values)
    return values


def _edge_pairs(mesh: bpy.types.Mesh) -> np.ndarray:
    """(e, 2) int, the ends of the mesh's own edges, the smaller number first."""
    values = np.empty(len(mesh.edges) * 2, np.int32)
    mesh.edges.foreach_get("vertices", values)
    return np.sort(values.reshape(-1, 2), axis=1)
