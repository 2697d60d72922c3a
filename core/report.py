"""What laying flat has cost: strain per piece, lengths per seam, against what the foam stands."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .flatten.strain import COMMON, area_quantile
from .joints import JointRun, JointSide
from .pattern import Pattern, PatternPiece


@dataclass(frozen=True)
class PieceStrain:
    """Strains as parts of 1, + pulled, - squeezed.

    common : what 99 % of the flat area keeps to, whichever way it goes; mean : by area
    area_error : area of the flat over that of the reference surface, less 1
    over_cold, over_hot : part of the area that passes the stock's limits
    """

    piece: str
    most_pulled: float
    most_squeezed: float
    common: float
    mean: float
    area_error: float
    over_cold: float
    over_hot: float


@dataclass(frozen=True)
class SeamLengths:
    """Lengths of a joint in mm on the outside outlines of both sides.

    apart_mm : the most that points which are glued together lie apart along the seam, from its start
    error_a_mm, error_b_mm : length on the flat less that on the reference surface
    """

    letter: str
    length_a_mm: float
    length_b_mm: float
    apart_mm: float
    error_a_mm: float
    error_b_mm: float

    @property
    def apart(self) -> float:
        """The difference of both lengths as a part of them."""
        return abs(self.length_a_mm - self.length_b_mm) / max(self.length_a_mm, self.length_b_mm)


@dataclass(frozen=True)
class Report:
    """Pieces and seams in the order of the pattern."""

    pieces: tuple[PieceStrain, ...]
    seams: tuple[SeamLengths, ...]


def report(pattern: Pattern) -> Report:
    return Report(tuple(_strain(piece) for piece in pattern.pieces), seam_lengths(pattern))


def seam_lengths(pattern: Pattern) -> tuple[SeamLengths, ...]:
    """In the order of the joints."""
    by_name = {piece.name: piece for piece in pattern.pieces}
    return tuple(_lengths(joint, by_name) for joint in pattern.joints)


def layer_gaps(pattern: Pattern, joint: JointRun) -> np.ndarray:
    """(k,) per edge of the joint, the difference of its lengths on the reference surfaces of both sides over their
    mean: 0 where the foam bends gently, much where a piece bends about as tightly as its foam is thick."""
    (_, a), (_, b) = (_steps(pattern.piece(side.piece), side) for side in (joint.a, joint.b))
    return 2 * np.abs(a - b) / (a + b)


def face_strain(piece: PatternPiece) -> np.ndarray:
    """(m,) per triangle, the larger of pull and squeeze as a part of 1."""
    return np.abs(piece.stretch - 1).max(axis=1)


def common_strain(piece: PatternPiece) -> float:
    """What 99 % of the flat area keeps to, pulled or squeezed, as a part of 1."""
    return area_quantile(face_strain(piece), flat_areas(piece), COMMON)


def flat_areas(piece: PatternPiece) -> np.ndarray:
    """(m,) mm^2 per triangle."""
    a, b, c = piece.flat[piece.patch.triangles].transpose(1, 0, 2)
    return np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2


def _strain(piece: PatternPiece) -> PieceStrain:
    strain, area = face_strain(piece), flat_areas(piece)
    total = area.sum()
    return PieceStrain(
        piece=piece.name,
        most_pulled=piece.largest_stretch - 1,
        most_squeezed=piece.largest_squeeze - 1,
        common=common_strain(piece),
        mean=float(strain @ area / total),
        area_error=float(total / (area * piece.stretch.prod(axis=1)).sum() - 1),
        over_cold=float(area[strain > piece.stock.cold_limit].sum() / total),
        over_hot=float(area[strain > piece.stock.hot_limit].sum() / total),
    )


def _lengths(joint: JointRun, by_name: dict[str, PatternPiece]) -> SeamLengths:
    (flat_a, true_a), (flat_b, true_b) = (_steps(by_name[side.piece], side) for side in (joint.a, joint.b))
    return SeamLengths(
        letter=joint.letter,
        length_a_mm=float(flat_a.sum()),
        length_b_mm=float(flat_b.sum()),
        apart_mm=float(np.abs(np.cumsum(flat_a) - np.cumsum(flat_b)).max()),
        error_a_mm=float(flat_a.sum() - true_a.sum()),
        error_b_mm=float(flat_b.sum() - true_b.sum()),
    )


def _steps(piece: PatternPiece, side: JointSide) -> tuple[np.ndarray, np.ndarray]:
    """(k,) mm along the run, on the flat and on the reference surface."""
    return piece.patch.step_lengths(piece.flat)[side.loop][side.steps], piece.rim_reference[side.loop][side.steps]
