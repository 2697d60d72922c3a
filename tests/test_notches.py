"""Notches lie on the line that is traced, and meet their twins."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.foam import eva
from foamwright.core.joints import joint_runs
from foamwright.core.notches import notch_count
from foamwright.core.outline import face_of
from foamwright.core.pieces import cut_pieces
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from planar_pieces import faceted, hinge, notches_of, traced_around
from shapely import Polygon

MESHES = {
    "box": solids.box(240, 160, 100),
    "dodecahedron": solids.dodecahedron(90),
    "prism": solids.prism(5, 90, 200),
    "small": solids.box(40, 24, 16),
}

BENDS = {
    "ridge": np.full(25, 60.0),
    "fading ridge": np.linspace(100, 15, 25),
    "valley": np.full(25, -50.0),
    "deepening valley": np.linspace(-10, -90, 25),
    "ridge that turns into a valley": np.linspace(50, -50, 25),
}


@pytest.mark.parametrize("blade_mm", [0.0, 1.5])
@pytest.mark.parametrize("model_is_inside", [False, True])
@pytest.mark.parametrize("bends", BENDS.values(), ids=BENDS)
def test_notches_lie_on_the_traced_line_and_meet_along_the_shared_one(bends, model_is_inside, blade_mm):
    stock = replace(eva(8.0), blade_mm=blade_mm)
    shell, pieces, flats = hinge(bends, stock=stock)
    settings = Settings(stock=stock, joint_rule="mitre", model_is_inside=model_is_inside, notch_spacing_mm=20.0)
    joints = joint_runs(shell, pieces, flats, settings)
    twins = []
    for piece, flat in zip(pieces, flats, strict=True):
        traced = shapely.MultiLineString([shapely.LineString(r) for r in traced_around(piece, flat, joints, settings)])
        notches = notches_of(piece, flat, joints, settings)
        assert len(notches) == sum(notch_count(joint, settings) for joint in joints) > 0
        assert max(traced.distance(shapely.Point(notch.point)) for notch in notches) < 1e-6
        # the shared line runs along x
        twins.append({notch.label: notch.point[0] for notch in notches})
    assert twins[0] == pytest.approx(twins[1], abs=1e-6)


def test_a_notch_is_still_there_when_a_valley_is_bevelled():
    """What lies outside the outside face goes with the bevel."""
    stock = eva(10.0)
    shell, pieces, flats = hinge([-60.0] * 9, stock=stock)
    settings = Settings(stock=stock, joint_rule="mitre")
    joints = joint_runs(shell, pieces, flats, settings)
    for piece, flat in zip(pieces, flats, strict=True):
        face = face_of([np.vstack([flat[loop], flat[loop[:1]]]) for loop in piece.patch.loops])
        for notch in notches_of(piece, flat, joints, settings):
            assert face.distance(shapely.Point(notch.point)) == pytest.approx(10 * np.tan(np.radians(30)))
            assert face.boundary.distance(shapely.Point(notch.at(face, 4.0))) == pytest.approx(4.0)


@pytest.mark.parametrize("mesh", MESHES.values(), ids=MESHES)
def test_twin_notches_lie_at_equal_arc_length(mesh):
    cut = faceted(mesh, 4.0)
    notches = {piece.name: cut.notches(number) for number, piece in enumerate(cut.pieces)}
    flat_of = {piece.name: flat for piece, flat in zip(cut.pieces, cut.flats, strict=True)}
    for joint in cut.joints:
        placed = []
        for side in (joint.a, joint.b):
            line = shapely.LineString(flat_of[side.piece][side.path])
            own = [notch for notch in notches[side.piece] if notch.joint == joint.letter]
            placed.append([(notch.label, line.project(shapely.Point(notch.point)) / line.length) for notch in own])
            assert all(line.distance(shapely.Point(notch.point)) < 1e-9 for notch in own)
        assert [label for label, _ in placed[0]] == [label for label, _ in placed[1]]
        assert [part for _, part in placed[0]] == pytest.approx([part for _, part in placed[1]])
        assert len(placed[0]) == notch_count(joint, cut.settings)


def test_notches_are_counted_by_the_shorter_side():
    (joint, *_) = faceted(solids.cube(100)).joints

    def count(length: float, other: float, spacing: float = 50.0) -> int:
        sides = {"a": replace(joint.a, length_mm=length), "b": replace(joint.b, length_mm=other)}
        return notch_count(replace(joint, **sides), Settings(notch_spacing_mm=spacing))

    assert [count(x, x + 1) for x in (10, 16, 60, 100, 260)] == [0, 1, 1, 2, 5]
    assert count(400, 100) == 2


@pytest.mark.parametrize("mesh", MESHES.values(), ids=MESHES)
def test_notches_point_into_the_piece(mesh):
    cut = faceted(mesh)
    for number, (piece, flat) in enumerate(zip(cut.pieces, cut.flats, strict=True)):
        face = Polygon(flat[piece.patch.loops[0]])
        for notch in cut.notches(number):
            assert np.hypot(*notch.inward) == pytest.approx(1)
            tip = np.array(notch.point) + 0.5 * np.array(notch.inward)
            assert face.contains(shapely.Point(tip))


def test_a_dart_has_twin_notches_on_one_piece():
    vertices, faces = solids.flat_sheet(100, 60, 10, 6)
    seams = [(33 + i, 34 + i) for i in range(6)]
    shell = Shell.build(vertices, faces, seams=seams)
    (piece,), _ = cut_pieces(shell, Settings())
    flat = shell.vertices[piece.patch.shell_vertex][:, :2]
    joints = joint_runs(shell, [piece], [flat], Settings())
    one, other = notches_of(piece, flat, joints, Settings())
    assert one.label == other.label == "A1"
    assert np.array(one.inward) == pytest.approx(-np.array(other.inward))


def test_notches_start_on_the_outside_outline_of_a_shell_modelled_by_its_inside():
    cut = faceted(solids.box(180, 130, 80), 10.0, joint_rule="mitre", model_is_inside=True)
    for number in range(len(cut.pieces)):
        (outside,), _ = cut.outlines(number)
        for notch in cut.notches(number):
            assert shapely.LinearRing(outside).distance(shapely.Point(notch.point)) < 1e-6
