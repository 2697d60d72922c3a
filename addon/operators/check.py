"""Is the mesh fit to be built: findings, and the way to the place of each."""

import bpy
from bpy.props import IntProperty

from ...core.check import examine
from .. import bridge, jobs, summary, trouble


class FOAMWRIGHT_OT_check(bpy.types.Operator):
    """Look for what would keep this mesh from being built, and say what mends it"""

    bl_idname = "foamwright.check"
    bl_label = "Check"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context):
        return jobs.has_shell(cls, context)

    @trouble.reports_errors
    def execute(self, context):
        obj = context.object
        shell = bridge.shell_from_object(context, obj)
        state = obj.foamwright
        state.findings.clear()
        for finding in examine(shell):
            item = state.findings.add()
            item.severity, item.message, item.mend = finding.severity, finding.message, finding.mend
            item.vertices = _numbers(finding.vertices)
            item.edges = _numbers(vertex for pair in trouble.vertex_pairs(shell, finding.edges) for vertex in pair)
            item.faces = _numbers(finding.faces)
        state.checked, state.active_finding = True, 0
        summary.refresh(context)
        stops = sum(item.severity == "stop" for item in state.findings)
        if stops:
            self.report({"WARNING"}, f"'{obj.name}': {stops} to mend before it can be built")
        else:
            self.report({"INFO"}, f"'{obj.name}' can be built; {len(state.findings)} to know")
        return {"FINISHED"}


class FOAMWRIGHT_OT_select_place(bpy.types.Operator):
    """Enter Edit Mode with the vertices, edges or faces selected that this is about"""

    bl_idname = "foamwright.select_place"
    bl_label = "Select What Is Wrong"
    bl_options = {"REGISTER", "UNDO"}

    index: IntProperty(name="Finding", description="Number of the finding; -1: what stopped the last job", default=-1)

    @classmethod
    def poll(cls, context):
        return jobs.has_shell(cls, context)

    def execute(self, context):
        obj = context.object
        place = self._place(obj)
        if place is None or not any(place):
            self.report({"WARNING"}, "This is about the whole object; there is no single place to select")
            return {"CANCELLED"}
        try:
            with bridge.out_of_edit_mode(obj):
                bridge.select_elements(context, obj, *place)
        except bridge.MeshError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        vertices, edges, _ = place
        context.tool_settings.mesh_select_mode = (bool(vertices), bool(edges) and not vertices, not (vertices or edges))
        bpy.ops.object.mode_set(mode="EDIT")
        return {"FINISHED"}

    def _place(self, obj):
        if self.index < 0:
            last = trouble.of(obj)
            return last and (last.vertices, last.edges, last.faces)
        if self.index >= len(obj.foamwright.findings):
            return None
        item = obj.foamwright.findings[self.index]
        ends = _read(item.edges)
        return _read(item.vertices), list(zip(ends[::2], ends[1::2], strict=True)), _read(item.faces)


def _numbers(numbers):
    return " ".join(map(str, numbers))


def _read(words):
    return [int(word) for word in words.split()]


CLASSES = (FOAMWRIGHT_OT_check, FOAMWRIGHT_OT_select_place)
