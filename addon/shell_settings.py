"""Whose settings are whose: each shell has its own, and the scene keeps those that the next shell begins with.

A change to either is made to both, the scene's for the active shell. So `scene.foamwright` may be set by a script as if
there were one shell, and what one shell was given never reaches another that has settings of its own.
"""

from __future__ import annotations

import bpy
from bpy.app.handlers import persistent

from ..core.settings import Settings
from .cut_settings import FoamwrightCutSettings
from .settings import FoamwrightSettings
from .shell_state import is_shell, why_locked

_copying = False
"""While all settings are copied, none is carried back."""


def group_of(scene: bpy.types.Scene, obj: bpy.types.Object | None) -> FoamwrightSettings:
    """The settings of this shell; those of the scene while it has none of its own."""
    return obj.foamwright.settings if obj is not None and obj.foamwright.settings.is_own else scene.foamwright


def settings_of(scene: bpy.types.Scene, obj: bpy.types.Object) -> Settings:
    """Everything the maker set for this shell. Raises SettingsError."""
    return group_of(scene, obj).to_core(obj.foamwright.pieces, obj.foamwright.runs)


def give_own(scene: bpy.types.Scene, obj: bpy.types.Object) -> None:
    """From now on the shell has settings of its own; they begin as the scene's."""
    global _copying
    own = obj.foamwright.settings
    if own.is_own:
        return
    own.is_own = _copying = True
    try:
        # twice, because a thickness brings a skin of its own
        for _ in range(2):
            _copy(scene.foamwright, own)
    finally:
        _copying = False


def carry(group: FoamwrightSettings | FoamwrightCutSettings, name: str, context: bpy.types.Context) -> None:
    """One setting was changed, of a shell or of the scene: change it for the other as well."""
    global _copying
    scene, home = context.scene, group.id_data
    shell = home if isinstance(home, bpy.types.Object) else _active_shell(context)
    if _copying or shell is None or scene is None or home not in (shell, scene):
        return
    value = getattr(group, name)
    give_own(scene, shell)
    other = scene.foamwright if home == shell else shell.foamwright.settings
    _copying = True  # no number equals itself that is none: without this, both would set each other for ever
    try:
        for twin in (group, other.cuts if isinstance(group, FoamwrightCutSettings) else other):
            if getattr(twin, name) != value:
                setattr(twin, name, value)
    finally:
        _copying = False


def _active_shell(context: bpy.types.Context) -> bpy.types.Object | None:
    obj = context.view_layer.objects.active if context.view_layer is not None else None
    return obj if is_shell(obj) and not why_locked(obj) else None


def _copy(source, target) -> None:
    for prop in source.bl_rna.properties:
        if prop.type == "POINTER" and prop.identifier == "cuts":
            _copy(source.cuts, target.cuts)
        elif prop.identifier not in ("name", "is_own") and not prop.is_readonly:
            value = getattr(source, prop.identifier)
            if getattr(target, prop.identifier) != value:
                setattr(target, prop.identifier, value)


@persistent
def _on_load(*_what) -> None:
    """Shells that were worked on by an earlier version, which had settings of the scene alone, keep to them."""
    for scene in bpy.data.scenes:
        for obj in scene.objects:
            if is_shell(obj) and not why_locked(obj) and _was_worked_on(obj):
                give_own(scene, obj)


def _was_worked_on(obj: bpy.types.Object) -> bool:
    state = obj.foamwright
    return bool(state.results is not None or state.pieces or state.checked or state.plan.cuts)


def register() -> None:
    bpy.app.handlers.load_post.append(_on_load)


def unregister() -> None:
    bpy.app.handlers.load_post.remove(_on_load)
