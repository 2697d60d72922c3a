"""The part of the demo that runs inside Blender's Python module; demo.py starts it and chooses the user folder.

Installs the extension from its zip, then does what a maker does, by the extension's own operators.
"""

from __future__ import annotations

import argparse
import importlib
import logging
import os
import re
import sys
import time
from collections import defaultdict
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

import bpy

if TYPE_CHECKING:
    from beetle_sentry import DemoShell

EXTENSION = "bl_ext.user_default.foamwright"
LIBRARIES = ("scipy", "shapely", "spyrrow", "reportlab", "ezdxf")


def main() -> int:
    options = _options()
    keep_blender_quiet()
    began, started = time.time(), time.perf_counter()
    install_extension(options.zip)
    print(f"Blender {bpy.app.version_string}, extension installed after {time.perf_counter() - started:.1f} s")
    if options.path is None:
        code = build_beetle_sentry(options.out)
    else:
        code = addon_module("headless").main([options.path, "--out", str(options.out), *options.rest])
    if code == 0:
        _tell_what_was_made(options.out, began, time.perf_counter() - started)
    return code


def keep_blender_quiet() -> None:
    """Blender's own running commentary goes to a file; what is printed here still reaches the terminal."""
    logging.disable(logging.INFO)
    sys.stdout = os.fdopen(os.dup(1), "w", buffering=1)
    os.dup2(os.open(user_folder() / "blender.log", os.O_WRONLY | os.O_CREAT | os.O_TRUNC), 1)


def user_folder() -> Path:
    """Where this Blender keeps its settings and extensions, chosen by demo.py."""
    return Path(os.environ["BLENDER_USER_RESOURCES"]).resolve()


def install_extension(zip_file: Path) -> None:
    """Install and enable the zip; its own wheels must be what is imported, and nothing else."""
    bpy.ops.extensions.package_install_files(repo="user_default", filepath=str(zip_file), enable_on_install=True)
    if EXTENSION not in bpy.context.preferences.addons:
        raise SystemExit(f"Blender {bpy.app.version_string} did not enable the extension from {zip_file}.")
    for name in LIBRARIES:
        home = Path(str(importlib.import_module(name).__file__)).resolve()
        if user_folder() not in home.parents:
            raise SystemExit(f"{name} was imported from {home}, and not from the wheels in the extension.")


def addon_module(name: str) -> ModuleType:
    """A module of the installed add-on, which lives under Blender's name for it."""
    return importlib.import_module(f"{EXTENSION}.addon.{name}")


def build_beetle_sentry(out: Path) -> int:
    """Helmets for three actors, a shoulder plate and a forearm guard, each into a folder of its own."""
    import beetle_sentry

    shells = [beetle_sentry.helmet(actor) for actor in beetle_sentry.ACTORS]
    shells += [beetle_sentry.shoulder_plate(), beetle_sentry.forearm_guard()]
    for obj in list(bpy.data.objects):
        bpy.data.objects.remove(obj)
    bpy.context.scene.foamwright.cut_layers = True
    for shell in shells:
        print(f"\n{shell.name}: {len(shell.faces)} faces", flush=True)
        _do_the_job(_object_of(shell), out / addon_module("writers").plain_name(shell.name))
    return 0


def _object_of(shell: DemoShell) -> bpy.types.Object:
    """A Blender object in the scene's units, with seams, folds, names and foam as a maker would set them."""
    mesh = bpy.data.meshes.new(shell.name)
    unit = addon_module("bridge").mm_per_unit(bpy.context.scene)
    mesh.from_pydata((shell.vertices / unit).tolist(), [], [list(face) for face in shell.faces])
    seams, folds = ({frozenset(pair) for pair in pairs} for pairs in (shell.seams, shell.folds))
    for edge in mesh.edges:
        edge.use_seam = frozenset(edge.vertices) in seams
        edge.use_edge_sharp = frozenset(edge.vertices) in folds
    obj = bpy.data.objects.new(shell.name, mesh)
    bpy.context.collection.objects.link(obj)
    bpy.context.view_layer.update()
    for other in bpy.context.view_layer.objects:
        other.hide_set(True)
    obj.hide_set(False)
    bpy.context.view_layer.objects.active = obj
    addon_module("piece_list").name_faces(bpy.context, obj, shell.face_names)
    for piece in obj.foamwright.pieces:
        piece.thickness_mm = shell.stock_mm.get(piece.name, 0.0)
        piece.group = shell.groups.get(piece.name, "")
    return obj


def _do_the_job(obj: bpy.types.Object, folder: Path) -> None:
    """Check, flatten and write every kind of file; an operator that fails raises RuntimeError with its message."""
    stage = addon_module("headless").stage
    kinds = {kind.key for kind in addon_module("writers").KINDS}
    with stage("check"):
        bpy.ops.foamwright.check()
    with stage("flatten"):
        bpy.ops.foamwright.flatten()
    with stage("write files"):
        bpy.ops.foamwright.export(directory=str(folder), kinds=kinds)


def _tell_what_was_made(out: Path, began: float, seconds: float) -> None:
    """One line for each kind of file that is younger than `began`, seconds since the epoch."""
    sizes = defaultdict(list)
    for path in out.rglob("*"):
        if path.is_file() and path.stat().st_mtime >= began and not path.name.startswith("."):
            ending = path.name.removeprefix(f"{path.parent.name}-")  # of a set each shell has its folder
            sizes[re.sub(r"-\d+\.", "-N.", ending)].append(path.stat().st_size)
    print(f"\n{sum(map(len, sizes.values()))} files in {out} after {seconds:.0f} s:")
    for name, all_sizes in sorted(sizes.items()):
        print(f"  {name:<24}{len(all_sizes):3d} of {sum(all_sizes) / 1e6:5.1f} MB together")


def _options() -> argparse.Namespace:
    """`rest` are options of the extension's own console command."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--zip", type=Path, required=True)
    parser.add_argument("--out", type=Path, required=True)
    parser.add_argument("--path")
    options, options.rest = parser.parse_known_args()
    return options


if __name__ == "__main__":
    sys.exit(main())
