"""The meshes that measurements are made on: shapes with known bounds, the demo helmet, a scan, a monkey's head."""

from __future__ import annotations

import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from foamwright.core.progress import finish
from foamwright.core.seams import complete_seams
from foamwright.core.shell import Shell

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))
import solids
from beetle_sentry import ACTORS, helmet

MODEL_SIZE_MM = 300.0


def cap(degrees: float, rings: int = 20) -> Shell:
    return Shell.build(*solids.sphere_cap(100.0, np.radians(degrees), rings), name=f"cap {degrees:g}")


def simple_shells() -> Iterator[Shell]:
    yield Shell.build(*solids.frustum_patch(50.0, 30.0, 80.0), name="slit cone")
    yield Shell.build(*solids.cylinder_patch(80.0, 5.0, 120.0, 60, 8), name="slit cylinder")
    yield Shell.build(*solids.saddle(100.0, 24, 25.0), name="saddle")


def whole_models(bunny: Path | None) -> Iterator[Shell]:
    demo = helmet(ACTORS[0])
    yield Shell.build(demo.vertices, demo.faces, demo.seams, demo.folds, "helmet")
    yield cut_apart("monkey", *monkey())
    if bunny:
        yield cut_apart("bunny", *scan(bunny))


def cut_apart(name: str, vertices: np.ndarray, faces: list) -> Shell:
    """A bare shell at model size, cut by the plain completion of seams."""
    size = np.ptp(vertices, axis=0).max()
    return finish(complete_seams(Shell.build(vertices * (MODEL_SIZE_MM / size), faces, name=name)))


def monkey() -> tuple[np.ndarray, list]:
    import bpy

    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.mesh.primitive_monkey_add()
    mesh = bpy.context.object.data
    return np.array([tuple(v.co) for v in mesh.vertices]), [tuple(p.vertices) for p in mesh.polygons]


def scan(module: Path) -> tuple[np.ndarray, list]:
    text = module.read_text(encoding="utf-8")

    def table(name: str) -> list:
        found = re.search(rf"{name}\s*=\s*(\[\[.*?\]\])", text, re.DOTALL)
        if found is None:
            raise SystemExit(f"{module} holds no table '{name}'.")
        return json.loads(found.group(1))

    return np.array(table("positions")), table("cells")
