"""The line to trace: around both faces, and along every cut inside a piece."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.foam import eva
from foamwright.core.joints import JointRun, both_outlines, joint_runs
from foamwright.core.notches import place_notches
from foamwright.core.pieces import Piece, cut_pieces
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from foamwright.core.tracing import traced_lines
from planar_pieces import bare_piece

DART = [(33 + i, 34 + i) for i in range(6)]
"""Half-way up a sheet of 100 x 60 mm, from its left side 60 mm inwards."""


Joints = tuple[JointRun, ...]


def _sheet_with_a_dart(blade_mm: float, opened_mm: float = 0.0) -> tuple[Piece, np.ndarray, Joints, Settings]:
    """The lower side of the dart drawn down by `opened_mm` at its mouth."""
    vertices, faces = solids.flat_sheet(100, 60, 10, 6)
    shell = Shell.build(vertices, faces, seams=DART)
    settings = Settings(stock=replace(eva(5.0), blade_mm=blade_mm), joint_rule="mitre")
    (piece,), _ = cut_pieces(shell, settings)
    flat = vertices[piece.patch.shell_vertex][:, :2].copy()
    joints = joint_runs(shell, [piece], [flat], settings)
    below = piece.patch.triangles[flat[piece.patch.triangles].mean(axis=1)[:, 1] < 30]
    lower = np.intersect1d(below, np.flatnonzero((flat[:, 1] == 30) & (flat[:, 0] <= 60)))
    flat[lower, 1] -= opened_mm * (1 - flat[lower, 0] / 60)
    return piece, flat, joints, settings


def _traced(piece: Piece, flat: np.ndarray, joints: Joints) -> tuple[np.ndarray, ...]:
    return traced_lines(bare_piece(piece, flat, *both_outlines(piece, flat, joints)))


@pytest.mark.parametrize("blade_mm", [0.0, 0.4, 3.0])
def test_a_dart_that_lies_closed_on_the_flat_is_still_cut(blade_mm):
    piece, flat, joints, settings = _sheet_with_a_dart(blade_mm)
    lines = shapely.MultiLineString([shapely.LineString(line) for line in _traced(piece, flat, joints)])
    dart = shapely.LineString([(0, 30), (60, 30)])
    assert dart.difference(lines.buffer(1e-6)).length < 1e-3
    notches = place_notches(piece, flat, joints, settings, _traced(piece, flat, joints))
    assert len(notches) == 2
    assert all(dart.distance(shapely.Point(notch.point)) < 1e-6 for notch in notches)


def test_a_dart_narrower_than_the_blade_is_cut_along_its_middle():
    """Open by 2 mm at its mouth, 60 mm long: a blade of 1 mm leaves nothing of its last 30 mm (computed)."""
    piece, flat, joints, _ = _sheet_with_a_dart(1.0, opened_mm=2.0)
    ring, slit = _traced(piece, flat, joints)
    assert (ring[0] == ring[-1]).all()
    assert slit[:, 0].min() == pytest.approx(30, abs=0.1)
    assert slit[:, 0].max() == pytest.approx(60)
    np.testing.assert_allclose(slit[:, 1], 30 - (60 - slit[:, 0]) / 60, atol=1e-6)
    wide, flat, joints, _ = _sheet_with_a_dart(0.0, opened_mm=2.0)
    assert len(_traced(wide, flat, joints)) == 1


def test_a_closed_dart_is_cut_also_where_the_far_face_has_filled_it():
    """The mesh is the inside face, square along the dart; the outside outline has no dart any more."""
    piece, flat, joints, _ = _sheet_with_a_dart(0.0)
    inside = both_outlines(piece, flat, joints)[0]
    outside = (np.array([(0, 0), (100, 0), (100, 60), (0, 60), (0, 0)], float),)
    lines = shapely.MultiLineString(
        [shapely.LineString(line) for line in traced_lines(bare_piece(piece, flat, outside, inside))]
    )
    dart = shapely.LineString([(0, 30), (60, 30)])
    assert dart.difference(lines.buffer(0.11)).length < 1e-6
