"""The part of the sidebar tab about cuts: seams, plans that wait to be taken, and what they may cut."""

import bpy

from . import plans, summary
from .panel_parts import FoamwrightPanel, paragraph, properties
from .piece_list import active_piece
from .shell_settings import group_of
from .shell_state import is_shell


class FOAMWRIGHT_PT_cuts(FoamwrightPanel):
    bl_label = "Cuts"

    @classmethod
    def poll(cls, context):
        return is_shell(context.object)

    def draw(self, context):
        layout, obj = self.layout, context.object
        counts = summary.of(obj)
        if counts is not None:
            layout.label(text=f"{counts.seams} seams, {counts.folds} sharp edges", icon="EDGESEL")
        column = layout.column(align=True)
        column.operator_menu_enum("foamwright.mark_seams", "source", text="Mark Seams From", icon="MOD_EDGESPLIT")
        column.operator("foamwright.complete_seams", icon="ADD")
        settings = group_of(context.scene, obj)
        layout.prop(settings, "fold_limit")
        properties(layout, settings.cuts, "strain_percent")
        column = layout.column(align=True)
        column.operator("foamwright.suggest_seams", icon="OUTLINER_OB_LIGHTPROBE")
        column.operator("foamwright.removable_seams", icon="REMOVE")
        piece = active_piece(obj)
        if piece is not None:
            column = layout.column(align=True)
            column.operator("foamwright.where_to_cut", text=f"One More Cut in {piece.name}")
            column.operator("foamwright.suggest_seams", text=f"Suggest Seams in {piece.name}").piece = piece.name
        if plans.waits(obj):
            self._draw_plan(context, obj.foamwright.plan, counts is not None and counts.plan_outdated)

    def _draw_plan(self, context, plan, outdated):
        box = self.layout.box()
        if plan.heading:
            paragraph(context, box, plan.heading, "OUTLINER_OB_LIGHTPROBE")
        paragraph(context, box, plan.told, "BLANK1" if plan.heading else "OUTLINER_OB_LIGHTPROBE")
        if not plan.is_reckoned:
            box.operator("foamwright.reckon_plan", icon="FILE_REFRESH")
        if plan.warning:
            paragraph(context, box, plan.warning, "ERROR")
        if outdated:
            paragraph(context, box, "The mesh was edited since; drop the plan and ask again", "ERROR")
        box.template_list("FOAMWRIGHT_UL_cuts", "", plan, "cuts", plan, "active_cut", rows=min(5, len(plan.cuts) + 1))
        cut = plans.active_cut(context.object)
        paragraph(context, box, cut.reason, "LOCKED" if cut.kept else "INFO")
        paragraph(context, box, cut.bend, "MOD_BEVEL")
        box.operator("foamwright.select_cut", icon="RESTRICT_SELECT_OFF")
        row = box.row(align=True)
        row.operator(
            "foamwright.take_plan", text="Take Plan" if plan.kind == "CUT" else "Remove These", icon="CHECKMARK"
        )
        row.operator("foamwright.drop_plan", text="Drop", icon="X")


class FOAMWRIGHT_UL_cuts(bpy.types.UIList):
    def draw_item(self, _context, layout, _data, item, _icon, _active_data, _active_property, _index):
        split = layout.split(factor=0.57)
        row = split.row(align=True)
        if item.kept:
            row.label(text="", icon="LOCKED")
        else:
            row.prop(item, "wanted", text="")
        row.label(text=item.reason.partition(":")[0].removeprefix("your "))
        split.label(text=item.gain)


class FOAMWRIGHT_PT_cut_choices(FoamwrightPanel):
    bl_label = "What Plans May Cut"
    bl_parent_id = "FOAMWRIGHT_PT_cuts"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context):
        layout, counts = self.layout, summary.of(context.object)
        properties(layout, group_of(context.scene, context.object).cuts, "narrowest_mm", "fits")
        layout.operator("foamwright.forbid_cut", icon="CANCEL")
        if counts is not None and counts.forbidden:
            row = layout.row(align=True)
            row.label(text=f"Edges forbidden: {counts.forbidden}")
            row.operator("foamwright.select_forbidden", text="Select", icon="RESTRICT_SELECT_OFF")
        row = layout.row(align=True)
        row.label(text="Paint", icon="BRUSH_DATA")
        row.operator_enum("foamwright.paint_cuts", "what")


CLASSES = (FOAMWRIGHT_UL_cuts, FOAMWRIGHT_PT_cuts, FOAMWRIGHT_PT_cut_choices)
