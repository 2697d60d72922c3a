"""The whole job on a file, without a window: `blender --command foamwright FILE --out DIR`."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import bmesh
import bpy

from ..core.errors import FoamwrightError, FormatError, MissingCutError, SettingsError
from ..core.pieces import cut_pieces
from ..core.seams import SOURCES, SuggestionLimits
from . import bridge, writers
from .settings import settings_of

COMMAND = "foamwright"
SUGGEST = "suggest"
SEAMS = (*SOURCES, SUGGEST)
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


def run(
    path: str | Path,
    out: str | Path,
    *,
    thickness: float = 5.0,
    seams: str = "stored",
    strain: float = SuggestionLimits.strain,
    size: float | None = None,
    layers: bool = False,
    kinds: set[str] | None = None,
) -> None:
    """Import `path`, bring it to size, complete its seams if need be, lay it flat and write files into `out`.

    thickness : mm; size : mm, what the largest dimension shall be
    seams : "stored", "sharp", "all", or "suggest" for a plan that keeps every piece to `strain`, part of 1
    layers : also cut the layers that raise panels to their modelled height
    kinds : keys of `writers.KINDS`, all of them by default
    Raises FormatError for a file that Blender cannot import, SettingsError; operators raise RuntimeError with
    their message.
    """
    if seams not in SEAMS:
        raise SettingsError(f"Seams from '{seams}' are unknown; choose one of {', '.join(SEAMS)}.")
    SuggestionLimits(strain=strain)  # refuses what makes no sense, before the work
    with stage("import"):
        shell = import_shell(path)
        bring_to_size(shell, size)
    bpy.context.scene.foamwright.thickness_mm = thickness
    bpy.context.scene.foamwright.cut_layers = layers
    with stage("seams"):
        if seams == SUGGEST:
            _take_suggestion(shell, strain)
        elif seams != "stored":
            bpy.ops.foamwright.mark_seams(source=seams.upper())
        if seams in ("sharp", "all") or not _seams_suffice(shell):
            bpy.ops.foamwright.complete_seams()
    with stage("flatten"):
        bpy.ops.foamwright.flatten()
    for kind in writers.KINDS:
        if kinds is None or kind.key in kinds:
            with stage(f"write {kind.label}"):
                bpy.ops.foamwright.export(directory=str(out), kinds={kind.key})


def _take_suggestion(shell: bpy.types.Object, strain: float) -> None:
    """Seams of the file stay; what is suggested beside them is taken and told."""
    bpy.context.scene.foamwright.cuts.strain_percent = 100 * strain
    bpy.ops.foamwright.suggest_seams()
    plan = shell.foamwright.plan
    print(f"plan: {plan.told}")
    if plan.warning:
        print(f"plan: {plan.warning}")
    if plan.cuts:
        bpy.ops.foamwright.take_plan()


def _seams_suffice(shell: bpy.types.Object) -> bool:
    """The maker marked seams, and every piece they make can be opened out."""
    marked, names = bridge.shell_and_face_names(bpy.context, shell)
    try:
        cut_pieces(marked, settings_of(bpy.context.scene, shell), names)
    except MissingCutError:
        return False
    return bool(marked.seam.any())


@contextmanager
def stage(name: str) -> Iterator[None]:
    """Print how long a stage took."""
    started = time.perf_counter()
    yield
    print(f"{name:<28}{time.perf_counter() - started:8.1f} s", flush=True)


def import_shell(path: str | Path) -> bpy.types.Object:
    """The meshes of a file as one object, welded, active and with no parent. Raises FormatError."""
    file = Path(path)
    before = set(bpy.data.objects)
    if str(path) == MONKEY:
        bpy.ops.mesh.primitive_monkey_add()
    elif file.is_file():
        _import(file)
    else:
        raise FormatError(f"There is no file '{path}'; give the path of a model.")
    meshes = [obj for obj in bpy.data.objects if obj not in before and obj.type == "MESH"]
    if not meshes:
        raise FormatError(f"'{file.name}' holds no mesh; export the shell as a mesh object.")
    shell = _joined(meshes)
    shell.name = file.stem
    _weld(shell)
    return shell


def _joined(meshes: list[bpy.types.Object]) -> bpy.types.Object:
    shell = meshes[0]
    for obj in bpy.context.view_layer.objects:
        obj.select_set(obj in meshes)
    bpy.context.view_layer.objects.active = shell
    if len(meshes) > 1:
        bpy.ops.object.join()
    bpy.ops.object.parent_clear(type="CLEAR_KEEP_TRANSFORM")
    return shell


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
    number = max(shell.dimensions[:])
    largest = number * bridge.mm_per_unit(bpy.context.scene)
    low, high = WORN_SIZE_MM
    if size is not None:
        wanted, why = size, "as asked"
    elif low <= largest <= high or largest == 0:
        return
    elif low <= number <= high:
        wanted, why = number, "its numbers were taken for millimetres"
    else:
        wanted, why = FALLBACK_SIZE_MM, "no size was given, and nobody wears a thing of its own size; give --size"
    shell.scale *= wanted / largest
    bpy.context.view_layer.update()
    print(f"scaled from {largest:g} mm to {wanted:g} mm: {why}")


def _import(path: Path) -> None:
    suffix = path.suffix.lower()
    if suffix != ".blend" and suffix not in IMPORTERS:
        known = ", ".join([*IMPORTERS, ".blend"])
        raise FormatError(f"'{path.name}': files of this kind cannot be imported; convert it to one of {known}.")
    try:
        if suffix == ".blend":
            _append(path)
        else:
            group, name = IMPORTERS[suffix].split(".")
            getattr(getattr(bpy.ops, group), name)(filepath=str(path))
    except (AttributeError, OSError, RuntimeError) as problem:
        raise FormatError(f"'{path.name}' cannot be imported: {problem}") from problem


def _append(path: Path) -> None:
    libraries: Any = bpy.data.libraries
    with libraries.load(str(path)) as (source, target):
        target.objects = source.objects
    for obj in target.objects:
        bpy.context.scene.collection.objects.link(obj)


# --- the console command ---------------------------------------------------------------------------


def main(arguments: list[str]) -> int:
    """What `blender --command foamwright` does; the exit code says whether it went through."""
    parser = argparse.ArgumentParser(
        prog=f"blender --command {COMMAND}", description="From a modelled shell to full-size foam templates."
    )
    parser.add_argument("file", help=f"a model that Blender can import, or '{MONKEY}' for a try")
    parser.add_argument("--out", required=True, help="folder for the templates")
    parser.add_argument("--thickness", type=float, default=5.0, help="of the foam, in mm (5)")
    parser.add_argument("--seams", choices=SEAMS, default="stored", help="where to cut")
    parser.add_argument("--strain", type=float, default=5.0, help="of suggested pieces, at most, in percent (5)")
    parser.add_argument("--size", type=float, help="the largest dimension, in mm")
    parser.add_argument("--layers", action="store_true", help="also cut the layers that raise panels to their height")
    options = parser.parse_args(arguments)
    try:
        run(
            options.file,
            options.out,
            thickness=options.thickness,
            seams=options.seams,
            strain=options.strain / 100,
            size=options.size,
            layers=options.layers,
        )
    except (FoamwrightError, RuntimeError) as error:
        print(error, file=sys.stderr)
        return 1
    return 0


_command = None


def register() -> None:
    global _command
    _command = bpy.utils.register_cli_command(COMMAND, main)


def unregister() -> None:
    global _command
    if _command is not None:
        bpy.utils.unregister_cli_command(_command)
        _command = None
