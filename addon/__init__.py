"""The add-on: Blender in, one call of core, Blender out."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Sequence
from typing import Any

NEEDED = ("numpy", "scipy", "shapely")
"""Without these nothing works; the libraries of single writers are asked for when a file is written."""


WITH_CLASSES = ("cut_settings", "settings", "shell_state", "operators", "panels")
WITH_HOOKS = (
    "settings",
    "shell_state",
    "shell_settings",
    "results",
    "legend",
    "menus",
    "summary",
    "preview",
    "overlay",
    "undo_steps",
    "headless",
)


def register() -> None:
    _refuse_missing_libraries()
    import bpy

    for cls in _classes():
        bpy.utils.register_class(cls)
    for module in _modules(WITH_HOOKS):
        module.register()


def unregister() -> None:
    import bpy

    for module in reversed(_modules(WITH_HOOKS)):
        module.unregister()
    for cls in reversed(_classes()):
        bpy.utils.unregister_class(cls)


def _modules(names: Sequence[str]) -> list[Any]:
    return [importlib.import_module(f".{name}", __package__) for name in names]


def _classes() -> list[type]:
    return [cls for module in _modules(WITH_CLASSES) for cls in module.CLASSES]


def _refuse_missing_libraries() -> None:
    missing = []
    for name in NEEDED:
        try:
            importlib.import_module(name)
        except ImportError as problem:
            missing.append(f"{name} ({problem})")
    if missing:
        version = ".".join(map(str, sys.version_info[:2]))
        raise ImportError(
            f"Foamwright cannot start: this Blender runs Python {version} on {sys.platform}, and the extension has no "
            f"fitting {', '.join(missing)}. Install the Foamwright zip that is made for this platform, in Blender "
            "4.2.13 or later from blender.org."
        )
