"""What is written on a piece: its name, what its edges and folds are, how it is built in."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, Point, Polygon

from .call_outs import bend_words, build_words, fold_words, joint_words, name_words, rim_words
from .folds import FoldRun
from .joints import JointRun, JointSide, RimRun
from .lettering import (
    RIM_MM,
    Room,
    along_line,
    long_axis,
    note_boxes,
    points_around,
    points_inside,
    steps_along,
    tall,
    widest_place,
)
from .notches import Notch, inwards, notch_parts, sides_of
from .outline import TIDY_MM, face_of
from .pieces import Piece
from .progress import Progress, Steps
from .tight_bends import TightBend

STAGE = "Drawing pieces"

NAME_HEIGHTS = (10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0)
TEXT_HEIGHTS = (3.0, 2.5, 2.0)
SMALLEST = 2.0
"""Heights of capitals in mm, tried from the largest; 2 mm is the least that is read at arm's length."""

ALONG = np.array([0.5, 0.42, 0.58, 0.34, 0.66, 0.25, 0.75, 0.15, 0.85])
"""Where along an edge words are tried, in parts of its length."""

SLANTS = np.radians((90.0, 45.0, -45.0, 67.5, -67.5, 22.5, -22.5))
"""Directions in which words are tried where they fit neither level nor along the piece."""

EDGE_GAP_MM = 2.0
"""From a line to the words along it."""

NOTCH_ROOM_MM = 8.0
"""How far into the piece a notch and its label are kept free of words."""

FEW = 16
"""Places that are looked at before more are."""

LONGEST_LEADER_MM = 25.0
"""Words that would stand further from their line on the piece are written outside it."""


@dataclass(frozen=True)
class Note:
    """Words at a place on the flat.

    role : "name", "build" (stock, outside up, mate, group), "joint", "fold" or "rim"
    anchor : (x, y) mm, middle of the text; angle : rad, reading direction; height_mm : of capitals
    tip : (x, y) mm, where a leader goes from the words; None where they stand beside what they are about
    """

    role: str
    lines: tuple[str, ...]
    anchor: tuple[float, float]
    angle: float
    height_mm: float
    tip: tuple[float, float] | None = None

    @property
    def box(self) -> Polygon:
        """What the words fill."""
        return note_boxes(self.lines, np.array([self.anchor]), np.array([self.angle]), self.height_mm)[0]

    @property
    def leader(self) -> LineString | None:
        return LineString(shapely.shortest_line(self.box, Point(self.tip))) if self.tip else None


def write_notes(
    piece: Piece,
    number: int,
    flat: np.ndarray,
    outside: Sequence[np.ndarray],
    joints: Sequence[JointRun],
    folds: Sequence[FoldRun],
    notches: Sequence[Notch] = (),
    rims: Sequence[RimRun] = (),
    bends: Sequence[TightBend] = (),
) -> Steps[tuple[Note, ...]]:
    """Name, joints, folds, rims and build words of a piece, clear of each other. Yields Progress.

    number : of the piece, counted from 1; flat : (v, 2) mm; outside : rings as of `both_outlines`.
    First the least wording of each gets its place, if need be with a leader, at last outside the outline; then
    each says as much more as there is room for, in larger letters where they fit.
    """
    face = face_of(outside)
    sides = [side for _, side in sides_of(piece, joints)]
    wider = max([0.0, *(_set_back(piece, -side.bevels_deg).max() for side in sides)])
    around = face.buffer(wider) if wider > TIDY_MM else face  # by next to nothing it may come out empty
    room = Room(face, around)
    for shape in _drawn(flat, face, folds, notches, bends):
        yield Progress(STAGE, 0.0)
        room.take(shape)
    for joint, side in sides_of(piece, joints):
        room.take(_inside_line(piece, flat, side, side is joint.a))
    for rim in rims:
        if rim.side.piece == piece.name and rim.side.bevels_deg.any():
            room.take(_inside_line(piece, flat, rim.side, True))
    calls = [_joint_call(piece, flat, joint, side, notches) for joint, side in sides_of(piece, joints)]
    calls += [_rim_call(piece, flat, rim) for rim in rims if rim.side.piece == piece.name and rim_words(rim)]
    for position, fold in enumerate(folds, start=1):
        yield Progress(STAGE, 0.0)
        calls.append(_fold_call(flat, fold, position))
    least: list[Note] = []
    for call in calls:
        yield Progress(STAGE, len(least) / (2 * len(calls)))
        least.append(_least(room, call))
    name, build = _name_and_stock(piece, number, room)
    fullest: list[Note] = []
    for call, note in zip(calls, least, strict=True):
        yield Progress(STAGE, 0.5 + len(fullest) / (2 * len(calls)))
        # where the least found no room at its own line, more finds none
        more = note.tip is None and _written(room, call, call.wordings, TEXT_HEIGHTS)
        fullest.append(more or note)
    beside_name = _near("build", build_words(piece), np.array(name.anchor), face)
    build = _written(room, beside_name, beside_name.wordings, TEXT_HEIGHTS) or build
    extra = [_near("fold", bend_words(bend), flat[bend.path].mean(axis=0), face, key=bend.path[0]) for bend in bends]
    written = [_written(room, call, call.wordings, TEXT_HEIGHTS) for call in extra]
    return name, *fullest, *(note for note in written if note), build


# --- what wants to be written ------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Call:
    """Words that look for a place.

    key : of its room; wordings : the fullest first, the last one must be written; tip : (2,) mm, what a leader
    points at; spots : from words and their height to places (p, 2) and angles (p,), the best first
    """

    key: tuple[str, object]
    wordings: Sequence[tuple[str, ...]]
    tip: np.ndarray
    spots: Callable[[tuple[str, ...], float], tuple[np.ndarray, np.ndarray]]

    @property
    def role(self) -> str:
        return self.key[0]


def _joint_call(piece: Piece, flat: np.ndarray, joint: JointRun, side: JointSide, notches: Sequence[Notch]) -> _Call:
    points, directions = along_line(flat[side.path], ALONG)
    labels = list(dict.fromkeys(notch.label for notch in notches if notch.joint == joint.letter))
    bevels = side.bevels_deg[steps_along(flat[side.path], notch_parts(len(labels)))]
    notched = dict(zip(labels, bevels.tolist(), strict=True))
    key = ("joint", (joint.letter, side is joint.a))
    sides = [(points, inwards(side is joint.a, directions), directions)]
    return _along(key, joint_words(joint, side, notched), sides, _gaps(piece, side))


def _rim_call(piece: Piece, flat: np.ndarray, rim: RimRun) -> _Call:
    points, directions = along_line(flat[rim.side.path], ALONG)
    sides = [(points, inwards(True, directions), directions)]
    return _along(("rim", rim.letter), rim_words(rim), sides, _gaps(piece, rim.side))


def _fold_call(flat: np.ndarray, fold: FoldRun, number: int) -> _Call:
    points, directions = along_line(flat[fold.path], np.array([0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8]))
    left = inwards(True, directions)
    gap = max(0.8, fold.mouth_mm / 2) + 1.0
    sides = [(points, left, directions), (points, -left, directions)]
    return _along(("fold", number), fold_words(fold, number), sides, (gap, gap + 4.0, gap + 8.0))


def _along(
    key: tuple[str, object],
    wordings: Sequence[tuple[str, ...]],
    sides: Sequence[tuple[np.ndarray, np.ndarray, np.ndarray]],
    gaps: Sequence[float],
) -> _Call:
    """Words beside a line, their near edge a gap away from it; sides : points, unit normals, directions."""
    points, normals, directions = (np.vstack(arrays) for arrays in zip(*sides, strict=True))
    angles = np.tile(np.arctan2(directions[:, 1], directions[:, 0]), len(gaps))

    def spots(lines: tuple[str, ...], height: float) -> tuple[np.ndarray, np.ndarray]:
        depth = tall(lines, height) / 2
        return np.vstack([points + (gap + depth) * normals for gap in gaps]), angles

    return _Call(key, wordings, points[0], spots)


def _near(
    role: str, wordings: Sequence[tuple[str, ...]], place: np.ndarray, face: shapely.Geometry, key: object = None
) -> _Call:
    """Words as near to a place inside the face as can be, level or along the piece."""
    inside = points_inside(face)
    points = np.vstack([place, inside[np.argsort(np.linalg.norm(inside - place, axis=1), kind="stable")]])
    turns = (0.0, long_axis(face), *SLANTS)
    places, angles = np.tile(points, (len(turns), 1)), np.repeat(turns, len(points))
    return _Call((role, key), wordings, place, lambda lines, height: (places, angles))


def _gaps(piece: Piece, side: JointSide) -> tuple[float, float, float]:
    """Distances from the edge at which words are tried: past the inside line first."""
    inside_line = max(float(_set_back(piece, side.bevels_deg).max()), 0.0)
    return inside_line + EDGE_GAP_MM, EDGE_GAP_MM, inside_line + EDGE_GAP_MM + NOTCH_ROOM_MM


def _set_back(piece: Piece, bevels_deg: np.ndarray) -> np.ndarray:
    """(k,) mm, how far the inside outline lies within the outside one; negative where it lies outside."""
    return piece.stock.thickness_mm * np.tan(np.radians(bevels_deg))


def _inside_line(piece: Piece, flat: np.ndarray, side: JointSide, forwards: bool) -> shapely.Geometry:
    """The line along which the tilted blade comes out, with a little room."""
    starts, ends = flat[side.path[:-1]], flat[side.path[1:]]
    length = np.linalg.norm(ends - starts, axis=1, keepdims=True)
    inward = inwards(forwards, (ends - starts) / np.where(length > 0, length, 1))
    moved = _set_back(piece, side.bevels_deg)[:, None] * inward
    return LineString(np.stack([starts + moved, ends + moved], axis=1).reshape(-1, 2)).buffer(RIM_MM)


# --- where it is written -----------------------------------------------------------------------


def _drawn(
    flat: np.ndarray,
    face: shapely.Geometry,
    folds: Sequence[FoldRun],
    notches: Sequence[Notch],
    bends: Sequence[TightBend],
) -> Iterator[shapely.Geometry]:
    """What words keep off."""
    for fold in folds:
        yield LineString(flat[fold.path]).buffer(max(0.8, fold.mouth_mm / 2))
    for bend in bends:
        for line in bend.lines:
            yield LineString(line).buffer(max(0.8, bend.kerf_mm / 2))
    for notch in notches:
        yield LineString([notch.point, notch.at(face, NOTCH_ROOM_MM)]).buffer(2.0)


def _name_and_stock(piece: Piece, number: int, room: Room) -> tuple[Note, Note]:
    """The name as large as leaves room for the thickness of the stock beside it."""
    face = room.face
    centre, radius = widest_place(face)
    name_call = _near("name", name_words(number, piece.name), centre, face)
    # beside the name, so that their leaders do not meet in one point
    aside = centre + radius / 2 * np.array([np.cos(long_axis(face)), np.sin(long_axis(face))])
    stock_call = _near("build", build_words(piece), aside, face)
    # a name that fills the piece leaves no place for its joints
    for height in [size for size in NAME_HEIGHTS if size <= max(radius / 3, SMALLEST)]:
        name = _written(room, name_call, name_call.wordings, (height,))
        stock = name and _written(room, stock_call, stock_call.wordings[-1:], (SMALLEST,))
        if name and stock:
            return name, stock
    return _least(room, name_call), _least(room, stock_call)


def _least(room: Room, call: _Call) -> Note:
    """The least wording at its best place, else with a leader on the piece, else with one around it."""
    lines = call.wordings[-1]
    return (
        _written(room, call, [lines], (SMALLEST,))
        or _led(room, call, lines, _inner_spots(room.face, call.tip), outside=False)
        or _led(room, call, lines, _outer_spots(room.around, call.tip, lines), outside=True)
        or Note(call.role, lines, (float(call.tip[0]), float(call.tip[1])), 0.0, SMALLEST)
    )


def _written(room: Room, call: _Call, wordings: Sequence[tuple[str, ...]], heights: Sequence[float]) -> Note | None:
    """The fullest wording that fits at one of the call's own spots."""
    # where not even what all wordings have in common finds room, none of them does
    letters, rows = min(max(map(len, lines)) for lines in wordings), min(map(len, wordings))
    common, smallest = ("x" * letters,) * rows, min(heights)
    spots, angles = call.spots(common, smallest)
    open_to = room.is_free(call.key, note_boxes(common, spots, angles, smallest))
    for lines in wordings if open_to.any() else ():
        for height in heights:
            spots, angles = (places[open_to] for places in call.spots(lines, height))
            place = room.claim(call.key, note_boxes(lines, spots, angles, height))
            if place is not None:
                (x, y), angle = spots[place], angles[place]
                return Note(call.role, lines, (float(x), float(y)), float(angle), height)
    return None


def _led(room: Room, call: _Call, lines: tuple[str, ...], spots: np.ndarray, *, outside: bool) -> Note | None:
    """Words in the smallest letters at one of the spots (p, 2), with a leader to the tip."""
    if room.is_written_on(call.tip, call.key):
        return None
    for some in _a_few_first(len(spots)):
        boxes = note_boxes(lines, spots[some], np.zeros(len(spots[some])), SMALLEST)
        place = room.claim(call.key, boxes, call.tip, outside=outside)
        if place is not None:
            (x, y), tip = spots[some][place], (float(call.tip[0]), float(call.tip[1]))
            return Note(call.role, lines, (float(x), float(y)), 0.0, SMALLEST, tip)
    return None


def _a_few_first(count: int) -> Iterator[slice]:
    """All of `count` places in their order, each time four times as many: mostly one of the first is free."""
    start, size = 0, FEW
    while start < count:
        yield slice(start, start + size)
        start, size = start + size, 4 * size


def _inner_spots(face: shapely.Geometry, tip: np.ndarray) -> np.ndarray:
    inside = points_inside(face)
    away = np.linalg.norm(inside - tip, axis=1)
    order = np.argsort(away, kind="stable")
    return inside[order][away[order] <= LONGEST_LEADER_MM]


def _outer_spots(around: shapely.Geometry, tip: np.ndarray, lines: tuple[str, ...]) -> np.ndarray:
    """(p, 2) places around the piece, the nearest to the tip first."""
    left, low, right, high = note_boxes(lines, np.zeros((1, 2)), np.zeros(1), SMALLEST)[0].bounds
    near, far = (high - low) / 2 + EDGE_GAP_MM, np.hypot(right - left, high - low) / 2 + EDGE_GAP_MM
    rings = [
        points_around(around, away, 3.0) for away in (*np.linspace(near, far, 3), *(far + np.arange(6.0, 60.0, 6.0)))
    ]
    spots = np.vstack(rings)
    return spots[np.argsort(np.linalg.norm(spots - tip, axis=1), kind="stable")]
