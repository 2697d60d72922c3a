"""How a flat piece stands on its own: upright as on the shell, centred."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..pieces import Piece

MATE_TOLERANCE_MM = 0.1
"""Mates that come out nearer than this to each other's mirror image differ by the solver's patience alone."""


def stand_up(flat: np.ndarray, points: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """Turn and move flat (v, 2) so that the shell's up (z of points (v, 3)) runs along y where it can.

    A piece that lies level has no up: the shell's back (y) takes its place.
    """
    turn = _direction(flat, points[:, 2], triangles)
    if np.hypot(*turn) < 1e-3:
        turn = _direction(flat, points[:, 1], triangles)
    angle = np.pi / 2 - np.arctan2(turn[1], turn[0]) if np.hypot(*turn) > 1e-9 else 0.0
    cosine, sine = np.cos(angle), np.sin(angle)
    turned = flat @ np.array([[cosine, sine], [-sine, cosine]])
    return turned - (turned.min(axis=0) + turned.max(axis=0)) / 2


def _direction(flat: np.ndarray, height: np.ndarray, triangles: np.ndarray) -> np.ndarray:
    """(2,) area-weighted mean gradient of a height over the flat."""
    a, b, c = flat[triangles].transpose(1, 0, 2)
    low, rise_b, rise_c = height[triangles].T
    rise_b, rise_c = rise_b - low, rise_c - low
    e, f = b - a, c - a
    # gradient times twice the area
    x = (rise_b * f[:, 1] - rise_c * e[:, 1]).sum()
    y = (rise_c * e[:, 0] - rise_b * f[:, 0]).sum()
    area = np.abs(e[:, 0] * f[:, 1] - e[:, 1] * f[:, 0]).sum()
    return np.array([x, y]) / area


def match_mates(pieces: Sequence[Piece], flats: Sequence[np.ndarray]) -> list[np.ndarray]:
    """The flats (v, 2) of upright, centred pieces, with mirror mates made exact mirrors of each other."""
    matched = list(flats)
    number = {piece.name: i for i, piece in enumerate(pieces)}
    for i, piece in enumerate(pieces):
        j = number.get(piece.mate or "", -1)
        if j <= i or len(pieces[j].patch.triangles) != len(piece.patch.triangles):
            continue
        # mates have the same triangles, walked the other way
        image = np.empty(piece.patch.vertex_count, np.int64)
        image[piece.patch.triangles.ravel()] = pieces[j].patch.triangles[:, ::-1].ravel()
        mirrored = flats[j][image] * (-1, 1)
        if np.abs(mirrored - flats[i]).max() > MATE_TOLERANCE_MM:
            continue
        matched[i] = (flats[i] + mirrored) / 2
        matched[j] = np.empty_like(flats[j])
        matched[j][image] = matched[i] * (-1, 1)
    return matched
