"""Whole undo steps in Edit Mode.

There Blender's own steps keep nothing but the edited mesh, and none at all is pushed for a setting: undoing what came
after a change to the object takes that change back with it. A step that is pushed outside Edit Mode keeps everything.
Without a window nobody presses undo, and no timer runs: scripts push steps themselves.
"""

from __future__ import annotations

import functools
from collections.abc import Callable

import bpy

from . import bridge

AFTER_S = 0.3
"""A value that is dragged changes many times; one step after the last is enough."""

_edited = ""
"""The object that was left for a step, by name."""


def push_soon(context: bpy.types.Context) -> None:
    """A setting was changed: in Edit Mode push a step once it changes no more."""
    if not bpy.app.background and _in_edit_mode(context) is not None:
        _cancel(_push)
        bpy.app.timers.register(_push, first_interval=AFTER_S)


def begin_job() -> None:
    """Before a job: push what waits to be pushed, and without a window all that a script has set."""
    if bpy.app.background or _cancel(_push):
        _push()


def leave_for_step(context: bpy.types.Context) -> None:
    """At the end of a job: leave Edit Mode for the step that Blender pushes now, and come back by itself."""
    global _edited
    _cancel(_push)  # settings that the job has changed are part of its step
    obj = _in_edit_mode(context)
    if obj is not None and not bpy.app.background:
        _edited = obj.name
        bridge.set_mode(obj, "OBJECT")
        bpy.app.timers.register(_come_back)


def whole(method: Callable) -> Callable:
    """Wrap an operator's `execute` that changes more than a mesh."""

    @functools.wraps(method)
    def stepping(operator: bpy.types.Operator, context: bpy.types.Context) -> set[str]:
        if _cancel(_push):
            _push()
        done = method(operator, context)
        if "FINISHED" in done:
            leave_for_step(context)
        return done

    return stepping


def register() -> None:
    """Timers are started by what they wait for."""


def unregister() -> None:
    for timer in (_push, _come_back):
        _cancel(timer)


def _in_edit_mode(context: bpy.types.Context) -> bpy.types.Object | None:
    obj = context.view_layer.objects.active if context.view_layer is not None else None
    return obj if obj is not None and obj.type == "MESH" and obj.mode == "EDIT" else None


def _push() -> None:
    obj = _in_edit_mode(bpy.context)
    if obj is not None:
        with bridge.out_of_edit_mode(obj):
            bpy.ops.ed.undo_push(message="Foamwright Setting")


def _come_back() -> None:
    obj = bpy.context.view_layer.objects.active
    if obj is not None and obj.name == _edited and obj.mode == "OBJECT" and obj.visible_get():
        bridge.set_mode(obj, "EDIT")


def _cancel(timer: Callable) -> bool:
    """Whether it was waiting."""
    waits = bpy.app.timers.is_registered(timer)
    if waits:
        bpy.app.timers.unregister(timer)
    return waits
