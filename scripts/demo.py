"""Run the main job in real Blender, without a window, and put what it makes into a folder.

    python3 scripts/demo.py                                     the beetle sentry set, into out/
    python3 scripts/demo.py my_helmet.obj --thickness 6 --seams sharp --size 300 --out my_helmet
    python3 scripts/demo.py monkey --seams suggest --strain 5    Blender's own monkey, cut by a suggested plan

Makes its own environment with Blender as a Python module, builds the extension, installs that very zip into
a private Blender user folder, and works through the extension's own operators.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import time
from pathlib import Path

from build import BPY_45, build, current_platform
from environment import HOME, ROOT, environment, use_main_python


def main() -> int:
    use_main_python()
    options = parse_options(sys.argv[1:])
    started = time.perf_counter()
    python = environment("bpy-4.5", BPY_45)
    zip_file = build([current_platform()])[0]
    user_folder = HOME / "demo-user"
    shutil.rmtree(user_folder, ignore_errors=True)
    user_folder.mkdir(parents=True)
    print(f"ready to start after {time.perf_counter() - started:.1f} s\n", flush=True)
    command = [python, ROOT / "scripts" / "demo_in_blender.py", "--zip", zip_file, *forwarded(options)]
    surroundings = {**os.environ, "BLENDER_USER_RESOURCES": str(user_folder)}
    return subprocess.run([str(part) for part in command], env=surroundings, check=False).returncode


def parse_options(arguments: list[str]) -> argparse.Namespace:
    """The options of a run; exits with a message on a file that is not there."""
    parser = argparse.ArgumentParser(description="From shells to full-size foam templates, without a window.")
    parser.add_argument("path", nargs="?", help="a file Blender can import, or 'monkey'; none: the beetle sentry set")
    parser.add_argument("--thickness", type=float, help="of the foam, in mm (5)")
    parser.add_argument(
        "--seams",
        choices=("stored", "sharp", "all", "suggest"),
        help="at the seams in the file, at sharp bends, at both, or by a suggested plan",
    )
    parser.add_argument("--strain", type=float, help="of the pieces of a suggested plan, at most, in percent (5)")
    parser.add_argument("--size", type=float, help="largest side of the shell in mm")
    parser.add_argument("--layers", action="store_true", help="also cut the layers that raise panels to their height")
    parser.add_argument("--object", action="append", help="which mesh of the file; again for each that belongs to it")
    parser.add_argument("--out", type=Path, default=ROOT / "out", help="folder for what is made (out)")
    options = parser.parse_args(arguments)
    own = (options.thickness, options.seams, options.strain, options.size, options.layers, options.object)
    if options.path is None and any(own):
        parser.error("the beetle sentry set has its own foam, seams, size and layers; name a file to give others")
    if options.strain is not None and options.seams != "suggest":
        parser.error("--strain is for suggested seams; add --seams suggest")
    if options.path not in (None, "monkey") and not Path(options.path).is_file():
        parser.error(f"there is no file '{options.path}'")
    return options


def forwarded(options: argparse.Namespace) -> list[str]:
    """The same options for the part that runs inside Blender."""
    words = ["--out", str(options.out.resolve())]
    if options.path is not None:
        words += ["--path", options.path if options.path == "monkey" else str(Path(options.path).resolve())]
    for name in ("thickness", "seams", "strain", "size"):
        value = getattr(options, name)
        if value is not None:
            words += [f"--{name}", str(value)]
    if options.layers:
        words.append("--layers")
    for name in options.object or ():
        words.append(f"--object={name}")  # a name may begin with a dash
    return words


if __name__ == "__main__":
    raise SystemExit(main())
