from __future__ import annotations

import numpy as np
import pytest
from foamwright.core.shell_views import HEIGHT, WIDTH, shell_views, turned
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


def test_the_picture_holds_every_piece_twice_and_nothing_hangs_out():
    pattern = sample_pattern()
    parts = shell_views(pattern)
    names = [part.name for part in parts]
    assert all(names.count(piece.name) == 2 for piece in pattern.pieces)
    for part in parts:
        assert len(part.strain) == len(part.faces)
        for points in (part.points, *part.rims):
            assert points[:, :2].min() >= 0
            assert (points[:, :2].max(axis=0) <= (WIDTH, HEIGHT)).all()


def test_a_view_keeps_proportions():
    pattern = sample_pattern()
    part = shell_views(pattern)[0]
    piece = pattern.piece(part.name)
    sides = np.linalg.norm(np.diff(part.points[part.faces], axis=1), axis=2)
    true = np.linalg.norm(np.diff(pattern.shell.vertices[piece.patch.shell_vertex][part.faces], axis=1), axis=2)
    assert sides / true == pytest.approx(np.full_like(true, (sides / true)[0, 0]))
