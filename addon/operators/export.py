"""Files on disk: templates, drawings for cutting machines, data, pictures."""

import bpy
from bpy.props import EnumProperty, StringProperty

from ...core.progress import finish
from .. import jobs, results, summary, trouble, writers


class FOAMWRIGHT_OT_export(bpy.types.Operator):
    """Write templates and other files of this shell's pattern to a folder"""

    bl_idname = "foamwright.export"
    bl_label = "Export Templates"
    bl_options = {"REGISTER"}

    directory: StringProperty(name="Folder", description="Where the files go", subtype="DIR_PATH")
    filter_folder: bpy.props.BoolProperty(default=True, options={"HIDDEN"})
    kinds: EnumProperty(
        name="Files",
        items=[(kind.key, kind.label, kind.hint, 1 << bit) for bit, kind in enumerate(writers.KINDS)],
        options={"ENUM_FLAG"},
        default={"PDF_A4", "SVG", "SUMMARY"},
    )

    @classmethod
    def poll(cls, context):
        return jobs.has_results(cls, context)

    def invoke(self, context, _event):
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def draw(self, _context):
        self.layout.column().prop(self, "kinds")

    @trouble.reports_errors
    def execute(self, context):
        obj = context.object
        pattern = results.stored_pattern(obj)
        written = finish(writers.write_files(pattern, bpy.path.abspath(self.directory), self.kinds))
        if summary.is_outdated(context.scene, obj):
            self.report({"WARNING"}, f"'{obj.name}' has changed since it was laid flat; the files show it as it was")
        self.report({"INFO"}, f"{len(written)} files written to {self.directory}")
        return {"FINISHED"}


class FOAMWRIGHT_OT_heatmap_picture(bpy.types.Operator):
    """Write a picture of the flat pieces in the colours of their strain"""

    bl_idname = "foamwright.heatmap_picture"
    bl_label = "Heatmap Picture"
    bl_options = {"REGISTER"}

    filepath: StringProperty(name="File", description="The PNG file to write", subtype="FILE_PATH")

    @classmethod
    def poll(cls, context):
        return jobs.has_results(cls, context)

    def invoke(self, context, _event):
        self.filepath = bpy.path.ensure_ext(self.filepath or "heatmap", ".png")
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    @trouble.reports_errors
    def execute(self, context):
        from ...core.sheets.heatmap import write_heatmap

        pattern = results.stored_pattern(context.object)
        written = write_heatmap(pattern, bpy.path.abspath(self.filepath))
        self.report({"INFO"}, f"{written.name} written")
        return {"FINISHED"}


CLASSES = (FOAMWRIGHT_OT_export, FOAMWRIGHT_OT_heatmap_picture)
