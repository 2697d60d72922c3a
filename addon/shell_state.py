"""The state of a shell and of its results, as Blender properties: pieces, runs, findings, and the stored pattern."""

from dataclasses import replace

import bpy
from bpy.props import (
    BoolProperty,
    BoolVectorProperty,
    CollectionProperty,
    EnumProperty,
    FloatProperty,
    IntProperty,
    PointerProperty,
    StringProperty,
)

from ..core.flag_colours import FLAG_KINDS
from ..core.foam import Stock, eva
from ..core.settings import PieceChoice, RunChoice
from . import belongings, cut_settings, settings
from .typed import changed, typed, word


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
        update=changed,
    )
    group: StringProperty(name="Group", description="What this piece is glued up with", update=changed)
    mate: StringProperty(name="Mate", description="The piece that mirrors this one")
    stock_name: StringProperty(name="Stock", description="The foam it was laid out on")
    is_flat: BoolProperty(description="It has been laid flat, so that its strain is known")
    pull_percent: FloatProperty(name="Pulled", description="Largest pull of the foam")
    squeeze_percent: FloatProperty(name="Squeezed", description="Largest squeeze of the foam")
    common_percent: FloatProperty(name="Mostly", description="Pull or squeeze that 99 % of the piece keeps to")
    why_not: StringProperty(description="Why it cannot be made as it is; empty where it can")

    @property
    def has_choice(self) -> bool:
        return self.thickness_mm > 0 or bool(self.group)

    def to_core(self, stock: Stock, foam_name: str) -> PieceChoice:
        own = None
        if self.thickness_mm > 0:
            thickness = typed(self.thickness_mm)
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
        update=changed,
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
        update=changed,
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
        return RunChoice(word(self.choice), (self.one,) if self.is_rim else (self.one, self.other))


class FoamwrightFinding(bpy.types.PropertyGroup):
    """What a check found, with the numbers of the elements of the object's own mesh that it is about."""

    severity: StringProperty()
    message: StringProperty()
    mend: StringProperty()
    vertices: StringProperty(description="Numbers with spaces between")
    edges: StringProperty(description="Vertex pairs, numbers with spaces between")
    faces: StringProperty(description="Numbers with spaces between")
    is_made: BoolProperty(description="Modifiers make all that it is about, so that there is nothing to select")


class FoamwrightShell(bpy.types.PropertyGroup):
    """On an object: its settings, its pieces, its findings and the collection that holds its results."""

    settings: PointerProperty(type=settings.FoamwrightSettings)
    pieces: CollectionProperty(type=FoamwrightPiece)
    active_piece: IntProperty(name="Piece")
    runs: CollectionProperty(type=FoamwrightRun)
    active_run: IntProperty(name="Run")
    piece_memory: StringProperty(description="Of faces that modifiers make: which piece they were in (core.memory)")
    run_memory: StringProperty(description="Of edges that modifiers make: which run they were in (core.memory)")
    findings: CollectionProperty(type=FoamwrightFinding)
    active_finding: IntProperty(name="Finding")
    checked: BoolProperty()
    results: PointerProperty(
        type=bpy.types.Collection, description="The collection of its results, or of the results that it is part of"
    )
    flat_of: StringProperty(description="On a flat piece: which piece it is")
    is_frame: BoolProperty(description="It is the outline of a foam sheet or of a build-up layer")
    is_listed: BoolProperty(description="A run made it and keeps a list, in which no copy of it stands")
    plan: PointerProperty(type=cut_settings.FoamwrightPlan)


class FoamwrightMade(bpy.types.PropertyGroup):
    """One object that a run made."""

    thing: PointerProperty(type=bpy.types.Object)
    shape: StringProperty(description="Print of its mesh as the run made it")


class FoamwrightResults(bpy.types.PropertyGroup):
    """On a collection of results: whose they are, what a run made, the whole pattern, and what it was made from."""

    shell: PointerProperty(type=bpy.types.Object)
    keeps_list: BoolProperty(description="All that the run made is listed; results of earlier versions list nothing")
    made: CollectionProperty(type=FoamwrightMade)
    flats: PointerProperty(type=bpy.types.Collection, description="The collection made for flat pieces")
    frames: PointerProperty(type=bpy.types.Collection, description="The collection made for outlines")
    pattern_json: StringProperty()
    made_from: StringProperty(description="Fingerprint of the mesh and the settings")
    sheet_count: IntProperty()
    joint_count: IntProperty()
    cannot_be_made: StringProperty(description="Which pieces cannot be made, and why; empty for none")
    strain_scale: StringProperty(description="What the colours of strain stand for, a line for each of a few")
    flagged: BoolVectorProperty(size=len(FLAG_KINDS), description="Which kinds of flags colour faces")


def is_shell(obj: bpy.types.Object | None) -> bool:
    """A mesh that may be a shell: none of those that a run has made."""
    return obj is not None and obj.type == "MESH" and not belongings.is_made(obj)


def why_locked(obj: bpy.types.Object) -> str:
    """Why nothing can be kept on this shell, and the way out; "" where it can."""
    for block, what in ((obj, "the object"), (obj.data, "its mesh")):
        if block.library is not None:
            return (
                f"'{obj.name}' cannot be worked on: {what} is linked from another file, and what is kept on it would "
                "be lost; make it local first (Object > Relations > Make Local > Selected Objects and Data)"
            )
        if block.override_library is not None:
            return (
                f"'{obj.name}' cannot be worked on: {what} is a library override, which keeps nothing new; make it "
                "local first (Object > Relations > Make Local > Selected Objects and Data)"
            )
    if obj.mode != "EDIT" and getattr(obj.data, "is_editmode", False):
        return (
            f"'{obj.name}' cannot be worked on: its mesh is in Edit Mode through another object that shares it; leave "
            "Edit Mode there first"
        )
    return ""


CLASSES = (FoamwrightPiece, FoamwrightRun, FoamwrightFinding, FoamwrightShell, FoamwrightMade, FoamwrightResults)
_HOMES = {bpy.types.Object: FoamwrightShell, bpy.types.Collection: FoamwrightResults}


def register() -> None:
    for home, group in _HOMES.items():
        home.foamwright = PointerProperty(type=group)


def unregister() -> None:
    for home in _HOMES:
        del home.foamwright
