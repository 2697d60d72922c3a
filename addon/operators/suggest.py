"""Where to cut, suggested: a plan is shown first, and marked when the maker takes it."""

import bpy
import numpy as np
from bpy.props import StringProperty

from ...core.errors import MeshError
from ...core.pieces import cutting_pieces
from ...core.progress import share
from ...core.seams import removable_seams, suggest, where_to_cut
from .. import bridge, choices, jobs, own_mesh, plans, preview, summary, trouble, undo_steps
from ..piece_list import active_piece
from ..shell_settings import group_of, settings_of
from .flatten import known
from .pieces import has_pieces


class FOAMWRIGHT_OT_suggest_seams(jobs.ShellJob):
    """Look for cuts with which every piece lies flat within the strain limit; your seams stay, none is marked yet"""

    bl_idname = "foamwright.suggest_seams"
    bl_label = "Suggest Seams"
    bl_options = {"REGISTER", "UNDO"}
    title = "Suggesting seams"

    piece: StringProperty(name="Piece", description="Cut only this one; empty: the whole shell")

    def work(self, context, shell, face_names):
        obj = context.object
        self._limits = _limits(context, obj)
        limits, say, foam = self._limits, choices.choices_of(context, obj, shell), settings_of(context.scene, obj)
        if not self.piece:
            return suggest(shell, limits, say, None, foam)
        return _on_piece(self.piece, shell, face_names, foam, lambda faces: suggest(shell, limits, say, faces, foam))

    def show(self, context, obj, shell, plan):
        plans.store_plan(obj, shell, plan, self._limits.strain, settings_of(context.scene, obj))
        stored = obj.foamwright.plan
        if stored.warning:
            return "WARNING", f"{stored.told}. {stored.warning}"
        return "INFO", f"{stored.told}; take the plan or drop it"


class FOAMWRIGHT_OT_where_to_cut(jobs.ShellJob):
    """Look for the one more cut that helps the piece chosen in the list most; it is not marked yet"""

    bl_idname = "foamwright.where_to_cut"
    bl_label = "One More Cut"
    bl_options = {"REGISTER", "UNDO"}
    title = "Looking for one more cut"

    piece: StringProperty(name="Piece", description="Its name; empty: the one chosen in the list")

    @classmethod
    def poll(cls, context):
        return jobs.is_free(cls) and has_pieces(cls, context)

    def work(self, context, shell, face_names):
        obj = context.object
        self._piece = self.piece or active_piece(obj).name
        self._limits = _limits(context, obj)
        limits, say, foam = self._limits, choices.choices_of(context, obj, shell), settings_of(context.scene, obj)
        return _on_piece(
            self._piece, shell, face_names, foam, lambda faces: where_to_cut(shell, faces, limits, say, foam)
        )

    def show(self, context, obj, shell, cut):
        if cut is None:
            plans.drop(obj)
            return "INFO", f"{self._piece} is within the limit, or no allowed cut helps it"
        plans.store_cut(obj, shell, self._piece, cut, self._limits.strain, settings_of(context.scene, obj))
        return "INFO", f"{self._piece}: {cut.reason}"


class FOAMWRIGHT_OT_removable_seams(jobs.ShellJob):
    """Look for seams that could go without any piece passing the strain limit; none is cleared yet"""

    bl_idname = "foamwright.removable_seams"
    bl_label = "Seams That Could Go"
    bl_options = {"REGISTER", "UNDO"}
    title = "Looking for seams that could go"

    def work(self, context, shell, face_names):
        obj = context.object
        own_mesh.can_be_marked(context, obj, shell)  # refuses a shell on which no seam can stand
        self._limits = _limits(context, obj)
        return removable_seams(shell, self._limits, settings_of(context.scene, obj))

    def show(self, context, obj, shell, runs):
        if not runs:
            plans.drop(obj)
            if not shell.seam.any():
                return "INFO", f"'{obj.name}' has no seams"
            return "INFO", f"'{obj.name}': every seam is needed to keep to the limits"
        plans.store_removable(obj, shell, runs, self._limits.strain, settings_of(context.scene, obj))
        return "INFO", f"{obj.foamwright.plan.heading}; tick those to remove"


class FOAMWRIGHT_OT_reckon_plan(jobs.ShellJob):
    """Lay the pieces flat as the plan is ticked now, to know their strain; nothing is marked"""

    bl_idname = "foamwright.reckon_plan"
    bl_label = "Reckon Strain"
    bl_options = {"REGISTER", "UNDO"}
    title = "Reckoning strain"

    @classmethod
    def poll(cls, context):
        return jobs.is_free(cls) and has_plan(cls, context)

    def work(self, context, shell, face_names):
        obj = context.object
        planned, settings = shell.with_seams(plans.seams_with_plan(obj, shell)), settings_of(context.scene, obj)
        return plans.reckoning_in(settings).work_out(planned, settings, known)

    def show(self, context, obj, shell, totals):
        plans.reckon(obj, shell, settings_of(context.scene, obj))
        return "INFO", obj.foamwright.plan.told


class FOAMWRIGHT_OT_take_plan(bpy.types.Operator):
    """Mark the seams that are ticked in the plan, or clear those of them that could go"""

    bl_idname = "foamwright.take_plan"
    bl_label = "Take Plan"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context):
        return jobs.is_free(cls) and has_plan(cls, context)

    @undo_steps.whole
    @trouble.reports_errors
    def execute(self, context):
        obj = context.object
        shell = bridge.shell_from_object(context, obj)
        seam = plans.seams_with_plan(obj, shell)
        own_mesh.write_seams(context, obj, shell, seam)
        plans.drop(obj)
        summary.refresh(context)
        changed, total = np.count_nonzero(seam != shell.seam), np.count_nonzero(seam)
        self.report({"INFO"}, f"{changed} edges changed; {total} are seams now")
        return {"FINISHED"}


class FOAMWRIGHT_OT_drop_plan(bpy.types.Operator):
    """Forget the plan; seams stay as they are"""

    bl_idname = "foamwright.drop_plan"
    bl_label = "Drop Plan"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context):
        return jobs.is_free(cls) and has_plan(cls, context)

    @undo_steps.whole
    def execute(self, context):
        plans.drop(context.object)
        summary.refresh(context)
        return {"FINISHED"}


class FOAMWRIGHT_OT_select_cut(bpy.types.Operator):
    """Enter Edit Mode with the edges of the chosen cut selected"""

    bl_idname = "foamwright.select_cut"
    bl_label = "Select Its Edges"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context):
        return has_plan(cls, context)

    @trouble.reports_errors
    def execute(self, context):
        cut = plans.active_cut(context.object)
        own_mesh.select_elements(context, context.object, plans.place_of(cut))
        preview.refresh(context)
        return {"FINISHED"}


def has_plan(cls, context):
    """Poll of everything that works on a plan that waits to be taken."""
    if not jobs.has_shell(cls, context):
        return False
    if not plans.waits(context.object):
        cls.poll_message_set("No plan waits to be taken; press Suggest Seams")
        return False
    return True


def _limits(context, obj):
    return group_of(context.scene, obj).cuts.to_core(settings_of(context.scene, obj).stock)


def _on_piece(name, shell, face_names, settings, job):
    """The steps of a job on the faces (p,) of the piece of this name, as the seams are now. Raises MeshError where
    there is none."""
    pieces, piece_of_face = yield from share(cutting_pieces(shell, settings, face_names), 0, 0)
    number = next((number for number, piece in enumerate(pieces) if piece.name == name), None)
    if number is None:
        raise MeshError(f"'{shell.name}' has no piece '{name}' any more; list the pieces again.")
    return (yield from job(np.flatnonzero(piece_of_face == number)))


CLASSES = (
    FOAMWRIGHT_OT_suggest_seams,
    FOAMWRIGHT_OT_where_to_cut,
    FOAMWRIGHT_OT_removable_seams,
    FOAMWRIGHT_OT_reckon_plan,
    FOAMWRIGHT_OT_take_plan,
    FOAMWRIGHT_OT_drop_plan,
    FOAMWRIGHT_OT_select_cut,
)
