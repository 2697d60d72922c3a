"""Is the mesh fit to be built: findings, and the way to the place of each."""

import bpy
from bpy.props import IntProperty

from ...core.check import examining
from ...core.errors import FoamwrightError
from .. import jobs, own_mesh, trouble, view
from ..findings import list_findings, place_of


class FOAMWRIGHT_OT_check(jobs.ShellJob):
    """Look for what would keep this mesh from being built, and say what mends it"""

    bl_idname = "foamwright.check"
    bl_label = "Check"
    bl_options = {"REGISTER", "UNDO"}
    title = "Checking"

    def work(self, context, shell, face_names):
        return examining(shell)

    def show(self, context, obj, shell, findings):
        list_findings(context, obj, shell, findings)
        stops = sum(finding.severity == "stop" for finding in findings)
        if stops:
            return "WARNING", f"'{obj.name}': {stops} to mend before it can be built"
        return "INFO", f"'{obj.name}' can be built; to look at: {len(findings)}"


class FOAMWRIGHT_OT_select_place(bpy.types.Operator):
    """Enter Edit Mode with what this is about selected, and turn the view to it"""

    bl_idname = "foamwright.select_place"
    bl_label = "Select What Is Wrong"
    bl_options = {"REGISTER", "UNDO"}

    index: IntProperty(name="Finding", description="Number of the finding; -1: what stopped the last job", default=-1)

    @classmethod
    def poll(cls, context):
        return jobs.has_shell(cls, context)

    def execute(self, context):
        try:
            place = self._place(context.object)
            if place:
                own_mesh.select_elements(context, context.object, place)
        except FoamwrightError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        if not place:
            self.report({"WARNING"}, "This is about the whole object; there is no single place to select")
            return {"CANCELLED"}
        view.turn_to_selection(context, context.object)
        return {"FINISHED"}

    def _place(self, obj):
        if self.index < 0:
            last = trouble.of(obj)
            return last and last.place
        listed = obj.foamwright.findings
        return place_of(listed[self.index]) if self.index < len(listed) else None


CLASSES = (FOAMWRIGHT_OT_check, FOAMWRIGHT_OT_select_place)
