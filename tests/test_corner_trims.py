"""Corners of four and more pieces: those that meet only in a point do not run into each other inside the foam."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest
import shapely
import solids
from beetle_sentry import ACTORS, helmet
from foamwright.core.check_pattern import examine_pattern
from foamwright.core.corner_trims import Corners, find_corners, finding_corners
from foamwright.core.foam import eva
from foamwright.core.joints import both_outlines, far_parts
from foamwright.core.outline import cut_away
from foamwright.core.progress import finish
from foamwright.core.settings import PieceChoice, RunChoice, Settings
from foamwright.core.shell import Shell
from foamwright.core.unfold import unfold
from hypothesis import given, settings
from hypothesis import strategies as st
from planar_pieces import Faceted, faceted, pattern_of
from rebuilt import Cut, cut, penetration, solid_of, with_rule
from scipy.spatial.transform import Rotation
from shapely import Polygon

UNEVEN = {
    "cuboctahedron": solids.cuboctahedron(80),
    "rhombicuboctahedron": solids.rhombicuboctahedron(60),
    "icosidodecahedron": solids.icosidodecahedron(60),
    "snub cube": solids.snub_cube(70),
    "pyramid on a rectangle": solids.rectangular_pyramid(),
    "leaning pyramid": solids.rectangular_pyramid(lean=(30.0, 10.0)),
    "steep pyramid": solids.rectangular_pyramid(100, 60, 200),
}
EVEN = {
    "octahedron": solids.octahedron(100),
    "icosahedron": solids.icosahedron(90),
    "cube": solids.cube(100),
    "square pyramid": solids.pyramid(4, 160.0, 180.0),
    "nine-sided pyramid": solids.pyramid(9, 160.0, 60.0),
}


def corners_of(faces_apart: Faceted) -> Corners:
    return find_corners(faces_apart.shell, faces_apart.pieces, faces_apart.flats, faces_apart.joints)


def deepest(built: Cut) -> float:
    """mm, how far any two pieces of a shell of plane faces run into each other."""
    placed = [np.vstack(solid_of(built, number)) for number in range(len(built.pieces))]
    return max(penetration(one, other) for one, other in combinations(placed, 2))


@pytest.mark.parametrize("mesh", UNEVEN.values(), ids=UNEVEN)
def test_trims_part_what_would_overlap(mesh):
    bare = Shell.build(*mesh)
    choices = Settings(stock=eva(8.0), joint_rule="mitre")
    built = cut(bare.with_seams(np.ones(bare.edge_count, bool)), choices)
    assert deepest(with_rule(built, choices, trimmed=False)) > 0.5
    assert deepest(built) < 0.05


@pytest.mark.parametrize("rule", ["one-sided", "auto"])
def test_trims_part_what_other_rules_leave(rule):
    bare = Shell.build(*UNEVEN["icosidodecahedron"])
    choices = Settings(stock=eva(8.0), joint_rule=rule)
    built = cut(bare.with_seams(np.ones(bare.edge_count, bool)), choices)
    assert deepest(with_rule(built, choices, trimmed=False)) > 0.5
    assert deepest(built) < 0.05


@pytest.mark.parametrize("mesh", EVEN.values(), ids=EVEN)
def test_faces_round_one_cone_need_no_trim(mesh):
    assert corners_of(faceted(mesh, 8.0, joint_rule="mitre")) == Corners((), ())


@pytest.mark.parametrize("name", ["cuboctahedron", "icosidodecahedron"])
def test_depths_where_two_kinds_of_faces_alternate(name):
    """Let s be the cosine between the axis through a vertex and the normals of either kind of face there. Inner planes
    of one kind meet on the axis t / s below it. The kind that meets deeper is trimmed back to there, from where the
    others meet: by t (1 / s - 1 / s') / sqrt(1 - s^2) along its own face (computed)."""
    t = 8.0
    vertices, faces = UNEVEN[name]
    axis = vertices[0] / np.linalg.norm(vertices[0])
    middles = {len(face): vertices[face].mean(axis=0) for face in faces if 0 in face}
    slopes = {sides: float(axis @ middle / np.linalg.norm(middle)) for sides, middle in middles.items()}
    sides, other = sorted(slopes, key=lambda kind: slopes[kind])
    expected = t * (1 / slopes[sides] - 1 / slopes[other]) / np.sqrt(1 - slopes[sides] ** 2)
    built = faceted((vertices, faces), t, joint_rule="mitre")
    trims = corners_of(built).trims
    assert len(trims) == 2 * len(vertices)
    assert [trim.depth_mm for trim in trims] == pytest.approx([expected] * len(trims), abs=0.003)
    trimmed = {trim.piece for trim in trims}
    assert {len(piece.patch.loops[0]) for piece in built.pieces if piece.name in trimmed} == {sides}


@given(seed=st.integers(0, 10_000), name=st.sampled_from(sorted(UNEVEN)))
@settings(max_examples=8, deadline=None)
def test_turning_the_shell_changes_no_trim(seed, name):
    vertices, faces = UNEVEN[name]
    turned = vertices @ Rotation.random(random_state=seed).as_matrix().T
    one, other = (corners_of(faceted((points, faces), 8.0, joint_rule="mitre")).trims for points in (vertices, turned))
    depths = [sorted((trim.vertex, round(trim.depth_mm, 4)) for trim in trims) for trims in (one, other)]
    assert depths[0] == depths[1]


@given(thickness=st.floats(2.0, 10.0), name=st.sampled_from(["icosidodecahedron", "leaning pyramid"]))
@settings(max_examples=8, deadline=None)
def test_trims_grow_with_the_thickness_from_nothing(thickness, name):
    one, thick = (corners_of(faceted(UNEVEN[name], t, joint_rule="mitre")).trims for t in (thickness, 10.0))
    assert [trim.vertex for trim in one] == [trim.vertex for trim in thick]
    for thin, whole in zip(one, thick, strict=True):
        assert thin.depth_mm == pytest.approx(whole.depth_mm * thickness / 10, abs=0.005)
    assert corners_of(faceted(UNEVEN[name], 0.1, joint_rule="mitre")).trims == ()


@st.composite
def stars(draw) -> solids.Mesh:
    """Four to seven triangles round a vertex: a point, a pit, or a saddle."""
    n = draw(st.integers(4, 7))
    shift = np.array(draw(st.lists(st.floats(-0.3, 0.3), min_size=n, max_size=n)))
    radius = np.array(draw(st.lists(st.floats(80, 160), min_size=n, max_size=n)))
    low, high = draw(st.sampled_from([(-110, -20), (-70, 70), (20, 60)]))
    height = np.array(draw(st.lists(st.floats(low, high), min_size=n, max_size=n)))
    angle = 2 * np.pi * (np.arange(n) + shift) / n
    return solids.star(np.stack([radius * np.cos(angle), radius * np.sin(angle), height], axis=1))


@given(
    mesh=stars(),
    rule=st.sampled_from(["mitre", "one-sided"]),
    stocks=st.lists(st.floats(2, 8), min_size=7, max_size=7),
    model_is_inside=st.booleans(),
)
@settings(max_examples=60, deadline=None)
def test_pieces_round_any_vertex_are_parted_or_named(mesh, rule, stocks, model_is_inside):
    choices = {f"P{number}": PieceChoice(eva(t)) for number, t in enumerate(stocks, start=1)}
    built = faceted(mesh, 5.0, joint_rule=rule, pieces=choices, model_is_inside=model_is_inside)
    corners = find_corners(built.shell, built.pieces, built.flats, built.joints, model_is_inside)
    assert rule != "mitre" or not corners.clashes
    named = {frozenset(clash.pieces) for clash in corners.clashes}
    placed = []
    for number, piece in enumerate(built.pieces):
        faces = both_outlines(
            piece, built.flats[number], built.joints, model_is_inside, cut_off=corners.cuts_of(piece.name)
        )
        thickness = piece.stock.thickness_mm
        depths = (-thickness, 0.0) if model_is_inside else (0.0, thickness)
        rings = [(ring, depth) for face, depth in zip(faces, depths, strict=True) for ring in face]
        placed.append(np.vstack([built.in_space(number, ring[:-1], depth) for ring, depth in rings]))
    for one, other in combinations(range(len(placed)), 2):
        pair = frozenset((built.pieces[one].name, built.pieces[other].name))
        touch_only = not set(built.pieces[one].patch.loop_edges[0]) & set(built.pieces[other].patch.loop_edges[0])
        if touch_only and pair not in named:
            assert penetration(placed[one], placed[other]) < 0.06


def test_faces_in_triangles_are_trimmed_alike():
    """A piece of coplanar triangles loses what it loses as one polygon."""
    mesh = UNEVEN["cuboctahedron"]
    whole = Shell.build(*mesh)
    split = Shell.build(*solids.triangulated(mesh))
    edges = {tuple(pair) for pair in whole.edges.tolist()}
    choices = Settings(stock=eva(8.0), joint_rule="mitre")
    one = cut(whole.with_seams(np.ones(whole.edge_count, bool)), choices)
    other = cut(split.with_seams(np.array([tuple(pair) in edges for pair in split.edges.tolist()])), choices)
    for ours, theirs in zip(one.inside, other.inside, strict=True):
        assert Polygon(theirs[0]).area == pytest.approx(Polygon(ours[0]).area, rel=1e-4)


def _quartered_cone(around: int) -> tuple[Shell, Settings]:
    """Cut along four lines from its tip, at which opposite quarters only touch."""
    angle = 2 * np.pi * np.arange(around) / around
    rim = np.stack([120 * np.cos(angle), 120 * np.sin(angle), np.full(around, -90.0)], axis=1)
    faces = [(around, place, (place + 1) % around) for place in range(around)]
    seams = [(around, quarter * around // 4) for quarter in range(4)]
    return Shell.build(np.vstack([rim, np.zeros(3)]), faces, seams), Settings(
        stock=eva(8.0), joint_rule="butt", nest_seconds=1
    )


def test_work_at_a_tip_does_not_grow_with_its_mesh():
    work, told = [], []
    for around in (48, 240):
        shell, choices = _quartered_cone(around)
        pattern = finish(unfold(shell, choices))
        fitting = finding_corners(shell, pattern.pieces, [piece.flat for piece in pattern.pieces], pattern.runs)
        work.append(sum(1 for _ in fitting))
        told.append([finding.piece for finding in pattern.findings if finding.kind == "corner-overlap"])
    assert 0 < work[1] < 1.5 * work[0]
    assert told[0] == told[1]


# --- who gives way -----------------------------------------------------------------------------


def _with_square(piece: str, height: float) -> Faceted:
    """A pyramid on a rectangle without its base, mitred but for the joints of one side."""
    vertices, faces = solids.rectangular_pyramid(height=height)
    mitred = faceted((vertices, faces[1:]), 6.0, joint_rule="mitre")
    own = [joint for joint in mitred.joints if piece in (joint.a.piece, joint.b.piece)]
    runs = {joint.letter: RunChoice("butt") for joint in own}
    return faceted((vertices, faces[1:]), 6.0, joint_rule="mitre", runs=runs)


def test_a_face_that_trims_take_all_of_is_told():
    """Bevels leave some of the far face, the trims of its corners nothing."""
    built = faceted(UNEVEN["steep pyramid"], 28.0, joint_rule="mitre")
    pattern = pattern_of(built)
    bare = {piece.name: far_parts(piece, piece.flat, pattern.runs) for piece in pattern.pieces}
    trimmed = corners_of(built)
    lost = [n for n in bare if bare[n] and not cut_away(bare[n], shapely.union_all(trimmed.cuts_of(n)))]
    assert lost
    told = {f.piece: f.message for f in examine_pattern(pattern, built.settings) if f.kind == "narrow-piece"}
    for name in lost:
        assert "its bevels and the trims of its corners: they leave nothing of its inside face" in told[name]


def test_a_square_piece_stays_square_and_the_other_gives_way():
    corners = corners_of(_with_square("P2", 30.0))
    (trim,) = [trim for trim in corners.trims if "P2" in (trim.piece, *trim.others)]
    assert (trim.piece, trim.others) == ("P3", ("P2",))
    assert corners.clashes == ()


def test_a_square_piece_that_comes_out_through_the_other_is_flagged():
    """A side at 56 degrees, cut square, comes out of the opposite one: no cut of that one frees it."""
    built = _with_square("P2", 90.0)
    (clash,) = corners_of(built).clashes
    assert clash.pieces == ("P2", "P3")
    assert not clash.square
    found = [f for f in examine_pattern(pattern_of(built), built.settings) if f.kind == "corner-overlap"]
    assert [finding.vertices for finding in found] == [(4,)]
    assert "Pieces P2 and P3 meet only in a point, at vertex 4," in found[0].message
    assert found[0].faces == tuple(face for number in (1, 2) for face in built.pieces[number].faces)


def test_two_square_pieces_are_flagged_and_not_trimmed():
    built = faceted(UNEVEN["icosidodecahedron"], 8.0, joint_rule="butt")
    corners = corners_of(built)
    assert corners.trims == ()
    assert len(corners.clashes) == 60
    pattern = pattern_of(built)
    found = [f for f in examine_pattern(pattern, built.settings) if f.kind == "corner-overlap"]
    assert len(found) == 60
    one, other = corners.clashes[0].pieces
    words = f"Pieces {one} and {other} meet only in a point, at vertex {corners.clashes[0].vertex}, but overlap by"
    assert any(finding.message.startswith(words) and "square" in finding.message for finding in found)
    generous = replace(built.settings, butt_mismatch_mm=20.0)
    assert not [f for f in examine_pattern(pattern, generous) if f.kind == "corner-overlap"]


# --- what the maker is told --------------------------------------------------------------------


def test_the_pattern_shows_and_tells_the_trim():
    vertices, faces = solids.rectangular_pyramid()
    bare = Shell.build(vertices, faces[1:])
    shell = bare.with_seams(np.ones(bare.edge_count, bool))
    pattern = finish(unfold(shell, Settings(stock=eva(10.0), joint_rule="mitre", nest_seconds=1)))
    told = {finding.piece: finding for finding in pattern.findings if finding.kind == "corner-trim"}
    trims = find_corners(shell, pattern.pieces, [piece.flat for piece in pattern.pieces], pattern.runs).trims
    assert set(told) == {trim.piece for trim in trims}
    assert len(told) == 2
    for piece in pattern.pieces:
        # a triangle, with one more side where its tip is cut off
        assert len(piece.inside_outline[0]) - 1 == (4 if piece.name in told else 3)
        assert len(piece.outside_outline[0]) - 1 == 3
    for trim in trims:
        finding = told[trim.piece]
        assert f"of {' and '.join(trim.runs)} by {trim.depth_mm:.1f} mm, against {trim.others[0]}" in finding.message
        assert finding.vertices == (4,)
        assert {int(pattern.piece_of_face[face]) for face in finding.faces} == {
            [piece.name for piece in pattern.pieces].index(trim.piece)
        }


def test_what_no_knife_cuts_is_not_told():
    built = faceted(UNEVEN["pyramid on a rectangle"], 0.5, joint_rule="mitre")
    depths = [trim.depth_mm for trim in corners_of(built).trims]
    assert depths
    assert max(depths) < 0.3
    assert not [f for f in examine_pattern(pattern_of(built), built.settings) if f.kind == "corner-trim"]


# --- smooth shells -----------------------------------------------------------------------------


@pytest.mark.parametrize("rule", ["auto", "mitre", "butt"])
def test_the_helmet_needs_no_trim(rule):
    made = helmet(ACTORS[0])
    shell = Shell.build(made.vertices, made.faces, made.seams, made.folds)
    choices = {name: PieceChoice(eva(stock)) for name, stock in made.stock_mm.items()}
    built = cut(shell, Settings(stock=eva(5.0), pieces=choices, joint_rule=rule), made.face_names)
    assert find_corners(shell, built.pieces, built.flats, built.joints) == Corners((), ())
