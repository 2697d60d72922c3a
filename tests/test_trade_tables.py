"""Bevels, inside offsets, grooves and scores against the trade's tables, each pushed through the rooms.

Dihedral angles: sin(delta / 2) = cos(pi / q) / sin(pi / p) (CRC Standard Mathematical Tables, 30th ed., sec. 13.1)
for the Platonic solids; closed forms of the Archimedean ones from memory, digits computed. Compound mitres: the
table "Cutting compound miters" of a mitre-saw owner's manual. Groove widths: w = 2 d tan(phi / 2), computed.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.foam import Stock
from foamwright.core.folds import find_folds
from foamwright.core.pieces import cut_pieces
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from planar_pieces import Faceted, faceted, side_vectors

MITRES = [
    # solid, corners of the two faces, dihedral, bevel, inside offset for 10 and for 5 mm
    (solids.tetrahedron, {3}, 70.5288, 54.7356, 14.1421, 7.0711),
    (solids.cube, {4}, 90.0, 45.0, 10.0, 5.0),
    (solids.octahedron, {3}, 109.4712, 35.2644, 7.0711, 3.5355),
    (solids.dodecahedron, {5}, 116.5651, 31.7175, 6.1803, 3.0902),
    (solids.cuboctahedron, {3, 4}, 125.2644, 27.3678, 5.1764, 2.5882),
    (solids.truncated_octahedron, {4, 6}, 125.2644, 27.3678, 5.1764, 2.5882),
    (solids.rhombicuboctahedron, {4}, 135.0, 22.5, 4.1421, 2.0711),
    (solids.icosahedron, {3}, 138.1897, 20.9052, 3.8197, 1.9098),
    (solids.truncated_icosahedron, {6}, 138.1897, 20.9052, 3.8197, 1.9098),
    (solids.truncated_icosahedron, {5, 6}, 142.6226, 18.6887, 3.3826, 1.6913),
    (solids.icosidodecahedron, {3, 5}, 142.6226, 18.6887, 3.3826, 1.6913),
    (solids.rhombicuboctahedron, {3, 4}, 144.7356, 17.6322, 3.1784, 1.5892),
]


@pytest.mark.parametrize(("solid", "corners", "dihedral", "bevel", "at_10", "at_5"), MITRES)
def test_mitre_table(solid, corners, dihedral, bevel, at_10, at_5):
    for thickness, offset in ((10.0, at_10), (5.0, at_5)):
        cut = faceted(solid(), thickness, joint_rule="mitre")
        sides = {piece.name: len(flat) for piece, flat in zip(cut.pieces, cut.flats, strict=True)}
        chosen = [j for j in cut.joints if {sides[j.a.piece], sides[j.b.piece]} == corners]
        assert chosen
        for joint in chosen:
            assert 180 - joint.bend_deg == pytest.approx(dihedral, abs=1e-3)
            assert joint.a.bevel_deg == pytest.approx(bevel, abs=1e-3)
            assert joint.b.bevel_deg == pytest.approx(bevel, abs=1e-3)
        measured = [_measured_offset(cut, joint.a) for joint in chosen[:6]]
        assert measured == pytest.approx([offset] * len(measured), abs=1e-3)


def _measured_offset(cut: Faceted, side) -> float:
    """From the middle of a joint's side straight inwards to the inside outline, mm."""
    number = [piece.name for piece in cut.pieces].index(side.piece)
    _, inside = cut.outlines(number)
    start, end = cut.flats[number][side.path]
    middle, along = (start + end) / 2, (end - start) / np.linalg.norm(end - start)
    ray = shapely.LineString([middle, middle + 100 * np.array([-along[1], along[0]])])
    return shapely.Point(middle).distance(ray.intersection(shapely.LinearRing(inside[0])))


COMPOUND = [
    (4, 0, 45.00, 0.00),
    (4, 10, 44.56, 7.05),
    (4, 15, 44.01, 10.55),
    (4, 30, 40.89, 20.70),
    (4, 45, 35.26, 30.00),
    (5, 45, 27.19, 24.56),
    (6, 30, 26.57, 14.48),
    (6, 45, 22.21, 20.70),
    (8, 45, 16.32, 15.70),
    (10, 30, 15.72, 8.89),
]


@pytest.mark.parametrize(("n", "tilt", "mitre", "bevel"), COMPOUND)
def test_compound_mitre_table(n, tilt, mitre, bevel):
    radius = 100.0
    height = radius * np.cos(np.pi / n) * np.tan(np.radians(tilt))
    cut = faceted(solids.pyramid(n, radius, height, base=False), joint_rule="mitre")
    assert len(cut.joints) == n
    for joint in cut.joints:
        assert joint.a.bevel_deg == pytest.approx(bevel, abs=0.011)
        assert joint.b.bevel_deg == pytest.approx(bevel, abs=0.011)
    for piece, flat in zip(cut.pieces, cut.flats, strict=True):
        assert _apex_angle(flat, int(np.argmax(piece.patch.shell_vertex))) / 2 == pytest.approx(mitre, abs=0.011)


def _apex_angle(triangle: np.ndarray, apex: int) -> float:
    u, v = np.delete(triangle, apex, axis=0) - triangle[apex]
    return float(np.degrees(np.arccos(u @ v / np.linalg.norm(u) / np.linalg.norm(v))))


def test_square_pyramid():
    """Base 100, height 100: base edges 58.2825, slopes 39.2315, half apex angle 24.0948 (computed)."""
    cut = faceted(solids.pyramid(4, 100 / 2**0.5, 100.0), joint_rule="mitre")
    bevels = sorted(joint.a.bevel_deg for joint in cut.joints)
    assert bevels == pytest.approx([39.2315] * 4 + [58.2825] * 4, abs=1e-3)
    side = next(i for i, flat in enumerate(cut.flats) if len(flat) == 3)
    apex = int(np.argmax(cut.pieces[side].patch.shell_vertex))
    assert _apex_angle(cut.flats[side], apex) / 2 == pytest.approx(24.0948, abs=1e-3)


def test_hexagonal_pyramid():
    """Side 60, height 80: slopes 24.7913 (computed)."""
    cut = faceted(solids.pyramid(6, 60.0, 80.0, base=False), joint_rule="mitre")
    assert [joint.b.bevel_deg for joint in cut.joints] == pytest.approx([24.7913] * 6, abs=1e-3)


def test_foam_box_is_smaller_inside_by_twice_its_thickness():
    """Outside 200 x 150 x 100 in 10 mm foam, all mitred: inside 180 x 130 x 80 (computed)."""
    cut = faceted(solids.box(200, 150, 100), 10.0, joint_rule="mitre")
    sizes = []
    for number in range(6):
        _, inside = cut.outlines(number)
        assert shapely.Polygon(inside[0]).area == pytest.approx(np.prod(np.ptp(inside[0], axis=0)), abs=1e-6)
        sizes.append(tuple(sorted(np.ptp(inside[0], axis=0))))
    wanted = sorted([(130, 180), (80, 180), (80, 130)] * 2)
    np.testing.assert_allclose(sorted(sizes), wanted, atol=1e-6)


def _two_faces(bend_deg: float) -> Shell:
    """Two squares of 60 mm joined along a marked fold, bent up (-) or down (+)."""
    bend = np.radians(bend_deg)
    far = [60 + 60 * np.cos(bend), -60 * np.sin(bend)]
    vertices = [(0, 0, 0), (60, 0, 0), (60, 60, 0), (0, 60, 0), (far[0], 0, far[1]), (far[0], 60, far[1])]
    return Shell.build(vertices, [(0, 1, 2, 3), (1, 4, 5, 2)], folds=[(1, 2)])


GROOVES = [
    (8, 90, 16.000),
    (8, 60, 9.238),
    (8, 45, 6.627),
    (8, 30, 4.287),
    (5, 90, 10.000),
    (4, 45, 3.314),
    (3.2, 90, 6.400),
    (3.2, 110, 9.140),
]


@pytest.mark.parametrize(("depth", "bend", "width"), GROOVES)
def test_groove_table(depth, bend, width):
    shell, settings = _two_faces(bend), Settings(stock=Stock("foam", depth + 1.0, skin_mm=1.0))
    (piece,), _ = cut_pieces(shell, settings)
    (fold,) = find_folds(shell, piece, settings)
    assert fold.kind == "groove"
    assert fold.depth_mm == pytest.approx(depth)
    assert fold.mouth_mm == pytest.approx(width, abs=5e-4)
    assert fold.hinge_depth_mm == pytest.approx(0.5)


def test_score_opening():
    """A half-depth slit, d 5 and phi 30, opens by 2.679 (computed)."""
    shell, settings = _two_faces(-30), Settings(stock=Stock("foam", 10.0))
    (piece,), _ = cut_pieces(shell, settings)
    (fold,) = find_folds(shell, piece, settings)
    assert fold.kind == "score"
    assert fold.depth_mm == 5.0
    assert fold.mouth_mm == pytest.approx(2.679, abs=5e-4)
    assert fold.hinge_depth_mm == 2.5


@pytest.mark.parametrize(("solid", "thickness"), [(solids.dodecahedron, 8.0), (solids.truncated_icosahedron, 6.0)])
def test_every_long_side_is_moved_by_t_tan_bevel(solid, thickness):
    cut = faceted(solid(), thickness, joint_rule="mitre")
    for number in range(0, len(cut.pieces), 5):
        (outside,), (inside,) = cut.outlines(number)
        bevels = {frozenset(j.edges.tolist()): j.a.bevel_deg for j in cut.joints}
        edges = cut.pieces[number].patch.loop_edges[0]
        wanted = [thickness * np.tan(np.radians(bevels[frozenset([edge])])) for edge in edges.tolist()]
        middle, normal, _ = side_vectors(outside)
        on_line = shapely.points(middle + np.array(wanted)[:, None] * normal)
        assert shapely.distance(shapely.LinearRing(inside), on_line).max() < 1e-6
