"""Colours of flags and of strain as icons, for the legend in the panel."""

from __future__ import annotations

from typing import Any

import bpy.utils.previews
import numpy as np

from ..core.flag_colours import FLAG_KINDS
from ..core.heat import SCALE, strain_colour
from .colours import FLAGS, STRAIN
from .shell_state import FoamwrightResults

SIDE = 16
_icons: Any = None


def lines_of(what: str, state: FoamwrightResults) -> list[tuple[str, int]]:
    """Words and icon for each colour that is shown; none where colours are off or older than their scale.

    what : FLAGS, STRAIN or ""
    """
    if what == FLAGS:
        told = [(place, kind.words) for place, kind in enumerate(FLAG_KINDS) if state.flagged[place]]
    else:
        told = list(enumerate(state.strain_scale.splitlines())) if what == STRAIN else []
    return [(words, icon_of(what, place)) for place, words in told]


def icon_of(what: str, place: int) -> int:
    """Blender's number for an icon; 0 where there is no window.

    what : FLAGS or STRAIN; place : in FLAG_KINDS or in SCALE
    """
    return _icons[f"{what} {place}"].icon_id


def pixels_of(what: str, place: int) -> list[float]:
    """Colours of its icon, four values a pixel."""
    return list(_icons[f"{what} {place}"].icon_pixels_float)


def register() -> None:
    global _icons
    _icons = bpy.utils.previews.new()
    flags, strain = np.array([kind.colour for kind in FLAG_KINDS]), strain_colour(np.array(SCALE), 1.0)
    shades = {FLAGS: flags.tolist(), STRAIN: strain.tolist()}
    for what, colours in shades.items():
        for place, colour in enumerate(colours):
            icon = _icons.new(f"{what} {place}")
            icon.icon_size = (SIDE, SIDE)
            icon.icon_pixels_float = [*colour, 1.0] * SIDE**2


def unregister() -> None:
    bpy.utils.previews.remove(_icons)
