"""Both outlines of a piece: neighbours meet, holes grow or shrink, and what bevels eat is gone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.joints import (
    both_outlines,
    far_parts,
    joint_runs,
)
from foamwright.core.pieces import cut_pieces
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from planar_pieces import faceted, hinge, in_plane
from shapely import Polygon


def test_each_side_of_a_mitre_uses_its_own_thickness():
    shell, pieces, flats = hinge([60.0, 60.0])
    thick = replace(pieces[1], stock=replace(pieces[1].stock, thickness_mm=9.0))
    joints = joint_runs(shell, (pieces[0], thick), flats, Settings())
    for piece, flat in zip((pieces[0], thick), flats, strict=True):
        (outside,), (inside,) = both_outlines(piece, flat, joints)
        lost = Polygon(outside).area - Polygon(inside).area
        # the joint's side is straight and its neighbours stand square on it
        assert lost == pytest.approx(joints[0].a.length_mm * piece.stock.thickness_mm * np.tan(np.pi / 6), rel=1e-6)


# --- outlines on the solid ---------------------------------------------------------------------


def _l_prism() -> tuple[np.ndarray, list[list[int]]]:
    """An L of 60 mm legs extruded by 50 mm: one of its upright edges is a valley."""
    ground = np.array([(0, 0), (60, 0), (60, 25), (25, 25), (25, 60), (0, 60)], float)
    low, high = (np.column_stack([ground, np.full(6, z)]) for z in (0.0, 50.0))
    sides = [[i, (i + 1) % 6, 6 + (i + 1) % 6, 6 + i] for i in range(6)]
    return np.vstack([low, high]), [list(range(6))[::-1], list(range(6, 12)), *sides]


@pytest.mark.parametrize(
    "mesh",
    [solids.cube(), solids.box(120, 80, 50), solids.prism(6, 60, 80), solids.dodecahedron(60), _l_prism()],
    ids=["cube", "box", "prism", "dodecahedron", "L"],
)
def test_neighbouring_mitre_faces_coincide(mesh):
    """Each piece put back as a solid between its two outlines: neighbours share the corners of their mitre faces."""
    thickness = 6.0
    cut = faceted(mesh, thickness, joint_rule="mitre")
    numbers = {piece.name: number for number, piece in enumerate(cut.pieces)}
    for joint in cut.joints:
        corners = []
        for side in (joint.a, joint.b):
            number = numbers[side.piece]
            outside, inside = cut.outlines(number)
            assert len(outside[0]) == len(inside[0])
            corners.append(
                [cut.in_space(number, ring[0][:-1], depth) for ring, depth in ((outside, 0.0), (inside, thickness))]
            )
        quad = []
        for one, other in zip(*corners, strict=True):
            apart = np.linalg.norm(one[:, None] - other[None], axis=2)
            assert (apart < 0.05).sum() == 2
            quad.append(one[np.unravel_index(np.argsort(apart, axis=None)[:2], apart.shape)[0]])
        a, b, c, d = np.vstack(quad)
        assert abs(np.linalg.det([b - a, c - a, d - a])) < 1e-6 * np.linalg.norm(b - a) * thickness**2


def test_a_mirrored_shell_has_mirrored_outlines():
    points = np.random.default_rng(8).normal(size=(14, 3)) * 80
    vertices, faces = solids.hull(points)
    mirrored = vertices * (-1, 1, 1), [face[::-1] for face in faces]
    for rule in ("mitre", "one-sided"):
        one, other = (faceted(mesh, 3.0, joint_rule=rule) for mesh in ((vertices, faces), mirrored))
        by_face = {int(piece.faces[0]): number for number, piece in enumerate(other.pieces)}
        for number, piece in enumerate(one.pieces):
            twin = by_face[int(piece.faces[0])]
            rings = one.outlines(number)[1], other.outlines(twin)[1]
            assert len(rings[0]) == len(rings[1])
            for ring, image in zip(*rings, strict=True):
                here = one.in_space(number, ring, 0) * (-1, 1, 1)
                there = other.in_space(twin, image, 0)
                gaps = np.linalg.norm(here[:, None] - there[None], axis=2)
                assert max(gaps.min(axis=0).max(), gaps.min(axis=1).max()) < 1e-3


def test_without_thickness_both_outlines_are_one():
    mesh = solids.dodecahedron()
    previous = np.inf
    for thickness in (10.0, 1.0, 0.1, 0.01):
        (outside,), (inside,) = faceted(mesh, thickness, joint_rule="mitre").outlines(0)
        apart = shapely.LinearRing(outside).hausdorff_distance(shapely.LinearRing(inside))
        assert apart < previous
        previous = apart
    assert previous < 0.01


# --- holes and lost insides --------------------------------------------------------------------


def _domed_window(height: float) -> Shell:
    """A plate of 80 mm with a window of 40 mm that a pyramid closes as a piece of its own."""
    frame = np.array([(x, y, 0) for y in (0, 20, 60, 80) for x in (0, 20, 60, 80)], float)
    quads = [[i, i + 1, i + 5, i + 4] for i in (0, 1, 2, 4, 6, 8, 9, 10)]
    rim = [5, 6, 10, 9]
    sides = list(zip(rim, [*rim[1:], rim[0]], strict=True))
    return Shell.build(np.vstack([frame, (40, 40, height)]), [*quads, *([a, b, 16] for a, b in sides)], seams=sides)


@pytest.mark.parametrize(("height", "grows"), [(-20.0, True), (20.0, False)])
def test_a_hole_grows_with_a_ridge_and_shrinks_with_a_valley(height, grows):
    shell, settings = _domed_window(height), Settings(joint_rule="mitre")
    pieces, _ = cut_pieces(shell, settings)
    flats = in_plane(shell, pieces)
    joints = joint_runs(shell, pieces, flats, settings)
    plate = next(i for i, piece in enumerate(pieces) if len(piece.patch.loops) == 2)
    outside, inside = both_outlines(pieces[plate], flats[plate], joints)
    assert [shapely.LinearRing(ring).is_ccw for ring in (*outside, *inside)] == [True, False, True, False]
    moved = 2 * 5.0 * np.tan(np.radians(22.5)) * (1 if grows else -1)
    assert np.ptp(outside[1], axis=0) == pytest.approx([40, 40])
    assert np.ptp(inside[1], axis=0) == pytest.approx([40 + moved] * 2, abs=1e-6)


def test_a_piece_eaten_whole_has_no_inside_outline():
    cut = faceted(solids.cube(15.0), 10.0, joint_rule="mitre")
    outside, inside = cut.outlines(0)
    assert len(outside) == 1
    assert inside == ()
    assert far_parts(cut.pieces[0], cut.flats[0], cut.joints) == []


# --- the inside face modelled ------------------------------------------------------------------


def test_a_box_modelled_by_its_inside_is_larger_outside():
    """Inside 180 x 130 x 80 in 10 mm foam, all mitred: outside 200 x 150 x 100 (computed)."""
    cut = faceted(solids.box(180, 130, 80), 10.0, joint_rule="mitre")
    sizes = []
    for piece, flat in zip(cut.pieces, cut.flats, strict=True):
        (outside,), (inside,) = both_outlines(piece, flat, cut.joints, model_is_inside=True)
        np.testing.assert_array_equal(inside[:-1], flat[piece.patch.loops[0]])
        sizes.append(tuple(sorted(np.ptp(outside, axis=0))))
    np.testing.assert_allclose(sorted(sizes), sorted([(150, 200), (100, 200), (100, 150)] * 2), atol=1e-6)
