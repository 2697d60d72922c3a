from __future__ import annotations

import numpy as np
import pytest
from foamwright.core.places import is_seen, joint_places, piece_place, piece_places, run_place
from foamwright.core.shell import Shell
from sample_pattern import sample_pattern


def test_the_middle_of_a_flat_strip_is_its_middle_face():
    points = [(x, y, 0.0) for y in (0.0, 10.0) for x in (0.0, 10.0, 20.0, 30.0)]
    strip = Shell.build(points, [[i, i + 1, i + 5, i + 4] for i in range(3)])
    point, normal = piece_place(strip, np.arange(3))
    assert point == pytest.approx((15, 5, 0))
    assert normal == pytest.approx((0, 0, 1))


def test_faces_without_area_still_have_a_place():
    sliver = Shell.build([(0, 0, 0), (1, 0, 0), (2, 0, 0)], [[0, 1, 2]])
    point, _ = piece_place(sliver, np.array([0]))
    assert point == pytest.approx((1, 0, 0))


def test_the_place_of_a_run_lies_on_the_edge_at_half_its_length():
    points = [(0, 0, 0), (1, 0, 0), (11, 0, 0), (0, 5, 0), (1, 5, 0), (11, 5, 0)]
    sheet = Shell.build(points, [[0, 1, 4, 3], [1, 2, 5, 4]])
    point, outward = run_place(sheet, sheet.edge_between(np.array([(0, 1), (1, 2)])))
    assert point == pytest.approx((6, 0, 0))
    assert outward == pytest.approx((0, 0, 1))


def test_outwards_at_a_ridge_is_between_its_faces():
    roof = Shell.build(
        [(0, 0, 1), (1, 0, 1), (0, -1, 0), (1, -1, 0), (0, 1, 0), (1, 1, 0)], [[0, 2, 3, 1], [0, 1, 5, 4]]
    )
    _, outward = run_place(roof, roof.edge_between(np.array([(0, 1)])))
    assert outward == pytest.approx((0, 0, np.sqrt(2)))


def test_every_piece_and_joint_has_a_place_on_its_own_faces():
    pattern = sample_pattern()
    places = piece_places(pattern)
    assert set(places) == {piece.name for piece in pattern.pieces}
    for piece in pattern.pieces:
        centres = pattern.shell.face_centre[piece.faces]
        assert np.linalg.norm(centres - places[piece.name][0], axis=1).min() == 0
    assert set(joint_places(pattern)) == {"A", "B"}


def test_a_side_is_seen_by_an_eye_that_looks_against_it():
    assert is_seen((0, -1, 0), (0.3, 1, 0))
    assert not is_seen((0, -1, 0), (0.3, -1, 0))
