"""Joints: their rules, their runs, and the bevels of both sides."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.joints import (
    both_outlines,
    joint_class,
    joint_runs,
    share_bend,
)
from foamwright.core.pieces import cut_pieces
from foamwright.core.run_letters import letter_of
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from planar_pieces import faceted, hinge, in_plane
from shapely import Polygon

# --- rules -------------------------------------------------------------------------------------


def test_letters():
    assert [letter_of(n) for n in (0, 1, 25, 26, 27, 51, 52, 701, 702)] == [
        *("A", "B", "Z", "AA", "AB", "AZ", "BA", "ZZ", "AAA")
    ]


@pytest.mark.parametrize(
    ("bend", "wanted"),
    [
        (0, ("butt", 0)),
        (12, ("butt", 0)),
        (-12, ("butt", 0)),
        (12.1, ("one-sided", 1)),
        (-30, ("one-sided", -1)),
        (30.1, ("mitre", 1)),
        (-95, ("mitre", -1)),
    ],
)
def test_auto_rule_goes_by_the_limits(bend, wanted):
    assert joint_class(bend, Settings()) == wanted


def test_bend_is_shared_by_the_rule():
    assert share_bend(40, "butt", True) == (0, 0)
    assert share_bend(40, "one-sided", True) == (40, 0)
    assert share_bend(-40, "one-sided", False) == (0, -40)
    assert share_bend(-40, "mitre", True) == (-20, -20)
    assert share_bend(170, "mitre", True) == (80, 80)
    assert share_bend(-100, "one-sided", True) == (-80, 0)


def test_bevels_add_up_to_the_bend():
    for rule in ("mitre", "one-sided"):
        for joint in faceted(solids.icosahedron(), joint_rule=rule).joints:
            assert joint.a.bevel_deg + joint.b.bevel_deg == pytest.approx(joint.bend_deg)


def test_one_sided_bevel_goes_to_the_larger_piece_whatever_the_order():
    cut = faceted(solids.truncated_icosahedron(), joint_rule="one-sided")
    area = {piece.name: len(piece.patch.shell_vertex) for piece in cut.pieces}
    backwards = joint_runs(cut.shell, cut.pieces[::-1], cut.flats[::-1], cut.settings)
    for joints in (cut.joints, backwards):
        for joint in joints:
            bevelled, square = (joint.a, joint.b) if joint.a.bevel_deg else (joint.b, joint.a)
            assert square.bevel_deg == 0
            assert area[bevelled.piece] >= area[square.piece]

    def bevels(joints):
        return {(frozenset(j.edges.tolist()), s.piece): s.bevel_deg for j in joints for s in (j.a, j.b)}

    assert bevels(cut.joints) == pytest.approx(bevels(backwards))


def test_butt_mismatch_is_squeezed_on_ridges_and_gapes_in_valleys():
    """2 t tan(b / 2) of the thinner sheet."""
    for bend in (10.0, -10.0):
        shell, pieces, flats = hinge([bend, bend])
        thick = replace(pieces[1], stock=replace(pieces[1].stock, thickness_mm=9.0))
        (joint,) = joint_runs(shell, (pieces[0], thick), flats, Settings())
        assert joint.rule == "butt"
        assert joint.mismatch_mm == pytest.approx(np.sign(bend) * 2 * 5 * np.tan(np.radians(5)))
        assert (joint.a.bevel_deg, joint.b.bevel_deg) == (0, 0)


def test_square_edges_that_share_the_inside_line_gape_on_a_ridge():
    shell, pieces, flats = hinge([10.0, 10.0])
    gaps = [
        joint.mismatch_mm
        for inside in (False, True)
        for joint in joint_runs(shell, pieces, flats, Settings(model_is_inside=inside))
    ]
    assert gaps[0] == -gaps[1] == pytest.approx(2 * 5 * np.tan(np.radians(5)))


# --- runs --------------------------------------------------------------------------------------


def test_a_steady_seam_is_one_joint():
    shell, pieces, flats = hinge([20.0] * 12)
    (joint,) = joint_runs(shell, pieces, flats, Settings())
    assert joint.letter == "A"
    assert len(joint.edges) == 11
    assert joint.bend_deg == pytest.approx(20)
    assert joint.a.length_mm == pytest.approx(110)
    assert joint.b.length_mm == pytest.approx(110)
    a = pieces[0].patch.shell_vertex[joint.a.path]
    b = pieces[1].patch.shell_vertex[joint.b.path]
    assert {joint.a.piece, joint.b.piece} == {pieces[0].name, pieces[1].name}
    np.testing.assert_array_equal(a, b)
    for side, piece in ((joint.a, pieces[0]), (joint.b, pieces[1])):
        np.testing.assert_array_equal(piece.patch.loop_edges[side.loop][side.steps], joint.edges)


def test_a_noisy_seam_is_one_joint():
    noise = np.random.default_rng(3).normal(20, 6, 120)
    shell, pieces, flats = hinge(noise.tolist(), step=2.0)
    (joint,) = joint_runs(shell, pieces, flats, Settings())
    assert joint.bend_least_deg < joint.bend_deg < joint.bend_most_deg


def test_a_step_of_the_bend_ends_a_joint_where_it_is():
    shell, pieces, flats = hinge([5.0] * 11 + [60.0] * 10)
    joints = joint_runs(shell, pieces, flats, Settings())
    assert sorted(joint.rule for joint in joints) == ["butt", "mitre"]
    assert sorted(len(joint.edges) for joint in joints) in ([9, 11], [10, 10])


def test_the_bevel_follows_the_bend_within_a_joint():
    """A short stretch that bends more breaks no joint, and is not hidden: its own bevels and extremes tell of it."""
    shell, pieces, flats = hinge([34.0] * 6 + [70.0] * 2 + [34.0] * 6)
    (joint,) = joint_runs(shell, pieces, flats, Settings())
    bends = np.degrees(shell.edge_bend[joint.edges])
    for side in joint.sides:
        np.testing.assert_allclose(side.bevels_deg, bends / 2)
        assert side.bevel_deg == pytest.approx(np.average(bends, weights=shell.edge_length[joint.edges]) / 2)
    assert joint.bend_most_deg == pytest.approx(bends.max())
    _, (inside,) = both_outlines(pieces[0], flats[0], (joint,))
    middles = flats[0][joint.a.path][:-1] + np.diff(flats[0][joint.a.path], axis=0) / 2
    depth = shapely.distance(shapely.LinearRing(inside), shapely.points(middles))
    np.testing.assert_allclose(depth, 5 * np.tan(np.radians(bends / 2)), atol=1e-6)


def test_a_short_side_between_corners_is_no_joint_of_its_own():
    shell = _plate_with_window(8, 3, 5)
    pieces, _ = cut_pieces(shell, Settings())
    joints = joint_runs(shell, pieces, in_plane(shell, pieces), Settings())
    assert [joint.a.length_mm for joint in joints] == pytest.approx([80.0])


def test_bends_to_and_fro_are_no_flat_joint():
    """The rule goes by how much a seam bends, not by whether it bends back."""
    shell, pieces, flats = hinge([50.0, 50.0, -50.0, -50.0] * 3, step=4.0)
    (joint,) = joint_runs(shell, pieces, flats, Settings())
    assert abs(joint.bend_deg) < 12 < joint.bend_most_deg
    assert joint.rule != "butt"


def test_ridge_and_valley_are_two_joints():
    shell, pieces, flats = hinge([40.0] * 8 + [-40.0] * 8)
    joints = joint_runs(shell, pieces, flats, Settings(joint_rule="mitre"))
    assert sorted(np.sign(joint.bend_deg) for joint in joints) == [-1, 1]


def test_a_bend_that_grows_slowly_is_cut_into_few_steady_joints():
    shell, pieces, flats = hinge(np.linspace(35, 95, 41).tolist())
    joints = joint_runs(shell, pieces, flats, Settings())
    assert len(joints) == 2
    for joint in joints:
        assert max(joint.bend_most_deg - joint.bend_deg, joint.bend_deg - joint.bend_least_deg) < 16.5


def _plate_with_window(cells: int, low: int, high: int) -> Shell:
    """A flat sheet of 10 mm cells with a square of it cut out as a piece of its own."""
    vertices, faces = solids.flat_sheet(10.0 * cells, 10.0 * cells, cells, cells)
    n = cells + 1
    seams = [(end * n + i, end * n + i + 1) for end in (low, high) for i in range(low, high)]
    seams += [(i * n + end, (i + 1) * n + end) for end in (low, high) for i in range(low, high)]
    return Shell.build(vertices, faces, seams=seams)


def test_corners_of_the_rim_end_joints():
    shell = _plate_with_window(8, 2, 6)
    pieces, _ = cut_pieces(shell, Settings())
    joints = joint_runs(shell, pieces, in_plane(shell, pieces), Settings())
    assert [joint.a.length_mm for joint in joints] == pytest.approx([40.0] * 4)


def test_a_round_seam_is_one_closed_joint():
    vertices, faces = solids.sphere(50.0)
    bare = Shell.build(vertices, faces)
    level = np.isclose(bare.vertices[bare.edges][:, :, 2], 0).all(axis=1)
    shell = bare.with_seams(level)
    pieces, _ = cut_pieces(shell, Settings())
    (joint,) = joint_runs(shell, pieces, in_plane(shell, pieces), Settings())
    assert len(joint.edges) == 24
    assert joint.a.path[0] == joint.a.path[-1]
    np.testing.assert_array_equal(
        pieces[0].patch.shell_vertex[joint.a.path], pieces[1].patch.shell_vertex[joint.b.path]
    )


def test_joints_end_where_three_pieces_meet():
    cut = faceted(solids.dodecahedron())
    assert len(cut.joints) == 30
    assert all(len(joint.edges) == 1 for joint in cut.joints)
    assert len({joint.letter for joint in cut.joints}) == 30


def test_a_dart_joins_a_piece_with_itself():
    vertices, faces = solids.flat_sheet(100, 60, 10, 6)
    middle = [3 * 11 + i for i in range(7)]
    shell = Shell.build(vertices, faces, seams=pairwise(middle))
    pieces, _ = cut_pieces(shell, Settings())
    (joint,) = joint_runs(shell, pieces, in_plane(shell, pieces), Settings())
    assert joint.a.piece == joint.b.piece == pieces[0].name
    assert len(joint.edges) == 6
    shared = set(joint.a.path.tolist()) & set(joint.b.path.tolist())
    assert len(shared) == 1  # the tip
    assert set(joint.a.steps.tolist()).isdisjoint(joint.b.steps.tolist())


def test_open_rims_have_no_joint():
    vertices, faces = solids.flat_sheet()
    shell = Shell.build(vertices, faces)
    pieces, _ = cut_pieces(shell, Settings())
    flats = in_plane(shell, pieces)
    assert joint_runs(shell, pieces, flats, Settings()) == ()
    outside, inside = both_outlines(pieces[0], flats[0], ())
    np.testing.assert_array_equal(outside[0], inside[0])
    np.testing.assert_array_equal(outside[0][0], outside[0][-1])


def test_order_of_pieces_only_swaps_the_sides():
    cut = faceted(solids.box(120, 80, 50), joint_rule="mitre")
    swapped = joint_runs(cut.shell, cut.pieces[::-1], cut.flats[::-1], cut.settings)

    def facts(joints, flip):
        sides = [(j.b, j.a) if flip else (j.a, j.b) for j in joints]
        return {frozenset(j.edges.tolist()): (a.piece, b.piece) for j, (a, b) in zip(joints, sides, strict=True)}

    assert facts(cut.joints, False) == facts(swapped, True)
    for number, piece in enumerate(cut.pieces):
        one, other = cut.outlines(number)[1][0], both_outlines(piece, cut.flats[number], swapped)[1][0]
        assert Polygon(one).symmetric_difference(Polygon(other)).area < 1e-9
