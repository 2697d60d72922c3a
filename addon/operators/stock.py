"""The maker's list of foam, and measuring the neutral depth of one."""

import bpy
from bpy.props import EnumProperty, FloatProperty, StringProperty

from ...core.calibration import BentStrip
from .. import stock_file, trouble, undo_steps
from ..shell_settings import group_of

_shown: list[tuple[str, str, str]] = []
"""Blender wants the words of a menu to outlive the menu."""


def _stocks(_operator, _context):
    stocks = stock_file.library().stocks
    _shown[:] = [(stock.name, stock.name, f"{stock.thickness_mm:g} mm thick") for stock in stocks]
    return _shown


class FOAMWRIGHT_OT_use_stock(bpy.types.Operator):
    """Set the foam to one of your list"""

    bl_idname = "foamwright.use_stock"
    bl_label = "Use Stock"
    bl_options = {"REGISTER", "UNDO"}
    bl_property = "stock"

    stock: EnumProperty(name="Stock", description="A foam of your list", items=_stocks)

    @undo_steps.whole
    @trouble.reports_errors
    def execute(self, context):
        group_of(context.scene, context.object).take_stock(stock_file.library().stock(self.stock))
        return {"FINISHED"}


class FOAMWRIGHT_OT_keep_stock(bpy.types.Operator):
    """Keep the foam as it is set now on your list, for every file; a stock of the same name is replaced"""

    bl_idname = "foamwright.keep_stock"
    bl_label = "Keep Stock"
    bl_options = {"REGISTER"}

    @trouble.reports_errors
    def execute(self, context):
        stock = group_of(context.scene, context.object).to_stock()
        stock_file.keep(stock)
        self.report({"INFO"}, f"'{stock.name}' is kept on your list of foam")
        return {"FINISHED"}


class FOAMWRIGHT_OT_forget_stock(bpy.types.Operator):
    """Take a foam off your list"""

    bl_idname = "foamwright.forget_stock"
    bl_label = "Forget Stock"
    bl_options = {"REGISTER"}

    name: StringProperty(name="Stock", description="Its name; empty: the foam as it is set now")

    @trouble.reports_errors
    def execute(self, context):
        name = self.name or group_of(context.scene, context.object).to_stock().name
        stock_file.forget(name)
        self.report({"INFO"}, f"'{name}' is off your list of foam")
        return {"FINISHED"}


class FOAMWRIGHT_OT_calibrate(bpy.types.Operator):
    """Find the neutral depth of your foam: measure a strip flat, then along both faces when it is bent"""

    bl_idname = "foamwright.calibrate"
    bl_label = "Measure Neutral Depth"
    bl_options = {"REGISTER", "UNDO"}

    flat_mm: FloatProperty(
        name="Flat (mm)", description="Length of the strip before it is bent", default=300.0, min=0.0
    )
    outer_mm: FloatProperty(
        name="Outer arc (mm)", description="Along the outside face of the bent strip", default=308.0, min=0.0
    )
    inner_mm: FloatProperty(
        name="Inner arc (mm)", description="Along the inside face of the bent strip", default=292.0, min=0.0
    )

    def invoke(self, context, _event):
        return context.window_manager.invoke_props_dialog(self)

    @undo_steps.whole
    @trouble.reports_errors
    def execute(self, context):
        strip = BentStrip(self.flat_mm, self.outer_mm, self.inner_mm)
        depth, off = strip.neutral_depth, strip.uncertainty()
        group_of(context.scene, context.object).neutral_depth = depth
        self.report({"INFO"}, f"Neutral depth {depth:.2f}, sure to {off:.2f} if each length is read to half a mm")
        return {"FINISHED"}


CLASSES = (FOAMWRIGHT_OT_use_stock, FOAMWRIGHT_OT_keep_stock, FOAMWRIGHT_OT_forget_stock, FOAMWRIGHT_OT_calibrate)
