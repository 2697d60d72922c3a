"""The sidebar tab. Panels show what was counted and stored elsewhere; they compute nothing while drawing."""

import textwrap

import bpy

from . import jobs, overlay, plans, results, summary, trouble
from .piece_list import active_piece
from .run_list import active_run

SEVERITY_ICON = {"stop": "CANCEL", "warn": "ERROR", "note": "INFO"}
WIDTH_PER_LETTER = 6.5
"""Pixels of Blender's own font, about, to break long messages into lines."""


class FoamwrightPanel(bpy.types.Panel):
    bl_space_type = "VIEW_3D"
    bl_region_type = "UI"
    bl_category = "Foamwright"


class FOAMWRIGHT_PT_shell(FoamwrightPanel):
    bl_label = "Shell"

    def draw(self, context):
        layout, obj = self.layout, context.object
        if obj is not None and obj.type == "MESH" and obj.foamwright.flat_of:
            layout.label(text=f"Flat of piece {obj.foamwright.flat_of}", icon="MESH_DATA")
            layout.label(text="Select its shell to go on", icon="INFO")
            return
        if not _is_shell(context):
            layout.label(text="Select the mesh of your shell", icon="INFO")
            return
        counts = summary.of(obj)
        layout.label(text=obj.name, icon="MESH_DATA")
        if counts is not None:
            layout.label(text=" × ".join(f"{side:.0f}" for side in counts.size_mm) + f" mm, {counts.faces} faces")
        layout.operator("foamwright.check", icon="CHECKMARK")
        self._draw_findings(context, obj.foamwright)
        last = trouble.of(obj)
        if last is not None:
            box = layout.box()
            _paragraph(context, box, last.message, "CANCEL")
            if last.has_place:
                box.operator("foamwright.select_place", icon="RESTRICT_SELECT_OFF").index = -1

    def _draw_findings(self, context, state):
        if not state.checked:
            return
        if not state.findings:
            self.layout.label(text="Fit to be built", icon="CHECKMARK")
            return
        if len(state.findings) > 1:
            rows = min(4, len(state.findings))
            self.layout.template_list(
                "FOAMWRIGHT_UL_findings", "", state, "findings", state, "active_finding", rows=rows
            )
        index = min(state.active_finding, len(state.findings) - 1)
        finding = state.findings[index]
        box = self.layout.box()
        _paragraph(context, box, finding.message, SEVERITY_ICON.get(finding.severity, "INFO"))
        _paragraph(context, box, finding.mend, "TOOL_SETTINGS")
        if finding.vertices or finding.edges or finding.faces:
            box.operator("foamwright.select_place", text="Select the Place", icon="RESTRICT_SELECT_OFF").index = index


class FOAMWRIGHT_UL_findings(bpy.types.UIList):
    def draw_item(self, _context, layout, data, item, _icon, _active_data, _active_property, _index):
        # the panel names the object already
        words = item.message.removeprefix(f"'{data.id_data.name}'").lstrip(": ")
        layout.label(text=words, icon=SEVERITY_ICON.get(item.severity, "INFO"))


class FOAMWRIGHT_PT_cuts(FoamwrightPanel):
    bl_label = "Cuts"

    @classmethod
    def poll(cls, context):
        return _is_shell(context)

    def draw(self, context):
        layout, obj = self.layout, context.object
        counts = summary.of(obj)
        if counts is not None:
            layout.label(text=f"{counts.seams} seams, {counts.folds} sharp edges", icon="EDGESEL")
        column = layout.column(align=True)
        column.operator_menu_enum("foamwright.mark_seams", "source", text="Mark Seams From", icon="MOD_EDGESPLIT")
        column.operator("foamwright.complete_seams", icon="ADD")
        layout.prop(context.scene.foamwright, "fold_limit")
        _properties(layout, context.scene.foamwright.cuts, "strain_percent")
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
        _paragraph(context, box, plan.told, "OUTLINER_OB_LIGHTPROBE")
        if plan.warning:
            _paragraph(context, box, plan.warning, "ERROR")
        if outdated:
            _paragraph(context, box, "The mesh was edited since; drop the plan and ask again", "ERROR")
        box.template_list("FOAMWRIGHT_UL_cuts", "", plan, "cuts", plan, "active_cut", rows=min(5, len(plan.cuts) + 1))
        cut = plans.active_cut(context.object)
        _paragraph(context, box, cut.reason, "LOCKED" if cut.kept else "INFO")
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
        _properties(layout, context.scene.foamwright.cuts, "narrowest_mm", "fits")
        layout.operator("foamwright.forbid_cut", icon="CANCEL")
        if counts is not None and counts.forbidden:
            row = layout.row(align=True)
            row.label(text=f"Edges forbidden: {counts.forbidden}")
            row.operator("foamwright.select_forbidden", text="Select", icon="RESTRICT_SELECT_OFF")
        row = layout.row(align=True)
        row.label(text="Paint", icon="BRUSH_DATA")
        row.operator_enum("foamwright.paint_cuts", "what")


class FOAMWRIGHT_PT_foam(FoamwrightPanel):
    bl_label = "Foam"

    @classmethod
    def poll(cls, context):
        return _is_shell(context)

    def draw(self, context):
        row = self.layout.row(align=True)
        row.operator_menu_enum("foamwright.use_stock", "stock", text="Your Foam", icon="PRESET")
        row.operator("foamwright.keep_stock", text="", icon="ADD")
        row.operator("foamwright.forget_stock", text="", icon="REMOVE")
        _properties(self.layout, context.scene.foamwright, "foam_name", "thickness_mm")
        self.layout.prop(context.scene.foamwright, "model_is_inside")


class FOAMWRIGHT_PT_foam_details(FoamwrightPanel):
    bl_label = "Sheet and Strain"
    bl_parent_id = "FOAMWRIGHT_PT_foam"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context):
        settings = context.scene.foamwright
        _properties(self.layout, settings, "sheet_width_mm", "sheet_height_mm", "part_gap_mm", "nest_seconds")
        _properties(self.layout, settings, "neutral_depth")
        self.layout.operator("foamwright.calibrate", icon="DRIVER_DISTANCE")
        _properties(self.layout, settings, "skin_mm", "tightest_bend", "tight_bends", "kerf_mm", "blade_mm")
        _properties(self.layout, settings, "cold_limit_percent", "hot_limit_percent", "seam_priority", "squeeze_cost")


class FOAMWRIGHT_PT_joints(FoamwrightPanel):
    bl_label = "Joints"
    bl_parent_id = "FOAMWRIGHT_PT_foam"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context):
        settings = context.scene.foamwright
        _properties(self.layout, settings, "joint_rule")
        if settings.joint_rule == "AUTO":
            _properties(self.layout, settings, "butt_limit", "one_sided_limit")
        _properties(self.layout, settings, "heavy_bevel", "feather_mm", "butt_mismatch_mm", "notch_spacing_mm")
        _properties(self.layout, settings, "rim_style")
        if settings.rim_style != "SQUARE":
            _properties(self.layout, settings, "rim_bevel" if settings.rim_style == "BEVELLED" else "rim_round_mm")


class FOAMWRIGHT_PT_pieces(FoamwrightPanel):
    bl_label = "Pieces"

    @classmethod
    def poll(cls, context):
        return _is_shell(context)

    def draw(self, context):
        layout, state = self.layout, context.object.foamwright
        layout.operator("foamwright.find_pieces", icon="PRESET")
        if not state.pieces:
            return
        layout.template_list("FOAMWRIGHT_UL_pieces", "", state, "pieces", state, "active_piece", rows=4)
        row = layout.row(align=True)
        row.operator("foamwright.rename_piece", text="Rename")
        row.operator("foamwright.set_piece_stock", text="Set Foam")
        piece = active_piece(context.object)
        if piece is not None:
            _properties(layout, piece, "group")
            if piece.mate:
                layout.label(text=f"Mirrors {piece.mate}", icon="MOD_MIRROR")


class FOAMWRIGHT_UL_pieces(bpy.types.UIList):
    def draw_item(self, _context, layout, _data, item, _icon, _active_data, _active_property, _index):
        split = layout.split(factor=0.5)
        split.label(text=item.name)
        split = split.split(factor=0.5)
        split.label(text=f"{item.thickness_mm:g} mm" if item.thickness_mm else "")
        worst = max(item.pull_percent, item.squeeze_percent)
        sign = "+" if item.pull_percent >= item.squeeze_percent else "−"
        split.label(text=f"{sign}{worst:.1f} %" if item.is_flat else "")


class FOAMWRIGHT_PT_runs(FoamwrightPanel):
    bl_label = "Joints and Rims"
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context):
        return _is_shell(context) and len(context.object.foamwright.runs) > 0

    def draw(self, context):
        layout, state = self.layout, context.object.foamwright
        layout.template_list("FOAMWRIGHT_UL_runs", "", state, "runs", state, "active_run", rows=4)
        run = active_run(context.object)
        if run is not None:
            _paragraph(context, layout, run.told, "INFO")
            _properties(layout, run, "rim_choice" if run.is_rim else "joint_choice")


class FOAMWRIGHT_UL_runs(bpy.types.UIList):
    def draw_item(self, _context, layout, _data, item, _icon, _active_data, _active_property, _index):
        split = layout.split(factor=0.2)
        split.label(text=item.name, icon="LOCKED" if item.has_choice else "BLANK1")
        split.label(text=f"{item.one}, open rim" if item.is_rim else f"{item.one} with {item.other}")


class FOAMWRIGHT_PT_flatten(FoamwrightPanel):
    bl_label = "Flatten"

    @classmethod
    def poll(cls, context):
        return _is_shell(context)

    def draw(self, context):
        layout = self.layout
        if jobs.running is not None:
            layout.progress(factor=jobs.running.progress.part, text=jobs.running.text)
            layout.label(text="Esc stops", icon="CANCEL")
            return
        row = layout.row()
        row.scale_y = 1.5
        row.operator("foamwright.flatten", icon="MOD_UVPROJECT")
        root = results.results_of(context.object)
        if root is None:
            return
        counts = summary.of(context.object)
        if counts is not None and counts.outdated:
            layout.label(text="Changed since; flatten again", icon="ERROR")
        state = root.foamwright
        layout.label(text=f"{len(context.object.foamwright.pieces)} pieces, {state.joint_count} joints")
        if results.STRAIN_COLOUR not in context.object.data.attributes:
            _paragraph(context, layout, "Only the flats are coloured: modifiers make the shell's faces", "INFO")
        row = layout.row(align=True)
        shading = context.space_data.shading
        coloured = shading.type == "SOLID" and shading.color_type == "VERTEX"
        row.operator("foamwright.heatmap", icon="SHADING_TEXTURE", depress=coloured)
        row.operator("foamwright.labels", icon="FONT_DATA", depress=overlay.is_shown())
        layout.operator("foamwright.clear", icon="TRASH")


class FOAMWRIGHT_PT_sheets(FoamwrightPanel):
    bl_label = "Sheets"

    @classmethod
    def poll(cls, context):
        return _is_shell(context) and results.results_of(context.object) is not None

    def draw(self, context):
        count = results.results_of(context.object).foamwright.sheet_count
        self.layout.label(text=f"{count} foam sheet{'s' if count != 1 else ''}", icon="MESH_PLANE")
        self.layout.operator("foamwright.export", icon="EXPORT")
        self.layout.operator("foamwright.heatmap_picture", icon="IMAGE_DATA")


def _is_shell(context) -> bool:
    obj = context.object
    return obj is not None and obj.type == "MESH" and not obj.foamwright.flat_of


def _properties(layout, owner, *names: str) -> None:
    column = layout.column(align=True)
    column.use_property_split = True
    column.use_property_decorate = False
    for name in names:
        column.prop(owner, name)


def _paragraph(context, layout, words: str, icon: str) -> None:
    """Words broken into lines that fit the sidebar, the icon before the first."""
    room = context.region.width / context.preferences.system.ui_scale - 60
    column = layout.column(align=True)
    column.scale_y = 0.8
    for number, line in enumerate(textwrap.wrap(words, max(16, int(room / WIDTH_PER_LETTER)))):
        column.label(text=line, icon="BLANK1" if number else icon)


CLASSES = (
    FOAMWRIGHT_UL_findings,
    FOAMWRIGHT_UL_cuts,
    FOAMWRIGHT_UL_pieces,
    FOAMWRIGHT_UL_runs,
    FOAMWRIGHT_PT_shell,
    FOAMWRIGHT_PT_cuts,
    FOAMWRIGHT_PT_cut_choices,
    FOAMWRIGHT_PT_foam,
    FOAMWRIGHT_PT_foam_details,
    FOAMWRIGHT_PT_joints,
    FOAMWRIGHT_PT_pieces,
    FOAMWRIGHT_PT_runs,
    FOAMWRIGHT_PT_flatten,
    FOAMWRIGHT_PT_sheets,
)
