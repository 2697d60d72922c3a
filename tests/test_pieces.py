"""Pieces: the partition, missing cuts, mates, names that survive, groups and stock."""

from types import MappingProxyType

import numpy as np
import pytest
import solids
from foamwright.core.curvature import angle_defect
from foamwright.core.errors import MissingCutError
from foamwright.core.foam import eva
from foamwright.core.opening import missing_cut, patch_defect, rim_turning
from foamwright.core.patch import cut_patch
from foamwright.core.pieces import cut_pieces, split
from foamwright.core.seams import seams_from
from foamwright.core.settings import PieceChoice, Settings
from foamwright.core.shell import Shell
from hypothesis import given
from hypothesis import strategies as st


def _faceted(mesh):
    """Every flat side a piece of its own."""
    return seams_from(Shell.build(*mesh), "sharp", 5)


def _randomly_cut(mesh, seed, part=0.5):
    shell = Shell.build(*mesh)
    return shell.with_seams(np.random.default_rng(seed).random(shell.edge_count) < part)


def _partition(label):
    return {frozenset(np.flatnonzero(label == piece).tolist()) for piece in np.unique(label)}


def _turn(seed):
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    return turn * np.sign(np.linalg.det(turn))


# --- the partition ---------------------------------------------------------------------------------


@given(st.integers(0, 10_000))
def test_partition_and_numbers_do_not_depend_on_the_order_of_faces(seed):
    mesh = solids.bumpy(splits=1)
    shell = _randomly_cut(mesh, seed)
    vertices, faces, order = solids.reordered(mesh, seed)
    image = {tuple(np.round(v, 6)): i for i, v in enumerate(vertices)}
    number = np.array([image[tuple(np.round(v, 6))] for v in mesh[0]])
    again = Shell.build(vertices, faces, seams=number[shell.edges[shell.seam]])
    assert np.array_equal(split(shell)[order], split(again))


@given(st.integers(0, 10_000))
def test_partition_does_not_depend_on_the_place_in_space(seed):
    shell = _randomly_cut(solids.icosphere(50, 1), seed)
    moved = shell.with_vertices(shell.vertices @ _turn(seed).T + (10, -20, 30))
    assert _partition(split(shell)) == _partition(split(moved))


def test_pieces_are_numbered_from_top_to_bottom_then_across():
    label = split(_faceted(solids.gridded_box(100, 100, 100, 2)))
    shell = Shell.build(*solids.gridded_box(100, 100, 100, 2))
    centre = [shell.face_centre[label == piece].mean(axis=0).round().tolist() for piece in range(6)]
    assert centre == [[0, 0, 50], [-50, 0, 0], [0, -50, 0], [0, 50, 0], [50, 0, 0], [0, 0, -50]]


@pytest.mark.parametrize("make", solids.PLATONIC)
def test_every_face_of_a_solid_can_be_a_piece(make):
    shell = _faceted(make())
    pieces, piece_of_face = cut_pieces(shell, Settings())
    assert len(pieces) == shell.face_count
    assert len({piece.name for piece in pieces}) == len(pieces)
    for number, piece in enumerate(pieces):
        assert np.array_equal(piece.faces, np.flatnonzero(piece_of_face == number))


# --- missing cuts ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (solids.cube, "closed all round"),
        (solids.bumpy, "closed all round"),
        (solids.torus, "handle"),
        (solids.tube, "is a tube"),
    ],
)
def test_what_cannot_lie_flat_names_its_missing_cut(make, words):
    shell = Shell.build(*make())
    with pytest.raises(MissingCutError, match=f"piece P1 .*{words}") as caught:
        cut_pieces(shell, Settings())
    assert len(caught.value.edges) > 0
    assert len(caught.value.faces) == shell.face_count


def _punched_sphere():
    vertices, faces = solids.sphere()
    return vertices, [face for face in faces if np.abs(vertices[face, 2]).max() < 49]


def _double_torus():
    """Two gridded rings side by side with one wall in common removed: genus 2."""
    vertices, faces = solids.gridded_box(100, 60, 20, 10)
    place = np.round((vertices / (100, 60, 20) + 0.5) * 10).astype(int)
    ring = {(tuple(place[v]), v) for v in range(len(place))}
    at = dict(ring)
    holes = [(2, 4), (6, 8)]
    for low, high in holes:
        inside = [
            face
            for face in faces
            if all(low <= place[v][0] <= high and 4 <= place[v][1] <= 6 and place[v][2] in (0, 10) for v in face)
        ]
        faces = [face for face in faces if face not in inside]
        outline = [(low, 4), (low + 1, 4), (high, 4), (high, 5), (high, 6), (low + 1, 6), (low, 6), (low, 5)]
        for (x0, y0), (x1, y1) in zip(outline, outline[1:] + outline[:1], strict=True):
            faces.append([at[x0, y0, 0], at[x0, y0, 10], at[x1, y1, 10], at[x1, y1, 0]])
    return vertices, faces


@pytest.mark.parametrize(
    "make", [solids.cube, solids.bumpy, solids.torus, solids.tube, _punched_sphere, _double_torus, solids.sphere]
)
def test_following_the_advice_opens_the_piece_and_keeps_it_whole(make):
    shell = Shell.build(*make())
    assert (shell.edge_is_consistent | shell.edge_is_rim).all()
    for _ in range(8):
        missing = missing_cut(shell, cut_patch(shell, np.arange(shell.face_count)))
        if missing is None:
            break
        assert not shell.seam[missing.edges].any()
        assert not shell.edge_is_rim[missing.edges].any()
        seam = shell.seam.copy()
        seam[missing.edges] = True
        shell = shell.with_seams(seam)
    patch = cut_patch(shell, np.arange(shell.face_count))
    assert missing_cut(shell, patch) is None
    assert split(shell).max() == 0
    assert len(patch.loops) == 1


def test_cut_of_a_tube_runs_straight_from_rim_to_rim():
    shell = Shell.build(*solids.tube(50, 80, 16, 4))
    missing = missing_cut(shell, cut_patch(shell, np.arange(shell.face_count)))
    assert shell.edge_length[missing.edges].sum() == pytest.approx(80)


def test_cut_of_a_ring_runs_round_its_thin_side():
    shell = Shell.build(*solids.torus(60, 20, 24, 12))
    missing = missing_cut(shell, cut_patch(shell, np.arange(shell.face_count)))
    assert shell.edge_length[missing.edges].sum() == pytest.approx(12 * 2 * 20 * np.sin(np.pi / 12))


@given(st.integers(0, 10_000), st.sampled_from([solids.bumpy, solids.torus, solids.tube, _punched_sphere]))
def test_angle_defects_of_a_patch_are_those_of_its_triangles(seed, make):
    shell = _randomly_cut(make(), seed, 0.2)
    faces = np.flatnonzero(np.random.default_rng(seed).random(shell.face_count) < 0.8)
    patch = cut_patch(shell, faces)
    plain = angle_defect(shell.vertices[patch.shell_vertex], patch.triangles)
    assert patch_defect(shell, patch) == pytest.approx(plain, abs=1e-9)


def test_turning_of_rims():
    """2 pi round a flat disk, 0 round a sleeve, +-2 pi sin(b) on a cone of half-apex angle b."""
    sheet = Shell.build(*solids.flat_sheet())
    assert rim_turning(sheet, cut_patch(sheet, np.arange(sheet.face_count))) == pytest.approx([2 * np.pi])
    sleeve = Shell.build(*solids.tube())
    assert rim_turning(sleeve, cut_patch(sleeve, np.arange(sleeve.face_count))) == pytest.approx([0, 0], abs=1e-9)


def test_a_flat_ring_is_a_piece_with_a_hole_and_a_steep_one_is_a_tube():
    for height, flat in ((0, True), (8, True), (40, False), (80, False)):
        shell = Shell.build(*solids.funnel(50, 30, height))
        missing = missing_cut(shell, cut_patch(shell, np.arange(shell.face_count)))
        assert (missing is None) == flat
    b = np.arctan2(20, 40)
    shell = Shell.build(*solids.funnel(50, 30, 40, 400))
    turning = np.sort(rim_turning(shell, cut_patch(shell, np.arange(shell.face_count))))
    assert turning == pytest.approx([-2 * np.pi * np.sin(b), 2 * np.pi * np.sin(b)], abs=1e-3)


def test_a_dome_may_have_holes():
    vertices, faces = solids.sphere_cap(100, 1.2, 12)
    centre = np.array([vertices[face].mean(axis=0) for face in faces])
    eyes = (np.hypot(centre[:, 0] - 40, centre[:, 1]) < 15) | (np.hypot(centre[:, 0] + 40, centre[:, 1]) < 15)
    shell = Shell.build(vertices, [face for face, eye in zip(faces, eyes, strict=True) if not eye])
    pieces, _ = cut_pieces(shell, Settings())
    assert len(pieces) == 1
    assert len(pieces[0].patch.loops) == 3


# --- mates -----------------------------------------------------------------------------------------


@given(st.floats(-400, 400), st.floats(-400, 400), st.floats(-3, 3), st.integers(0, 10_000))
def test_mates_are_found_wherever_the_shell_stands(x, y, angle, seed):
    turn = np.array([[1, 0, 0], [0, np.cos(angle), -np.sin(angle)], [0, np.sin(angle), np.cos(angle)]])
    vertices, faces, _ = solids.reordered(solids.cuboctahedron(), seed)
    pieces, _ = cut_pieces(_faceted((vertices @ turn.T + (x, y, 0), faces)), Settings())
    by_name = {piece.name: piece for piece in pieces}
    assert sum(piece.mate is not None for piece in pieces) == 10
    for piece in pieces:
        if piece.mate:
            assert by_name[piece.mate].mate == piece.name
            assert piece.name[:-1] == piece.mate[:-1]
            side = vertices[np.concatenate([faces[f] for f in piece.faces])] @ turn.T
            assert piece.name.endswith("L" if side[:, 0].mean() > 0 else "R")


def test_a_piece_that_mirrors_itself_has_no_mate():
    pieces, _ = cut_pieces(Shell.build(*solids.saddle()), Settings())
    assert [(piece.name, piece.mate) for piece in pieces] == [("P1", None)]


def _two_halves():
    """A sphere cut along x = 0 into two caps, with a dart in each."""
    shell = Shell.build(*solids.sphere(50, 24, 12))
    on_plane = np.abs(shell.vertices[:, 0]) < 1e-9
    return shell, on_plane[shell.edges].all(axis=1)


def test_a_dart_on_one_side_only_makes_two_pieces_unlike():
    shell, plane = _two_halves()
    both, _ = cut_pieces(shell.with_seams(plane), Settings())
    assert {piece.name for piece in both} == {"P1 L", "P1 R"}
    rim_vertex = np.isin(np.arange(len(shell.vertices)), shell.edges[plane])
    dart = plane.copy()
    dart[
        np.flatnonzero((rim_vertex[shell.edges].sum(axis=1) == 1) & (shell.face_centre[shell.edge_faces[:, 0], 0] > 0))[
            0
        ]
    ] = True
    one, _ = cut_pieces(shell.with_seams(dart), Settings())
    assert {piece.name for piece in one} == {"P1", "P2"}


def test_mates_have_mirrored_triangles():
    """Also where squares leave the diagonal open and the choice would fall by vertex number."""
    vertices, faces, _ = solids.reordered(solids.gridded_box(100, 100, 100, 4), 7)
    shell = Shell.build(vertices, faces)
    x = vertices[:, 0]
    middle = (np.abs(x) < 1e-9)[shell.edges].all(axis=1)
    left, right = cut_pieces(shell.with_seams(middle | (np.abs(shell.edge_bend) > 1)), Settings())[0][-2:]
    assert left.mate == right.name

    def shapes(piece, sign):
        corners = shell.vertices[piece.patch.shell_vertex[piece.patch.triangles]] * (sign, 1, 1)
        return sorted(sorted(map(tuple, (np.round(t, 6) + 0.0).tolist())) for t in corners)

    assert shapes(left, 1) == shapes(right, -1)
    p = shell.vertices[right.patch.shell_vertex[right.patch.triangles]]
    normal = np.cross(p[:, 1] - p[:, 0], p[:, 2] - p[:, 0])
    assert (np.einsum("ij,ij->i", normal, shell.face_normal[right.patch.triangle_face]) > 0).all()


# --- names -----------------------------------------------------------------------------------------


def _names_per_face(pieces, piece_of_face):
    return [pieces[piece].name for piece in piece_of_face]


@given(st.integers(0, 10_000))
def test_names_survive_a_new_cut_of_the_same_pieces(seed):
    shell = _faceted(solids.rhombicuboctahedron())
    pieces, piece_of_face = cut_pieces(shell, Settings())
    random = np.random.default_rng(seed)
    own = np.array([f"panel {i}" for i in random.permutation(len(pieces))])
    again, piece_again = cut_pieces(shell, Settings(), own[piece_of_face])
    assert [piece.name for piece in again] == own.tolist()
    assert np.array_equal(piece_again, piece_of_face)


def test_the_larger_part_of_a_divided_piece_keeps_the_name():
    sheet = Shell.build(*solids.flat_sheet(60, 40, 6, 4))
    names = ["brow"] * sheet.face_count
    x = sheet.vertices[:, 0]
    pieces, piece_of_face = cut_pieces(sheet.with_seams((x[sheet.edges] == 20).all(axis=1)), Settings(), names)
    assert sorted(piece.name for piece in pieces) == ["P1", "brow"]
    assert _names_per_face(pieces, piece_of_face).count("brow") == 16


def test_a_joined_piece_takes_the_name_of_its_larger_part():
    sheet = Shell.build(*solids.flat_sheet(60, 40, 6, 4))
    names = np.where(sheet.face_centre[:, 0] < 20, "cheek", "brow")
    pieces, _ = cut_pieces(sheet, Settings(), names)
    assert [piece.name for piece in pieces] == ["brow"]


def test_a_piece_of_mostly_new_faces_gets_a_free_number():
    sheet = Shell.build(*solids.flat_sheet(60, 40, 6, 4))
    x = sheet.vertices[:, 0]
    cut = sheet.with_seams((x[sheet.edges] == 30).all(axis=1) | (x[sheet.edges] == 40).all(axis=1))
    names = np.where(sheet.face_centre[:, 0] < 30, "P2", "")
    names[sheet.face_centre[:, 0] > 50] = "P1"
    pieces, _ = cut_pieces(cut, Settings(), names)
    assert sorted(piece.name for piece in pieces) == ["P1", "P2", "P3"]


def test_the_mate_of_a_named_piece_takes_the_other_side():
    shell, plane = _two_halves()
    names = np.where(shell.face_centre[:, 0] > 0, "dome L", "")
    pieces, _ = cut_pieces(shell.with_seams(plane), Settings(), names)
    assert {piece.name: piece.mate for piece in pieces} == {"dome L": "dome R", "dome R": "dome L"}


# --- group and stock -------------------------------------------------------------------------------


def test_group_is_the_connected_part_unless_the_maker_says_otherwise():
    small = solids.moved(solids.flat_sheet(20, 20, 2, 2), (200, 0, 0))
    shell = Shell.build(*solids.together(small, solids.flat_sheet()))
    pieces, _ = cut_pieces(shell, Settings())
    assert sorted((len(piece.faces), piece.group) for piece in pieces) == [(4, "part 2"), (24, "main")]
    name = next(piece.name for piece in pieces if piece.group == "part 2")
    thick = eva(8)
    settings = Settings(pieces=MappingProxyType({name: PieceChoice(stock=thick, group="ear")}))
    chosen = {piece.name: piece for piece in cut_pieces(shell, settings)[0]}
    assert chosen[name].group == "ear"
    assert chosen[name].stock == thick
    assert all(piece.stock == settings.stock for piece in chosen.values() if piece.name != name)
