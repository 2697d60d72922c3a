"""Where the shell is cut: seams from what the mesh has, missing cuts, and the maker's say on suggested ones."""

import bpy
import numpy as np
from bpy.props import EnumProperty

from ...core.cage import cage
from ...core.seams import complete_seams, seams_from
from .. import bridge, choices, jobs, own_mesh, summary, trouble
from ..own_mesh import Place
from ..shell_settings import settings_of


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
        refused = own_mesh.write_seams(context, obj, shell, marked.seam)
        summary.refresh(context)
        told = f"{np.count_nonzero(bridge.shell_from_object(context, obj).seam)} edges are seams now"
        self.report({"WARNING" if refused else "INFO"}, told + own_mesh.refused_words(refused))
        return {"FINISHED"}


class FOAMWRIGHT_OT_complete_seams(jobs.ShellJob):
    """Add the cuts without which pieces cannot be laid flat; seams that are marked stay"""

    bl_idname = "foamwright.complete_seams"
    bl_label = "Add Missing Cuts"
    bl_options = {"REGISTER", "UNDO"}
    title = "Adding cuts"

    def work(self, context, shell, face_names):
        # cuts go only where the maker could mark them
        self._origins = own_mesh.origins_of(context, context.object, shell)
        return complete_seams(shell if self._origins.is_same else cage(shell, self._origins.edge >= 0))

    def show(self, context, obj, shell, result):
        seam = shell.seam | own_mesh.as_marked(self._origins, shell.edge_between(result.edges[result.seam]))
        own_mesh.write_seams(context, obj, shell, seam)
        return "INFO", f"{np.count_nonzero(seam & ~shell.seam)} edges added to the seams"


class FOAMWRIGHT_OT_forbid_cut(bpy.types.Operator):
    """Never suggest a cut along the selected edges; where all of them are forbidden already, allow it again"""

    bl_idname = "foamwright.forbid_cut"
    bl_label = "Forbid Cutting Here"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context):
        if not jobs.has_shell(cls, context):
            return False
        if context.object.mode != "EDIT":
            cls.poll_message_set("Select the edges in Edit Mode")
            return False
        return True

    def execute(self, context):
        count, forbids = choices.toggle_forbidden(context.object)
        if not count:
            self.report({"WARNING"}, "No edges are selected")
            return {"CANCELLED"}
        summary.refresh(context)
        self.report({"INFO"}, f"{count} edges {'are never cut by a plan' if forbids else 'may be cut again'}")
        return {"FINISHED"}


class FOAMWRIGHT_OT_select_forbidden(bpy.types.Operator):
    """Enter Edit Mode with the edges selected along which no plan may cut"""

    bl_idname = "foamwright.select_forbidden"
    bl_label = "Select Forbidden Edges"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context):
        return jobs.has_shell(cls, context)

    @trouble.reports_errors
    def execute(self, context):
        own_mesh.select_elements(context, context.object, Place(edges=choices.forbidden_pairs(context.object)))
        return {"FINISHED"}


class FOAMWRIGHT_OT_paint_cuts(bpy.types.Operator):
    """Paint on the shell where suggested cuts are unwanted, or wanted"""

    bl_idname = "foamwright.paint_cuts"
    bl_label = "Paint"
    bl_options = {"REGISTER", "UNDO"}

    what: EnumProperty(
        name="What",
        items=(
            (choices.KEEP_WHOLE, "Keep whole", "Cuts keep away where they can: a face, a badge"),
            (choices.CUT_HERE, "Cut here", "Cuts go there where they can: under a trim, along the back"),
        ),
    )

    @classmethod
    def poll(cls, context):
        return jobs.has_shell(cls, context)

    @trouble.reports_errors
    def execute(self, context):
        bridge.refuse_hidden(context.object)
        groups = context.object.vertex_groups
        groups.active_index = (groups.get(self.what) or groups.new(name=self.what)).index
        bpy.ops.object.mode_set(mode="WEIGHT_PAINT")
        return {"FINISHED"}


CLASSES = (
    FOAMWRIGHT_OT_mark_seams,
    FOAMWRIGHT_OT_complete_seams,
    FOAMWRIGHT_OT_forbid_cut,
    FOAMWRIGHT_OT_select_forbidden,
    FOAMWRIGHT_OT_paint_cuts,
)
