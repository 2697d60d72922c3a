"""The line drawing of the assembled shell: what is hidden stays hidden, and what is seen is named."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import solids
from foamwright.core.layout.paging import A4
from foamwright.core.sheets.pictures import Picture
from foamwright.core.sheets.where import VIEWS, where_pages
from foamwright.core.shell import Shell
from foamwright.core.shell_lines import SEEN_FROM_ABOVE_DEG, shell_drawings
from foamwright.core.shell_views import turned
from hypothesis import given
from hypothesis import strategies as st
from planar_pieces import faceted, pattern_of
from scipy.spatial.transform import Rotation


def _drawn_mm(lines: list[np.ndarray]) -> float:
    return sum(float(np.linalg.norm(np.diff(line, axis=0), axis=1).sum()) for line in lines)


@given(st.floats(5, 85))
def test_a_box_shows_nine_of_its_twelve_edges(azimuth):
    sides = (200.0, 150.0, 100.0)
    (drawing,) = shell_drawings(pattern_of(faceted(solids.box(*sides))), (azimuth,))
    seen = turned(np.diag(sides), azimuth, SEEN_FROM_ABOVE_DEG)[:, :2]
    assert _drawn_mm(drawing.borders) == pytest.approx(3 * np.linalg.norm(seen, axis=1).sum(), rel=1e-3)
    assert len(drawing.joints) == 9
    assert len(drawing.pieces) == 3


def test_what_stands_behind_is_neither_drawn_nor_named():
    front, behind = solids.box(200, 20, 200), solids.moved(solids.box(60, 20, 60), (0, 200, 0))
    (alone,) = shell_drawings(pattern_of(faceted(front)), (0.0,))
    (both,) = shell_drawings(pattern_of(faceted(solids.together(front, behind))), (0.0,))
    assert _drawn_mm(both.borders) == pytest.approx(_drawn_mm(alone.borders), rel=1e-3)
    assert len(both.pieces) == len(alone.pieces)
    (from_behind,) = shell_drawings(pattern_of(faceted(solids.together(front, behind))), (180.0,))
    assert len(from_behind.pieces) > len(alone.pieces)


def test_a_smooth_solid_is_drawn_by_its_outline():
    """The outline of a sphere is a circle of its own radius."""
    shell = Shell.build(*solids.sphere(100.0, 64, 32))
    pattern = pattern_of(faceted(solids.box()))
    piece = replace(pattern.pieces[0], faces=np.arange(shell.face_count))
    (drawing,) = shell_drawings(replace(pattern, shell=shell, pieces=(piece,), joints=()), (25.0,))
    assert list(drawing.pieces) == [piece.name]
    radius = np.linalg.norm(np.concatenate(drawing.borders), axis=1)
    assert radius == pytest.approx(np.full_like(radius, 100.0), rel=0.02)
    assert _drawn_mm(drawing.borders) == pytest.approx(2 * np.pi * 100, rel=0.02)


def test_every_piece_but_the_floor_of_a_box_is_named_from_all_sides():
    pattern = pattern_of(faceted(solids.box()))
    drawings = shell_drawings(pattern, (0.0, 90.0, 180.0, 270.0))
    named = {name for drawing in drawings for name in drawing.pieces}
    floor = {p.name for p in pattern.pieces if pattern.shell.face_normal[p.faces[0], 2] < -0.5}
    assert named == {piece.name for piece in pattern.pieces} - floor
    assert len(floor) == 1


@given(st.floats(0, 360), st.floats(-90, 90))
def test_a_plate_is_shown_from_where_it_can_be_seen_and_told_where_it_cannot(turn, rise):
    """A plate looks one way; seen from above its back it has no line to draw."""
    turned_away = Rotation.from_euler("xz", (90 - rise, turn), degrees=True)
    vertices, faces = np.array([(-60.0, -40, 0), (60, -40, 0), (60, 40, 0), (-60, 40, 0)]), [[0, 1, 2, 3]]
    pattern = pattern_of(faceted((turned_away.apply(vertices), faces)))
    story = where_pages(pattern, *A4.drawing_size, lambda name: [])
    first, *rest = story
    note, *views = first._content
    views += [part for part in rest if isinstance(part, Picture)]
    drawn = [bool(drawing.borders) for drawing in shell_drawings(pattern, tuple(azimuth for _, azimuth in VIEWS))]
    assert len(views) == sum(drawn)
    assert len(views) < len(VIEWS) or rise > 90 - SEEN_FROM_ABOVE_DEG - 1
    assert ("Out of sight: P1" in note.text) == (not views)
