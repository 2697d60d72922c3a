"""The main job: from a shell with seams to flat pieces beside it."""

import bpy
from bpy.props import EnumProperty

from ...core.flatten import Flattener
from ...core.makeable import unmakeable_words
from ...core.pattern_json import writing_text
from ...core.progress import share
from ...core.unfold import unfold
from .. import belongings, bridge, colours, jobs, overlay, results, summary, undo_steps
from ..findings import list_findings
from ..shell_settings import settings_of

known = Flattener()
"""What has been laid flat in this session, so that a run after a moved seam solves only what changed."""


UNFOLDED = 0.99
"""Part of the work that is done when the pattern is made and only has to be written down, as measured."""


class FOAMWRIGHT_OT_flatten(jobs.ShellJob):
    """Cut the shell along its seams, lay every piece flat, fit its edges and place it on foam sheets"""

    bl_idname = "foamwright.flatten"
    bl_label = "Flatten"
    bl_options = {"REGISTER", "UNDO"}
    title = "Flattening"

    def work(self, context, shell, face_names):
        obj = context.object
        self._made_from = summary.made_from(context.scene, obj)
        letters = bridge.run_letters(context, obj, shell)
        return _with_text(unfold(shell, settings_of(context.scene, obj), face_names, known, letters))

    def show(self, context, obj, shell, result):
        pattern, text = result
        shown = results.show_pattern(context, obj, pattern, text, self._made_from)
        list_findings(context, obj, shell, pattern.findings)
        overlay.follow(obj)
        warnings = sum(finding.severity != "note" for finding in pattern.findings)
        told = f"'{obj.name}' laid flat: pieces: {len(pattern.pieces)}, foam sheets: {len(pattern.sheets)}"
        told += f"; {warnings} to look at" if warnings else ""
        told += f". {shown.coloured}" if shown.coloured else ""
        if shown.lost:
            told += f". Not found again, and forgotten: {', '.join(shown.lost)}"
        cannot_be_made = unmakeable_words(pattern)
        if cannot_be_made:
            told = f"{cannot_be_made} {told}"
        return "WARNING" if shown.lost or cannot_be_made else "INFO", told


class FOAMWRIGHT_OT_colours(bpy.types.Operator):
    """Colour the shell and its flat pieces"""

    bl_idname = "foamwright.colours"
    bl_label = "Colours"

    what: EnumProperty(
        name="What",
        items=(
            ("STRAIN", "Strain", "How far the foam is squeezed (blue) or pulled (orange)"),
            ("FLAGS", "Flags", "Faces that ask more than usual of the knife or the foam, a colour for each kind"),
            ("NONE", "None", "The usual colours"),
        ),
    )

    @classmethod
    def description(cls, _context, properties):
        return cls.bl_rna.properties["what"].enum_items[properties.what].description

    @classmethod
    def poll(cls, context):
        return jobs.has_results(cls, context)

    def execute(self, context):
        name = colours.CHOICES.get(self.what)
        if name is not None and not colours.wear(results.meshes_of(context.object), name):
            self.report({"WARNING"}, "These colours have not been made yet; flatten again")
            return {"CANCELLED"}
        space = context.space_data
        if space is None or space.type != "VIEW_3D":
            self.report({"INFO"}, "No 3D viewport to colour; strain and flags are colour attributes of each mesh")
            return {"FINISHED"}
        space.shading.type, space.shading.color_type = "SOLID", "VERTEX" if name else "MATERIAL"
        return {"FINISHED"}


class FOAMWRIGHT_OT_clear(bpy.types.Operator):
    """Remove the flat pieces, the stored pattern and the colours of this shell; its seams stay, and what is yours"""

    bl_idname = "foamwright.clear"
    bl_label = "Remove Results"
    bl_options = {"REGISTER", "UNDO"}

    @classmethod
    def poll(cls, context):
        return belongings.left_over_at(context.object) is not None or jobs.has_results(cls, context)

    @undo_steps.whole
    def execute(self, context):
        obj = context.object
        left_over = belongings.left_over_at(obj)
        if left_over is not None:
            belongings.remove_results(left_over)
        else:
            results.clear(obj)
            results.unpaint(obj)
        summary.refresh(context)
        return {"FINISHED"}


def _with_text(steps):
    """The steps, and those of writing down the pattern that they return: both."""
    pattern = yield from share(steps, 0, UNFOLDED)
    return pattern, (yield from share(writing_text(pattern), UNFOLDED, 1))


CLASSES = (FOAMWRIGHT_OT_flatten, FOAMWRIGHT_OT_colours, FOAMWRIGHT_OT_clear)
