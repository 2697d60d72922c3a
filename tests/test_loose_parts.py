"""Pieces that no joint holds: what is under them, how high they stand, and where."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.build import glue_order
from foamwright.core.layout import Placement
from foamwright.core.loose_parts import loose_parts, standing_lines
from foamwright.core.sheets.drawing import STANDING, Text, draw_piece, net_area
from foamwright.core.sheets.standing import standing_notes
from foamwright.core.sheets.tables import piece_number
from hypothesis import given
from hypothesis import strategies as st
from planar_pieces import faceted, pattern_of
from shapely import LineString, Point, Polygon

PLATE = (np.array([(-20.0, -15.0, 0.0), (20.0, -15.0, 0.0), (20.0, 15.0, 0.0), (-20.0, 15.0, 0.0)]), [[0, 1, 2, 3]])
"""Looks up; a box stands with its top at half its height."""


def _box_with_plate(height: float, along: float = 0.0):
    mesh = solids.together(solids.box(200, 150, 100), solids.moved(PLATE, (along, 0, 50.0 + height)))
    return pattern_of(faceted(mesh))


@given(st.floats(0.5, 39), st.floats(-70, 70))
def test_a_plate_over_a_box_stands_on_its_lid(height, along):
    pattern = _box_with_plate(height, along)
    (part,) = loose_parts(pattern)
    assert len(pattern.piece(part.piece).faces) == 1
    (lid,) = part.over
    assert pattern.shell.face_normal[pattern.piece(lid).faces[0], 2] == pytest.approx(1)
    assert part.height_mm == pytest.approx(height)


@given(st.floats(0.5, 39), st.floats(-70, 70))
def test_its_rim_is_drawn_at_true_size_and_place_on_the_flat_of_the_lid(height, along):
    pattern = _box_with_plate(height, along)
    (line,) = standing_lines(pattern)
    assert len(line.points) == 5
    lid = pattern.piece(line.on)
    foot = pattern.shell.vertices[pattern.piece(line.loose).patch.shell_vertex] - (0, 0, height)
    # the lid is plane: distances to its corners are the same on the shell and on the flat
    corners = pattern.shell.vertices[lid.patch.shell_vertex]
    on_shell = np.sort(np.linalg.norm(foot[:, None] - corners, axis=2), axis=None)
    on_flat = np.sort(np.linalg.norm(line.points[:-1, None] - lid.flat, axis=2), axis=None)
    assert on_flat == pytest.approx(on_shell)


def test_the_line_is_drawn_on_the_piece_below_and_on_no_other():
    pattern = _box_with_plate(8.0)
    (line,) = standing_lines(pattern)
    for piece in pattern.pieces:
        lines = [p for p in draw_piece(pattern, piece, Placement(piece.name, 0.0, 0.0, 0.0)) if p.layer is STANDING]
        assert len(lines) == (piece.name == line.on)
        assert all(drawn.points == pytest.approx(line.points) for drawn in lines)
        words = [p.words for p in draw_piece(pattern, piece, Placement("", 0.0, 0.0, 0.0)) if isinstance(p, Text)]
        told = f"{piece_number(pattern, line.loose)} {line.loose}"
        assert words.count(told) == (piece.name in (line.on, line.loose))  # its own name is on the part itself


@given(st.floats(0.5, 39), st.floats(-70, 70))
def test_its_number_and_name_stand_beside_the_line_clear_of_all_else(height, along):
    pattern = _box_with_plate(height, along)
    (line,) = standing_lines(pattern)
    lid = pattern.piece(line.on)
    taken = shapely.union_all([note.box for note in lid.notes])
    (note,) = standing_notes(pattern, lid, net_area(lid), taken)
    assert note.lines[0].split()[0] == str(piece_number(pattern, line.loose))
    rim = LineString(line.points)
    assert not note.box.intersects(shapely.union_all([taken, rim]))
    assert net_area(lid).contains(note.box)
    assert note.box.distance(rim) < 6


def test_a_part_in_a_tight_place_is_told_by_its_number_and_one_with_no_place_not_at_all():
    pattern = _box_with_plate(8.0)
    (line,) = standing_lines(pattern)
    lid = pattern.piece(line.on)
    (full,) = standing_notes(pattern, lid, net_area(lid), Polygon())
    assert full.lines == (f"{piece_number(pattern, line.loose)} {line.loose}",)
    (short,) = standing_notes(pattern, lid, Point(full.anchor).buffer(2.5, cap_style="square"), Polygon())
    assert short.lines == (str(piece_number(pattern, line.loose)),)
    assert list(standing_notes(pattern, lid, net_area(lid), net_area(lid))) == []


def test_a_plate_that_hangs_free_has_nothing_under_it():
    pattern = _box_with_plate(60.0)
    (part,) = loose_parts(pattern)
    assert part.over == ()
    assert standing_lines(pattern) == ()
    assert part.piece not in " ".join(glue_order(pattern))


def test_a_plate_across_a_joint_stands_on_both_pieces():
    bend = np.array([(-80.0, -60, 0), (0, -60, 0), (80, -60, 0), (-80, 60, 0), (0, 60, 0), (80, 60, 0)])
    mesh = solids.together((bend, [[0, 1, 4, 3], [1, 2, 5, 4]]), solids.moved(PLATE, (0, 0, 8.0)))
    (part,) = loose_parts(pattern_of(faceted(mesh)))
    assert len(part.over) == 2


def test_loose_parts_are_glued_last_and_only_those():
    pattern = _box_with_plate(8.0)
    (part,) = loose_parts(pattern)
    assert (
        glue_order(pattern)[-1]
        == f"Glue {part.piece} onto {part.over[0]}, its outside face 8.0 mm above (or strap it on, if it must move)"
    )
    assert loose_parts(pattern_of(faceted(solids.box()))) == ()
