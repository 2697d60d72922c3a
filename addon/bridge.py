"""Where Blender's meshes become shells."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Literal

import bpy
import numpy as np

from ..core.errors import FormatError, MeshError
from ..core.memory import Memory, from_text, recall
from ..core.shell import Shell

PIECE_KEY = "foamwright_piece"
"""Face attribute: the key of the piece a face belongs to, 0 for none."""

RUN_KEY = "foamwright_run"
"""Edge attribute: the key of the joint or open rim an edge belongs to, 0 for none."""


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
        names = _face_names(mesh, obj)  # first: the shell takes the mesh out of its own space
        return _shell(mesh, obj, mm_per_unit(context.scene)), names


def run_letters(context: bpy.types.Context, obj: bpy.types.Object, shell: Shell) -> list[str]:
    """Per edge of the shell the letter of the run it was in at the last run, "" for none."""
    letters = [""] * shell.edge_count
    letter_of_key = {run.key: run.name for run in obj.foamwright.runs}
    with evaluated_mesh(context, obj) as mesh:
        numbers = int_attribute(mesh, RUN_KEY, "EDGE")
        keys = recall(_remembered(obj.foamwright.run_memory), numbers, edge_places(mesh))
        edges = shell.edge_between(edge_pairs(mesh))
    for edge, key in zip(edges.tolist(), keys.tolist(), strict=True):
        if edge >= 0:
            letters[edge] = letter_of_key.get(key, "")
    return letters


def _shell(mesh: bpy.types.Mesh, obj: bpy.types.Object, unit: float) -> Shell:
    # Blender's own transform; 32 bits are fine to 0.0001 mm at the size of a person
    mesh.transform(obj.matrix_world)
    corners, start = _ints(mesh.loops, "vertex_index"), np.append(_ints(mesh.polygons, "loop_start"), len(mesh.loops))
    if obj.matrix_world.is_negative:
        # a mirroring scale turns every face inside out: each of its corners from the last to the first
        ends = np.repeat(start[:-1] + start[1:] - 1, np.diff(start))
        corners = corners[ends - np.arange(len(corners))]
    pairs, in_face = edge_pairs(mesh), ~_flags(mesh.edges, "is_loose")
    seams = pairs[_flags(mesh.edges, "use_seam") & in_face]
    folds = pairs[_flags(mesh.edges, "use_edge_sharp") & in_face]
    return Shell.of_corners(_floats(mesh.vertices, "co", 3) * unit, corners, start, seams, folds, obj.name)


def _face_names(mesh: bpy.types.Mesh, obj: bpy.types.Object) -> list[str]:
    name_of_key = {piece.key: piece.name for piece in obj.foamwright.pieces}
    numbers = int_attribute(mesh, PIECE_KEY, "FACE")
    keys = recall(_remembered(obj.foamwright.piece_memory), numbers, face_places(mesh))
    return [name_of_key.get(key, "") for key in keys.tolist()]


def _remembered(text: str) -> Memory:
    """A damaged memory tells nothing; what faces and edges carry is left."""
    try:
        return from_text(text)
    except FormatError:
        return Memory.empty()


def same_shell(one: Shell, other: Shell) -> bool:
    """Whether nothing that a job reads has changed between the two."""
    return all(
        np.array_equal(getattr(one, part), getattr(other, part))
        for part in ("vertices", "corner_vertex", "face_start", "seam", "fold")
    )


# --- the object's own mesh --------------------------------------------------------------------------


@contextmanager
def out_of_edit_mode(obj: bpy.types.Object) -> Iterator[None]:
    """Mesh data can only be written outside Edit Mode: step out of it, and back in afterwards."""
    editing = obj.mode == "EDIT"
    if editing:
        set_mode(obj, "OBJECT")
    try:
        yield
    finally:
        if editing and obj.visible_get():
            set_mode(obj, "EDIT")


def refuse_hidden(obj: bpy.types.Object) -> None:
    """Raises MeshError for an object that is not to be seen, on which Blender edits and selects nothing."""
    if not obj.visible_get():
        raise MeshError(f"'{obj.name}' is hidden, so nothing can be selected or painted on it; show it first.")


def set_mode(obj: bpy.types.Object, mode: Literal["OBJECT", "EDIT"]) -> None:
    """Enter or leave Edit Mode. Raises MeshError where an object that is to be edited is hidden."""
    if mode == "EDIT":
        refuse_hidden(obj)
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
        pairs = edge_pairs(mesh)
        marked = [pairs[_flags(mesh.edges, name)] for name in ("use_seam", "use_edge_sharp")]
        mesh.transform(obj.matrix_world)
        world = (_floats(mesh.vertices, "co", 3) * unit).astype(np.float32)
    flipped = np.array(obj.matrix_world.is_negative)
    shape, whole = _crc((own_space.astype(np.float32), *topology)), _crc((world, *topology, *marked, flipped))
    return Look(len(topology[1]), tuple(size.tolist()), shape, whole)


def int_attribute(mesh: bpy.types.Mesh, name: str, domain: Literal["FACE", "EDGE"]) -> np.ndarray:
    """One int per face or edge, 0 where there is no such attribute."""
    attribute: Any = mesh.attributes.get(name)
    if attribute is None or attribute.domain != domain or attribute.data_type != "INT":
        return np.zeros(len(mesh.polygons if domain == "FACE" else mesh.edges), np.int32)
    return _ints(attribute.data, "value")


def face_places(mesh: bpy.types.Mesh) -> np.ndarray:
    """(f, 3) in the mesh's own space."""
    return _floats(mesh.polygons, "center", 3)


def edge_places(mesh: bpy.types.Mesh) -> np.ndarray:
    """(e, 3) in the mesh's own space."""
    return _floats(mesh.vertices, "co", 3)[edge_pairs(mesh)].mean(axis=1)


def corner_vertices(mesh: bpy.types.Mesh) -> np.ndarray:
    """(c,) int, the faces' vertices one after another."""
    return _ints(mesh.loops, "vertex_index")


def edge_pairs(mesh: bpy.types.Mesh) -> np.ndarray:
    """(e, 2) int, the ends of the mesh's own edges, the smaller number first."""
    values = np.empty(len(mesh.edges) * 2, np.int32)
    mesh.edges.foreach_get("vertices", values)
    return np.sort(values.reshape(-1, 2), axis=1)


def on_shell_edges(mesh: bpy.types.Mesh, shell: Shell, flags: np.ndarray) -> np.ndarray:
    """(k,) bool per shell edge, from `flags` (e,) bool per edge of the mesh."""
    number = shell.edge_between(edge_pairs(mesh))
    carried = np.zeros(shell.edge_count, bool)
    carried[number[flags & (number >= 0)]] = True
    return carried


def shape_print(mesh: bpy.types.Mesh) -> str:
    """Changes when the mesh's own vertices, edges or faces do."""
    points = _floats(mesh.vertices, "co", 3).astype(np.float32)
    return _crc((points, edge_pairs(mesh), _ints(mesh.loops, "vertex_index"), _ints(mesh.polygons, "loop_start")))


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
