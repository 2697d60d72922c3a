"""A cutting plan that waits to be taken, as Blender properties on the shell: no seam is marked before that."""

import bpy
from bpy.props import BoolProperty, CollectionProperty, EnumProperty, FloatProperty, IntProperty, StringProperty


def _looked_at(_group, context) -> None:
    from . import plans, preview

    plans.select_active(context, context.object)
    preview.refresh(context)


def _chosen(_group, context) -> None:
    from . import preview

    preview.refresh(context)


class FoamwrightCut(bpy.types.PropertyGroup):
    """One cut of a plan, or one run of seams that could go."""

    wanted: BoolProperty(name="Take", description="Part of what Take Plan does", default=True, update=_chosen)
    kept: BoolProperty(description="It is the maker's own seam, and stays")
    reason: StringProperty(description="What it is, and what it is there for")
    length_mm: FloatProperty(name="Length", description="Length of all its edges")
    edges: StringProperty(description="Vertex pairs, numbers with spaces between")


class FoamwrightPlan(bpy.types.PropertyGroup):
    """A plan and what it promises; empty when nothing waits to be taken."""

    kind: EnumProperty(
        items=(
            ("CUT", "Cuts", "Taking it marks seams"),
            ("REMOVE", "Seams to go", "Taking it clears seams"),
        )
    )
    cuts: CollectionProperty(type=FoamwrightCut)
    active_cut: IntProperty(name="Cut", description="Its edges are drawn wider, and selected", update=_looked_at)
    told: StringProperty(description="What becomes of the shell, in one line")
    warning: StringProperty(description="What the plan could not do; empty for nothing")
    made_for: StringProperty(description="Print of the mesh it was made for")


CLASSES = (FoamwrightCut, FoamwrightPlan)
