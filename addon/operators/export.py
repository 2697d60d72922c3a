"""Files on disk: templates, drawings for cutting machines, data, pictures."""

import bpy
from bpy.props import EnumProperty, StringProperty

from .. import jobs, results, summary, trouble, writers


class FOAMWRIGHT_OT_export(jobs.Job):
    """Write templates and other files of this shell's pattern to a folder"""

    bl_idname = "foamwright.export"
    bl_label = "Export Templates"
    bl_options = {"REGISTER"}
    title = "Exporting"

    directory: StringProperty(name="Folder", description="Where the files go", subtype="DIR_PATH")
    filter_folder: bpy.props.BoolProperty(default=True, options={"HIDDEN"})
    kinds: EnumProperty(
        name="Files",
        items=[(kind.key, kind.label, kind.hint, 1 << bit) for bit, kind in enumerate(writers.KINDS)],
        options={"ENUM_FLAG"},
        default={"PDF_A4", "SVG", "SUMMARY"},
    )

    asked = False

    @classmethod
    def poll(cls, context):
        return jobs.is_free(cls) and jobs.has_results(cls, context)

    def invoke(self, context, _event):
        self.asked = True
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def draw(self, _context):
        self.layout.column().prop(self, "kinds")

    def execute(self, context):
        """Called by a script, or by the file browser when the maker has chosen a folder."""
        return self.start(context) if self.asked else super().execute(context)

    def begin(self, context):
        obj = context.object
        self._written = []
        self._outdated = summary.is_outdated(context.scene, obj)
        pattern = results.stored_pattern(obj)
        return writers.write_files(pattern, bpy.path.abspath(self.directory), self.kinds, self._written)

    def end(self, context, result):
        told = f"Files written to {self.directory}: {len(self._written)}"
        if self._outdated:
            return "WARNING", f"{told}; '{self._name}' has changed since it was laid flat, they show it as it was"
        return "INFO", told

    def told_when_stopped(self):
        names = ", ".join(path.name for path in self._written)
        return f"{self.title} stopped; " + (f"written and whole: {names}" if names else "nothing was written")


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
