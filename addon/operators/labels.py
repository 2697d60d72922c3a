"""Names and letters over the viewport."""

import bpy

from .. import jobs, overlay, summary, trouble


class FOAMWRIGHT_OT_labels(bpy.types.Operator):
    """Show the pieces' names and the joints' letters in the viewport, or hide them"""

    bl_idname = "foamwright.labels"
    bl_label = "Labels"

    @classmethod
    def poll(cls, context):
        return jobs.has_results(cls, context)

    @trouble.reports_errors
    def execute(self, context):
        if bpy.app.background:
            self.report({"INFO"}, "No viewport to write in")
        elif overlay.is_shown():
            overlay.hide()
        else:
            overlay.show(context.object)
        summary.redraw()
        return {"FINISHED"}


CLASSES = (FOAMWRIGHT_OT_labels,)
