"""What the panels show about the active shell, counted when something changes and never while drawing."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
from bpy.app.handlers import persistent

from ..core.errors import FoamwrightError
from . import bridge, choices, plans, preview, results
from .settings import settings_of

DELAY_S = 0.3
"""Editing sends a burst of changes; one count at its end is enough."""


@dataclass(frozen=True)
class Summary:
    """Of one shell: what it is made of, and whether its pattern and its waiting plan still fit it."""

    faces: int
    seams: int
    folds: int
    size_mm: tuple[float, float, float]
    outdated: bool
    forbidden: int
    plan_outdated: bool


_of_object: dict[str, Summary] = {}


def of(obj: bpy.types.Object | None) -> Summary | None:
    """The last count for this object; None until it has been counted."""
    return _of_object.get(obj.name_full) if obj is not None else None


def refresh(context: bpy.types.Context) -> Summary | None:
    """Count the active shell now."""
    obj = context.object
    if obj is None or obj.type != "MESH":
        return None
    if obj.mode == "EDIT":
        obj.update_from_editmode()
    mesh, unit = bridge.mesh_of(obj), bridge.mm_per_unit(context.scene)
    summary = Summary(
        faces=len(mesh.polygons),
        seams=int(bridge.edge_flags(mesh, "use_seam").sum()),
        folds=int(bridge.edge_flags(mesh, "use_edge_sharp").sum()),
        size_mm=tuple(side * unit for side in obj.dimensions),
        outdated=is_outdated(context.scene, obj),
        forbidden=len(choices.forbidden_pairs(context, obj)),
        plan_outdated=plans.is_outdated(obj),
    )
    _of_object[obj.name_full] = summary
    preview.refresh(context)
    return summary


def made_from(scene: bpy.types.Scene, obj: bpy.types.Object) -> str:
    """Says whether two runs had the same mesh and settings. Raises SettingsError."""
    return f"{bridge.fingerprint(scene, obj)} {settings_of(scene, obj)!r}"


def is_outdated(scene: bpy.types.Scene, obj: bpy.types.Object) -> bool:
    """The mesh or a setting changed since the shell was laid flat."""
    root = results.results_of(obj)
    if root is None:
        return False
    try:
        return root.foamwright.made_from != made_from(scene, obj)
    except FoamwrightError:
        return True


def refresh_soon() -> None:
    """Count after the present burst of changes; in background there is no panel to count for."""
    if not bpy.app.background and not bpy.app.timers.is_registered(_refresh_and_redraw):
        bpy.app.timers.register(_refresh_and_redraw, first_interval=DELAY_S)


def redraw() -> None:
    """Draw every 3D viewport again."""
    for window in bpy.context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()


def _refresh_and_redraw() -> None:
    results.forget_deleted_shells()
    before = of(bpy.context.object)
    if refresh(bpy.context) != before:
        redraw()


@persistent
def _on_change(*_what) -> None:
    refresh_soon()


@persistent
def _on_load(*_what) -> None:
    _of_object.clear()
    refresh_soon()


def _handlers():
    moments = bpy.app.handlers
    return (
        (moments.depsgraph_update_post, _on_change),
        (moments.undo_post, _on_change),
        (moments.redo_post, _on_change),
        (moments.load_post, _on_load),
    )


def register() -> None:
    if bpy.app.background:
        return
    for moment, handler in _handlers():
        moment.append(handler)
    refresh_soon()


def unregister() -> None:
    for moment, handler in _handlers():
        if handler in moment:
            moment.remove(handler)
    if bpy.app.timers.is_registered(_refresh_and_redraw):
        bpy.app.timers.unregister(_refresh_and_redraw)
    _of_object.clear()
