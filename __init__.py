# SPDX-License-Identifier: GPL-3.0-or-later
"""Foamwright: foam-aware unfolding. `core` computes without Blender, `addon` shows it in Blender."""


def register() -> None:
    from . import addon

    addon.register()


def unregister() -> None:
    from . import addon

    addon.unregister()
