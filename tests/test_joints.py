"""Joints and both outlines: rules, runs, and the laws that offsets must keep."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
import solids
from foamwright.core.joints import (
    both_outlines,
    far_parts,
    joint_class,
    joint_runs,
    share_bend,
)
from foamwright.core.outline import offset_ring, winding_numbers
from foamwright.core.pieces import cut_pieces
from foamwright.core.run_letters import letter_of
from foamwright.core.settings import Settings
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st
from planar_pieces import faceted
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
        shell, pieces, flats = _hinge([bend, bend])
        thick = replace(pieces[1], stock=replace(pieces[1].stock, thickness_mm=9.0))
        (joint,) = joint_runs(shell, (pieces[0], thick), flats, Settings())
        assert joint.rule == "butt"
        assert joint.mismatch_mm == pytest.approx(np.sign(bend) * 2 * 5 * np.tan(np.radians(5)))
        assert (joint.a.bevel_deg, joint.b.bevel_deg) == (0, 0)


def test_each_side_of_a_mitre_uses_its_own_thickness():
    shell, pieces, flats = _hinge([60.0, 60.0])
    thick = replace(pieces[1], stock=replace(pieces[1].stock, thickness_mm=9.0))
    joints = joint_runs(shell, (pieces[0], thick), flats, Settings())
    for piece, flat in zip((pieces[0], thick), flats, strict=True):
        (outside,), (inside,) = both_outlines(piece, flat, joints)
        lost = Polygon(outside).area - Polygon(inside).area
        # the joint's side is straight and its neighbours stand square on it
        assert lost == pytest.approx(joints[0].a.length_mm * piece.stock.thickness_mm * np.tan(np.pi / 6), rel=1e-6)


# --- runs --------------------------------------------------------------------------------------


def _hinge(bends_deg: list[float], step: float = 10.0, wide: float = 40.0):
    """Two strips along x joined by a seam at y = 0; at vertex i the far strip is bent by bends_deg[i]."""
    x, bend = step * np.arange(len(bends_deg)), np.radians(bends_deg)
    rows = [
        np.stack([x, np.full_like(x, -wide), 0 * x], axis=1),
        np.stack([x, 0 * x, 0 * x], axis=1),
        np.stack([x, wide * np.cos(bend), -wide * np.sin(bend)], axis=1),
    ]
    vertices, faces = solids.grid(np.stack(rows))
    n = len(x)
    shell = Shell.build(vertices, faces, seams=[(n + i, n + i + 1) for i in range(n - 1)])
    pieces, _ = cut_pieces(shell, Settings())
    flats = []
    for piece in pieces:
        points = shell.vertices[piece.patch.shell_vertex]
        flats.append(np.stack([points[:, 0], np.sign(points[:, 1]) * np.hypot(points[:, 1], points[:, 2])], axis=1))
    return shell, pieces, flats


def test_a_steady_seam_is_one_joint():
    shell, pieces, flats = _hinge([20.0] * 12)
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
    shell, pieces, flats = _hinge(noise.tolist(), step=2.0)
    (joint,) = joint_runs(shell, pieces, flats, Settings())
    assert joint.bend_least_deg < joint.bend_deg < joint.bend_most_deg


def test_a_step_of_the_bend_ends_a_joint_where_it_is():
    shell, pieces, flats = _hinge([5.0] * 11 + [60.0] * 10)
    joints = joint_runs(shell, pieces, flats, Settings())
    assert sorted(joint.rule for joint in joints) == ["butt", "mitre"]
    assert sorted(len(joint.edges) for joint in joints) in ([9, 11], [10, 10])


def test_the_bevel_follows_the_bend_within_a_joint():
    """A short stretch that bends more breaks no joint, and is not hidden: its own bevels and extremes tell of it."""
    shell, pieces, flats = _hinge([34.0] * 6 + [70.0] * 2 + [34.0] * 6)
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
    joints = joint_runs(shell, pieces, _in_plane(shell, pieces), Settings())
    assert [joint.a.length_mm for joint in joints] == pytest.approx([80.0])


def test_bends_to_and_fro_are_no_flat_joint():
    """The rule goes by how much a seam bends, not by whether it bends back."""
    shell, pieces, flats = _hinge([50.0, 50.0, -50.0, -50.0] * 3, step=4.0)
    (joint,) = joint_runs(shell, pieces, flats, Settings())
    assert abs(joint.bend_deg) < 12 < joint.bend_most_deg
    assert joint.rule != "butt"


def test_ridge_and_valley_are_two_joints():
    shell, pieces, flats = _hinge([40.0] * 8 + [-40.0] * 8)
    joints = joint_runs(shell, pieces, flats, Settings(joint_rule="mitre"))
    assert sorted(np.sign(joint.bend_deg) for joint in joints) == [-1, 1]


def test_a_bend_that_grows_slowly_is_cut_into_few_steady_joints():
    shell, pieces, flats = _hinge(np.linspace(35, 95, 41).tolist())
    joints = joint_runs(shell, pieces, flats, Settings())
    assert len(joints) == 2
    for joint in joints:
        assert max(joint.bend_most_deg - joint.bend_deg, joint.bend_deg - joint.bend_least_deg) < 16.5


def _in_plane(shell: Shell, pieces) -> list[np.ndarray]:
    return [shell.vertices[piece.patch.shell_vertex][:, :2] for piece in pieces]


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
    joints = joint_runs(shell, pieces, _in_plane(shell, pieces), Settings())
    assert [joint.a.length_mm for joint in joints] == pytest.approx([40.0] * 4)


def test_a_round_seam_is_one_closed_joint():
    vertices, faces = solids.sphere(50.0)
    bare = Shell.build(vertices, faces)
    level = np.isclose(bare.vertices[bare.edges][:, :, 2], 0).all(axis=1)
    shell = bare.with_seams(level)
    pieces, _ = cut_pieces(shell, Settings())
    (joint,) = joint_runs(shell, pieces, _in_plane(shell, pieces), Settings())
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
    (joint,) = joint_runs(shell, pieces, _in_plane(shell, pieces), Settings())
    assert joint.a.piece == joint.b.piece == pieces[0].name
    assert len(joint.edges) == 6
    shared = set(joint.a.path.tolist()) & set(joint.b.path.tolist())
    assert len(shared) == 1  # the tip
    assert set(joint.a.steps.tolist()).isdisjoint(joint.b.steps.tolist())


def test_open_rims_have_no_joint():
    vertices, faces = solids.flat_sheet()
    shell = Shell.build(vertices, faces)
    pieces, _ = cut_pieces(shell, Settings())
    flats = _in_plane(shell, pieces)
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


# --- offset_ring -------------------------------------------------------------------------------


def _random_ring(random: np.random.Generator) -> np.ndarray:
    """A star-shaped simple polygon: spiky, wavy or round, with many short sides or few."""
    while True:
        n = int(random.integers(3, 60))
        turn = np.sort(random.uniform(0, 2 * np.pi, n))
        radius = [
            random.uniform(5, 60, n),
            40 + 10 * np.sin(3 * turn + random.uniform(0, 6)) + random.normal(0, 0.3, n),
            np.full(n, random.uniform(2, 50)),
        ][int(random.integers(3))]
        ring = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1) * random.uniform(0.2, 2, 2)
        shape = Polygon(ring)
        if shape.is_valid and shape.area > 1 and shape.exterior.is_ccw:
            return ring


@given(st.integers(0, 2**32 - 1))
def test_offsets_never_cross_themselves(seed):
    random = np.random.default_rng(seed)
    for _ in range(15):
        ring = _random_ring(random)
        n = len(ring)
        inward = [
            random.uniform(-6, 6, n),
            np.repeat(random.uniform(-6, 6, 5), -(-n // 5))[:n],
            random.choice([0, 2.0, 5.0, -3], n),
        ][int(random.integers(3))]
        parts = offset_ring(ring, inward)
        for part in parts:
            assert part.is_valid
            assert part.exterior.is_simple
            assert part.exterior.is_ccw


@given(st.integers(0, 2**32 - 1))
def test_inward_edges_only_take_and_outward_edges_only_add(seed):
    random = np.random.default_rng(seed)
    for _ in range(8):
        ring = _random_ring(random)
        shape, moves = Polygon(ring), random.choice([0, 1.0, 3.0, 6.0], len(ring))
        smaller, larger = (shapely.union_all(offset_ring(ring, way * moves)) for way in (1, -1))
        # on a grid, because the shapes share sides
        assert shapely.difference(smaller, shape, grid_size=1e-6).area < 1e-3 * shape.length
        assert shapely.difference(shape, larger, grid_size=1e-6).area < 1e-3 * shape.length


@given(st.integers(0, 2**32 - 1))
def test_even_offsets_agree_with_an_independent_buffer(seed):
    """The GEOS buffer by way of shapely: inwards never more than it, outwards never less, whatever the corners."""
    random = np.random.default_rng(seed)
    for _ in range(8):
        ring, distance = _random_ring(random), float(random.uniform(0.5, 6))
        shape, n = Polygon(ring), len(ring)
        smaller = shapely.union_all(offset_ring(ring, np.full(n, distance)))
        assert smaller.difference(shape.buffer(-distance + 0.05, quad_segs=64)).area < 0.05
        larger = shapely.union_all(offset_ring(ring, np.full(n, -distance)))
        assert shape.buffer(distance - 0.05, join_style="bevel").difference(larger).area < 0.05


def test_even_offset_of_a_plain_polygon_is_the_mitred_buffer():
    for sides in (3, 4, 5, 8, 48):
        turn = 2 * np.pi * np.arange(sides) / sides
        ring = 50 * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        for distance in (4.0, -4.0):
            (part,) = offset_ring(ring, np.full(sides, distance))
            wanted = Polygon(ring).buffer(-distance, join_style="mitre", mitre_limit=10)
            assert part.symmetric_difference(wanted).area < 1e-6
            assert len(part.exterior.coords) == sides + 1


def test_a_smooth_rim_in_short_steps_gives_a_clean_outline():
    turn = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    radius = 45 + 12 * np.sin(3 * turn)
    ring = np.stack([radius * np.cos(turn), radius * np.sin(turn)], axis=1)
    for distance in (5.0, -3.0):
        (part,) = offset_ring(ring, np.full(400, distance))
        step = np.diff(np.array(part.exterior.coords), axis=0)
        heading = np.arctan2(step[:, 1], step[:, 0])
        turns = (np.diff(np.append(heading, heading[0])) + np.pi) % (2 * np.pi) - np.pi
        assert np.abs(turns).max() < np.radians(20)
        assert turns.sum() == pytest.approx(2 * np.pi)


def test_a_rim_whose_bevel_changes_moves_out_in_one_even_line():
    """The line runs through the exact distance at the middle of each step and turns as little as it can."""
    steps = 20
    x = np.linspace(0, 100, steps + 1)
    ring = np.vstack([np.stack([x, np.zeros_like(x)], axis=1), [(100, 60), (0, 60)]])
    outward = 2 + np.sin(2 * np.pi * (x[1:] + x[:-1]) / 2 / 100)
    (part,) = offset_ring(ring, -np.concatenate([outward, [0, 0, 0]]))
    points = shapely.get_coordinates(part.exterior)
    inner = points[(points[:, 1] < -0.5) & (points[:, 0] > 1) & (points[:, 0] < 99)]
    inner = inner[np.argsort(inner[:, 0])]
    middles = np.stack([(x[1:] + x[:-1]) / 2, -outward], axis=1)
    drawn = shapely.LineString(inner)
    assert drawn.hausdorff_distance(shapely.LineString(middles)) < 0.01
    slope = np.degrees(np.arctan(np.diff(inner[:, 1]) / np.diff(inner[:, 0])))
    assert np.abs(np.diff(slope)).max() < 1.5


def test_a_bevelled_side_ends_at_its_square_neighbour_even_in_short_steps():
    for steps in (1, 4, 40):
        side = np.linspace(0, 80, steps, endpoint=False)
        corner = np.array([80 * np.cos(np.radians(120)), 80 * np.sin(np.radians(120))])
        # a 60 degree corner at the origin: a bevelled side along x, a square side in steps
        ring = np.vstack([[(0, 0), (80, 0)], [corner * (1 - s / 80) for s in side]])
        ring[2:] = np.array([(80 - s) * np.array([0.5, 0.75**0.5]) for s in side])
        (part,) = offset_ring(ring, np.array([5.0, 0.0] + [0.0] * steps))
        wanted = Polygon([(0, 0), (80, 0), (40, 40 * 3**0.5)]).intersection(shapely.box(-9, 5, 99, 99))
        assert part.symmetric_difference(wanted).area < 0.05


def test_what_the_bevels_eat_is_not_left_inside_out():
    square = np.array([(0, 0), (2, 0), (2, 2), (0, 2)], float)
    assert offset_ring(square, np.full(4, 5.0)) == []
    bar_bell = np.array([(0, 0), (20, 0), (20, 8), (40, 8), (40, 0), (60, 0), (60, 20), (40, 20), (40, 12), (20, 12)])
    bar_bell = np.vstack([bar_bell, [(20, 20), (0, 20)]]).astype(float)
    parts = offset_ring(bar_bell, np.full(12, 3.0))
    assert [part.area for part in parts] == pytest.approx([14.0 * 14.0] * 2)


def test_winding_numbers_of_a_figure_of_eight():
    ring = np.array([(0, 0), (4, 4), (4, 0), (0, 4)], float)
    inside = np.array([(1, 2), (3, 2), (2, 3.5), (9, 9)])
    np.testing.assert_array_equal(winding_numbers(ring, inside), [1, -1, 0, 0])


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
    flats = _in_plane(shell, pieces)
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


def test_square_edges_that_share_the_inside_line_gape_on_a_ridge():
    shell, pieces, flats = _hinge([10.0, 10.0])
    gaps = [
        joint.mismatch_mm
        for inside in (False, True)
        for joint in joint_runs(shell, pieces, flats, Settings(model_is_inside=inside))
    ]
    assert gaps[0] == -gaps[1] == pytest.approx(2 * 5 * np.tan(np.radians(5)))
