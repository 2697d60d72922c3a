"""The maker's choices and the state of a shell, as Blender properties; `to_core` turns them into core's Settings."""

import contextlib
import math
from dataclasses import replace
from types import MappingProxyType

import bpy
from bpy.props import (
    BoolProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from ..core.errors import SettingsError
from ..core.foam import Stock, eva
from ..core.settings import SQUEEZE_COST, PieceChoice, RunChoice, Settings
from . import cut_settings, stock_file


def _changed(_group, _context) -> None:
    from . import summary

    summary.refresh_soon()


def _thickness_changed(group, context) -> None:
    """A groove leaves the usual skin of the new thickness, until the maker says otherwise."""
    with contextlib.suppress(SettingsError):  # said in full when the job is started
        group.skin_mm = eva(group.thickness_mm).skin_mm
    _changed(group, context)


class FoamwrightSettings(bpy.types.PropertyGroup):
    """On the scene: what holds for every shell in it."""

    foam_name: StringProperty(
        name="Foam", default="EVA", description="What the foam is called on the templates", update=_changed
    )
    thickness_mm: FloatProperty(
        name="Thickness (mm)",
        description="Thickness of the foam sheet, in millimetres",
        default=5.0,
        min=0.0,
        soft_min=1.0,
        max=100.0,
        soft_max=15.0,
        precision=1,
        update=_thickness_changed,
    )
    sheet_width_mm: FloatProperty(
        name="Sheet width (mm)",
        description="Width of one foam sheet",
        default=1000.0,
        min=0.0,
        precision=0,
        update=_changed,
    )
    sheet_height_mm: FloatProperty(
        name="Sheet height (mm)",
        description="Height of one foam sheet",
        default=600.0,
        min=0.0,
        precision=0,
        update=_changed,
    )
    neutral_depth: FloatProperty(
        name="Neutral depth",
        description="Where in the foam a bend keeps its length: 0 at the outside face, 1 at the inside face. "
        "Measure it on a bent strip; 0.5 is the middle",
        default=0.5,
        min=0.0,
        max=1.0,
        precision=2,
        update=_changed,
    )
    skin_mm: FloatProperty(
        name="Groove skin (mm)",
        description="What a groove leaves uncut under its point",
        default=1.0,
        min=0.0,
        soft_max=3.0,
        precision=1,
        update=_changed,
    )
    cold_limit_percent: FloatProperty(
        name="Cold strain",
        description="How far the foam may be pulled or squeezed without heat",
        default=5.0,
        min=0.1,
        max=100.0,
        precision=1,
        subtype="PERCENTAGE",
        update=_changed,
    )
    hot_limit_percent: FloatProperty(
        name="Hot strain",
        description="How far the foam may be pulled or squeezed when it is heated; full colour on the heatmap",
        default=10.0,
        min=0.1,
        max=100.0,
        precision=1,
        subtype="PERCENTAGE",
        update=_changed,
    )
    tightest_bend: FloatProperty(
        name="Tightest bend",
        description="Least inside radius of a smooth bend, in thicknesses of the foam; tighter ones are reported",
        default=3.0,
        min=0.0,
        soft_max=10.0,
        precision=1,
        update=_changed,
    )
    kerf_mm: FloatProperty(
        name="Relief kerf (mm)",
        description="Width of a relief kerf as your tool cuts it",
        default=2.0,
        min=0.1,
        soft_max=5.0,
        precision=1,
        update=_changed,
    )
    blade_mm: FloatProperty(
        name="Blade takes (mm)",
        description="What the blade takes away along an outline; 0 for a knife. Half of it is added to the traced line",
        default=0.0,
        min=0.0,
        soft_max=3.0,
        precision=2,
        update=_changed,
    )
    tight_bends: EnumProperty(
        name="Tight bends",
        description="What smooth bends get that are tighter than the foam allows",
        items=(
            ("HEAT_FORM", "Heat-form", "Shaped warm over something round"),
            ("KERFS", "Relief kerfs", "A row of kerfs in the inside face of each ridge, spaced so that they close"),
        ),
        update=_changed,
    )
    model_is_inside: BoolProperty(
        name="Mesh is the inside face",
        description="The modelled mesh is the face next to the wearer; off: it is the face that is seen",
        default=False,
        update=_changed,
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
        update=_changed,
    )
    butt_limit: FloatProperty(
        name="Square-cut up to",
        description="Joints that bend less than this are cut square",
        default=math.radians(12.0),
        min=0.0,
        max=math.pi,
        subtype="ANGLE",
        update=_changed,
    )
    one_sided_limit: FloatProperty(
        name="One-sided up to",
        description="Joints that bend less than this get one bevel, sharper ones a mitre",
        default=math.radians(30.0),
        min=0.0,
        max=math.pi,
        subtype="ANGLE",
        update=_changed,
    )
    heavy_bevel: FloatProperty(
        name="Heavy bevel over",
        description="Bevels over this are hard to cut with a knife and are reported",
        default=math.radians(45.0),
        min=0.0,
        max=math.pi,
        subtype="ANGLE",
        update=_changed,
    )
    feather_mm: FloatProperty(
        name="Feather edge under (mm)",
        description="Foam thinner than this close to a bevelled edge is reported",
        default=1.0,
        min=0.0,
        soft_max=5.0,
        precision=1,
        update=_changed,
    )
    butt_mismatch_mm: FloatProperty(
        name="Square edges off by (mm)",
        description="Square-cut edges that overlap or gape by more than this are reported",
        default=2.0,
        min=0.0,
        soft_max=10.0,
        precision=1,
        update=_changed,
    )
    rim_style: EnumProperty(
        name="Open rims",
        description="How edges are finished that no other piece meets",
        items=(
            ("SQUARE", "Square", "Cut square"),
            ("ROUNDED", "Rounded", "Both corners rounded"),
            ("BEVELLED", "Bevelled", "Tilted in, the inside face the smaller one"),
        ),
        update=_changed,
    )
    rim_bevel: FloatProperty(
        name="Bevel of rims",
        description="Tilt of a bevelled open rim from square",
        default=math.radians(30.0),
        min=0.0,
        max=math.radians(80.0),
        subtype="ANGLE",
        update=_changed,
    )
    rim_round_mm: FloatProperty(
        name="Rounding of rims (mm)",
        description="Radius of both corners of a rounded open rim, at most half the foam",
        default=2.0,
        min=0.0,
        soft_max=10.0,
        precision=1,
        update=_changed,
    )
    fold_limit: FloatProperty(
        name="Fold over",
        description="An edge inside a piece that bends more than this is grooved or scored on the inside face",
        default=math.radians(30.0),
        min=0.0,
        max=math.pi,
        subtype="ANGLE",
        update=_changed,
    )
    seam_priority: FloatProperty(
        name="Seam priority",
        description="How far the two sides of a seam are brought to one length: 1 wholly, 0 not at all",
        default=1.0,
        min=0.0,
        max=1.0,
        update=_changed,
    )
    squeeze_cost: FloatProperty(
        name="Squeeze cost",
        description="How much dearer squeezing is than pulling; 1 is equal",
        default=SQUEEZE_COST,
        min=0.0,
        soft_max=5.0,
        update=_changed,
    )
    notch_spacing_mm: FloatProperty(
        name="Notch spacing (mm)",
        description="Distance between the marks that meet their twins along a joint",
        default=50.0,
        min=0.0,
        precision=0,
        update=_changed,
    )
    part_gap_mm: FloatProperty(
        name="Gap between pieces (mm)",
        description="Foam left between pieces on a sheet",
        default=4.0,
        min=0.0,
        precision=1,
        update=_changed,
    )
    nest_seconds: IntProperty(
        name="Nesting time (s)",
        description="How long to look for a tight placement on the sheets",
        default=6,
        min=0,
        soft_max=120,
        update=_changed,
    )
    cuts: PointerProperty(type=cut_settings.FoamwrightCutSettings, description="What suggested cuts must keep to")

    def to_stock(self) -> Stock:
        """The foam as it is set here. Raises SettingsError."""
        return Stock(
            f"{self.foam_name} {self.thickness_mm:g} mm",
            _typed(self.thickness_mm),
            _typed(self.sheet_width_mm),
            _typed(self.sheet_height_mm),
            _typed(self.neutral_depth),
            _typed(self.skin_mm),
            _typed(self.cold_limit_percent) / 100,
            _typed(self.hot_limit_percent) / 100,
            _typed(self.tightest_bend),
            _typed(self.kerf_mm),
            _typed(self.blade_mm),
        )

    def take_stock(self, stock: Stock) -> None:
        """Set the foam to a stock of the maker's list."""
        self.foam_name = stock.name.removesuffix(f" {stock.thickness_mm:g} mm")
        self.thickness_mm = stock.thickness_mm  # first: it brings a skin of its own
        self.sheet_width_mm, self.sheet_height_mm = stock.sheet_width_mm, stock.sheet_height_mm
        self.neutral_depth, self.skin_mm = stock.neutral_depth, stock.skin_mm
        self.cold_limit_percent, self.hot_limit_percent = 100 * stock.cold_limit, 100 * stock.hot_limit
        self.tightest_bend, self.kerf_mm, self.blade_mm = stock.tightest_bend, stock.kerf_mm, stock.blade_mm

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
            joint_rule=_word(self.joint_rule),
            butt_limit_deg=_typed(math.degrees(self.butt_limit)),
            one_sided_limit_deg=_typed(math.degrees(self.one_sided_limit)),
            heavy_bevel_deg=_typed(math.degrees(self.heavy_bevel)),
            feather_mm=_typed(self.feather_mm),
            butt_mismatch_mm=_typed(self.butt_mismatch_mm),
            rim_style=_word(self.rim_style),
            rim_bevel_deg=_typed(math.degrees(self.rim_bevel)),
            rim_round_mm=_typed(self.rim_round_mm),
            tight_bends=_word(self.tight_bends),
            fold_limit_deg=_typed(math.degrees(self.fold_limit)),
            seam_priority=_typed(self.seam_priority),
            squeeze_cost=_typed(self.squeeze_cost),
            notch_spacing_mm=_typed(self.notch_spacing_mm),
            part_gap_mm=_typed(self.part_gap_mm),
            nest_seconds=self.nest_seconds,
        )


class FoamwrightPiece(bpy.types.PropertyGroup):
    """A piece of a shell: the maker's choices for it, and what the last run said of it."""

    key: IntProperty(description="The number this piece's faces carry in the shell's piece attribute")
    thickness_mm: FloatProperty(
        name="Thickness (mm)",
        description="Foam of this piece; 0 takes the thickness set for the whole shell",
        default=0.0,
        min=0.0,
        max=100.0,
        precision=1,
        update=_changed,
    )
    group: StringProperty(name="Group", description="What this piece is glued up with", update=_changed)
    mate: StringProperty(name="Mate", description="The piece that mirrors this one")
    stock_name: StringProperty(name="Stock", description="The foam it was laid out on")
    is_flat: BoolProperty(description="It has been laid flat, so that its strain is known")
    pull_percent: FloatProperty(name="Pulled", description="Largest pull of the foam")
    squeeze_percent: FloatProperty(name="Squeezed", description="Largest squeeze of the foam")

    @property
    def has_choice(self) -> bool:
        return self.thickness_mm > 0 or bool(self.group)

    def to_core(self, stock: Stock, foam_name: str) -> PieceChoice:
        own = None
        if self.thickness_mm > 0:
            thickness = _typed(self.thickness_mm)
            own = replace(
                stock,
                name=f"{foam_name} {thickness:g} mm",
                thickness_mm=thickness,
                skin_mm=min(stock.skin_mm, eva(thickness).skin_mm),
            )
        return PieceChoice(own, self.group or None)


class FoamwrightRun(bpy.types.PropertyGroup):
    """A joint or an open rim, by its letter: the maker's choice for it, and what the last run said of it."""

    key: IntProperty(description="The number this run's edges carry in the shell's run attribute")
    one: StringProperty(name="Piece", description="One of its pieces")
    other: StringProperty(name="Other piece", description="Its other piece; empty for an open rim")
    told: StringProperty(description="Bend, rule and bevels of the last run, in words")
    joint_choice: EnumProperty(
        name="Joint edges",
        description="How this joint is cut; takes effect when the shell is laid flat again",
        items=(
            ("AUTO", "By the settings", "As the settings say"),
            ("BUTT", "Square-cut", "No bevel on either edge, whatever the settings say"),
            ("ONE_SIDED", "One-sided", "The whole bevel on one edge, whatever the settings say"),
            ("MITRE", "Mitred", "Half the bevel on each edge, whatever the settings say"),
        ),
        update=_changed,
    )
    rim_choice: EnumProperty(
        name="Open rim",
        description="How this rim is finished; takes effect when the shell is laid flat again",
        items=(
            ("AUTO", "By the settings", "As the settings say"),
            ("SQUARE", "Square", "Cut square, whatever the settings say"),
            ("ROUNDED", "Rounded", "Both corners rounded, whatever the settings say"),
            ("BEVELLED", "Bevelled", "Tilted in, whatever the settings say"),
        ),
        update=_changed,
    )

    @property
    def is_rim(self) -> bool:
        return not self.other

    @property
    def choice(self) -> str:
        return self.rim_choice if self.is_rim else self.joint_choice

    @property
    def has_choice(self) -> bool:
        return self.choice != "AUTO"

    def to_core(self) -> RunChoice:
        return RunChoice(_word(self.choice), (self.one,) if self.is_rim else (self.one, self.other))


class FoamwrightFinding(bpy.types.PropertyGroup):
    """What a check found, with the numbers of the mesh elements it is about."""

    severity: StringProperty()
    message: StringProperty()
    mend: StringProperty()
    vertices: StringProperty(description="Numbers with spaces between")
    edges: StringProperty(description="Vertex pairs, numbers with spaces between")
    faces: StringProperty(description="Numbers with spaces between")


class FoamwrightShell(bpy.types.PropertyGroup):
    """On an object: its pieces, its findings and the collection that holds its results."""

    pieces: CollectionProperty(type=FoamwrightPiece)
    active_piece: IntProperty(name="Piece")
    runs: CollectionProperty(type=FoamwrightRun)
    active_run: IntProperty(name="Run")
    findings: CollectionProperty(type=FoamwrightFinding)
    active_finding: IntProperty(name="Finding")
    checked: BoolProperty()
    results: PointerProperty(type=bpy.types.Collection)
    flat_of: StringProperty(description="On a flat piece: which piece it is")
    plan: PointerProperty(type=cut_settings.FoamwrightPlan)


class FoamwrightResults(bpy.types.PropertyGroup):
    """On a collection of results: whose they are, the whole pattern, and what it was made from."""

    shell: PointerProperty(type=bpy.types.Object)
    pattern_json: StringProperty()
    made_from: StringProperty(description="Fingerprint of the mesh and the settings")
    sheet_count: IntProperty()
    joint_count: IntProperty()


def settings_of(scene: bpy.types.Scene, obj: bpy.types.Object) -> Settings:
    """Everything the maker set for this shell. Raises SettingsError."""
    return scene.foamwright.to_core(obj.foamwright.pieces, obj.foamwright.runs)


def _word(choice: str) -> str:
    """Core's word for a choice of Blender's: ONE_SIDED is one-sided."""
    return choice.lower().replace("_", "-")


def _typed(number: float) -> float:
    """The number the maker typed: Blender keeps 32 bits, and 4.2 mm shall not become 4.1999998."""
    return round(number, 4)


CLASSES = (FoamwrightSettings, FoamwrightPiece, FoamwrightRun, FoamwrightFinding, FoamwrightShell, FoamwrightResults)
_HOMES = {
    bpy.types.Scene: FoamwrightSettings,
    bpy.types.Object: FoamwrightShell,
    bpy.types.Collection: FoamwrightResults,
}


def register() -> None:
    for home, group in _HOMES.items():
        home.foamwright = PointerProperty(type=group)


def unregister() -> None:
    for home in _HOMES:
        del home.foamwright
