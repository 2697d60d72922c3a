"""Notches: marks at which the two pieces of a joint meet."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from shapely import LineString, MultiLineString, Point

from .joints import JointRun, JointSide, bevel_slope
from .lettering import along_line, steps_along
from .outline import HAIR_MM, REACH
from .pieces import Piece
from .settings import Settings

NOTCHED_FROM_MM = 15.0
"""A joint longer than this gets a notch even where the spacing asks for none."""


@dataclass(frozen=True)
class Notch:
    """A mark on the line to trace that meets its twin on the other piece.

    point : (x, y) mm on the flat; inward : unit vector into the piece
    label : the joint's letter and the number along the run, as "C2"
    """

    joint: str
    label: str
    point: tuple[float, float]
    inward: tuple[float, float]

    def at(self, face: shapely.Geometry, past_mm: float) -> np.ndarray:
        """(2,) mm, where the mark is `past_mm` within the outside face: the line to trace may lie outside it, and what
        is drawn there alone is cut off with the bevel."""
        start = np.array(self.point)
        return start + (face.distance(Point(start)) + past_mm) * np.array(self.inward)


def place_notches(
    piece: Piece, flat: np.ndarray, joints: Sequence[JointRun], settings: Settings, traced: Sequence[np.ndarray]
) -> tuple[Notch, ...]:
    """Notches of a piece at equal parts of each joint's length, so that twins meet even if one side is longer.

    flat : (v, 2) mm; traced : lines (r, 2) mm, as of `traced_lines`. Both sides of a joint get the same number,
    counted along the run. Parts are counted along the modelled line, which both pieces
    share. From there each notch goes square to the line out to the traced one, wherever that lies: the cut
    face runs that way too, so that what leaves the shared line at one point arrives on both pieces at one point.
    """
    line = MultiLineString([LineString(each) for each in traced])
    notches = []
    for joint, side in sides_of(piece, joints):
        parts = notch_parts(notch_count(joint, settings))
        points, directions = along_line(flat[side.path], parts)
        inward = inwards(side is joint.a, directions)
        out = _traced_outside(piece, side, settings.model_is_inside)
        own = out[steps_along(flat[side.path], parts)].tolist()
        for number, (point, into, away) in enumerate(zip(points, inward, own, strict=True), start=1):
            x, y = _on_line(line, point, into, away, REACH * out.max())
            notches.append(Notch(joint.letter, f"{joint.letter}{number}", (x, y), (float(into[0]), float(into[1]))))
    return tuple(notches)


def notch_count(joint: JointRun, settings: Settings) -> int:
    """One notch a spacing of the shorter side, at least one on a joint long enough to slip."""
    length = min(joint.a.length_mm, joint.b.length_mm)
    return max(round(length / settings.notch_spacing_mm), int(length > NOTCHED_FROM_MM))


def notch_parts(count: int) -> np.ndarray:
    """(count,) where the notches are, in parts of the length of the joint."""
    return (np.arange(count) + 0.5) / max(count, 1)


def sides_of(piece: Piece, joints: Sequence[JointRun]) -> Iterator[tuple[JointRun, JointSide]]:
    """The joints of a piece with its own side; a dart comes twice."""
    for joint in joints:
        for side in (joint.a, joint.b):
            if side.piece == piece.name:
                yield joint, side


def inwards(forwards: bool, directions: np.ndarray) -> np.ndarray:
    """Rims have the piece on their left, and side b of a joint walks its rim backwards."""
    left = np.stack([-directions[:, 1], directions[:, 0]], axis=1)
    return left if forwards else -left


def _traced_outside(piece: Piece, side: JointSide, model_is_inside: bool) -> np.ndarray:
    """(k,) mm, how far the line to trace lies outside the modelled one by the bevel of each step."""
    far = piece.stock.thickness_mm * bevel_slope(side.bevels_deg)
    return np.maximum(far if model_is_inside else -far, 0) + piece.stock.blade_mm / 2


def _on_line(
    line: MultiLineString, point: np.ndarray, into: np.ndarray, away: float, reach: float
) -> tuple[float, float]:
    """Where the way out of a point (2,) crosses the line within `reach` mm, nearest to `away` mm from it; where it does
    not, as at an inward corner or on a flat that lies over itself, the nearest place of the line."""
    wanted = Point(point - away * into)
    way = LineString([point + HAIR_MM * into, point - (reach + HAIR_MM) * into])
    crossings = shapely.intersection(way, line)
    near = line if crossings.is_empty else crossings
    found = shapely.shortest_line(near, wanted).coords[0]
    return float(found[0]), float(found[1])
