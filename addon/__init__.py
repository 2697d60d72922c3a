"""The add-on: Blender in, one call of core, Blender out."""

from __future__ import annotations

import importlib
import sys

NEEDED = ("numpy", "scipy", "shapely")
"""Without these nothing works; the libraries of single writers are asked for when a file is written."""


def register() -> None:
    _refuse_missing_libraries()
    import bpy

    from . import cut_settings, headless, menus, operators, panels, preview, settings, shell_state, summary

    for cls in _classes(cut_settings, settings, shell_state, operators, panels):
        bpy.utils.register_class(cls)
    settings.register()
    shell_state.register()
    menus.register()
    summary.register()
    preview.register()
    headless.register()


def unregister() -> None:
    import bpy

    from . import cut_settings, headless, menus, operators, overlay, panels, preview, settings, shell_state, summary

    headless.unregister()
    overlay.hide()
    preview.unregister()
    summary.unregister()
    menus.unregister()
    shell_state.unregister()
    settings.unregister()
    for cls in reversed(_classes(cut_settings, settings, shell_state, operators, panels)):
        bpy.utils.unregister_class(cls)


def _classes(*modules) -> list[type]:
    return [cls for module in modules for cls in module.CLASSES]


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
