"""What the maker sets for a whole shell, as Blender properties; `to_core` turns them into core's Settings."""

import math
from types import MappingProxyType

import bpy
from bpy.props import BoolProperty, EnumProperty, FloatProperty, IntProperty, PointerProperty

from ..core.settings import SQUEEZE_COST, Settings
from . import cut_settings, stock_file
from .stock_settings import StockProperties
from .typed import sets, typed, word


class FoamwrightSettings(StockProperties, bpy.types.PropertyGroup):
    """On a shell: what holds for all of it. On the scene: what a shell without settings of its own begins with."""

    is_own: BoolProperty(description="On a shell: it has settings of its own")
    tight_bends: EnumProperty(
        name="Tight bends",
        description="What smooth bends get that are tighter than the foam allows",
        items=(
            ("HEAT_FORM", "Heat-form", "Shaped warm over something round"),
            ("KERFS", "Relief kerfs", "Kerfs in the inside of ridges, which close; scores in valleys, which open"),
        ),
        update=sets("tight_bends"),
    )
    cut_layers: BoolProperty(
        name="Cut build-up layers",
        description="Put the layers of foam that raise a panel to its modelled height on the sheets as well; off: they "
        "are only told, because a part may as well stand off on straps",
        default=False,
        update=sets("cut_layers"),
    )
    model_is_inside: BoolProperty(
        name="Mesh is the inside face",
        description="The modelled mesh is the face next to the wearer; off: it is the face that is seen",
        default=False,
        update=sets("model_is_inside"),
    )
    joint_rule: EnumProperty(
        name="Joint edges",
        description="How two pieces share the bend where they meet",
        items=(
            ("AUTO", "By the bend", "Square-cut, one-sided or mitred, by the two limits below"),
            ("BUTT", "Square-cut", "No bevel on either edge"),
            ("ONE_SIDED", "One-sided", "The whole bevel on one edge"),
            ("MITRE", "Mitred", "Half the bevel on each edge"),
        ),
        update=sets("joint_rule"),
    )
    butt_limit: FloatProperty(
        name="Square-cut up to",
        description="Joints that bend less than this are cut square",
        default=math.radians(12.0),
        min=0.0,
        max=math.pi,
        subtype="ANGLE",
        update=sets("butt_limit"),
    )
    one_sided_limit: FloatProperty(
        name="One-sided up to",
        description="Joints that bend less than this get one bevel, sharper ones a mitre",
        default=math.radians(30.0),
        min=0.0,
        max=math.pi,
        subtype="ANGLE",
        update=sets("one_sided_limit"),
    )
    heavy_bevel: FloatProperty(
        name="Heavy bevel over",
        description="Bevels over this are hard to cut with a knife and are reported",
        default=math.radians(45.0),
        min=0.0,
        max=math.pi,
        subtype="ANGLE",
        update=sets("heavy_bevel"),
    )
    feather_mm: FloatProperty(
        name="Feather edge under (mm)",
        description="Foam thinner than this close to a bevelled edge is reported",
        default=1.0,
        min=0.0,
        soft_max=5.0,
        precision=1,
        update=sets("feather_mm"),
    )
    butt_mismatch_mm: FloatProperty(
        name="Square edges off by (mm)",
        description="Square-cut edges that overlap or gape by more than this are reported",
        default=2.0,
        min=0.0,
        soft_max=10.0,
        precision=1,
        update=sets("butt_mismatch_mm"),
    )
    rim_style: EnumProperty(
        name="Open rims",
        description="How edges are finished that no other piece meets",
        items=(
            ("SQUARE", "Square", "Cut square"),
            ("ROUNDED", "Rounded", "Both corners rounded"),
            ("BEVELLED", "Bevelled", "Tilted in, the inside face the smaller one"),
        ),
        update=sets("rim_style"),
    )
    rim_bevel: FloatProperty(
        name="Bevel of rims",
        description="Tilt of a bevelled open rim from square",
        default=math.radians(30.0),
        min=0.0,
        max=math.radians(80.0),
        subtype="ANGLE",
        update=sets("rim_bevel"),
    )
    rim_round_mm: FloatProperty(
        name="Rounding of rims (mm)",
        description="Radius of both corners of a rounded open rim, at most half the foam",
        default=2.0,
        min=0.0,
        soft_max=10.0,
        precision=1,
        update=sets("rim_round_mm"),
    )
    fold_limit: FloatProperty(
        name="Fold over",
        description="An edge inside a piece that bends more than this is grooved or scored on the inside face",
        default=math.radians(30.0),
        min=0.0,
        max=math.pi,
        subtype="ANGLE",
        update=sets("fold_limit"),
    )
    seam_priority: FloatProperty(
        name="Seam priority",
        description="How far the two sides of a seam are brought to one length: 1 wholly, 0 not at all",
        default=1.0,
        min=0.0,
        max=1.0,
        update=sets("seam_priority"),
    )
    squeeze_cost: FloatProperty(
        name="Squeeze cost",
        description="How much dearer squeezing is than pulling; 1 is equal",
        default=SQUEEZE_COST,
        min=0.0,
        soft_max=5.0,
        update=sets("squeeze_cost"),
    )
    notch_spacing_mm: FloatProperty(
        name="Notch spacing (mm)",
        description="Distance between the marks that meet their twins along a joint",
        default=50.0,
        min=0.0,
        precision=0,
        update=sets("notch_spacing_mm"),
    )
    part_gap_mm: FloatProperty(
        name="Gap between pieces (mm)",
        description="Foam left between pieces on a sheet",
        default=4.0,
        min=0.0,
        precision=1,
        update=sets("part_gap_mm"),
    )
    nest_seconds: IntProperty(
        name="Nesting time (s)",
        description="How long to look for a tight placement on the sheets",
        default=6,
        min=0,
        soft_max=120,
        update=sets("nest_seconds"),
    )
    cuts: PointerProperty(type=cut_settings.FoamwrightCutSettings, description="What suggested cuts must keep to")

    def to_core(self, pieces=(), runs=()) -> Settings:
        """`pieces`, `runs`: the shell's FoamwrightPieces and FoamwrightRuns. Raises SettingsError."""
        stock = self.to_stock()
        # by name: the lists are sorted anew after a run, and equal choices must compare equal
        chosen = sorted((piece for piece in pieces if piece.has_choice), key=lambda piece: piece.name)
        choices = {piece.name: piece.to_core(stock, self.foam_name) for piece in chosen}
        locked = sorted((run for run in runs if run.has_choice), key=lambda run: run.name)
        return Settings(
            stock=stock,
            pieces=MappingProxyType(choices),
            runs=MappingProxyType({run.name: run.to_core() for run in locked}),
            stocks=stock_file.library().stocks,
            model_is_inside=self.model_is_inside,
            joint_rule=word(self.joint_rule),
            butt_limit_deg=typed(math.degrees(self.butt_limit)),
            one_sided_limit_deg=typed(math.degrees(self.one_sided_limit)),
            heavy_bevel_deg=typed(math.degrees(self.heavy_bevel)),
            feather_mm=typed(self.feather_mm),
            butt_mismatch_mm=typed(self.butt_mismatch_mm),
            rim_style=word(self.rim_style),
            rim_bevel_deg=typed(math.degrees(self.rim_bevel)),
            rim_round_mm=typed(self.rim_round_mm),
            tight_bends=word(self.tight_bends),
            cut_layers=self.cut_layers,
            fold_limit_deg=typed(math.degrees(self.fold_limit)),
            seam_priority=typed(self.seam_priority),
            squeeze_cost=typed(self.squeeze_cost),
            notch_spacing_mm=typed(self.notch_spacing_mm),
            part_gap_mm=typed(self.part_gap_mm),
            nest_seconds=self.nest_seconds,
        )


CLASSES = (FoamwrightSettings,)


def register() -> None:
    bpy.types.Scene.foamwright = PointerProperty(type=FoamwrightSettings)


def unregister() -> None:
    del bpy.types.Scene.foamwright
