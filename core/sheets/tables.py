"""The rows of words that the printed files share: cut list, joints, folds, counts."""

from __future__ import annotations

from collections.abc import Sequence

from ..build import cut_list, materials
from ..buildup import HIGHEST_MM
from ..call_outs import STEADY_BEVEL_DEG, bevel_range, is_square, spacing_words
from ..joints import JointRun, JointSide, RimRun
from ..layers import LAYER
from ..layout.paging import Page
from ..loose_parts import loose_parts
from ..pattern import Pattern, PatternPiece
from ..report import common_strain
from ..tight_bends import TightBend

Rows = list[tuple[str, ...]]

LEAST_MISMATCH_MM = 0.05
LEAST_M2 = 0.1
"""Smaller areas are told in square centimetres."""


def percent(stretch: float) -> str:
    """Strain with its sign, as on a label: "+2.5 %", "-1.0 %"."""
    strain = round((stretch - 1) * 100, 1)
    return f"{strain:+.1f} %" if strain else "0 %"


def common_words(piece: PatternPiece) -> str:
    """The strain that 99 % of a piece keeps to, pulled or squeezed: "1.3 %"."""
    return f"{100 * common_strain(piece):.1f} %"


def degrees_text(angle_deg: float) -> str:
    return f"{round(angle_deg, 1) + 0.0:g}°"


def piece_number(pattern: Pattern, name: str) -> int:
    """Numbers count from 1 in the pattern's order."""
    return 1 + next(i for i, piece in enumerate(pattern.parts) if piece.name == name)


def page_span(numbers: Sequence[int]) -> str:
    """Page numbers with runs put together: "7 to 10, 12"."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(f"{run[0]}" if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs)


CUT_LIST_HEAD = ("no.", "piece", "mate", "group", "stock", "size mm", "pulled", "squeezed", "99 %", "sheet", "pages")
CUT_LIST_WORDS = (
    "Every piece is cut once. Sizes are of the smallest box around the piece; pulled and squeezed is what its foam "
    "takes at the worst spots; 99 % of its area keeps to the next figure, either way."
)
LAYER_WORDS = "Layers are counted from the outside: layer 1 is the panel itself."


def cut_list_words(pattern: Pattern) -> str:
    """What the reader of the cut list must know."""
    counts_panel = any(f", {LAYER} " in layer.name for layer in pattern.layers)
    return f"{CUT_LIST_WORDS} {LAYER_WORDS}" if counts_panel else CUT_LIST_WORDS


def cut_rows(pattern: Pattern, pages: Sequence[Page]) -> Rows:
    sheet_of = {p.piece: str(sheet.number) for sheet in pattern.sheets for p in sheet.placements}
    return [
        (
            str(number),
            piece.name,
            piece.mate or "none",
            piece.group,
            piece.stock.name,
            f"{row.width_mm:.0f} x {row.height_mm:.0f}",
            percent(piece.largest_stretch),
            percent(piece.largest_squeeze),
            common_words(piece),
            "do not cut" if piece.lies_over_itself else sheet_of.get(piece.name, "none"),
            page_span([page.number for page in pages if piece.name in page.pieces]),
        )
        for number, (piece, row) in enumerate(zip(pattern.parts, cut_list(pattern), strict=True), start=1)
    ]


def counted(count: int, thing: str) -> str:
    return f"{count} {thing}" if count == 1 else f"{count} {thing}s"


def _area_words(area_mm2: float) -> str:
    return f"{area_mm2 / 1e6:.2f} m²" if area_mm2 > LEAST_M2 * 1e6 else f"{area_mm2 / 1e2:.0f} cm²"


def material_rows(pattern: Pattern) -> Rows:
    need = materials(pattern)
    rows: Rows = [
        (
            foam.stock,
            f"{counted(foam.pieces, 'piece')}, {_area_words(foam.area_mm2)} net, {counted(foam.sheets, 'sheet')}",
        )
        for foam in need.foam
    ]
    glued = [f"{need.glue_mm / 1e3:.1f} m of joints, grooves and kerfs"] if need.glue_mm else []
    glued += [f"{_area_words(need.layer_mm2)} of layers"] if need.layer_mm2 else []
    if glued:
        rows.append(("adhesive", f"about {need.adhesive_ml:.0f} ml for {' and '.join(glued)}"))
    if need.filler_ml >= 0.5:
        rows.append(("filler", f"about {need.filler_ml:.0f} ml for scores and gaps"))
    return rows


JOINT_HEAD = ("joint", "piece", "its edge", "piece", "its edge", "bend", "rule", "lengths mm", "inside mm")
MISMATCH_WORDS = (
    "Inside: where square edges meet in a bend, so much overlaps and is squeezed, or gapes and wants filler, at the "
    "face that was not modelled, mostly the inside one."
)


def joint_rows(pattern: Pattern) -> Rows:
    rows: Rows = []
    for joint in pattern.joints:
        a, b = joint.a, joint.b
        note = ""
        if abs(joint.mismatch_mm) >= LEAST_MISMATCH_MM:
            verb = "squeezed" if joint.mismatch_mm > 0 else "gapes"
            note = f"{abs(joint.mismatch_mm):.1f} {verb}"
        rows.append(
            (
                joint.letter,
                a.piece,
                edge_words(a),
                b.piece if b.piece != a.piece else "itself",
                edge_words(b),
                joint_bend_words(joint),
                f"{joint.rule}, locked" if joint.locked else joint.rule,
                " and ".join(dict.fromkeys(f"{side.length_mm:.1f}" for side in joint.sides)),
                note,
            )
        )
    return rows


def joint_words_of(joint: JointRun) -> str:
    """A joint in a few words: bend, rule and both edges."""
    return f"{joint_bend_words(joint)}, {joint.rule}, {edge_words(joint.a)} and {edge_words(joint.b)}"


def any_mismatch(pattern: Pattern) -> bool:
    return any(abs(joint.mismatch_mm) >= LEAST_MISMATCH_MM for joint in pattern.joints)


def bend_words(bend_deg: float) -> str:
    """Which way the outside face bends, and by how much: "ridge 30°"."""
    if round(bend_deg, 1) == 0:
        return "flat"
    return f"{'ridge' if bend_deg > 0 else 'valley'} {degrees_text(abs(bend_deg))}"


def edge_words(side: JointSide) -> str:
    if is_square(side):
        return "square"
    return f"bevel {bevel_range(side)}°{', inside longer' if side.bevel_deg < 0 else ''}"


def joint_bend_words(joint: JointRun) -> str:
    """The bend, and its least and most where they differ enough to be felt: "ridge 19° (9 to 23)"."""
    low, high = joint.bend_least_deg, joint.bend_most_deg
    if high - low <= STEADY_BEVEL_DEG:
        return bend_words(joint.bend_deg)
    mean = bend_words(round(joint.bend_deg))
    if low <= -0.5 and high >= 0.5:
        return f"{mean} (valley {-low:.0f} to ridge {high:.0f})"
    least, most = sorted((abs(low), abs(high)))
    return f"{mean} ({least:.0f} to {most:.0f})"


def loose_words(pattern: Pattern) -> list[str]:
    """What lies under each piece that no joint holds."""
    return [
        f"{part.piece} lies on {' and '.join(part.over)}: {part.height_mm:.1f} mm from outside face to outside face."
        if part.over
        else f"{part.piece}: nothing lies within {HIGHEST_MM:g} mm under it."
        for part in loose_parts(pattern)
    ]


RIM_HEAD = ("rim", "piece", "finish", "length mm")


def rim_words_of(rim: RimRun) -> str:
    """How an open rim is finished."""
    if rim.style == "rounded":
        return f"round both corners, {rim.round_mm:g} mm"
    return f"bevel {bevel_range(rim.side)}°, inside shorter" if rim.style == "bevelled" else "square"


def rim_rows(pattern: Pattern) -> Rows:
    """Open rims that are more than cut square."""
    return [
        (rim.letter, rim.side.piece, rim_words_of(rim), f"{rim.side.length_mm:.1f}")
        for rim in pattern.rims
        if rim.style != "square"
    ]


FOLD_HEAD = ("piece", "fold", "cut", "bend", "depth from the inside", "mouth at the inside")


def fold_rows(pattern: Pattern) -> Rows:
    """Folds, then tight bends: all that is done to a piece between its edges."""
    folds: Rows = [
        (
            piece.name,
            f"f{number}",
            "V-groove, closes" if fold.kind == "groove" else "score, opens: fill it",
            bend_words(fold.bend_deg),
            f"{fold.depth_mm:.1f} mm of {piece.stock.thickness_mm:g} mm",
            f"{fold.mouth_mm:.1f} mm",
        )
        for piece in pattern.pieces
        for number, fold in enumerate(piece.folds, start=1)
    ]
    bends: Rows = [
        (
            piece.name,
            "bend",
            relief_words(bend),
            bend_words(bend.bend_deg),
            f"{bend.depth_mm:.1f} mm of {piece.stock.thickness_mm:g} mm" if bend.count else "none",
            f"{max(bend.kerf_mm, bend.opening_mm):.1f} mm each"
            if bend.count
            else f"inside radius {bend.radius_mm:.0f} mm",
        )
        for piece in pattern.pieces
        for bend in piece.bends
    ]
    return folds + bends


def relief_words(bend: TightBend) -> str:
    """What is done to a tight bend."""
    if not bend.count:
        return "heat-form"
    what = "relief kerfs, close" if bend.treatment == "kerfs" else "scores, open: fill them"
    return f"{bend.count} {what}; {spacing_words(bend)}"


def counts(pattern: Pattern) -> Rows:
    """What there is, in number and word."""
    folds = sum(len(piece.folds) for piece in pattern.pieces)
    rows: Rows = [("pieces", str(len(pattern.pieces))), ("joints", str(len(pattern.joints))), ("folds", str(folds))]
    if pattern.layers:
        rows.insert(1, ("build-up layers", str(len(pattern.layers))))
    for stock in dict.fromkeys(sheet.stock for sheet in pattern.sheets):
        sheets = [sheet for sheet in pattern.sheets if sheet.stock == stock]
        size = f"{sheets[0].width_mm:g} x {sheets[0].height_mm:g} mm"
        rows.append((f"sheets of {stock}", f"{len(sheets)} of {size}"))
    return rows
