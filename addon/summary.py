"""What the panels show about the active shell, counted when something changes and never while drawing."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
from bpy.app.handlers import persistent

from ..core.errors import FoamwrightError, MeshError
from . import bridge, choices, plans, preview, results
from .shell_settings import settings_of

DELAY_S = 0.3
"""Editing sends a burst of changes; one count at its end is enough."""


@dataclass(frozen=True)
class Summary:
    """Of one shell: what it is made of, and whether its pattern and its waiting plan still fit it.

    faces, size_mm : with its modifiers; None while they are not worked out, see `bridge.evaluated_mesh`
    unit : mm in a Blender unit when this was counted
    """

    faces: int | None
    size_mm: tuple[float, ...] | None
    unit: float
    seams: int
    folds: int
    outdated: bool
    forbidden: int
    plan_outdated: bool


_of_object: dict[str, Summary] = {}
_is_counting = False


def of(obj: bpy.types.Object | None) -> Summary | None:
    """The last count for this object; None until it has been counted."""
    counted = _of_object.get(obj.name_full) if obj is not None else None
    # Blender calls no handler when the scene's units change
    if counted is not None and counted.unit != bridge.mm_per_unit(bpy.context.scene):
        refresh_soon()
    return counted


def refresh(context: bpy.types.Context) -> Summary | None:
    """Count the active shell now."""
    obj = context.object
    if obj is None or obj.type != "MESH":
        return None
    global _is_counting
    _is_counting = True
    try:
        summary = _of_object[obj.name_full] = _count(context, obj)
        preview.refresh(context)
    finally:
        _is_counting = False
    return summary


def _count(context: bpy.types.Context, obj: bpy.types.Object) -> Summary:
    try:
        seen = bridge.look(context, obj)
    except MeshError:
        seen = None
    mesh = bridge.mesh_of(obj)
    return Summary(
        faces=seen.faces if seen else None,
        size_mm=seen.size_mm if seen else None,
        unit=bridge.mm_per_unit(context.scene),
        seams=int(bridge.edge_flags(mesh, "use_seam").sum()),
        folds=int(bridge.edge_flags(mesh, "use_edge_sharp").sum()),
        outdated=is_outdated(context.scene, obj, seen),
        forbidden=choices.forbidden_count(context, obj) if seen else 0,
        plan_outdated=plans.is_outdated(obj),
    )


def made_from(scene: bpy.types.Scene, obj: bpy.types.Object, seen: bridge.Look | None = None) -> str:
    """Says whether two runs read the same mesh and settings; seen : a look just taken at the object, if there is one.

    Raises MeshError, SettingsError.
    """
    return f"{(seen or bridge.look(bpy.context, obj)).fingerprint} {settings_of(scene, obj)!r}"


def is_outdated(scene: bpy.types.Scene, obj: bpy.types.Object, seen: bridge.Look | None = None) -> bool:
    """What a run reads changed since the shell was laid flat: the mesh as its modifiers leave it, or a setting."""
    root = results.results_of(obj)
    if root is None:
        return False
    try:
        return root.foamwright.made_from != made_from(scene, obj, seen)
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
    before = of(bpy.context.object)
    if refresh(bpy.context) != before:
        redraw()


@persistent
def _on_change(*_what) -> None:
    if not _is_counting:  # a count may show modifiers in Edit Mode for a moment
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
