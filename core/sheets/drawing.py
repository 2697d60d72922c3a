"""What is drawn on a piece, as lines, regions and words in millimetres. The writers for PDF, SVG and DXF read this.

Line types after ISO 128-2 (as tabulated in Manual of Engineering Drawing, table 7.2, for ISO 128-24:1999):
wide to narrow is 2 to 1. Dash lengths in line widths (dash 12, long dash 24, gap 3, dot half a width) are from
memory of the same standard. Every line is told from the others in black and white.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from math import cos, pi, sin

import numpy as np
import shapely
from shapely import LineString

from ..flatten.overlap import freeing_path
from ..layout import Placement
from ..lettering import LINE_PITCH, widest_place
from ..loose_parts import standing_lines
from ..marks import Note
from ..outline import face_of
from ..pattern import Pattern, PatternPiece
from ..tracing import traced_lines
from .standing import standing_notes

WIDE_MM, NARROW_MM = 0.5, 0.25


@dataclass(frozen=True)
class LineType:
    """A look of a line: ISO 128 number, width and dashes (drawn, blank, ...) in mm; no dashes is continuous."""

    name: str
    iso: str
    width_mm: float
    dashes: tuple[float, ...] = ()


def _dashes(width: float, *parts: float) -> tuple[float, ...]:
    return tuple(width * part for part in parts)


CONTINUOUS_WIDE = LineType("continuous wide", "01.2", WIDE_MM)
CONTINUOUS_NARROW = LineType("continuous narrow", "01.1", NARROW_MM)
DASHED_NARROW = LineType("dashed narrow", "02.1", NARROW_MM, _dashes(NARROW_MM, 12, 3))
CHAIN_WIDE = LineType("long-dash dot wide", "04.2", WIDE_MM, _dashes(WIDE_MM, 24, 3, 0.5, 3))
CHAIN_DOUBLE = LineType("long-dash double-dot narrow", "05.1", NARROW_MM, _dashes(NARROW_MM, 24, 3, 0.5, 3, 0.5, 3))
LONG_SHORT = LineType("long-dash short-dash narrow", "08.1", NARROW_MM, _dashes(NARROW_MM, 24, 3, 6, 3))
DOTTED = LineType("dotted narrow", "07.1", NARROW_MM, _dashes(NARROW_MM, 0.5, 3))
LINE_TYPES = (CONTINUOUS_WIDE, CONTINUOUS_NARROW, DASHED_NARROW, CHAIN_WIDE, CHAIN_DOUBLE, LONG_SHORT, DOTTED)


@dataclass(frozen=True)
class Layer:
    """What a group of lines means; `key` names it in files."""

    key: str
    label: str
    line: LineType


CUT = Layer("cut-line", "Larger outline: trace and cut", CONTINUOUS_WIDE)
OUTSIDE = Layer("outside-outline", "Outside outline where the inside face is larger", LONG_SHORT)
INSIDE = Layer("inside-outline", "Inside outline: where the tilted knife comes out", DASHED_NARROW)
FOLD = Layer("fold-line", "Fold line", CONTINUOUS_NARROW)
GROOVE = Layer("groove-limit", "Mouth of a groove on the inside face", CHAIN_WIDE)
KERF = Layer("relief-kerf", "Relief kerf or score on the inside face", CONTINUOUS_NARROW)
STANDING = Layer("loose-part", "Rim of a loose part that is glued on here", DOTTED)
NOTCH = Layer("notch", "Notch: meets the same label on the other piece", CONTINUOUS_NARROW)
REFUSED = Layer("not-to-cut", "Not to be cut: a piece that lies over itself", CHAIN_DOUBLE)
WORDS = Layer("words", "Words", CONTINUOUS_NARROW)
UP = Layer("up-arrow", "Up on the finished shell", CONTINUOUS_NARROW)
REFERENCE = Layer("reference", "Reference length", CONTINUOUS_NARROW)
LAYERS = (CUT, OUTSIDE, INSIDE, FOLD, GROOVE, KERF, STANDING, NOTCH, REFUSED, WORDS, UP, REFERENCE)


@dataclass(frozen=True, eq=False)
class Line:
    """points (n, 2) mm; a closed line does not repeat its first point."""

    layer: Layer
    points: np.ndarray
    closed: bool = False


@dataclass(frozen=True, eq=False)
class Region:
    """A filled ring (n, 2) mm, black."""

    layer: Layer
    points: np.ndarray


@dataclass(frozen=True, eq=False)
class Text:
    """One line of words centred at (x, y) mm, read along `angle` (rad); height_mm is that of capitals."""

    layer: Layer
    words: str
    x: float
    y: float
    angle: float
    height_mm: float


Primitive = Line | Region | Text

NOTCH_MM = 4.0
FOLD_END_RADIUS_MM = 1.0
LEADER_DOT_MM = 0.5
"""Radius of the dot at which a leader ends."""
DRAWN_MOUTH_MM = 2.0
"""The narrowest groove whose mouth is drawn."""
REFUSAL = ("it lies over itself", "and must first be split", "along the line inside it")
REFUSAL_MM = (2.0, 6.0)
"""Heights of capitals that it is written in, at least and at most."""
SAME_LINE_MM = 0.02
"""Parts of the inside outline nearer than this to the outside outline are not drawn twice."""


def draw_piece(pattern: Pattern, piece: PatternPiece, placement: Placement) -> tuple[Primitive, ...]:
    """Everything on one piece at its place, mm on the sheet or page; words are turned to read upright."""
    face = net_area(piece)
    if piece.lies_over_itself:
        return tuple(_placed(primitive, placement) for primitive in _refusal(pattern, piece, face, placement.angle))
    taken = _taken(piece, face)
    notes = (*piece.notes, *standing_notes(pattern, piece, face, taken))
    free = face.difference(shapely.union_all([taken, *(note.box for note in notes)]))
    lines = [
        *_outlines(piece),
        *_folds(piece),
        *_notches(piece, face),
        *_up_arrow(pattern, piece, free, placement.angle),
    ]
    lines += [Line(STANDING, line.points) for line in standing_lines(pattern) if line.on == piece.name]
    words = [*_notch_labels(piece, face, placement.angle), *_notes(notes, placement.angle)]
    return tuple(_placed(primitive, placement) for primitive in (*lines, *words))


def net_area(piece: PatternPiece) -> shapely.Geometry:
    """The outside face of the piece on its flat, holes left out; mended where the flat crosses itself."""
    return face_of(piece.outside_outline)


def _placed(primitive: Primitive, placement: Placement) -> Primitive:
    if isinstance(primitive, Text):
        x, y = placement.apply(np.array([[primitive.x, primitive.y]]))[0]
        return replace(primitive, x=float(x), y=float(y), angle=primitive.angle + placement.angle)
    return replace(primitive, points=placement.apply(primitive.points))


def _outlines(piece: PatternPiece) -> Iterable[Primitive]:
    """The line to trace, and of either face's outline what does not coincide with a line drawn before."""
    traced = traced_lines(piece)
    for line in traced:
        closed = bool((line[0] == line[-1]).all())
        yield Line(CUT, line[:-1] if closed else line, closed=closed)
    drawn = _near(traced)
    for layer, rings in ((OUTSIDE, piece.outside_outline), (INSIDE, piece.inside_outline)):
        if rings is not traced:
            for ring in rings:
                yield from _lines(layer, LineString(ring).difference(drawn))
            drawn = drawn.union(_near(rings))


def _refusal(pattern: Pattern, piece: PatternPiece, face: shapely.Geometry, turn: float) -> Iterable[Primitive]:
    """What nobody shall cut along: the flat's rims, and where a cut would part what lies over itself. Nothing else is
    drawn, so that no machine and no knife has a line to follow."""
    for loop in piece.patch.loops:
        yield Line(REFUSED, piece.flat[loop], closed=True)
    path = freeing_path(pattern.shell, piece.patch, piece.flat)
    if len(path):
        yield Line(REFUSED, piece.flat[path])
    lines = (f"{piece.name}: DO NOT CUT", *(REFUSAL if len(path) else REFUSAL[:1]))
    middle, radius = widest_place(face)
    height = float(np.clip(2 * radius / max(map(len, lines)), *REFUSAL_MM))
    down = np.array([sin(-turn), -cos(turn)]) * height * LINE_PITCH
    for row, words in enumerate(lines):
        x, y = middle + down * (row - (len(lines) - 1) / 2)
        yield Text(REFUSED, words, float(x), float(y), -turn, height)


def _near(rings: tuple[np.ndarray, ...]) -> shapely.Geometry:
    return shapely.union_all([LineString(ring) for ring in rings]).buffer(SAME_LINE_MM)


def _lines(layer: Layer, shape: shapely.Geometry) -> Iterable[Line]:
    merged = shapely.line_merge(shape)
    for part in shapely.get_parts(merged):
        if isinstance(part, LineString) and part.length > SAME_LINE_MM:
            points = shapely.get_coordinates(part)
            yield Line(layer, points[:-1], closed=True) if part.is_closed else Line(layer, points)


def _folds(piece: PatternPiece) -> Iterable[Primitive]:
    """The fold line with a small circle at each end (the sheet-metal habit for bending lines); a wide groove also
    gets the true shape of its mouth, a narrow one and a score none."""
    for fold in piece.folds:
        path = piece.flat[fold.path]
        yield Line(FOLD, path)
        for end in (path[0], path[-1]):
            yield Line(FOLD, _circle(end, FOLD_END_RADIUS_MM), closed=True)
        # the sides of a narrower mouth would merge with the fold line; its width is written beside it
        for ring in fold.mouth if fold.mouth_mm >= DRAWN_MOUTH_MM else ():
            yield Line(GROOVE, ring[:-1], closed=True)
    for bend in piece.bends:
        for ring in bend.kerfs:
            yield Line(KERF, ring[:-1], closed=True)
        for line in bend.lines if bend.treatment == "scores" else ():
            yield Line(KERF, line)


def _circle(centre: np.ndarray, radius: float) -> np.ndarray:
    turn = np.linspace(0, 2 * pi, 16, endpoint=False)
    return centre + radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)


def _notches(piece: PatternPiece, face: shapely.Geometry) -> Iterable[Primitive]:
    for notch in piece.notches:
        yield Line(NOTCH, np.stack([np.array(notch.point), notch.at(face, NOTCH_MM)]))


def _notch_labels(piece: PatternPiece, face: shapely.Geometry, turn: float) -> Iterable[Text]:
    for notch in piece.notches:
        x, y = notch.at(face, NOTCH_MM + 2.2)
        yield Text(NOTCH, notch.label, float(x), float(y), -turn, 1.8)


def _notes(notes: Iterable[Note], turn: float) -> Iterable[Primitive]:
    for note in notes:
        angle = _upright(note.angle + turn) - turn
        down = np.array([sin(angle), -cos(angle)]) * note.height_mm * LINE_PITCH
        for row, words in enumerate(note.lines):
            x, y = np.array(note.anchor) + down * (row - (len(note.lines) - 1) / 2)
            yield Text(WORDS, words, float(x), float(y), angle, note.height_mm)
        if note.leader:
            ends = shapely.get_coordinates(note.leader)
            yield Line(WORDS, ends)
            yield Region(WORDS, _circle(ends[-1], LEADER_DOT_MM))


def _upright(angle: float) -> float:
    """The same direction or its reverse, so that words read from the foot or the right of the sheet."""
    return (angle + pi / 2 - 1e-6) % pi - pi / 2 + 1e-6


def _up_arrow(pattern: Pattern, piece: PatternPiece, free: shapely.Geometry, turn: float) -> Iterable[Primitive]:
    """An arrow to the top of the finished shell, in the widest free place; none on a piece that lies level."""
    height = pattern.shell.vertices[piece.patch.shell_vertex, 2]
    centred = piece.flat - piece.flat.mean(axis=0)
    slope, *_ = np.linalg.lstsq(centred, height - height.mean(), rcond=None)
    steepness = float(np.linalg.norm(slope))
    if steepness < 0.3:
        return
    direction = slope / steepness
    if free.is_empty:
        return
    radius_line = shapely.maximum_inscribed_circle(free, tolerance=0.5)
    reach = min(12.0, 0.8 * radius_line.length)
    if reach < 4.0:
        return
    centre = np.array(radius_line.coords[0])
    side = np.array([-direction[1], direction[0]])
    tip, tail = centre + reach * direction, centre - reach * direction
    neck = tip - 0.6 * reach * direction
    yield Line(UP, np.stack([tail, neck]))
    yield Region(UP, np.stack([tip, neck + 0.28 * reach * side, neck - 0.28 * reach * side]))
    # the word stands level on the paper: "up" on its head would read as "dn"
    x, y = centre + 3.2 * side - 0.3 * reach * direction
    yield Text(UP, "UP", float(x), float(y), -turn, 2.0)


def _taken(piece: PatternPiece, face: shapely.Geometry) -> shapely.Geometry:
    """Where words, folds and kerfs already are."""
    words = [note.box for note in piece.notes]
    words += [note.leader.buffer(2 * LEADER_DOT_MM) for note in piece.notes if note.leader]
    folds = [LineString(piece.flat[fold.path]).buffer(max(2.0, fold.mouth_mm / 2)) for fold in piece.folds]
    kerfs = [LineString(line).buffer(max(1.0, bend.kerf_mm / 2)) for bend in piece.bends for line in bend.lines]
    notches = [shapely.Point(notch.at(face, 0)).buffer(NOTCH_MM + 4) for notch in piece.notches]
    return shapely.union_all([*words, *folds, *kerfs, *notches])
