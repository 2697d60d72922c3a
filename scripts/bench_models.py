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
from beetle_sentry import ACTORS, forearm_guard, helmet, shoulder_plate

MODEL_SIZE_MM = 300.0
HEAD_MM = 574.0
"""Circumference of an average head: 574.4 mm of men (Gordon et al., 2012 US Army survey, NATICK/TR-15/007)."""


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


def marked_shells() -> Iterator[Shell]:
    """The demo's shells with the seams of their maker."""
    for name, demo in (
        ("helmet", helmet(ACTORS[0])),
        ("shoulder plate", shoulder_plate()),
        ("forearm guard", forearm_guard()),
    ):
        yield Shell.build(demo.vertices, demo.faces, demo.seams, demo.folds, name)


def bare_models(bunny: Path | None) -> Iterator[Shell]:
    """Shells without seams at model size."""
    for marked in marked_shells():
        yield marked.with_seams(np.zeros(marked.edge_count, bool))
    yield at_size("monkey", *monkey())
    if bunny:
        yield at_size("bunny", *scan(bunny))
    yield at_size("sphere", *solids.icosphere(1.0, 3))
    yield at_size("torus", *solids.torus(1.0, 0.4, 48, 24))
    yield at_size("rounded cube", *rounded_cube())


def rounded_cube(cells: int = 12, radius: float = 0.2) -> tuple[np.ndarray, list]:
    """A cube of side 2 whose edges are rounded."""
    points, faces = solids.gridded_box(2.0, 2.0, 2.0, cells)
    points = np.asarray(points) - (np.max(points, axis=0) + np.min(points, axis=0)) / 2
    core = np.clip(points, radius - 1, 1 - radius)
    out = points - core
    length = np.linalg.norm(out, axis=1, keepdims=True)
    return core + np.where(length > 0, out / np.where(length > 0, length, 1) * radius, 0), faces


def head_sphere() -> Shell:
    return Shell.build(*solids.icosphere(HEAD_MM / (2 * np.pi), 3), name="sphere of head size")


def knobbly(splits: int) -> Shell:
    """A closed potato of 20 * 4 ** splits faces."""
    return at_size(f"potato {splits}", *solids.bumpy(80.0, 0.25, splits))


def at_size(name: str, vertices: np.ndarray, faces: list) -> Shell:
    size = np.ptp(vertices, axis=0).max()
    return Shell.build(vertices * (MODEL_SIZE_MM / size), faces, name=name)


def cut_apart(name: str, vertices: np.ndarray, faces: list) -> Shell:
    """A bare shell at model size, cut by the plain completion of seams."""
    return finish(complete_seams(at_size(name, vertices, faces)))


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
