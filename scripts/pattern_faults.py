"""What must hold of any pattern, looked at from outside: with numpy and shapely alone, by none of Foamwright's checks.

`faults(pattern, settings)` lists what does not hold. Where a law may be broken as long as the maker is told, a
finding that names the piece or the joint makes it no fault.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import cos, hypot, sin

import numpy as np
import shapely
from foamwright.core.joints import JointRun, JointSide
from foamwright.core.layout import Placement
from foamwright.core.layout.paging import A4, paginate
from foamwright.core.notches import Notch
from foamwright.core.pattern import Pattern, PatternPiece
from foamwright.core.pattern_json import from_dict, to_dict
from foamwright.core.settings import Settings
from shapely import LineString, Point, Polygon

LEAST_MM = 0.02
"""What no knife shows."""

LEAST_MM2 = 0.05

APART_MM = 0.5
"""Difference along a seam that glue and a thumb take up (common practice)."""

TRIMMED_MM = 0.35
"""What a corner may lose of one face untold: no knife cuts that by intent."""

MOST_STRETCH = 20.0
"""Foam that is to be pulled or squeezed so many times is no flat of anything."""


@dataclass(frozen=True)
class Fault:
    """A law that a pattern breaks.

    where : a piece or a joint, "" for the whole pattern
    """

    kind: str
    where: str
    words: str


Law = Callable[[Pattern, Settings], Iterator[Fault]]


def faults(pattern: Pattern, settings: Settings) -> list[Fault]:
    """All that does not hold. Settings are those that the pattern was made with."""
    first = [fault for law in FIRST_LAWS for fault in law(pattern, settings)]
    return first or [fault for law in LAWS for fault in law(pattern, settings)]


def faces_in_one_piece(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    owners = np.zeros(len(pattern.shell.face_start) - 1, int)
    for number, piece in enumerate(pattern.pieces):
        owners[piece.faces] += 1
        if (pattern.piece_of_face[piece.faces] != number).any():
            yield Fault("faces", piece.name, "the pattern gives its faces to another piece")
    if (owners != 1).any():
        yield Fault("faces", "", f"{(owners != 1).sum()} faces are not in just one piece")


def names_are_different(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    counts = Counter(part.name for part in pattern.parts)
    yield from (Fault("names", name, f"{count} parts have this name") for name, count in counts.items() if count > 1)
    for finding in pattern.findings:
        if finding.piece is not None and finding.piece not in counts:
            yield Fault("names", finding.piece, f"a finding ({finding.kind}) names a piece that is not there")


def flats_are_finite(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    for part in pattern.parts:
        if not (np.isfinite(part.flat).all() and np.isfinite(part.stretch).all()):
            yield Fault("finite", part.name, "the flat or its strain is not a number")


def triangles_face_up(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    for part in pattern.parts:
        area = _areas(part)
        if not (area > 0).all():
            yield Fault("flip", part.name, f"{(~(area > 0)).sum()} of {len(area)} triangles, to {area.min():.3g} mm2")


def strain_is_sane(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    for part in pattern.parts:
        most, least = part.stretch.max(), part.stretch.min()
        if not 1 / MOST_STRETCH <= least <= most <= MOST_STRETCH:
            yield Fault("strain", part.name, f"stretched {least:.3g} to {most:.3g} times")


def strain_is_true(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    """A rim is stretched no more and no less than its triangle."""
    for part in pattern.parts:
        of_step = {
            (int(a), int(b)): stretch
            for triangle, stretch in zip(part.patch.triangles, part.stretch, strict=True)
            for a, b in zip(triangle, np.roll(triangle, -1), strict=True)
        }
        for loop, rest in zip(part.patch.loops, part.rim_reference, strict=True):
            ends = np.roll(loop, -1)
            most, least = np.array([of_step[int(a), int(b)] for a, b in zip(loop, ends, strict=True)]).T
            length = np.linalg.norm(part.flat[ends] - part.flat[loop], axis=1)
            off = np.maximum(rest - most * length, least * length - rest) - 1e-6 * rest
            if off.max() > 1e-6:
                yield Fault("strain-told", part.name, f"a rim is {off.max():.3g} mm off what its strain says")


def flats_lie_once(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    """No part of a flat lies over another, or the maker is told; what is traced goes round just what was laid flat."""
    for part in pattern.parts:
        area = _areas(part)
        if not (area > 0).all():
            continue
        corners = part.flat[part.patch.triangles]
        covered = shapely.union_all(shapely.polygons(corners), grid_size=1e-6).area
        twice = area.sum() - covered
        limit = max(LEAST_MM2, 1e-6 * covered)
        if twice > limit:
            if not _told(pattern, "overlap", part.name):
                yield Fault("overlap", part.name, f"{twice:.3g} mm2 of {covered:.0f} are covered twice")
        elif part.layer_of is None:
            modelled = _face(part.inside_outline if settings.model_is_inside else part.outside_outline)
            if abs(modelled.area - covered) > limit:
                yield Fault("outline-area", part.name, f"the outline has {modelled.area:.2f} of {covered:.2f} mm2")


def outlines_are_sound(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    for part in pattern.parts:
        for which, rings in (("outside", part.outside_outline), ("inside", part.inside_outline)):
            words = _wrong_rings(rings)
            kinds = ("narrow-piece",) if not rings else ("overlap",)
            if words and not any(_told(pattern, kind, part.name) for kind in kinds):
                yield Fault("outline", part.name, f"{which}: {words}")


def far_faces_lie_right(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    """Ridges make the inside face the smaller one, valleys the larger one, square edges leave both alike."""
    for piece in pattern.pieces:
        if any(_told(pattern, kind, piece.name) for kind in ("overlap", "narrow-piece", "corner-trim", "closed-gap")):
            continue
        outside, inside = _face(piece.outside_outline), _face(piece.inside_outline)
        bevels = np.concatenate([np.zeros(1), *(side.bevels_deg for side in _sides(pattern, piece))])
        if (bevels >= 0).all() and _reaches_out(inside, outside):
            yield Fault("bevel", piece.name, "no valley, and its inside face reaches out of the outside one")
        if (bevels <= 0).all() and _reaches_out(outside, inside):
            yield Fault("bevel", piece.name, "no ridge, and its outside face reaches out of the inside one")


def mates_are_equal(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    """The sides of a joint say their true lengths, and are equally long all along or told to be not."""
    for joint in pattern.joints:
        arcs = [_arc(_path(pattern, side)) for side in joint.sides]
        for side, arc in zip(joint.sides, arcs, strict=True):
            if abs(arc[-1] - side.length_mm) > 1e-6 * max(1.0, arc[-1]):
                yield Fault("length", joint.letter, f"{side.length_mm:.3f} mm told, {arc[-1]:.3f} mm on {side.piece}")
        if len(arcs[0]) != len(arcs[1]):
            yield Fault("mates", joint.letter, "its sides have different steps")
        elif (apart := float(np.abs(arcs[0] - arcs[1]).max())) > APART_MM + 1e-6 and not _joint_told(pattern, joint):
            yield Fault("mates", joint.letter, f"up to {apart:.2f} mm apart")


def notches_are_on_the_line(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    for piece in pattern.pieces:
        if _told(pattern, "overlap", piece.name) or _told(pattern, "closed-gap", piece.name):
            continue
        line = _traced(pattern, piece)
        for notch in piece.notches:
            if (off := line.distance(Point(notch.point))) > LEAST_MM:
                yield Fault("notch", piece.name, f"{notch.label} is {off:.2f} mm off the line to trace")
            if abs(hypot(*notch.inward) - 1) > 1e-6:
                yield Fault("notch", piece.name, f"{notch.label} has no direction")


def notches_meet(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    """The twins of a joint are as many, with the same labels. Each stands square to the shared line at equal parts of
    it, as far out as its bevel and the blade take it; beside corners, where nothing is to trace there, not far off."""
    for joint in pattern.joints:
        found = [_notches_of(pattern, joint, side) for side in joint.sides]
        if [n.label for n in found[0]] != [n.label for n in found[1]]:
            yield Fault("twins", joint.letter, "its sides have different notches")
            continue
        for side, notches in zip(joint.sides, found, strict=True):
            piece = pattern.piece(side.piece)
            if not notches or any(_told(pattern, kind, piece.name) for kind in ("overlap", "closed-gap")):
                continue
            line = _traced(pattern, piece)
            wanted, reach = _wanted_notches(pattern, joint, side, notches, settings)
            for notch, place, loose in zip(notches, wanted, reach, strict=True):
                # within a dart there may be something else to trace just there
                stands = joint.a.piece != joint.b.piece and line.distance(Point(place)) < LEAST_MM
                way = place - notch.point
                aside = abs(way[0] * notch.inward[1] - way[1] * notch.inward[0])
                if np.hypot(*way) > LEAST_MM + loose or (stands and aside > 2 * LEAST_MM):
                    yield Fault("twins", joint.letter, f"{notch.label} is out of place on {piece.name}")


def _wanted_notches(
    pattern: Pattern, joint: JointRun, side: JointSide, notches: list[Notch], settings: Settings
) -> tuple[np.ndarray, np.ndarray]:
    """Places (k, 2) mm of a side's notches, and how far off (k,) mm they may be where nothing is to trace there: as far
    as an offset runs on at a corner, and to the middle of a dart."""
    piece, arc = pattern.piece(side.piece), _arc(_path(pattern, side))
    parts = (np.arange(len(notches)) + 0.5) / len(notches)
    out = _out(piece, side.bevels_deg, settings)
    farthest = max(_out(piece, own.bevels_deg, settings).max() for own in _sides(pattern, piece))
    steps = np.minimum(np.searchsorted(arc, parts * arc[-1], side="right"), len(out)) - 1
    shared = _along(_path(pattern, side), parts)
    other = _along(_path(pattern, joint.b if side is joint.a else joint.a), parts)
    gap = np.linalg.norm(shared - other, axis=1) if joint.a.piece == joint.b.piece else np.zeros(len(parts))
    inward = np.array([notch.inward for notch in notches])
    return shared - out[steps, None] * inward, 4 * farthest + gap


def sheets_hold_all_once(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    counts = Counter(placement.piece for sheet in pattern.sheets for placement in sheet.placements)
    for part in pattern.parts:
        if counts[part.name] != 1:
            yield Fault("placed", part.name, f"placed {counts[part.name]} times")
    parts = {part.name: part for part in pattern.parts}
    for sheet in pattern.sheets:
        room = shapely.box(0, 0, sheet.width_mm, sheet.height_mm).buffer(LEAST_MM / 10)
        known = [placement for placement in sheet.placements if placement.piece in parts]
        shapes = [_placed(_both_faces(parts[placement.piece]), placement) for placement in known]
        for placement, shape in zip(known, shapes, strict=True):
            if parts[placement.piece].stock.name != sheet.stock:
                yield Fault("sheet", placement.piece, f"lies on a sheet of {sheet.stock}")
            if not room.covers(shape):
                yield Fault("sheet", placement.piece, "sticks out of its sheet")
        for i, j in _close_pairs(shapes, settings.part_gap_mm):
            away = shapes[i].distance(shapes[j])
            if shapes[i].intersection(shapes[j]).area > LEAST_MM2 or away < settings.part_gap_mm - LEAST_MM:
                yield Fault("sheet", known[i].piece, f"lies {away:.2f} mm from {known[j].piece}")


def pages_show_all(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    """All of every part is on some page, at its true size."""
    area = shapely.box(*A4.drawing_area)
    seen: dict[str, list[shapely.Geometry]] = {part.name: [] for part in pattern.parts}
    whole = {part.name: _both_faces(part) for part in pattern.parts}
    for page in paginate(pattern, A4):
        for placement in page.placements:
            shown = _placed(whole[placement.piece], placement).intersection(area)
            seen[placement.piece].append(_taken_back(shown, placement))
    for name, shapes in seen.items():
        missing = whole[name].difference(shapely.union_all(shapes).buffer(LEAST_MM)).area
        if missing > LEAST_MM2:
            yield Fault("page", name, f"{missing:.2f} mm2 are on no page")


def json_comes_back(pattern: Pattern, settings: Settings) -> Iterator[Fault]:
    try:
        text = json.dumps(to_dict(pattern), allow_nan=False)
        again = json.dumps(to_dict(from_dict(json.loads(text))), allow_nan=False)
    except Exception as problem:  # whatever stops a pattern from being kept
        yield Fault("json", "", repr(problem)[:200])
        return
    if again != text:
        yield Fault("json", "", "it comes back as something else")


FIRST_LAWS: tuple[Law, ...] = (faces_in_one_piece, names_are_different, flats_are_finite)
"""Without these nothing else can be looked at."""

LAWS: tuple[Law, ...] = (
    triangles_face_up,
    strain_is_sane,
    strain_is_true,
    flats_lie_once,
    outlines_are_sound,
    far_faces_lie_right,
    mates_are_equal,
    notches_are_on_the_line,
    notches_meet,
    sheets_hold_all_once,
    pages_show_all,
    json_comes_back,
)


# --- what is told ------------------------------------------------------------------------------


def _told(pattern: Pattern, kind: str, piece: str) -> bool:
    return any(finding.kind == kind and finding.piece == piece for finding in pattern.findings)


def _joint_told(pattern: Pattern, joint: JointRun) -> bool:
    words = f"Joint {joint.letter} "
    return any(finding.kind == "unequal-seam" and words in finding.message for finding in pattern.findings)


# --- shapes ------------------------------------------------------------------------------------


def _areas(part: PatternPiece) -> np.ndarray:
    """(m,) mm2, negative where a triangle is turned over."""
    a, b, c = part.flat[part.patch.triangles].transpose(1, 0, 2)
    one, other = b - a, c - a
    return (one[:, 0] * other[:, 1] - one[:, 1] * other[:, 0]) / 2


def _wrong_rings(rings: tuple[np.ndarray, ...]) -> str:
    if not rings:
        return "none"
    for number, ring in enumerate(rings):
        if not np.isfinite(ring).all():
            return f"ring {number} is not of numbers"
        if len(ring) < 4 or (ring[0] != ring[-1]).any():
            return f"ring {number} is open"
        # the lips of a slit go round next to nothing, either way
        if _around(ring) < 0 if number == 0 else _around(ring) > LEAST_MM2:
            return f"ring {number} runs backwards"
    shape = Polygon(rings[0], rings[1:])
    # the sides of a dart may touch all along, which is no valid polygon, but goes round everything once
    once = abs(shape.area - shapely.make_valid(shape).area) < LEAST_MM2
    return "" if shape.is_valid or once else str(shapely.is_valid_reason(shape))


def _around(ring: np.ndarray) -> float:
    """mm2 that a closed ring goes round, negative if clockwise; right also where it touches itself."""
    (x, y), (u, v) = (ring[:-1] - ring[0]).T, (ring[1:] - ring[0]).T
    return float((x * v - u * y).sum() / 2)


def _face(rings: tuple[np.ndarray, ...]) -> shapely.Geometry:
    return shapely.make_valid(Polygon(rings[0], rings[1:])) if rings else Polygon()


def _reaches_out(one: shapely.Geometry, other: shapely.Geometry) -> bool:
    """By more than corners lose untold."""
    return bool(one.difference(other.buffer(TRIMMED_MM)).area > LEAST_MM2)


def _both_faces(part: PatternPiece) -> shapely.Geometry:
    """The outer rims of both faces together."""
    rims = [shapely.make_valid(Polygon(r[0])) for r in (part.outside_outline, part.inside_outline) if r]
    return shapely.union_all(rims)


def _traced(pattern: Pattern, piece: PatternPiece) -> shapely.Geometry:
    """The rim of both faces together, with half of what the blade takes; within it the middle of each dart, and the
    sides of gaps that the blade does not enter."""
    half = piece.stock.blade_mm / 2
    both = shapely.union_all([_face(piece.outside_outline), _face(piece.inside_outline)], grid_size=1e-6)
    whole = both.buffer(half, join_style="mitre")
    darts = [joint for joint in pattern.joints if joint.a.piece == joint.b.piece == piece.name]
    middles = [LineString((_path(pattern, dart.a) + _path(pattern, dart.b)) / 2) for dart in darts]
    sides = both.boundary.difference(whole.buffer(-half).boundary.buffer(half / 4 + LEAST_MM))
    return shapely.union_all([whole.boundary, sides, *(shapely.intersection(middle, whole) for middle in middles)])


def _path(pattern: Pattern, side: JointSide) -> np.ndarray:
    return pattern.piece(side.piece).flat[side.path]


def _arc(path: np.ndarray) -> np.ndarray:
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])


def _out(piece: PatternPiece, bevels_deg: np.ndarray, settings: Settings) -> np.ndarray:
    """(k,) mm, how far the line to trace lies outside the modelled one."""
    lean = np.tan(np.radians(bevels_deg)) * (1 if settings.model_is_inside else -1)
    return np.maximum(lean * piece.stock.thickness_mm, 0) + piece.stock.blade_mm / 2


def _sides(pattern: Pattern, piece: PatternPiece) -> list[JointSide]:
    return [side for run in pattern.runs for side in run.sides if side.piece == piece.name]


def _along(path: np.ndarray, parts: np.ndarray) -> np.ndarray:
    """(k, 2) at parts (k,) of its length."""
    arc = _arc(path)
    return np.stack([np.interp(parts * arc[-1], arc, path[:, axis]) for axis in (0, 1)], axis=1)


def _notches_of(pattern: Pattern, joint: JointRun, side: JointSide) -> list[Notch]:
    own = [notch for notch in pattern.piece(side.piece).notches if notch.joint == joint.letter]
    if joint.a.piece != joint.b.piece:
        return own
    half = len(own) // 2
    return own[:half] if side is joint.a else own[half:]


def _placed(shape: shapely.Geometry, placement: Placement) -> shapely.Geometry:
    c, s = cos(placement.angle), sin(placement.angle)
    return shapely.affinity.affine_transform(shape, [c, -s, s, c, placement.x, placement.y])


def _taken_back(shape: shapely.Geometry, placement: Placement) -> shapely.Geometry:
    c, s, x, y = cos(placement.angle), sin(placement.angle), placement.x, placement.y
    return shapely.affinity.affine_transform(shape, [c, s, -s, c, -c * x - s * y, s * x - c * y])


def _close_pairs(shapes: list[shapely.Geometry], gap: float) -> Iterator[tuple[int, int]]:
    one, other = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=gap)
    return ((int(i), int(j)) for i, j in zip(one, other, strict=True) if i < j)
