"""Names and foam of single pieces."""

import bpy
from bpy.props import BoolProperty, FloatProperty, StringProperty

from ...core.errors import MeshError, SettingsError
from ...core.pattern_json import writing_text
from ...core.pieces import cutting_pieces
from ...core.progress import share
from ...core.renaming import new_names, renaming
from .. import jobs, overlay, own_mesh, results, summary, undo_steps
from ..findings import reword_findings
from ..piece_list import active_piece, list_pieces, lost_pieces
from ..shell_settings import settings_of

WORDED = 0.5
"""Part of the work of renaming that is done when the words are laid out anew, as measured on helmets."""


class FOAMWRIGHT_OT_find_pieces(jobs.ShellJob):
    """List the pieces that the seams make, to name them and choose their foam before anything is laid flat"""

    bl_idname = "foamwright.find_pieces"
    bl_label = "List Pieces"
    bl_options = {"REGISTER", "UNDO"}
    title = "Listing pieces"

    def work(self, context, shell, face_names):
        return cutting_pieces(shell, settings_of(context.scene, context.object), face_names)

    def show(self, context, obj, shell, result):
        pieces, piece_of_face = result
        lost = lost_pieces(obj, pieces)
        keys = list_pieces(obj, pieces)
        own_mesh.write_piece_keys(context, obj, own_mesh.origins_of(context, obj, shell), keys[piece_of_face])
        if lost:
            return "WARNING", f"{len(pieces)} pieces. Not found again, and forgotten: {', '.join(lost)}"
        return "INFO", f"{len(pieces)} pieces"


class FOAMWRIGHT_OT_rename_piece(jobs.Job):
    """Give the piece another name, on the list, on its flat and on the templates"""

    bl_idname = "foamwright.rename_piece"
    bl_label = "Rename Piece"
    bl_options = {"REGISTER", "UNDO"}
    title = "Renaming"

    piece: StringProperty(name="Piece", description="Its present name; empty: the one chosen in the list")
    new_name: StringProperty(name="New name")

    asked = False

    @classmethod
    def poll(cls, context):
        return jobs.is_free(cls) and has_pieces(cls, context)

    def invoke(self, context, _event):
        self.asked = True
        self.piece = self.new_name = active_piece(context.object).name
        return context.window_manager.invoke_props_dialog(self)

    def draw(self, _context):
        self.layout.prop(self, "new_name")

    def execute(self, context):
        """Called by a script, or by the dialog when the maker has agreed."""
        return self.start(context) if self.asked else super().execute(context)

    def begin(self, context):
        obj, self._new = context.object, self.new_name.strip()
        item = _chosen(self, obj)
        if item is None or not self._new or obj.foamwright.pieces.find(self._new) >= 0:
            raise SettingsError(f"'{self._new}' cannot be a new name of '{self.piece}'; give one that is not in use.")
        self._old = item.name
        self._before = results.stored_pattern(obj) if results.results_of(obj) is not None else None
        return _renaming(self._before, self._old, self._new)

    def end(self, context, result):
        obj = context.scene.objects.get(self._name)
        item = obj and obj.foamwright.pieces.get(self._old)
        has_results = results.results_of(obj) is not None
        if (
            item is None
            or has_results != (self._before is not None)
            or (has_results and results.stored_pattern(obj) is not self._before)
        ):
            raise MeshError(f"'{self._name}' was changed meanwhile; rename the piece again.")
        if result is not None:
            changed, text = result
            results.replace_pattern(obj, changed, text)
            reword_findings(obj, self._before.findings, changed.findings)
            for before, after in new_names(self._before, self._old, self._new).items():
                results.rename_flat(obj, before, after)
            overlay.follow(obj)
        item.name = self._new
        for other in obj.foamwright.pieces:
            other.mate = self._new if other.mate == self._old else other.mate
        for run in obj.foamwright.runs:
            run.one = self._new if run.one == self._old else run.one
            run.other = self._new if run.other == self._old else run.other
        return "INFO", f"'{self._old}' is called '{self._new}' now"


def _renaming(pattern, old, new):
    """The steps that make the renamed pattern and its text; no pattern, nothing to do."""
    if pattern is None:
        return None
    changed = yield from share(renaming(pattern, old, new), 0, WORDED)
    return changed, (yield from share(writing_text(changed), WORDED, 1))


class FOAMWRIGHT_OT_set_piece_stock(bpy.types.Operator):
    """Cut this piece from foam of another thickness; takes effect when the shell is laid flat again"""

    bl_idname = "foamwright.set_piece_stock"
    bl_label = "Set Piece's Foam"
    bl_options = {"REGISTER", "UNDO"}

    piece: StringProperty(name="Piece", description="Its name; empty: the one chosen in the list")
    thickness_mm: FloatProperty(
        name="Thickness (mm)", description="0: the thickness of the whole shell", default=8.0, min=0.0, max=100.0
    )
    mate_too: BoolProperty(name="Mirror mate too", description="The same for the piece that mirrors it", default=True)

    @classmethod
    def poll(cls, context):
        return has_pieces(cls, context)

    def invoke(self, context, _event):
        self.piece = active_piece(context.object).name
        return context.window_manager.invoke_props_dialog(self)

    def draw(self, _context):
        self.layout.prop(self, "thickness_mm")
        self.layout.prop(self, "mate_too")

    @undo_steps.whole
    def execute(self, context):
        obj = context.object
        item = _chosen(self, obj)
        if item is None:
            self.report({"ERROR"}, f"'{obj.name}' has no piece '{self.piece}'; choose one in the list")
            return {"CANCELLED"}
        item.thickness_mm = self.thickness_mm
        if self.mate_too and item.mate in obj.foamwright.pieces:
            obj.foamwright.pieces[item.mate].thickness_mm = self.thickness_mm
        summary.refresh(context)
        return {"FINISHED"}


def has_pieces(cls, context):
    if not jobs.has_shell(cls, context):
        return False
    if not context.object.foamwright.pieces:
        cls.poll_message_set("No pieces are listed yet; press List Pieces or Flatten")
        return False
    return True


def _chosen(operator, obj):
    """The item of the piece that the operator is about, or None."""
    return obj.foamwright.pieces.get(operator.piece) if operator.piece else active_piece(obj)


CLASSES = (FOAMWRIGHT_OT_find_pieces, FOAMWRIGHT_OT_rename_piece, FOAMWRIGHT_OT_set_piece_stock)
