"""Where loose parts are glued onto a piece: the number and the name of each beside its rim, where there is room."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely
from shapely import LineString

from ..lettering import LINE_PITCH, Room, along_line, note_boxes
from ..loose_parts import StandingLine, standing_lines
from ..marks import SMALLEST, Note
from ..pattern import Pattern, PatternPiece
from .tables import piece_number

PARTS = np.arange(24) / 24
"""Where along a rim words are tried, in parts of its length."""

GAPS_MM = np.array([1.0, 3.0, 5.0])
"""From a rim to the words beside it."""


def standing_notes(
    pattern: Pattern, piece: PatternPiece, face: shapely.Geometry, taken: shapely.Geometry
) -> Iterator[Note]:
    """One for each loose part that stands on the piece, its number alone where the name finds no room.

    face : of the piece on its flat; taken : what is drawn and written there already
    """
    lines = [line for line in standing_lines(pattern) if line.on == piece.name]
    room = Room(face, face)
    room.take(taken)
    for line in lines:
        room.take(LineString(line.points).buffer(GAPS_MM[0] / 2))
    for loose in dict.fromkeys(line.loose for line in lines):
        number = piece_number(pattern, loose)
        spots, angles = _beside([line for line in lines if line.loose == loose])
        for words in ((f"{number} {loose}",), (f"{number}",)):
            place = room.claim(loose, note_boxes(words, spots, angles, SMALLEST))
            if place is not None:
                x, y = spots[place].tolist()
                yield Note("loose", words, (x, y), float(angles[place]), SMALLEST)
                break


def _beside(lines: list[StandingLine]) -> tuple[np.ndarray, np.ndarray]:
    """Places (p, 2) mm on both sides of the lines, near ones first, and the directions (p,) rad there."""
    along = [along_line(line.points, PARTS) for line in lines]
    points, directions = (np.vstack(both) for both in zip(*along, strict=True))
    left = np.stack([-directions[:, 1], directions[:, 0]], axis=1)
    away = np.concatenate([[gap, -gap] for gap in GAPS_MM + SMALLEST * LINE_PITCH / 2])
    spots = np.vstack([points + gap * left for gap in away])
    return spots, np.tile(np.arctan2(directions[:, 1], directions[:, 0]), len(away))
