"""The shell of a file: which of its meshes that is, as one welded object, and of a size that is worn."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import bmesh
import bpy

from ..core.errors import FormatError
from . import bridge
from .shell_state import is_shell

MONKEY = "monkey"
"""Instead of a file: Blender's own monkey, for a try."""
WORN_SIZE_MM = (50.0, 1500.0)
"""Things people wear; a model outside this range was most likely drawn in other units than metres."""
FALLBACK_SIZE_MM = 300.0
SAME_PLACE = 1e-6
"""Part of the size within which vertices are one: many formats store one for each face or colour."""

IMPORTERS = {
    ".obj": "wm.obj_import",
    ".stl": "wm.stl_import",
    ".ply": "wm.ply_import",
    ".glb": "import_scene.gltf",
    ".gltf": "import_scene.gltf",
    ".fbx": "import_scene.fbx",
    ".usd": "wm.usd_import",
    ".usda": "wm.usd_import",
    ".usdc": "wm.usd_import",
    ".usdz": "wm.usd_import",
}


def import_shell(path: str | Path, names: Sequence[str] = ()) -> bpy.types.Object:
    """The shell of a file, welded, active and with no parent; several objects only where all are named.

    names : objects of the file that make the shell; without any, the only mesh that is neither hidden nor made by
        Foamwright. What is left out is printed.
    Raises FormatError for a file that Blender cannot import and where it is not clear which mesh is meant.
    """
    file = Path(path)
    before = set(bpy.data.objects)
    for obj in before:
        obj.name = f"before: {obj.name}"  # so that objects of the file keep their names
    hidden: dict[bpy.types.Object, str] = {}
    if str(path) == MONKEY:
        bpy.ops.mesh.primitive_monkey_add()
    elif file.is_file():
        hidden = _import(file)
    else:
        raise FormatError(f"There is no file '{path}'; give the path of a model.")
    bpy.context.view_layer.update()  # what was read has no place and no size before
    meshes = [obj for obj in bpy.data.objects if obj not in before and obj.type == "MESH"]
    chosen = _named(file, meshes, names) if names else _only_one(file, meshes, hidden)
    _refuse_lost_places(file, chosen)
    shell = _joined(chosen)
    if len(names) != 1:
        _rename(shell, file.stem)
    _weld(shell)
    return shell


def _refuse_lost_places(file: Path, meshes: list[bpy.types.Object]) -> None:
    """A vertex without a place would be welded to any other."""
    for obj in meshes:
        lost = sum(not all(math.isfinite(number) for number in vertex.co) for vertex in bridge.mesh_of(obj).vertices)
        if lost:
            raise FormatError(
                f"'{file.name}': vertices of '{obj.name}' without a place (no number): {lost}. "
                "Export the model again, or delete them."
            )


def _named(file: Path, meshes: list[bpy.types.Object], names: Sequence[str]) -> list[bpy.types.Object]:
    known = {obj.name: obj for obj in meshes}
    for name in names:
        if name not in known:
            raise FormatError(f"'{file.name}' holds no mesh '{name}'; it holds {_listed(meshes) or 'none'}.")
        if not is_shell(known[name]):
            raise FormatError(f"'{name}' in '{file.name}' was made by Foamwright; name the shell it was made from.")
    return [known[name] for name in dict.fromkeys(names)]


def _only_one(
    file: Path, meshes: list[bpy.types.Object], hidden: dict[bpy.types.Object, str]
) -> list[bpy.types.Object]:
    if not meshes:
        raise FormatError(f"'{file.name}' holds no mesh; export the shell as a mesh object.")
    candidates = []
    for obj in meshes:
        why = hidden.get(obj) if is_shell(obj) else "made by Foamwright"
        if why:
            print(f"left out: '{obj.name}', {why}")
        else:
            candidates.append(obj)
    if not candidates:
        raise FormatError(
            f"'{file.name}' holds no mesh that is neither hidden nor made by Foamwright; show the shell, or name it "
            "with --object."
        )
    if len(candidates) > 1:
        raise FormatError(
            f"'{file.name}' holds {len(candidates)} meshes: {_listed(candidates)}. Say with --object which is the "
            "shell, once for each object if they make it together."
        )
    return candidates


def _listed(meshes: list[bpy.types.Object]) -> str:
    unit = bridge.mm_per_unit(bpy.context.scene)
    return ", ".join(
        f"'{obj.name}' ({' x '.join(f'{side * unit:.0f}' for side in obj.dimensions)} mm)"
        for obj in sorted(meshes, key=lambda obj: obj.name)
    )


def _joined(chosen: list[bpy.types.Object]) -> bpy.types.Object:
    shell = chosen[0]
    for obj in bpy.context.view_layer.objects:
        obj.select_set(False)
    for obj in chosen:
        if obj.name not in bpy.context.view_layer.objects:
            bpy.context.scene.collection.objects.link(obj)
        obj.hide_viewport = obj.hide_select = False  # one that is named may be hidden
        obj.select_set(True)
    bpy.context.view_layer.objects.active = shell
    bpy.context.view_layer.update()
    if len(chosen) > 1:
        bpy.ops.object.convert(target="MESH")  # joining keeps the modifiers of one alone
        bpy.ops.object.join()
    bpy.ops.object.parent_clear(type="CLEAR_KEEP_TRANSFORM")
    return shell


def _rename(shell: bpy.types.Object, name: str) -> None:
    taken: bpy.types.Object | None = bpy.data.objects.get(name)
    if taken is not None and taken != shell:
        taken.name = f"left out: {name}"
    shell.name = name


def _weld(shell: bpy.types.Object) -> None:
    mesh = bmesh.new()
    mesh.from_mesh(bridge.mesh_of(shell))
    count = len(mesh.verts)
    reach = SAME_PLACE * max(max(corner) - min(corner) for corner in zip(*shell.bound_box, strict=True))
    bmesh.ops.remove_doubles(mesh, verts=list(mesh.verts), dist=reach)
    if len(mesh.verts) < count:
        print(f"welded {count - len(mesh.verts)} vertices that lay on others")
        mesh.to_mesh(bridge.mesh_of(shell))
    mesh.free()


def bring_to_size(shell: bpy.types.Object, size: float | None) -> None:
    """Scale the object so that its largest dimension is `size` mm; without one, only where it cannot be right."""
    bpy.context.view_layer.update()
    # Blender's own dimensions of a subdivided mesh are those of its cage
    largest = max(bridge.look(bpy.context, shell).size_mm)
    number = largest / bridge.mm_per_unit(bpy.context.scene)
    low, high = WORN_SIZE_MM
    if largest == 0 or (size is None and low <= largest <= high):
        return  # a mesh without extent is refused later, by what reads it
    if size is not None:
        wanted, why = size, "as asked"
    elif low <= number <= high:
        wanted, why = number, "its numbers were taken for millimetres"
    else:
        wanted, why = FALLBACK_SIZE_MM, "no size was given, and nobody wears a thing of its own size; give --size"
    shell.scale *= wanted / largest
    bpy.context.view_layer.update()
    print(f"scaled from {largest:g} mm to {wanted:g} mm: {why}")


def _import(path: Path) -> dict[bpy.types.Object, str]:
    """What of the imported is hidden, and where."""
    suffix = path.suffix.lower()
    if suffix != ".blend" and suffix not in IMPORTERS:
        known = ", ".join([*IMPORTERS, ".blend"])
        raise FormatError(f"'{path.name}': files of this kind cannot be imported; convert it to one of {known}.")
    try:
        if suffix == ".blend":
            return _load(path)
        group, name = IMPORTERS[suffix].split(".")
        getattr(getattr(bpy.ops, group), name)(filepath=str(path))
    except (AttributeError, OSError, RuntimeError) as problem:
        raise FormatError(f"'{path.name}' cannot be imported: {_in_short(problem)}") from problem
    return {}


def _in_short(problem: Exception) -> str:
    """An importer that fails tells its whole way there; what went wrong stands at the end."""
    lines = [line for line in str(problem).splitlines() if line.strip() and not line.startswith("Location:")]
    return lines[-1].strip() if lines else type(problem).__name__


def _load(path: Path) -> dict[bpy.types.Object, str]:
    """All objects of a .blend, linked to no scene; its units become this scene's."""
    libraries: Any = bpy.data.libraries
    with libraries.load(str(path)) as (source, target):
        # what is hidden is known to scenes alone
        target.objects, target.scenes = source.objects, source.scenes
    if target.scenes:
        units, theirs = bpy.context.scene.unit_settings, target.scenes[0].unit_settings
        units.system, units.scale_length = theirs.system, theirs.scale_length
    shown = {obj for scene in target.scenes for obj in _shown(scene)}
    rendered = {obj for scene in target.scenes for obj in _rendered(scene.collection)}
    hidden = {obj: "hidden from render" for obj in target.objects if obj not in rendered or obj.hide_render}
    hidden |= {obj: "hidden in the viewport" for obj in target.objects if obj not in shown}
    for scene in target.scenes:
        bpy.data.scenes.remove(scene)
    return hidden


def _shown(scene: bpy.types.Scene) -> Iterator[bpy.types.Object]:
    for layer in scene.view_layers:
        yield from (obj for obj in layer.objects if obj.visible_get(view_layer=layer))


def _rendered(collection: bpy.types.Collection) -> Iterator[bpy.types.Object]:
    if not collection.hide_render:
        yield from collection.objects
        for child in collection.children:
            yield from _rendered(child)
