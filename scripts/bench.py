"""Measure Foamwright against the best general libraries, in one run, as ratios.

    python3 scripts/bench.py flatten            quality and speed of flattening
    python3 scripts/bench.py flatten --quick    without the largest meshes
    python3 scripts/bench.py seams              suggested seams: strain, length, pieces, symmetry
    python3 scripts/bench.py steps              how long a window stands still, up to 100,000 faces

Makes its own environment. The bunny scan comes from the npm registry when `npm` is at hand; without it that
row is left out, and the run says so.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import tarfile
from pathlib import Path

from environment import HOME, ROOT, environment, use_main_python

PACKAGES = {"flatten": ("bpy==4.5.*", "libigl==2.6.3"), "seams": ("bpy==4.5.*", "xatlas==0.0.11"), "steps": ()}


def main() -> int:
    use_main_python()
    parser = argparse.ArgumentParser(description="Measure Foamwright against general libraries.")
    parser.add_argument("what", choices=PACKAGES)
    parser.add_argument("--quick", action="store_true", help="leave out the largest meshes")
    options = parser.parse_args()
    python = environment(f"bench-{options.what}", PACKAGES[options.what], with_foamwright=True)
    command = [str(python), str(ROOT / "scripts" / f"bench_{options.what}.py")]
    bunny = fetch_bunny()
    command += ["--bunny", str(bunny)] if bunny else []
    command += ["--quick"] if options.quick else []
    return subprocess.run(command, check=False).returncode


def fetch_bunny() -> Path | None:
    """The scan's module as the npm package `bunny` carries it, or None without npm."""
    folder = HOME / "models"
    module = folder / "package" / "index.js"
    npm = shutil.which("npm")
    if not module.exists() and npm:
        folder.mkdir(parents=True, exist_ok=True)
        if subprocess.run([npm, "pack", "--silent", "bunny@1.0.1"], cwd=folder, check=False, stdout=-3).returncode == 0:
            with tarfile.open(next(folder.glob("bunny-*.tgz"))) as archive:
                archive.extractall(folder, filter="data")
    if module.exists():
        return module
    print("The bunny scan is left out: npm is not at hand.", flush=True)
    return None


if __name__ == "__main__":
    raise SystemExit(main())
