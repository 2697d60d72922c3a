"""Where Foamwright stands in Blender's own menus."""

import bpy

from .shell_state import is_shell


def _in_export_menu(self, _context) -> None:
    self.layout.operator("foamwright.export", text="Foam Templates (.pdf, .svg, .dxf)")


def _in_context_menu(self, context) -> None:
    if is_shell(context.object):
        self.layout.separator()
        self.layout.operator("foamwright.flatten", text="Flatten for Foam")
        self.layout.operator("foamwright.export", text="Export Foam Templates")


def _homes():
    types = bpy.types
    return (
        (types.TOPBAR_MT_file_export, _in_export_menu),
        (types.VIEW3D_MT_object_context_menu, _in_context_menu),
        (types.VIEW3D_MT_edit_mesh_context_menu, _in_context_menu),
    )


def register() -> None:
    for menu, draw in _homes():
        menu.append(draw)


def unregister() -> None:
    for menu, draw in _homes():
        menu.remove(draw)
