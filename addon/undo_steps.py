"""Whole undo steps in Edit Mode.

There Blender's own steps keep nothing but the edited mesh: undoing what came after a change to the object takes that
change back with it. A step that is pushed outside Edit Mode keeps everything.
"""

from __future__ import annotations

import functools
from collections.abc import Callable

import bpy

from . import bridge

BACK_AFTER_S = 0.2
"""Until Edit Mode is entered again: a dragged value changes more often, and need not go through it each time."""

_edited = ""
"""The object that was left for a step, by name."""


def leave_for_step(context: bpy.types.Context) -> None:
    """Leave Edit Mode for the step that Blender pushes once the present change is done, and come back by itself.

    Without a window nobody would come back, so it is not left.
    """
    global _edited
    obj = _in_edit_mode(context)
    if bpy.app.background or (obj is None and not bpy.app.timers.is_registered(_come_back)):
        return
    if bpy.app.timers.is_registered(_come_back):
        bpy.app.timers.unregister(_come_back)
    if obj is not None:
        _edited = obj.name
        bridge.set_mode(obj, "OBJECT")
    bpy.app.timers.register(_come_back, first_interval=BACK_AFTER_S)


def push_before(context: bpy.types.Context) -> None:
    """Without a window: in Edit Mode push a step of all that is so far, so that undoing a long job keeps it."""
    obj = _in_edit_mode(context)
    if bpy.app.background and obj is not None:
        bridge.set_mode(obj, "OBJECT")
        bpy.ops.ed.undo_push(message="Foamwright")
        bridge.set_mode(obj, "EDIT")


def whole(method: Callable) -> Callable:
    """Wrap an operator's `execute` that changes more than a mesh."""

    @functools.wraps(method)
    def stepping(operator: bpy.types.Operator, context: bpy.types.Context) -> set[str]:
        done = method(operator, context)
        if "FINISHED" in done:
            leave_for_step(context)
        return done

    return stepping


def _in_edit_mode(context: bpy.types.Context) -> bpy.types.Object | None:
    obj = context.view_layer.objects.active if context.view_layer is not None else None
    return obj if obj is not None and obj.type == "MESH" and obj.mode == "EDIT" else None


def _come_back() -> None:
    obj = bpy.context.view_layer.objects.active
    if obj is not None and obj.name == _edited and obj.mode == "OBJECT":
        bridge.set_mode(obj, "EDIT")
