"""What is written and drawn on a piece besides its outlines: notches, labels, call-outs in words."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import Polygon

from .folds import FoldRun
from .joints import JointRun, JointSide, RimRun
from .lettering import Room, along_line, note_boxes, points_inside
from .outline import parts_of
from .pieces import Piece
from .settings import Settings
from .tight_bends import TightBend

NOTCHED_FROM_MM = 15.0
"""A joint longer than this gets a notch even where the spacing asks for none."""

NAME_HEIGHTS = (10.0, 8.0, 6.0, 5.0, 4.0, 3.0, 2.5, 2.0)
TEXT_HEIGHTS = (3.0, 2.5, 2.0)
SMALLEST = 2.0
"""Heights of capitals in mm, tried from the largest; 2 mm is the least that is read at arm's length."""

ALONG = np.array([0.5, 0.42, 0.58, 0.34, 0.66, 0.25, 0.75, 0.15, 0.85])
"""Where along an edge words are tried, in parts of its length."""

EDGE_GAP_MM = 2.0
"""From a line to the words along it."""

STEADY_BEVEL_DEG = 5.0
"""A bevel that changes by less along a joint is cut at one angle."""

NOTCH_ROOM_MM = 8.0
"""How far into the piece a notch and its label are kept free of words."""


@dataclass(frozen=True)
class Notch:
    """A mark on the outside outline that meets its twin on the other piece.

    point : (x, y) mm on the flat; inward : unit vector into the piece
    label : the joint's letter and the number along the run, as "C2"
    """

    joint: str
    label: str
    point: tuple[float, float]
    inward: tuple[float, float]


@dataclass(frozen=True)
class Note:
    """Words at a place on the flat.

    role : "name", "build" (mate, group, stock, outside up), "joint", "fold" or "rim"
    anchor : (x, y) mm, middle of the text; angle : rad, reading direction; height_mm : of capitals
    """

    role: str
    lines: tuple[str, ...]
    anchor: tuple[float, float]
    angle: float
    height_mm: float


def place_notches(piece: Piece, flat: np.ndarray, joints: Sequence[JointRun], settings: Settings) -> tuple[Notch, ...]:
    """Notches of a piece at equal parts of each joint's length, so that twins meet even if one side is longer.

    flat : (v, 2) mm. Both sides of a joint get the same number, counted along the run.
    """
    notches = []
    for joint, side in _sides_of(piece, joints):
        count = notch_count(joint, settings)
        points, directions = along_line(flat[side.path], (np.arange(count) + 0.5) / max(count, 1))
        inward = _inward(side is joint.a, directions)
        if settings.model_is_inside:
            # the outside outline, which is traced, lies further out by the bevel
            points = points - piece.stock.thickness_mm * np.tan(np.radians(side.bevel_deg)) * inward
        for number, (point, into) in enumerate(zip(points.tolist(), inward.tolist(), strict=True), start=1):
            notches.append(Notch(joint.letter, f"{joint.letter}{number}", tuple(point), tuple(into)))
    return tuple(notches)


def notch_count(joint: JointRun, settings: Settings) -> int:
    """One notch a spacing of the shorter side, at least one on a joint long enough to slip."""
    length = min(joint.a.length_mm, joint.b.length_mm)
    return max(round(length / settings.notch_spacing_mm), int(length > NOTCHED_FROM_MM))


def write_notes(
    piece: Piece,
    flat: np.ndarray,
    outside: Sequence[np.ndarray],
    joints: Sequence[JointRun],
    folds: Sequence[FoldRun],
    notches: Sequence[Notch] = (),
    rims: Sequence[RimRun] = (),
    bends: Sequence[TightBend] = (),
) -> tuple[Note, ...]:
    """Name, joints, folds, rims and build words of a piece, within its outline and clear of each other.

    flat : (v, 2) mm; outside : rings as of `both_outlines`. What does not fit is said shorter, then smaller; the
    name and the letters of the joints are always written, folds, rims and build words only where there is room
    (the printed lists repeat them).
    """
    face = shapely.union_all(parts_of(shapely.make_valid(Polygon(outside[0], outside[1:]))))
    room = Room(face)
    for fold in folds:
        room.take(shapely.LineString(flat[fold.path]).buffer(max(0.8, fold.mouth_mm / 2)))
    for bend in bends:
        for kerf in bend.kerfs:
            room.take(Polygon(kerf))
    for notch in notches:
        point, into = np.array(notch.point), np.array(notch.inward)
        room.take(shapely.LineString([point, point + NOTCH_ROOM_MM * into]).buffer(2.0))
    notes = [_name_note(piece, face, room)]
    notes += [_joint_note(piece, flat, joint, side, room) for joint, side in _sides_of(piece, joints)]
    for fold in folds:
        notes += _fold_note(flat, fold, room)
    for bend in bends:
        note = _fit_near(room, flat[bend.path].mean(axis=0), face, "fold", bend_words(bend), TEXT_HEIGHTS, (0.0,))
        notes += [note] if note else []
    for rim in rims:
        if rim.side.piece == piece.name and rim_words(rim):
            notes += _rim_note(piece, flat, rim, room)
    notes += _build_note(piece, face, room, np.array(notes[0].anchor))
    return tuple(notes)


# --- words -------------------------------------------------------------------------------------


def joint_words(joint: JointRun, side: JointSide) -> list[tuple[str, ...]]:
    """What is written at one side of a joint, the fullest wording first."""
    other = joint.b if side is joint.a else joint.a
    whither = "closes on itself" if other.piece == side.piece else f"to {other.piece}"
    if joint.rule == "butt":
        cut = "butt"
    elif joint.rule == "one-sided" and not side.bevels_deg.any():
        cut = "square, other side bevelled"
    else:
        cut = f"{joint.rule} {bevel_range(side)} deg" + (", inside longer" if side.bevel_deg < 0 else "")
    return [
        (f"{joint.letter}  {whither}  {cut}",),
        (f"{joint.letter}  {whither}", cut),
        (f"{joint.letter}  {cut}",),
        (joint.letter,),
    ]


def bevel_range(side: JointSide) -> str:
    """ "22", or "18 to 27" where the bevel changes along the run by more than a hand can hold it."""
    sizes = np.abs(side.bevels_deg)
    steady = np.ptp(side.bevels_deg) <= STEADY_BEVEL_DEG
    return f"{abs(side.bevel_deg):.0f}" if steady else f"{sizes.min():.0f} to {sizes.max():.0f}"


def rim_words(rim: RimRun) -> list[tuple[str, ...]]:
    """What is written at an open rim, the fullest wording first; nothing where it is cut square."""
    if rim.style == "rounded":
        return [(f"{rim.letter}  open rim  round both corners {_mm(rim.round_mm)} mm",), (f"{rim.letter}  round rim",)]
    if rim.style == "bevelled":
        return [(f"{rim.letter}  open rim  bevel {bevel_range(rim.side)} deg",), (f"{rim.letter}  bevel",)]
    return []


def fold_words(fold: FoldRun) -> list[tuple[str, ...]]:
    """What is written at a fold, the fullest wording first."""
    depth, mouth, bend = f"{_mm(fold.depth_mm)} mm deep", _mm(fold.mouth_mm), f"{abs(fold.bend_deg):.0f} deg"
    if fold.kind == "groove":
        cut, rest = f"V-groove {depth}", f"{mouth} mm wide, bends {bend} out"
    else:
        cut, rest = f"score {depth}", f"bends {bend} in, opens {mouth} mm, fill"
    return [(f"{cut}, {rest}",), (cut, rest), (cut,)]


def bend_words(bend: TightBend) -> list[tuple[str, ...]]:
    """What is written at a tight bend, the fullest wording first."""
    if bend.treatment == "kerfs":
        depth, apart = f"{_mm(bend.depth_mm)} mm deep", f"{_mm(bend.spacing_mm)} mm apart"
        return [(f"{bend.count} kerfs {depth}", f"{_mm(bend.kerf_mm)} mm wide, {apart}"), (f"{bend.count} kerfs",)]
    return [(f"tight bend, radius {bend.radius_mm:.0f} mm inside", "heat-form"), ("heat-form",)]


def build_words(piece: Piece) -> list[tuple[str, ...]]:
    """Mate, group, stock and which face is up, in lines or in one."""
    mate = [f"mirrors {piece.mate}"] if piece.mate else []
    lines = [*mate, f"group {piece.group}", piece.stock.name, "outside face up"]
    return [tuple(lines), (", ".join(lines),), tuple(lines[-2:])]


def _mm(length: float) -> str:
    return f"{round(length, 1):g}"


# --- places ------------------------------------------------------------------------------------


def _sides_of(piece: Piece, joints: Sequence[JointRun]) -> Iterator[tuple[JointRun, JointSide]]:
    """The joints of a piece with its own side; a dart comes twice."""
    for joint in joints:
        for side in (joint.a, joint.b):
            if side.piece == piece.name:
                yield joint, side


def _inward(forwards: bool, directions: np.ndarray) -> np.ndarray:
    """Rims have the piece on their left, and side b of a joint walks its rim backwards."""
    left = np.stack([-directions[:, 1], directions[:, 0]], axis=1)
    return left if forwards else -left


def _name_note(piece: Piece, face: shapely.Geometry, room: Room) -> Note:
    centre, radius = _widest_place(face)
    angles = (0.0, _long_axis(face))
    # a name that fills the piece leaves no place for its joints
    for height in [size for size in NAME_HEIGHTS if size <= max(radius / 2, SMALLEST)]:
        note = _fit_near(room, centre, face, "name", [(piece.name,)], (height,), angles)
        if note:
            return note
    return Note("name", (piece.name,), (float(centre[0]), float(centre[1])), angles[1], SMALLEST)


def _build_note(piece: Piece, face: shapely.Geometry, room: Room, name: np.ndarray) -> list[Note]:
    for lines in build_words(piece):
        note = _fit_near(room, name, face, "build", [lines], TEXT_HEIGHTS, (0.0, _long_axis(face)))
        if note:
            return [note]
    return []


def _fit_near(
    room: Room,
    place: np.ndarray,
    face: shapely.Geometry,
    role: str,
    wordings: Sequence[tuple[str, ...]],
    heights: Sequence[float],
    angles: Sequence[float],
) -> Note | None:
    """The largest wording that fits at a point inside the face, as near to the place as can be."""
    spots = points_inside(face)
    spots = np.vstack([place, spots[np.argsort(np.linalg.norm(spots - place, axis=1), kind="stable")]])
    for lines in wordings:
        for height in heights:
            for angle in angles:
                note = _fit(room, role, lines, spots, np.full(len(spots), angle), height)
                if note:
                    return note
    return None


def _joint_note(piece: Piece, flat: np.ndarray, joint: JointRun, side: JointSide, room: Room) -> Note:
    points, directions = along_line(flat[side.path], ALONG)
    inward = _inward(side is joint.a, directions)
    angles = np.arctan2(directions[:, 1], directions[:, 0])
    gaps = _gaps(piece, side)
    note = _fit_along(room, "joint", joint_words(joint, side), points, inward, angles, gaps)
    if note:
        return note
    x, y = points[0] + (EDGE_GAP_MM + SMALLEST / 2) * inward[0]
    return Note("joint", (joint.letter,), (float(x), float(y)), float(angles[0]), SMALLEST)


def _rim_note(piece: Piece, flat: np.ndarray, rim: RimRun, room: Room) -> list[Note]:
    points, directions = along_line(flat[rim.side.path], ALONG)
    angles = np.arctan2(directions[:, 1], directions[:, 0])
    note = _fit_along(room, "rim", rim_words(rim), points, _inward(True, directions), angles, _gaps(piece, rim.side))
    return [note] if note else []


def _gaps(piece: Piece, side: JointSide) -> tuple[float, float, float]:
    """Distances from the edge at which words are tried: past the inside line first."""
    inside_line = piece.stock.thickness_mm * float(np.tan(np.radians(max(side.bevels_deg.max(), 0.0))))
    return inside_line + EDGE_GAP_MM, EDGE_GAP_MM, inside_line + EDGE_GAP_MM + NOTCH_ROOM_MM


def _fold_note(flat: np.ndarray, fold: FoldRun, room: Room) -> list[Note]:
    points, directions = along_line(flat[fold.path], np.array([0.5, 0.4, 0.6, 0.3, 0.7, 0.2, 0.8]))
    angles = np.arctan2(directions[:, 1], directions[:, 0])
    left = _inward(True, directions)
    both = np.vstack([points, points]), np.vstack([left, -left]), np.concatenate([angles, angles])
    gap = max(0.8, fold.mouth_mm / 2) + 1.0
    note = _fit_along(room, "fold", fold_words(fold), *both, (gap, gap + 4.0))
    return [note] if note else []


def _fit_along(
    room: Room,
    role: str,
    wordings: Sequence[tuple[str, ...]],
    points: np.ndarray,
    inward: np.ndarray,
    angles: np.ndarray,
    gaps: Sequence[float],
) -> Note | None:
    """The fullest wording that fits beside a line, with its near edge a gap away from the line."""
    for lines in wordings:
        for height in TEXT_HEIGHTS:
            depth = note_boxes(lines, np.zeros((1, 2)), np.zeros(1), height)[0].bounds[3]
            for gap in gaps:
                note = _fit(room, role, lines, points + (gap + depth) * inward, angles, height)
                if note:
                    return note
    return None


def _fit(
    room: Room, role: str, lines: tuple[str, ...], spots: np.ndarray, angles: np.ndarray, height: float
) -> Note | None:
    place = room.claim(note_boxes(lines, spots, angles, height))
    if place is None:
        return None
    x, y = spots[place]
    return Note(role, lines, (float(x), float(y)), float(angles[place]), height)


def _widest_place(face: shapely.Geometry) -> tuple[np.ndarray, float]:
    """Centre (2,) and radius in mm of the largest circle inside."""
    spoke = np.array(shapely.maximum_inscribed_circle(face, tolerance=0.5).coords)
    return spoke[0], float(np.linalg.norm(spoke[-1] - spoke[0]))


def _long_axis(face: shapely.Geometry) -> float:
    """Direction in rad of the longer side of the smallest box around the face."""
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(face))
    sides = np.diff(box[:3], axis=0)
    along = sides[int(np.argmax(np.linalg.norm(sides, axis=1)))]
    return float(np.arctan2(along[1], along[0]))
