"""The whole job on a file, without a window: `blender --command foamwright FILE --out DIR`."""

from __future__ import annotations

import argparse
import math
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import bpy

from ..core.errors import FoamwrightError, MissingCutError, SettingsError
from ..core.pieces import cut_pieces
from ..core.seams import SOURCES, SuggestionLimits
from . import bridge, writers
from .importing import MONKEY, bring_to_size, import_shell
from .shell_settings import settings_of

COMMAND = "foamwright"
SUGGEST = "suggest"
SEAMS = (*SOURCES, SUGGEST)


def run(
    path: str | Path,
    out: str | Path,
    *,
    thickness: float = 5.0,
    seams: str = "stored",
    strain: float = SuggestionLimits.strain,
    size: float | None = None,
    layers: bool = False,
    names: Sequence[str] = (),
    kinds: set[str] | None = None,
) -> None:
    """Import `path`, bring it to size, complete its seams if need be, lay it flat and write files into `out`.

    thickness : mm; size : mm, what the largest dimension shall be
    seams : "stored", "sharp", "all", or "suggest" for a plan that keeps every piece to `strain`, part of 1
    layers : also cut the layers that raise panels to their modelled height
    names : objects of the file that make the shell, if it is not the only one
    kinds : keys of `writers.KINDS`, all of them by default
    Raises FormatError for a file that Blender cannot import or that does not say which mesh is the shell,
    SettingsError; operators raise RuntimeError with their message.
    """
    _refuse_nonsense(thickness, seams, strain, size)
    with stage("import"):
        shell = import_shell(path, names)
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
    with stage("write files"):
        bpy.ops.foamwright.export(directory=str(out), kinds=kinds or {kind.key for kind in writers.KINDS})


def _refuse_nonsense(thickness: float, seams: str, strain: float, size: float | None) -> None:
    """Before the work. A property would take the nearest number it can hold, and say nothing."""
    if seams not in SEAMS:
        raise SettingsError(f"Seams from '{seams}' are unknown; choose one of {', '.join(SEAMS)}.")
    SuggestionLimits(strain=strain)
    thickest = bpy.context.scene.foamwright.bl_rna.properties["thickness_mm"].hard_max
    if not 0 < thickness <= thickest:
        raise SettingsError(f"Foam {thickness:g} mm thick makes no sense; give more than 0 and up to {thickest:g} mm.")
    if size is not None and not (size > 0 and math.isfinite(size)):
        raise SettingsError(f"A shell of {size:g} mm makes no sense; give a size over 0.")


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
    parser.add_argument("--object", action="append", help="which mesh of the file; again for each that belongs to it")
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
            names=options.object or (),
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
