"""The words written on a piece, each from the fullest wording to the least that must never be left out."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from .folds import FoldRun
from .joints import JointRun, JointSide, RimRun
from .pieces import Piece
from .tight_bends import TightBend

STEADY_BEVEL_DEG = 5.0
"""A bevel that changes by less along a joint is cut at one angle."""

CONVERGING = 0.9
"""Kerfs that come nearer than this part of their usual distance are told with both."""


def joint_words(joint: JointRun, side: JointSide, notched: Mapping[str, float] | None = None) -> list[tuple[str, ...]]:
    """What is written at one side of a joint; the least is its letter and its cut.

    notched : from the label of each notch along the run to the bevel there in degrees
    """
    other = joint.b if side is joint.a else joint.a
    whither = "closes on itself" if other.piece == side.piece else f"to {other.piece}"
    full, brief = _cut_words(joint, side, notched or {})
    return [
        (f"{joint.letter}  {whither}  {full}",),
        (f"{joint.letter}  {whither}", full),
        (f"{joint.letter}  {whither}", brief),
        (f"{joint.letter}  {full}",),
        (f"{joint.letter}  {brief}",),
        (joint.letter, brief),
    ]


def _cut_words(joint: JointRun, side: JointSide, notched: Mapping[str, float]) -> tuple[str, str]:
    """How the edge is cut, fully and in brief."""
    other = joint.b if side is joint.a else joint.a
    if joint.rule == "butt" or (is_square(side) and is_square(other)):
        return "square", "square"
    if is_square(side):
        return "square, other side bevelled", "square"
    cut = "mitre" if joint.rule == "mitre" else "bevel"
    larger = ", inside longer" if side.bevel_deg < 0 else ""
    return f"{cut} {bevel_ends(side, notched)}{larger}", f"{cut} {bevel_range(side).replace(' to ', '-')}"


def bevel_range(side: JointSide) -> str:
    """ "22", or "18 to 27" where the bevel changes along the run by more than a hand can hold it."""
    sizes = np.abs(side.bevels_deg)
    return f"{abs(side.bevel_deg):.0f}" if _is_steady(side) else f"{sizes.min():.0f} to {sizes.max():.0f}"


def is_square(side: JointSide) -> bool:
    """It has no bevel that a hand could hold, whatever its rule: a mitre where two pieces meet flat."""
    return bevel_range(side) == "0"


def bevel_ends(side: JointSide, notched: Mapping[str, float]) -> str:
    """As `bevel_range`, but a bevel that changes is told with its notches: "9 at J1, 23 at J4".

    Besides the first and the last notch one between them is named where the bevel is steepest or flattest there.
    """
    labels, sizes = list(notched), np.abs(list(notched.values()))
    if _is_steady(side) or not len(sizes) or np.ptp(sizes) <= STEADY_BEVEL_DEG:
        return bevel_range(side)
    named = {0, len(sizes) - 1}
    if sizes.min() < sizes[[0, -1]].min() - STEADY_BEVEL_DEG / 2:
        named.add(int(sizes.argmin()))
    if sizes.max() > sizes[[0, -1]].max() + STEADY_BEVEL_DEG / 2:
        named.add(int(sizes.argmax()))
    return ", ".join(f"{sizes[notch]:.0f} at {labels[notch]}" for notch in sorted(named))


def _is_steady(side: JointSide) -> bool:
    return bool(np.ptp(side.bevels_deg) <= STEADY_BEVEL_DEG)


def rim_words(rim: RimRun) -> list[tuple[str, ...]]:
    """What is written at an open rim; nothing where it is cut square."""
    if rim.style == "rounded":
        round_both = f"round both corners {_mm(rim.round_mm)} mm"
        return [(f"{rim.letter}  open rim  {round_both}",), (f"{rim.letter}  round {_mm(rim.round_mm)} mm",)]
    if rim.style == "bevelled":
        bevel = bevel_range(rim.side)
        return [(f"{rim.letter}  open rim  bevel {bevel}",), (f"{rim.letter}  bevel {bevel}",)]
    return []


def fold_words(fold: FoldRun, number: int) -> list[tuple[str, ...]]:
    """What is written at a fold; the least is its number on the piece, by which the printed list tells the rest."""
    groove = fold.kind == "groove"
    cut = f"f{number}  {'V-groove' if groove else 'score'}, inside face"
    depth, mouth = f"{_mm(fold.depth_mm)} mm deep", f"{_mm(fold.mouth_mm)} mm"
    rest = f"{mouth} wide, outside becomes a ridge" if groove else f"outside becomes a valley, opens {mouth}"
    cut, depth = (cut, depth) if groove else (cut, f"{depth}, fill")
    return [
        (f"{cut}, {depth}, {rest}",),
        (f"{cut}, {depth}", rest),
        (f"{cut}, {depth}",),
        (cut, depth),
        tuple(f"{cut}, {depth}".split(", ")),
        (f"f{number}",),
    ]


def bend_words(bend: TightBend) -> list[tuple[str, ...]]:
    """What is written at a tight bend."""
    if bend.count:
        depth, apart = f"{_mm(bend.depth_mm)} mm deep", spacing_words(bend)
        least = [(f"{bend.count} {bend.treatment}",)]
        if bend.treatment == "kerfs":
            return [(f"{bend.count} kerfs {depth}", f"{_mm(bend.kerf_mm)} mm wide, {apart}"), *least]
        return [(f"{bend.count} scores {depth}, fill", f"open {_mm(bend.opening_mm)} mm each, {apart}"), *least]
    return [(f"tight bend, radius {bend.radius_mm:.0f} mm inside", "heat-form"), ("heat-form",)]


def spacing_words(bend: TightBend) -> str:
    """How far kerfs or scores stand apart; they converge on a cone."""
    apart = f"{bend.spacing_mm:.1f} mm apart"
    converge = bend.least_spacing_mm < CONVERGING * bend.spacing_mm
    return f"{apart}, {bend.least_spacing_mm:.1f} at the narrow end" if converge else apart


def build_words(piece: Piece) -> list[tuple[str, ...]]:
    """Stock, which face is up, mate and group; the least is the thickness of the stock."""
    thickness = f"{piece.stock.thickness_mm:g} mm"
    stock = piece.stock.name if thickness in piece.stock.name else f"{piece.stock.name}, {thickness}"
    mate = [f"mirrors {piece.mate}"] if piece.mate else []
    lines = [stock, "outside face up", *mate, f"group {piece.group}"]
    shorter = [tuple(lines[:count]) for count in range(len(lines) - 1, 0, -1)]
    return [tuple(lines), (", ".join(lines),), *shorter, (thickness,)]


def name_words(number: int, name: str) -> list[tuple[str, ...]]:
    """The number and the name of a piece; a layer's in two lines where one is too long."""
    head, comma, rest = name.partition(", ")
    return [(f"{number} {name}",), *([(f"{number} {head}{comma.strip()}", rest)] if comma else [])]


def _mm(length: float) -> str:
    return f"{round(length, 1):g}"
