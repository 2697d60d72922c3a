"""Where the shell is cut: seams from what the mesh has, and the cuts that are still missing."""

import bpy
import numpy as np
from bpy.props import EnumProperty

from ...core.seams import complete_seams, seams_from
from .. import bridge, jobs, summary, trouble
from ..settings import settings_of


class FOAMWRIGHT_OT_mark_seams(bpy.types.Operator):
    """Mark seams where the shell bends more than the fold limit"""

    bl_idname = "foamwright.mark_seams"
    bl_label = "Mark Seams"
    bl_options = {"REGISTER", "UNDO"}

    source: EnumProperty(
        name="From",
        items=(
            ("SHARP", "Bends", "Cut where the shell bends sharply, instead of the seams that are marked"),
            ("ALL", "Seams and bends", "Keep the seams that are marked and cut where the shell bends sharply as well"),
        ),
    )

    @classmethod
    def poll(cls, context):
        return jobs.has_shell(cls, context)

    @trouble.reports_errors
    def execute(self, context):
        obj = context.object
        shell = bridge.shell_from_object(context, obj)
        limit = settings_of(context.scene, obj).fold_limit_deg
        marked = seams_from(shell, self.source.lower(), limit)
        bridge.write_seams(context, obj, shell, marked.seam)
        summary.refresh(context)
        self.report({"INFO"}, f"{np.count_nonzero(marked.seam)} edges are seams now")
        return {"FINISHED"}


class FOAMWRIGHT_OT_complete_seams(jobs.ShellJob):
    """Add the cuts without which pieces cannot be laid flat; seams that are marked stay"""

    bl_idname = "foamwright.complete_seams"
    bl_label = "Add Missing Cuts"
    bl_options = {"REGISTER", "UNDO"}
    title = "Adding cuts"

    def work(self, context, shell, face_names):
        return complete_seams(shell)

    def show(self, context, obj, shell, result):
        bridge.write_seams(context, obj, shell, result.seam)
        return "INFO", f"{np.count_nonzero(result.seam & ~shell.seam)} edges added to the seams"


CLASSES = (FOAMWRIGHT_OT_mark_seams, FOAMWRIGHT_OT_complete_seams)
