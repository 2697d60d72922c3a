"""What a suggested plan must keep to, and the plan while it waits to be taken, as Blender properties."""

from dataclasses import replace

import bpy
from bpy.props import BoolProperty, CollectionProperty, EnumProperty, FloatProperty, IntProperty, StringProperty

from ..core.foam import Stock
from ..core.layout.paging import A4, LETTER
from ..core.seams import SuggestionLimits
from .typed import carries

PAPERS = {"A4": A4, "LETTER": LETTER}


def _looked_at(plan, context) -> None:
    from . import plans, preview

    plans.select_active(context, plan.id_data)
    preview.refresh(context)


def _chosen(cut, context) -> None:
    from . import plans, preview, undo_steps

    plans.reckon_again(context, cut.id_data)
    undo_steps.push_soon(context)
    preview.refresh(context)


class FoamwrightCutSettings(bpy.types.PropertyGroup):
    """Part of the settings: what holds for every suggestion."""

    strain_percent: FloatProperty(
        name="Strain up to",
        description="How far the foam of a suggested piece may be pulled or squeezed, on 99 % of its area",
        default=5.0,
        min=0.1,
        max=99.0,
        precision=1,
        subtype="PERCENTAGE",
        update=carries("strain_percent"),
    )
    narrowest_mm: FloatProperty(
        name="Least width (mm)",
        description="Pieces less wide than this are hard to handle, and avoided where they can be",
        default=SuggestionLimits.narrowest_mm,
        min=0.0,
        soft_max=100.0,
        precision=0,
        update=carries("narrowest_mm"),
    )

    fits: EnumProperty(
        name="Every piece fits",
        description="What suggested pieces are not larger than",
        items=(
            ("SHEET", "The foam sheet", "As it is set under Sheet and Strain"),
            ("A4", "An A4 page", "So that no template is glued together from pages"),
            ("LETTER", "A Letter page", "So that no template is glued together from pages"),
        ),
        update=carries("fits"),
    )

    def to_core(self, stock: Stock) -> SuggestionLimits:
        """The limits for pieces of this foam. Raises SettingsError."""
        limits = SuggestionLimits.of(stock)
        return replace(
            limits,
            strain=round(self.strain_percent / 100, 6),
            narrowest_mm=round(self.narrowest_mm, 4),
            sheet_mm=limits.sheet_mm if self.fits == "SHEET" else PAPERS[self.fits].drawing_size[::-1],
        )


class FoamwrightCut(bpy.types.PropertyGroup):
    """One cut of a plan, or one run of seams that could go."""

    wanted: BoolProperty(name="Take", description="Part of what Take Plan does", default=True, update=_chosen)
    kept: BoolProperty(description="It is the maker's own seam, and stays")
    reason: StringProperty(description="What it is, and what it is there for")
    length_mm: FloatProperty(name="Length", description="Length of all its edges")
    gain: StringProperty(description="Strain now and when it is taken, in short")
    bend: StringProperty(description="How far the shell bends there, and what that asks of the knife either way")
    edges: StringProperty(description="Vertex pairs of the shell, modifiers applied, numbers with spaces between")
    own_edges: StringProperty(description="The edges of the own mesh that they are made from, likewise")


class FoamwrightPlan(bpy.types.PropertyGroup):
    """On a shell: a plan and what it promises; empty when nothing waits. No seam is marked before it is taken."""

    kind: EnumProperty(
        items=(
            ("CUT", "Cuts", "Taking it marks seams"),
            ("REMOVE", "Seams to go", "Taking it clears seams"),
        )
    )
    cuts: CollectionProperty(type=FoamwrightCut)
    active_cut: IntProperty(name="Cut", description="Its edges are drawn wider, and selected", update=_looked_at)
    heading: StringProperty(description="What was asked for; empty for a whole plan")
    told: StringProperty(description="What becomes of the shell as the plan is ticked, in one line")
    is_reckoned: BoolProperty(description="Its strain is known")
    warning: StringProperty(description="What the plan could not do; empty for nothing")
    limit: FloatProperty(description="The strain it was to keep to, part of 1")
    made_for: StringProperty(description="Print of the mesh it was made for")


CLASSES = (FoamwrightCutSettings, FoamwrightCut, FoamwrightPlan)
