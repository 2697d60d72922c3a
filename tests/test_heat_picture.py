from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from foamwright.core.heat_picture import HEIGHT, WIDTH, heat_picture, turned
from hypothesis import given
from hypothesis import strategies as st
from sample_pattern import sample_pattern

LEFT, FRONT, TOP = (1.0, 0.0, 0.0), (0.0, -1.0, 0.0), (0.0, 0.0, 1.0)


def test_from_straight_ahead_right_is_the_wearers_left():
    seen = turned(np.array([LEFT, FRONT, TOP]), 0, 0)
    assert seen == pytest.approx(np.array([(1, 0, 0), (0, 0, 1), (0, 1, 0)]))


def test_walking_on_brings_the_wearers_left_nearer_and_looking_down_the_top():
    assert turned(np.array([LEFT]), 25, 0)[0, 2] > 0
    assert turned(np.array([TOP]), 25, 20)[0, 2] > 0


@given(st.floats(0, 360), st.floats(-90, 90))
def test_turning_is_a_rotation(azimuth, above):
    axes = turned(np.eye(3), azimuth, above)
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1)


def test_the_picture_holds_every_piece_three_times_and_nothing_hangs_out():
    pattern = sample_pattern()
    parts = heat_picture(pattern)
    names = [part.name for part in parts]
    assert all(names.count(piece.name) == 3 for piece in pattern.pieces)
    for part in parts:
        assert len(part.strain) == len(part.faces)
        for points in (part.points, *part.rims):
            assert points[:, :2].min() >= 0
            assert (points[:, :2].max(axis=0) <= (WIDTH, HEIGHT)).all()


def test_flat_pieces_keep_their_shape_and_sheets_do_not_overlap():
    pattern = sample_pattern()
    flats = heat_picture(pattern)[-1 - len(pattern.pieces) : -1]
    scales = []
    for part in flats:
        piece = pattern.piece(part.name)
        scales.append(np.ptp(part.points[:, :2], axis=0).max() / np.ptp(piece.flat, axis=0).max())
    straight = [scale for scale, part in zip(scales, flats, strict=True) if "ear" not in part.name]
    assert straight == pytest.approx([straight[0]] * len(straight))
    discs = [part.points[:, 1].max() for part in flats if "ear" in part.name]
    rest = [part.points[:, 1].min() for part in flats if "ear" not in part.name]
    assert max(discs) < min(rest)


def test_a_pattern_without_sheets_still_shows_the_shell():
    pattern = replace(sample_pattern(), sheets=())
    assert len(heat_picture(pattern)) == 2 * len(pattern.pieces) + 1
