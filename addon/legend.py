"""Colours of flags as icons, for the legend in the panel."""

from __future__ import annotations

from typing import Any

import bpy.utils.previews

from ..core.flag_colours import FLAG_KINDS

SIDE = 16
_icons: Any = None


def icon_of(place: int) -> int:
    """Blender's number for the icon of the kind at this place in FLAG_KINDS; 0 where there is no window."""
    return _icons[str(place)].icon_id


def pixels_of(place: int) -> list[float]:
    """Colours of its icon, four values a pixel."""
    return list(_icons[str(place)].icon_pixels_float)


def register() -> None:
    global _icons
    _icons = bpy.utils.previews.new()
    for place, kind in enumerate(FLAG_KINDS):
        icon = _icons.new(str(place))
        icon.icon_size = (SIDE, SIDE)
        icon.icon_pixels_float = [*kind.colour, 1.0] * SIDE**2


def unregister() -> None:
    bpy.utils.previews.remove(_icons)
