"""What all panels are made of."""

import textwrap

import bpy

WIDTH_PER_LETTER = 6.5
"""Pixels of Blender's own font, about, to break long messages into lines."""


class FoamwrightPanel(bpy.types.Panel):
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Foamwright"


def properties(layout, owner, *names: str) -> None:
    column = layout.column(align=True)
    column.use_property_split = True
    column.use_property_decorate = False
    for name in names:
        column.prop(owner, name)


def paragraph(context, layout, words: str, icon: str) -> None:
    """Words broken into lines that fit the sidebar, the icon before the first."""
    room = context.region.width / context.preferences.system.ui_scale - 60
    column = layout.column(align=True)
    column.scale_y = 0.8
    for number, line in enumerate(textwrap.wrap(words, max(16, int(room / WIDTH_PER_LETTER)))):
        column.label(text=line, icon="BLANK1" if number else icon)
