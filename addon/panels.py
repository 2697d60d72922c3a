"""The sidebar tab. Panels show what was counted and stored elsewhere; they compute nothing while drawing."""

import bpy

from . import belongings, colours, cut_panels, jobs, legend, overlay, results, stock_file, summary, trouble
from .panel_parts import FoamwrightPanel, paragraph, properties
from .piece_list import active_piece
from .run_list import active_run
from .shell_settings import group_of
from .shell_state import is_shell, why_locked

COLOURS = (("STRAIN", "Strain", "SHADING_TEXTURE"), ("FLAGS", "Flags", "BOOKMARKS"), ("NONE", "None", "SHADING_SOLID"))
SEVERITY_ICON = {"stop": "CANCEL", "warn": "ERROR", "note": "INFO"}


class FOAMWRIGHT_PT_shell(FoamwrightPanel):
    bl_label = "Shell"

    def draw(self, context):
        layout, obj = self.layout, context.object
        if obj is not None and obj.type == "MESH" and not is_shell(obj):
            piece = obj.foamwright.flat_of
            layout.label(text=f"Flat of piece {piece}" if piece else "Outline on a foam sheet", icon="MESH_DATA")
            if belongings.left_over_at(obj) is not None:
                layout.label(text="Its shell is there no more", icon="INFO")
                layout.operator("foamwright.clear", icon="TRASH")
            else:
                layout.label(text="Select the shell to go on", icon="INFO")
            return
        if not is_shell(obj):
            layout.label(text="Select the mesh of your shell", icon="INFO")
            return
        counts = summary.of(obj)
        layout.label(text=obj.name, icon="MESH_DATA")
        why = why_locked(obj)
        if why:
            paragraph(context, layout, why, "LOCKED")
            return
        if counts is not None and counts.size_mm is not None:
            layout.label(text=" × ".join(f"{side:.0f}" for side in counts.size_mm) + f" mm, {counts.faces} faces")
        layout.operator("foamwright.check", icon="CHECKMARK")
        self._draw_findings(context, obj.foamwright)
        last = trouble.of(obj)
        if last is not None:
            box = layout.box()
            paragraph(context, box, last.message, "CANCEL")
            if last.place:
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
        index = max(0, min(state.active_finding, len(state.findings) - 1))
        finding = state.findings[index]
        box = self.layout.box()
        paragraph(context, box, finding.message, SEVERITY_ICON.get(finding.severity, "INFO"))
        paragraph(context, box, finding.mend, "TOOL_SETTINGS")
        if finding.vertices or finding.edges or finding.faces or finding.is_made:
            box.operator("foamwright.select_place", text="Select the Place", icon="RESTRICT_SELECT_OFF").index = index


class FOAMWRIGHT_UL_findings(bpy.types.UIList):
    def draw_item(self, _context, layout, data, item, _icon, _active_data, _active_property, _index):
        # the panel names the object already
        words = item.message.removeprefix(f"'{data.id_data.name}'").lstrip(": ")
        layout.label(text=words, icon=SEVERITY_ICON.get(item.severity, "INFO"))


class FOAMWRIGHT_PT_foam(FoamwrightPanel):
    bl_label = "Foam"

    @classmethod
    def poll(cls, context):
        return is_shell(context.object)

    def draw(self, context):
        row = self.layout.row(align=True)
        row.operator_menu_enum("foamwright.use_stock", "stock", text="Your Foam", icon="PRESET")
        row.operator("foamwright.keep_stock", text="", icon="ADD")
        row.operator("foamwright.forget_stock", text="", icon="REMOVE")
        if stock_file.notice:
            paragraph(context, self.layout, stock_file.notice, "ERROR")
        settings = group_of(context.scene, context.object)
        properties(self.layout, settings, "foam_name", "thickness_mm")
        self.layout.prop(settings, "model_is_inside")
        self.layout.prop(settings, "cut_layers")


class FOAMWRIGHT_PT_foam_details(FoamwrightPanel):
    bl_label = "Sheet and Strain"
    bl_parent_id = "FOAMWRIGHT_PT_foam"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context):
        settings = group_of(context.scene, context.object)
        properties(self.layout, settings, "sheet_width_mm", "sheet_height_mm", "part_gap_mm", "nest_seconds")
        properties(self.layout, settings, "neutral_depth")
        self.layout.operator("foamwright.calibrate", icon="DRIVER_DISTANCE")
        properties(self.layout, settings, "skin_mm", "tightest_bend", "tight_bends", "kerf_mm", "blade_mm")
        properties(self.layout, settings, "cold_limit_percent", "hot_limit_percent", "seam_priority", "squeeze_cost")


class FOAMWRIGHT_PT_joints(FoamwrightPanel):
    bl_label = "Joints"
    bl_parent_id = "FOAMWRIGHT_PT_foam"
    bl_options = {"DEFAULT_CLOSED"}

    def draw(self, context):
        settings = group_of(context.scene, context.object)
        properties(self.layout, settings, "joint_rule")
        if settings.joint_rule == "AUTO":
            properties(self.layout, settings, "butt_limit", "one_sided_limit")
        properties(self.layout, settings, "heavy_bevel", "feather_mm", "butt_mismatch_mm", "notch_spacing_mm")
        properties(self.layout, settings, "rim_style")
        if settings.rim_style != "SQUARE":
            properties(self.layout, settings, "rim_bevel" if settings.rim_style == "BEVELLED" else "rim_round_mm")


class FOAMWRIGHT_PT_pieces(FoamwrightPanel):
    bl_label = "Pieces"

    @classmethod
    def poll(cls, context):
        return is_shell(context.object)

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
            properties(layout, piece, "group")
            if piece.mate:
                layout.label(text=f"Mirrors {piece.mate}", icon="MOD_MIRROR")
            if piece.is_flat:
                words = f"Strain: {piece.common_percent:.1f} % at most on 99 % of it, {_worst(piece)} at the worst spot"
                paragraph(context, layout, words, "INFO")
            if piece.why_not:
                paragraph(context, layout, f"Cannot be made as it is: {piece.why_not}", "ERROR")


class FOAMWRIGHT_UL_pieces(bpy.types.UIList):
    def draw_item(self, _context, layout, _data, item, _icon, _active_data, _active_property, _index):
        split = layout.split(factor=0.35)
        split.label(text=item.name, icon="ERROR" if item.why_not else "NONE")
        split = split.split(factor=0.28)
        split.label(text=f"{item.thickness_mm:g} mm" if item.thickness_mm else "")
        split.label(text=f"{item.common_percent:.1f}, {_worst(item)}" if item.is_flat else "")


def _worst(piece):
    """The worst strain of a piece, + pulled, − squeezed."""
    worst = max(piece.pull_percent, piece.squeeze_percent)
    return f"{'+' if piece.pull_percent >= piece.squeeze_percent else '−'}{worst:.1f} %"


class FOAMWRIGHT_PT_runs(FoamwrightPanel):
    bl_label = "Joints and Rims"
    bl_options = {"DEFAULT_CLOSED"}

    @classmethod
    def poll(cls, context):
        return is_shell(context.object) and len(context.object.foamwright.runs) > 0

    def draw(self, context):
        layout, state = self.layout, context.object.foamwright
        layout.template_list("FOAMWRIGHT_UL_runs", "", state, "runs", state, "active_run", rows=4)
        run = active_run(context.object)
        if run is not None:
            paragraph(context, layout, run.told, "INFO")
            properties(layout, run, "rim_choice" if run.is_rim else "joint_choice")


class FOAMWRIGHT_UL_runs(bpy.types.UIList):
    def draw_item(self, _context, layout, _data, item, _icon, _active_data, _active_property, _index):
        split = layout.split(factor=0.2)
        split.label(text=item.name, icon="LOCKED" if item.has_choice else "BLANK1")
        split.label(text=f"{item.one}, open rim" if item.is_rim else f"{item.one} with {item.other}")


class FOAMWRIGHT_PT_flatten(FoamwrightPanel):
    bl_label = "Flatten"

    @classmethod
    def poll(cls, context):
        return is_shell(context.object)

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
        if state.cannot_be_made:
            paragraph(context, layout, state.cannot_be_made, "ERROR")
        layout.label(text=f"{len(context.object.foamwright.pieces)} pieces, {state.joint_count} joints")
        self._draw_colours(context, state)
        layout.operator("foamwright.labels", icon="FONT_DATA", depress=overlay.is_shown())
        layout.operator("foamwright.clear", icon="TRASH")

    def _draw_colours(self, context, state):
        obj, layout = context.object, self.layout
        shown = colours.shown(context.space_data.shading, results.meshes_of(obj))
        row = layout.row(align=True)
        for what, words, icon in COLOURS:
            depress = shown == colours.CHOICES.get(what, "")
            row.operator("foamwright.colours", text=words, icon=icon, depress=depress).what = what
        if shown and shown not in obj.data.color_attributes:
            paragraph(context, layout, "Only the flats are coloured: modifiers make the shell's faces anew", "INFO")
        lines = legend.lines_of(shown, state)
        if lines or shown == colours.FLAGS:
            column = layout.box().column(align=True)
            for words, icon in lines:
                column.label(text=words, icon_value=icon)
            if not lines:
                column.label(text="No flags", icon="CHECKMARK")


class FOAMWRIGHT_PT_sheets(FoamwrightPanel):
    bl_label = "Sheets"

    @classmethod
    def poll(cls, context):
        return is_shell(context.object) and results.results_of(context.object) is not None

    def draw(self, context):
        count = results.results_of(context.object).foamwright.sheet_count
        self.layout.label(text=f"{count} foam sheet{'s' if count != 1 else ''}", icon="MESH_PLANE")
        self.layout.operator("foamwright.export", icon="EXPORT")
        self.layout.operator("foamwright.heatmap_picture", icon="IMAGE_DATA")


CLASSES = (
    FOAMWRIGHT_UL_findings,
    FOAMWRIGHT_UL_pieces,
    FOAMWRIGHT_UL_runs,
    FOAMWRIGHT_PT_shell,
    *cut_panels.CLASSES,
    FOAMWRIGHT_PT_foam,
    FOAMWRIGHT_PT_foam_details,
    FOAMWRIGHT_PT_joints,
    FOAMWRIGHT_PT_pieces,
    FOAMWRIGHT_PT_runs,
    FOAMWRIGHT_PT_flatten,
    FOAMWRIGHT_PT_sheets,
)
