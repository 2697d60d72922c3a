"""Files on disk: templates, drawings for cutting machines, data, pictures."""

import os

import bpy
from bpy.props import EnumProperty, StringProperty

from ...core.errors import ExportError
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
        if not self.kinds:
            raise ExportError("No kind of file was chosen; choose what to write.")
        folder = _place_on_disk(self.directory, "folder")
        self._outcome = writers.Outcome()
        self._outdated = summary.is_outdated(context.scene, obj)
        return writers.write_files(results.stored_pattern(obj), folder, self.kinds, self._outcome)

    def end(self, context, result):
        outcome = self._outcome
        told = [f"Files written to {self.directory}: {len(outcome.written)}"]
        if outcome.replaced:
            told.append(f"in place of those of an earlier export: {outcome.replaced}")
        if outcome.removed:
            told.append(f"removed, as this pattern has none: {', '.join(outcome.removed)}")
        if outcome.older:
            told.append(f"still of an earlier pattern: {', '.join(outcome.older)}")
        if self._outdated:
            told.append(f"'{self._name}' has changed since it was laid flat, they show it as it was")
        if outcome.problems:  # of a full disk every file says the same
            raise ExportError(" ".join([*dict.fromkeys(outcome.problems), f"{'; '.join(told)}."]))
        return ("WARNING" if outcome.older or self._outdated else "INFO"), "; ".join(told)

    def told_when_stopped(self):
        names = ", ".join(path.name for path in self._outcome.written)
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
        # the folder of the last time, but never the name: it may have been another shell's
        name = writers.file_name(context.object.name, "heatmap.png")
        self.filepath = os.path.join(os.path.dirname(self.filepath), name)
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    @trouble.reports_errors
    def execute(self, context):
        from ...core.sheets.heatmap import write_heatmap

        path = _place_on_disk(self.filepath, "file")
        there = os.path.lexists(path)
        written = write_heatmap(results.stored_pattern(context.object), path)
        self.report({"INFO"}, f"{written.name} written" + (", in place of the file that was there" if there else ""))
        return {"FINISHED"}


def _place_on_disk(path: str, what: str) -> str:
    """The path without Blender's own signs. Raises ExportError where it names no place."""
    if not path.strip():
        raise ExportError(f"No {what} was chosen; choose one.")
    if path.startswith("//") and not bpy.data.filepath:
        raise ExportError(f"'{path}' is beside this file, which was never saved; save it, or choose another {what}.")
    return bpy.path.abspath(path)


CLASSES = (FOAMWRIGHT_OT_export, FOAMWRIGHT_OT_heatmap_picture)
