"""Build notes: what to cut, what to buy, in which order to glue, and what to take care of."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from .joints import STEEPEST_BEVEL_DEG, JointRun, JointSide
from .layers import is_spacer
from .loose_parts import loose_parts
from .pattern import Pattern, PatternPiece

COVERAGE_M2_PER_L = 7.56
"""Contact adhesive per face and coat, brushed: 308 sq ft per US gallon (a maker's data sheet of 2015)."""

COATS = 2
"""Foam drinks the first coat (common practice)."""

CAUTIONS = (
    "A foam costume helmet or armour is not protective equipment: it does not protect from knocks, falls, heat or "
    "fire. Whoever wears it must see, hear and breathe freely and be able to take it off alone.",
    "Read the safety data sheets of your foam, adhesive, filler, sealer and paint, and follow them and the rules "
    "that hold where you work. They go before anything printed here. Work that the law keeps for licensed people "
    "is theirs.",
    "Contact adhesives and solvents: their vapour irritates, makes drowsy and catches fire. Work in moving fresh "
    "air, away from flames, heaters, sparks and hot tools, and use no heat gun until the vapour has cleared. Prefer "
    "water-based adhesive where it does the job, and avoid products with n-hexane or dichloromethane.",
    "A dust mask does not stop vapour. Where the data sheet asks for a respirator, use one certified for that "
    "substance, fitted and kept as its maker says.",
    "Heated foam gives off fume: warm it gently in moving air, keep the heat gun moving, and stop if it smokes, "
    "shines wet or smells sharp. Foam and nozzle burn skin; wear gloves. Do not cut foam with a laser or a hot wire "
    "unless the foam's maker allows it and the fume is drawn off.",
    "Knives: a fresh blade on a cutting mat, cut away from yourself in several light passes, a cut-resistant glove "
    "on the holding hand. Bevels over 45 degrees slip easily.",
    "Rotary tools and sanding: eye protection, a dust mask, dust drawn off, no loose clothing or hair near the tool.",
    "Keep children away from adhesive, heat and blades, and let everything air out before it is worn.",
)
"""Usual cautions, common practice; after HSE leaflet INDG273, HSE Plastics Processing Sheet 13 and 29 CFR 1910.134."""


@dataclass(frozen=True)
class CutRow:
    """One line of the cut list.

    width_mm, height_mm : sides of the smallest box around both outlines, the longer first
    area_mm2 : of the outside face
    """

    name: str
    mate: str | None
    quantity: int
    stock: str
    width_mm: float
    height_mm: float
    area_mm2: float
    group: str


@dataclass(frozen=True)
class StockNeed:
    """Foam of one kind: the pieces' outside area in mm^2, and the sheets it was nested on."""

    stock: str
    pieces: int
    area_mm2: float
    sheets: int


@dataclass(frozen=True)
class Materials:
    """What a pattern needs; adhesive and filler are estimates.

    glue_mm : length of all joints, grooves and kerfs; layer_mm2 : of all build-up layers
    glue_face_mm2 : faces to be coated, both sides
    adhesive_ml : at `COVERAGE_M2_PER_L` and `COATS`
    filler_ml : of all opened scores and of gaping butt joints, filled flush
    """

    foam: tuple[StockNeed, ...]
    glue_mm: float
    layer_mm2: float
    glue_face_mm2: float
    adhesive_ml: float
    filler_ml: float


@dataclass(frozen=True)
class GlueStep:
    """Joints that are closed together, and why now, in words."""

    words: str
    joints: tuple[str, ...]


def cut_list(pattern: Pattern) -> list[CutRow]:
    """One row a part, pieces then layers, in the pattern's order; every part is cut once."""
    return [
        CutRow(piece.name, piece.mate, 1, piece.stock.name, *_size(piece), _area(piece), piece.group)
        for piece in pattern.parts
    ]


def materials(pattern: Pattern) -> Materials:
    """Foam by stock, and estimates of adhesive and filler. Bevelled faces are wider than the foam is thick:
    t / cos(bevel) for a joint, d / cos(bend / 2) for a groove."""
    layers = sum(_area(layer) for layer in pattern.layers)
    length, face, fill = 0.0, 2 * layers, 0.0
    for joint in pattern.joints:
        length += max(joint.a.length_mm, joint.b.length_mm)
        face += sum(_glue_face(pattern, side) for side in (joint.a, joint.b))
        thinner = min(pattern.piece(side.piece).stock.thickness_mm for side in (joint.a, joint.b))
        fill += max(-joint.mismatch_mm, 0) * thinner / 2 * joint.a.length_mm
    for piece in pattern.pieces:
        for fold in piece.folds:
            along = float(np.linalg.norm(np.diff(piece.flat[fold.path], axis=0), axis=1).sum())
            if fold.kind == "groove":
                length += along
                face += 2 * along * float(np.hypot(fold.depth_mm, fold.mouth_mm / 2))
            else:
                fill += fold.mouth_mm * fold.depth_mm / 2 * along
        for bend in piece.bends:
            along = sum(float(np.linalg.norm(line[1] - line[0])) for line in bend.lines)
            if bend.treatment == "kerfs":
                length += along
                face += 2 * along * bend.depth_mm
            else:
                fill += bend.opening_mm * bend.depth_mm / 2 * along
    adhesive = face * COATS / (COVERAGE_M2_PER_L * 1e6) * 1e3
    return Materials(_foam(pattern), length, layers, face, adhesive, fill / 1e3)


def glue_order(pattern: Pattern) -> tuple[str, ...]:
    """First panels and their layers, then the steps of `glue_steps` as sentences that name their joints; last the
    pieces that no joint holds."""
    stacked = tuple(map(_stack_words, pattern.layers))
    layered = {layer.layer_of for layer in pattern.layers}
    joined = tuple(f"{step.words}: {', '.join(step.joints)}" for step in glue_steps(pattern))
    loose = tuple(
        f"Glue {part.piece} onto {' and '.join(part.over)}, its outside face {part.height_mm:.1f} mm above"
        + ("" if part.piece in layered else " (or strap it on, if it must move)")
        for part in loose_parts(pattern)
        if part.over
    )
    return stacked + joined + loose


def glue_steps(pattern: Pattern) -> tuple[GlueStep, ...]:
    """An order in which every joint is glued once, found greedily.

    First the joints of a piece with itself, while it still lies open. Then each group for itself: from its
    largest piece on, always the piece that shares the longest joints with what is already together, because a
    long joint holds true what follows. Last the groups, likewise.
    """
    steps = [
        GlueStep(f"Close piece {piece.name} on itself", letters)
        for piece in pattern.pieces
        if (letters := tuple(j.letter for j in pattern.joints if j.a.piece == j.b.piece == piece.name))
    ]
    group_of = {piece.name: piece.group for piece in pattern.pieces}
    areas = {piece.name: _area(piece) for piece in pattern.pieces}
    within = [j for j in pattern.joints if j.a.piece != j.b.piece and group_of[j.a.piece] == group_of[j.b.piece]]
    across = [j for j in pattern.joints if group_of[j.a.piece] != group_of[j.b.piece]]
    groups = dict.fromkeys(group_of.values())
    for group in groups:
        members = {name: areas[name] for name in areas if group_of[name] == group}
        own = [joint for joint in within if group_of[joint.a.piece] == group]
        pairs = [(joint, joint.a.piece, joint.b.piece) for joint in own]
        steps += _grown(members, pairs, f"Group {group}: add piece")
    sizes = {group: sum(areas[name] for name in areas if group_of[name] == group) for group in groups}
    joined = [(joint, group_of[joint.a.piece], group_of[joint.b.piece]) for joint in across]
    return (*steps, *_grown(sizes, joined, "Add group"))


# --- helpers -----------------------------------------------------------------------------------


def _grown(sizes: dict[str, float], joints: Sequence[tuple[JointRun, str, str]], words: str) -> Iterable[GlueStep]:
    """Steps that add one part after another to the largest one; what hangs together with nothing starts anew."""
    waiting = dict(sorted(sizes.items(), key=lambda item: -item[1]))
    together: set[str] = set()
    while waiting:
        touching = {name: [j for j, a, b in joints if _reaches(name, a, b, together)] for name in waiting}
        # the first of equals, so the larger part
        name = max(waiting, key=lambda part: sum(joint.a.length_mm for joint in touching[part]))
        if touching[name]:
            others = dict.fromkeys(b if a == name else a for joint, a, b in joints if joint in touching[name])
            letters = tuple(joint.letter for joint in touching[name])
            yield GlueStep(f"{words} {name} to {' and '.join(others)}", letters)
        del waiting[name]
        together.add(name)


def _stack_words(layer: PatternPiece) -> str:
    part = layer.name.removeprefix(f"{layer.layer_of}, ")
    where = "onto the face of" if is_spacer(layer) else "under"
    return f"Glue {part} ({layer.stock.name}) {where} {layer.layer_of}, its rim flush"


def _reaches(name: str, a: str, b: str, together: set[str]) -> bool:
    return (a == name and b in together) or (b == name and a in together)


def _glue_face(pattern: Pattern, side: JointSide) -> float:
    bevel = np.radians(min(abs(side.bevel_deg), STEEPEST_BEVEL_DEG))
    return side.length_mm * pattern.piece(side.piece).stock.thickness_mm / float(np.cos(bevel))


def _foam(pattern: Pattern) -> tuple[StockNeed, ...]:
    needs = []
    for stock in dict.fromkeys(piece.stock.name for piece in pattern.parts):
        pieces = [piece for piece in pattern.parts if piece.stock.name == stock]
        sheets = sum(sheet.stock == stock for sheet in pattern.sheets)
        needs.append(StockNeed(stock, len(pieces), sum(_area(piece) for piece in pieces), sheets))
    return tuple(needs)


def _area(piece: PatternPiece) -> float:
    return float(Polygon(piece.outside_outline[0], piece.outside_outline[1:]).area)


def _size(piece: PatternPiece) -> tuple[float, float]:
    points = np.vstack([*piece.outside_outline, *piece.inside_outline])
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.multipoints(points)))
    sides = np.linalg.norm(np.diff(box[:3], axis=0), axis=1)
    return float(sides.max()), float(sides.min())
