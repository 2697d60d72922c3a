"""Random walks through what a maker does, in the real Blender: everything the maker made is still there at the end, no
operator ends in a raw exception, and nothing is left that belongs to no run.

    PYTHON_WITH_BPY scripts/stress_operators.py --zip ZIP --seed 1 --count 300 --steps 60 --keep walks.jsonl

The zip is installed into the user folder that BLENDER_USER_RESOURCES names; without one the checkout is taken. With
--keep one line of JSON a walk is added to the file, and walks that it holds already are not gone again; one that
ended Blender itself is a fault. Prints counts; the exit code says whether all held. `tests/blender/test_walks.py`
goes a few each time.
"""

from __future__ import annotations

import argparse
import importlib
import json
import os
import shutil
import sys
import time
from collections import Counter
from pathlib import Path
from typing import Any

import bpy
from operator_walk import Walk

INSTALLED = "bl_ext.user_default.foamwright"


def outcome_of(seed: int, steps: int, package: str) -> dict[str, Any]:
    """What became of one walk; a walk with faults tells its way."""

    def module(name: str):
        return importlib.import_module(f"{package}.{name}")

    def enable() -> None:
        if package == INSTALLED and package not in bpy.context.preferences.addons:
            bpy.ops.preferences.addon_enable(module=package)

    def begin() -> None:
        bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
        enable()
        bpy.context.scene.foamwright.nest_seconds = 1
        module("core.layout.nest").spyrrow = None  # its seconds are not what is tried here

    walk = Walk(seed, module, begin, enable)
    try:
        faults = walk.run(steps)
    finally:
        shutil.rmtree(walk.folder, ignore_errors=True)
    return {"seed": seed, "steps": dict(walk.counts), "faults": faults, "log": walk.log if faults else []}


def main() -> int:
    parser = argparse.ArgumentParser(description="Random walks through what a maker does, in the real Blender.")
    parser.add_argument("--zip", type=Path, help="the extension to install first; else the checkout")
    parser.add_argument("--seed", type=int, default=1, help="the first seed")
    parser.add_argument("--count", type=int, default=300)
    parser.add_argument("--steps", type=int, default=60)
    parser.add_argument("--keep", type=Path, help="file of outcomes, to stop and go on")
    options = parser.parse_args()
    package, outcomes = _package(options.zip), _kept(options.keep)
    seeds, started = range(options.seed, options.seed + options.count), time.perf_counter()
    for seed in seeds:
        if seed in outcomes:
            continue
        ended = {"seed": seed, "steps": {}, "faults": ["Blender itself ended"], "log": []}
        _keep(options.keep, ended)  # the last line of a seed counts
        outcomes[seed] = outcome = outcome_of(seed, options.steps, package)
        _keep(options.keep, outcome)
        for fault in outcome["faults"]:
            print(f"seed {seed}: {fault}; after {', '.join(outcome['log'])}", file=sys.stderr, flush=True)
    done = [outcomes[seed] for seed in seeds]
    steps = sum((Counter(outcome["steps"]) for outcome in done), Counter())
    failed = sum(bool(outcome["faults"]) for outcome in done)
    told = ", ".join(f"{count} {what}" for what, count in sorted(steps.items()))
    print(f"{len(done)} walks, steps: {told}; {failed} with faults", file=sys.stderr)
    print(f"{time.perf_counter() - started:.0f} s", file=sys.stderr, flush=True)
    return 1 if failed else 0


def _package(zip_file: Path | None) -> str:
    if zip_file is not None:
        bpy.ops.extensions.package_install_files(repo="user_default", filepath=str(zip_file), enable_on_install=True)
        return INSTALLED
    importlib.import_module("foamwright").register()
    return "foamwright"


def _kept(path: Path | None) -> dict[int, dict[str, Any]]:
    if path is None or not path.exists():
        return {}
    lines = path.read_text(encoding="utf-8").splitlines()
    return {outcome["seed"]: outcome for outcome in map(json.loads, lines)}


def _keep(path: Path | None, outcome: dict[str, Any]) -> None:
    if path is not None:
        with path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(outcome) + "\n")


if __name__ == "__main__":
    code = main()
    sys.stderr.flush()
    os._exit(code)  # bpy may fall over itself when it is taken apart
